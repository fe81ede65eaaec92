// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk-report: the commissioning report of a visit as PDF, and the visit as a bundle. A program
// of its own, the only one that links cairo, pango and libarchive, so that the others start fast.
#include "report_bundle.h"
#include "report_document.h"

#include "base/text.h"
#include "report/pdf.h"

static enum lw_status draw(struct lw_session *session, enum lw_paper paper, const char *units,
                           const char *path, struct lw_error *error)
{
    struct lw_document document = {0};
    struct lw_text pdf = {0};
    int64_t made_utc_ns;
    enum lw_status status =
        lw_session_document(session, units, &document, NULL, &made_utc_ns, error);
    if (status == LW_OK) {
        status = lw_report_pdf(&document, paper, made_utc_ns, &pdf, error);
    }
    if (status == LW_OK) {
        status = lw_file_write(path, pdf.bytes, pdf.length, error);
    }
    lw_text_finish(&pdf);
    lw_document_finish(&document);
    return status;
}

static enum lw_status read_paper(const char *word, enum lw_paper *paper, struct lw_error *error)
{
    if (word != NULL && strcmp(word, "a4") != 0 && strcmp(word, "letter") != 0) {
        return lw_fail(error, LW_USAGE, "--paper is a4 or letter");
    }
    *paper = word != NULL && strcmp(word, "letter") == 0 ? LW_PAPER_LETTER : LW_PAPER_A4;
    return LW_OK;
}

static int run(struct lw_cli *cli)
{
    const char *path = NULL, *paper_word = NULL, *bundle = NULL, *units = NULL;
    const struct lw_option own[] = {
        {"output", 0, "FILE", LW_OPTION_TEXT, &path, 0, 0,
         "where to write it; by default report.pdf in the visit"},
        {"paper", 0, "SIZE", LW_OPTION_TEXT, &paper_word, 0, 0, "a4 (the default) or letter"},
        {"units", 0, "UNIT", LW_OPTION_TEXT, &units, 0, 0,
         "mm or inch for measured lengths; by default as they were measured"},
        {"bundle", 0, "FILE", LW_OPTION_TEXT, &bundle, 0, 0,
         "pack the visit with the report that lies in it instead"},
        {0},
    };
    struct lw_error error = {0};
    struct lw_session session;
    enum lw_paper paper = LW_PAPER_A4;
    int exit_status = LW_EXIT_OK;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    if (read_paper(paper_word, &paper, &error) != LW_OK ||
        lw_length_unit_check(units, &error) != LW_OK ||
        lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_TAKES_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    char beside[LW_PATH];
    if (path == NULL) {
        lw_path_join(beside, sizeof beside, session.visit.folder, "report.pdf");
        path = beside;
    }
    enum lw_status status = bundle != NULL ? lw_bundle_write(&session, bundle, &error)
                                           : draw(&session, paper, units, path, &error);
    if (status != LW_OK) {
        exit_status = lw_cli_fail(cli, &error);
    }
    lw_session_close(&session);
    return exit_status;
}

int main(int argc, char **argv)
{
    static const struct lw_command command = {
        "report", "the commissioning report of the visit as PDF", "",
        "Draws what linewalk report puts into a page as PDF: the same words, numbers and charts.",
        run};
    struct lw_cli cli = {.command = &command, .argc = argc, .argv = argv};
    lw_cli_start();
    return command.run(&cli);
}
