// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk report: the commissioning report of a visit.
#include "checks.h"

#include "base/text.h"
#include "check/acceptance.h"
#include "cli/beside.h"
#include "commands.h"
#include "report/report.h"
#include "report_document.h"

static enum lw_status render(struct lw_session *session, const char *path,
                             struct lw_acceptance *acceptance, struct lw_error *error)
{
    struct lw_document document = {0};
    struct lw_text html = {0};
    int64_t made_utc_ns;
    enum lw_status status =
        lw_session_document(session, &document, acceptance, &made_utc_ns, error);
    if (status == LW_OK) {
        status = lw_report_html(&document, &html, error);
    }
    if (status == LW_OK) {
        status = lw_file_write(path, html.bytes, html.length, error);
    }
    lw_text_finish(&html);
    lw_document_finish(&document);
    return status;
}

// "report.pdf" for "report.html", "notes.txt.pdf" for "notes.txt".
static void pdf_path(const char *page, char path[LW_PATH])
{
    size_t length = strlen(page);
    bool named = length > 5 && strcmp(page + length - 5, ".html") == 0;
    lw_print(path, LW_PATH, "%.*s.pdf", (int)(named ? length - 5 : length), page);
}

// The PDF is drawn by a program of its own. Without it there is the page, and that is said.
static void draw_pdf(struct lw_session *session, const char *page)
{
    char path[LW_PATH], text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
    const char *plan = session->cli->settings.plan, *profiles = session->cli->settings.profiles;
    const char *arguments[10] = {"--quiet", "--visit", session->visit.folder, "--output", path};
    size_t count = 5;
    struct lw_error error = {0};
    int exit_status = 0;
    pdf_path(page, path);
    if (plan != NULL) {
        arguments[count++] = "--plan";
        arguments[count++] = plan;
    }
    if (profiles != NULL) {
        arguments[count++] = "--profiles";
        arguments[count++] = profiles;
    }
    if (lw_run_beside("linewalk-report", arguments, &exit_status, &error) != LW_OK) {
        lw_cli_say(session->cli, "no PDF: %s", lw_error_text(&error, text, sizeof text));
    } else if (exit_status == 0) {
        printf("report: %s\n", path);
    }
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
    fflush(stdout);
    draw_pdf(session, path);
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
    "without linewalk, and into a PDF beside it.",
    lw_cmd_report};
