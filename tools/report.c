// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk report: the commissioning report of a visit.
#include "checks.h"

#include "base/text.h"
#include "check/acceptance.h"
#include "cli/output.h"
#include "commands.h"
#include "report/report.h"

static enum lw_status render(struct lw_session *session, const char *path,
                             struct lw_acceptance *acceptance, struct lw_error *error)
{
    struct lw_list records = {0};
    struct lw_document document = {0};
    struct lw_text html = {0};
    struct lw_error chain = {0};
    int broken = 0;
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    int64_t now_ns = lw_clock_utc_ns(&session->system, lw_clock_now_ns(&session->system));
    enum lw_status status = lw_visit_records(&session->visit, &records, &broken, &chain);
    if (status != LW_OK) {
        *error = chain;
    } else {
        status = lw_report_build(&session->visit, plan, &records, broken, now_ns, LW_VERSION,
                                 &document, error);
    }
    if (status == LW_OK) {
        lw_acceptance_judge(plan, &records, acceptance);
        status = lw_report_html(&document, &html, error);
    }
    if (status == LW_OK) {
        status = lw_file_write(path, html.bytes, html.length, error);
    }
    if (status == LW_OK && broken > 0) {
        char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
        lw_cli_say(session->cli, "the records do not fit together from number %d on: %s", broken,
                   lw_error_text(&chain, text, sizeof text));
    }
    lw_text_finish(&html);
    lw_document_finish(&document);
    lw_records_free(&records);
    return status;
}

static void print_acceptance(const struct lw_acceptance *acceptance)
{
    printf("%s%s\n", lw_acceptance_word(acceptance->verdict),
           acceptance->simulated ? _(" (simulated: it cannot be signed off)") : "");
    for (size_t i = 0; i < acceptance->because_count; i++) {
        printf("  %s\n", acceptance->because[i]);
    }
}

int lw_do_report(struct lw_session *session, const char *path)
{
    struct lw_error error = {0};
    struct lw_acceptance acceptance;
    char beside[LW_PATH];
    if (path == NULL) {
        lw_path_join(beside, sizeof beside, session->visit.folder, "report.html");
        path = beside;
    }
    if (render(session, path, &acceptance, &error) != LW_OK) {
        return lw_cli_fail(session->cli, &error);
    }
    print_acceptance(&acceptance);
    printf("report: %s\n", path);
    bool good = acceptance.verdict == LW_ACCEPTED || acceptance.verdict == LW_ACCEPTED_WITH_REMARKS;
    return good ? LW_EXIT_OK : LW_EXIT_VERDICT;
}

int lw_cmd_report(struct lw_cli *cli)
{
    const char *path = NULL;
    const struct lw_option own[] = {
        {"output", 0, "FILE", LW_OPTION_TEXT, &path, 0, 0,
         "where to write it; by default report.html in the visit"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    struct lw_session session;
    if (lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_TAKES_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = lw_do_report(&session, path);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_report = {
    "report", "the commissioning report of the visit", "",
    "Puts everything that the visit has recorded into one page that can be read, printed and kept "
    "without linewalk.",
    lw_cmd_report};
