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
#include "report_sign.h"

// What is to be made, and where; NULL: not asked for.
struct making {
    const char *page, *bundle, *lists;
    const char *units; // of measured lengths
};

static enum lw_status render(struct lw_session *session, const char *units, const char *path,
                             struct lw_acceptance *acceptance, size_t *bad_pictures,
                             struct lw_error *error)
{
    struct lw_document document = {0};
    struct lw_text html = {0};
    int64_t made_utc_ns;
    enum lw_status status =
        lw_session_document(session, units, &document, acceptance, &made_utc_ns, error);
    if (status == LW_OK) {
        status = lw_report_html(&document, &html, error);
    }
    if (status == LW_OK) {
        status = lw_file_write(path, html.bytes, html.length, error);
    }
    *bad_pictures = document.bad_pictures;
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
static void draw_pdf(struct lw_session *session, const char *units, const char *page)
{
    char path[LW_PATH], text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
    const char *plan = session->cli->settings.plan, *profiles = session->cli->settings.profiles;
    const char *arguments[14] = {"--quiet", "--visit",    session->visit.folder, "--output",
                                 path,      "--language", lw_cli_language()};
    size_t count = 7;
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
    if (units != NULL) {
        arguments[count++] = "--units";
        arguments[count++] = units;
    }
    if (lw_run_beside("linewalk-report", arguments, &exit_status, &error) != LW_OK) {
        lw_cli_say(session->cli, "no PDF: %s", lw_error_text(&error, text, sizeof text));
    } else if (exit_status == 0) {
        printf("report: %s\n", path);
    }
}

// "link: not done": the check's name is that of its command in every language.
static void print_reason(const char *reason)
{
    const char *colon = strstr(reason, ": ");
    int name = colon != NULL ? (int)(colon + 2 - reason) : 0;
    printf("  %.*s%s\n", name, reason, _(reason + name));
}

static void print_acceptance(const struct lw_acceptance *acceptance)
{
    printf("%s%s\n", _(lw_acceptance_word(acceptance->verdict)),
           acceptance->simulated ? _(" (simulated: it cannot be signed off)") : "");
    for (size_t i = 0; i < acceptance->because_count; i++) {
        print_reason(acceptance->because[i]);
    }
}

int lw_do_report(struct lw_session *session, const char *units, const char *path)
{
    struct lw_error error = {0};
    struct lw_acceptance acceptance;
    char beside[LW_PATH];
    size_t bad_pictures = 0;
    if (path == NULL) {
        lw_path_join(beside, sizeof beside, session->visit.folder, "report.html");
        path = beside;
    }
    if (render(session, units, path, &acceptance, &bad_pictures, &error) != LW_OK) {
        return lw_cli_fail(session->cli, &error);
    }
    print_acceptance(&acceptance);
    printf("report: %s\n", path);
    fflush(stdout);
    draw_pdf(session, units, path);
    bool good = acceptance.verdict == LW_ACCEPTED || acceptance.verdict == LW_ACCEPTED_WITH_REMARKS;
    return good && bad_pictures == 0 ? LW_EXIT_OK : LW_EXIT_VERDICT;
}

static int report(struct lw_cli *cli, const struct making *making)
{
    struct lw_error error = {0};
    struct lw_session session;
    if (lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_TAKES_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    int exit_status = lw_do_report(&session, making->units, making->page);
    lw_session_close(&session);
    return exit_status;
}

// The report as it stands now, then all of the visit in one file. Packing is done by the program
// that links what it takes.
static int bundle(struct lw_cli *cli, const struct making *making)
{
    const char *arguments[] = {"--quiet", "--visit", NULL, "--bundle", making->bundle, NULL};
    struct lw_error error = {0};
    struct lw_session session;
    int exit_status = LW_EXIT_OK;
    if (lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_TAKES_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    int verdict = lw_do_report(&session, making->units, NULL);
    arguments[2] = session.visit.folder;
    if (verdict > LW_EXIT_VERDICT) {
        exit_status = verdict;
    } else if (lw_run_beside("linewalk-report", arguments, &exit_status, &error) != LW_OK) {
        exit_status = lw_cli_fail(cli, &error);
    } else if (exit_status == LW_EXIT_OK) {
        printf(_("bundle: %s\n"), making->bundle);
    }
    lw_session_close(&session);
    return exit_status;
}

// One thing at a time.
static enum lw_status check_one(const struct lw_signing *signing, const struct making *making,
                                struct lw_error *error)
{
    int asked = (signing->new_key != NULL) + (signing->key != NULL) + (signing->paper != NULL) +
                (signing->verify != NULL) + (making->page != NULL) + (making->bundle != NULL) +
                (making->lists != NULL);
    if (asked > 1) {
        return lw_fail(error, LW_USAGE,
                       "--output, --bundle, --export, --new-key, --sign, --attach and --verify are "
                       "each a run of their own");
    }
    return LW_OK;
}

static int run(struct lw_cli *cli, const struct lw_signing *signing, const struct making *making)
{
    if (signing->new_key != NULL) {
        return lw_report_new_key(cli, signing);
    }
    if (signing->key != NULL) {
        return lw_report_sign(cli, signing);
    }
    if (signing->paper != NULL) {
        return lw_report_attach(cli, signing);
    }
    if (signing->verify != NULL) {
        return lw_report_verify(cli, signing);
    }
    if (making->bundle != NULL) {
        return bundle(cli, making);
    }
    return making->lists != NULL ? lw_report_export(cli, making->lists) : report(cli, making);
}

int lw_cmd_report(struct lw_cli *cli)
{
    struct making making = {0};
    struct lw_signing signing = {.phrase_descriptor = -1};
    const struct lw_option own[] = {
        {"output", 0, "FILE", LW_OPTION_TEXT, &making.page, 0, 0,
         "where to write it; by default report.html in the visit"},
        {"units", 0, "UNIT", LW_OPTION_TEXT, &making.units, 0, 0,
         "mm or inch for measured lengths; by default as they were measured"},
        {"bundle", 0, "FILE", LW_OPTION_TEXT, &making.bundle, 0, 0,
         "all of the visit with its report in one ZIP file, for handing over"},
        {"export", 0, "DIR", LW_OPTION_TEXT, &making.lists, 0, 0,
         "lists of nodes, labels and spare parts as CSV"},
        {"sign", 0, "KEY", LW_OPTION_TEXT, &signing.key, 0, 0,
         "sign the visit with this key file; it takes no records after that"},
        {"new-key", 0, "FILE", LW_OPTION_TEXT, &signing.new_key, 0, 0,
         "make a signing key, sealed with a pass phrase"},
        {"owner", 0, "NAME", LW_OPTION_TEXT, &signing.owner, 0, 0, "whose new key it is"},
        {"pass-fd", 0, "NUMBER", LW_OPTION_INTEGER, &signing.phrase_descriptor, 0, 1023,
         "read the pass phrase from this descriptor instead of the terminal"},
        {"attach", 0, "FILE", LW_OPTION_TEXT, &signing.paper, 0, 0,
         "bring the scan of the signed paper back into the visit"},
        {"digest", 0, "TEXT", LW_OPTION_TEXT, &signing.shown, 0, 0,
         "the digest that stands on that paper, to be compared"},
        {"verify", 0, "PLACE", LW_OPTION_TEXT, &signing.verify, 0, 0,
         "whether a visit, or the visit of a report, was changed, and where"},
        {"signer", 0, "TEXT", LW_OPTION_TEXT, &signing.signer, 0, 0,
         "fingerprint of the key that must have signed"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    if (check_one(&signing, &making, &error) != LW_OK ||
        lw_length_unit_check(making.units, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    return run(cli, &signing, &making);
}

const struct lw_command lw_command_report = {
    "report", "the commissioning report of the visit, and its signature", "",
    "Puts everything that the visit has recorded, its pictures too, into one page that can be "
    "read, printed and kept without linewalk, and into a PDF beside it. Signs a visit, brings the "
    "signed paper back, and says a year later whether anything was changed.",
    lw_cmd_report};
