// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk note: a remark, a photo, an open point, at any time.
#include "commands.h"

#include "base/text.h"
#include "check/note.h"
#include "cli/session.h"

static enum lw_status keep_photo(struct lw_session *session, const char *path, struct lw_step *step,
                                 struct lw_note *note, struct lw_error *error)
{
    const struct lw_record_file *kept;
    enum lw_status status = lw_step_attach(session, step, path, &kept, error);
    if (status == LW_OK) {
        note->photo = lw_duplicate(kept->name);
        note->photo_sha256 = lw_duplicate(kept->sha256);
    }
    return status;
}

static enum lw_status fill_note(struct lw_session *session, const char *node, bool open,
                                struct lw_step *step, struct lw_note *note, struct lw_error *error)
{
    size_t tap = 0;
    if (node != NULL &&
        (!session->has_plan || lw_plan_by_name(&session->plan, node, &tap) == NULL)) {
        char shown[80];
        lw_text_clean(shown, sizeof shown, node, strlen(node));
        return lw_fail(error, LW_USAGE, "the plan has no node '%s'", shown);
    }
    note->node = lw_duplicate(node);
    note->open = open;
    if (open) {
        struct lw_finding *finding =
            lw_findings_add(&step->findings, "note_open_point", LW_ATTENTION, "%s", note->text);
        lw_finding_node(&step->findings, finding, node, tap, 0);
    }
    return LW_OK;
}

int lw_cmd_note(struct lw_cli *cli)
{
    const char *node = NULL, *photo = NULL;
    bool open = false;
    const struct lw_option own[] = {
        {"node", 0, "NODE", LW_OPTION_TEXT, &node, 0, 0, "the node that it is about"},
        {"photo", 0, "FILE", LW_OPTION_TEXT, &photo, 0, 0, "a picture, copied into the visit"},
        {"open", 0, NULL, LW_OPTION_FLAG, &open, 0, 0,
         "an open point: it stands in the report until it is closed"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 1, &exit_status)) {
        return exit_status;
    }
    if (cli->rest[0] == NULL || cli->rest[0][0] == '\0') {
        lw_fail(&error, LW_USAGE,
                "what is the note? linewalk note \"the clamp at station 2 is loose\"");
        return lw_cli_fail(cli, &error);
    }
    struct lw_session session;
    if (lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_TAKES_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    struct lw_step step;
    struct lw_note note;
    char text[1000];
    lw_json_init(&lw_note_shape, &note);
    lw_text_clean(text, sizeof text, cli->rest[0], strlen(cli->rest[0]));
    note.text = lw_duplicate(text);
    enum lw_status status = lw_step_begin(&session, &step, "note", false, &error);
    if (status == LW_OK) {
        status = fill_note(&session, node, open, &step, &note, &error);
    }
    if (status == LW_OK && photo != NULL) {
        status = keep_photo(&session, photo, &step, &note, &error);
    }
    step.shape = &lw_note_shape;
    step.result = &note;
    exit_status = lw_step_end(&session, &step, status, &error, false);
    lw_step_print(&session, &step);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_note_shape, &note);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_note = {
    "note", "a remark, a photo or an open point", "TEXT",
    "Adds a remark to the visit, with a photo where there is one; --open makes it an open point.",
    lw_cmd_note};
