// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk report --export: lists of nodes, labels and parts for other programs.
#include "report_sign.h"

#include "base/text.h"
#include "cli/session.h"
#include "report/exports.h"

static enum lw_status read_roster(const struct lw_session *session, struct lw_roster_result *roster,
                                  bool *found, struct lw_error *error)
{
    const struct lw_record *record = lw_records_last(&session->records, "roster", true);
    *found = record != NULL && record->result != NULL;
    return *found ? lw_json_read(&lw_roster_shape, record->result, strlen(record->result), roster,
                                 error)
                  : LW_OK;
}

static enum lw_status write_list(const char *folder, const char *name, struct lw_text *text,
                                 struct lw_error *error)
{
    char path[LW_PATH];
    enum lw_status status = lw_text_check(text, error);
    if (status == LW_OK && !lw_path_join(path, sizeof path, folder, name)) {
        status = lw_fail(error, LW_USAGE, "the folder's name is too long");
    }
    if (status == LW_OK) {
        status = lw_file_write(path, text->bytes, text->length, error);
    }
    if (status == LW_OK) {
        printf("%s\n", path);
    }
    lw_text_clear(text);
    return status;
}

static enum lw_status export_lists(const struct lw_session *session, const char *folder,
                                   struct lw_error *error)
{
    struct lw_roster_result roster;
    struct lw_text text = {0};
    bool found = false;
    enum lw_status status = read_roster(session, &roster, &found, error);
    const struct lw_roster_result *read = status == LW_OK && found ? &roster : NULL;
    if (status == LW_OK) {
        status = lw_folder_make(folder, error);
    }
    if (status == LW_OK) {
        lw_export_nodes(&session->plan, read, &text);
        status = write_list(folder, "nodes.csv", &text, error);
    }
    if (status == LW_OK) {
        lw_export_labels(&session->plan, read, &text);
        status = write_list(folder, "labels.csv", &text, error);
    }
    if (status == LW_OK) {
        lw_export_parts(&session->plan, &text);
        status = write_list(folder, "parts.csv", &text, error);
    }
    if (read != NULL) {
        lw_json_free(&lw_roster_shape, &roster);
    }
    lw_text_finish(&text);
    return status;
}

int lw_report_export(struct lw_cli *cli, const char *folder)
{
    struct lw_error error = {0};
    struct lw_session session;
    if (lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_NEEDS_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    enum lw_status status = export_lists(&session, folder, &error);
    int exit_status = status == LW_OK ? LW_EXIT_OK : lw_cli_fail(cli, &error);
    lw_session_close(&session);
    return exit_status;
}
