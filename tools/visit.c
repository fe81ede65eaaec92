// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk visit: opens a visit, shows what is done, what is open, and what to do next.
#include "commands.h"

#include "base/text.h"
#include "check/acceptance.h"
#include "cli/output.h"
#include "cli/session.h"

struct opening {
    const char *engineer, *company, *contact, *machine_serial, *language;
};

static void fill_facts(const struct opening *opening, struct lw_visit_facts *facts)
{
    facts->engineer = lw_duplicate(opening->engineer);
    facts->company = lw_duplicate(opening->company);
    facts->customer_contact = lw_duplicate(opening->contact);
    facts->machine_serial = lw_duplicate(opening->machine_serial);
    facts->language = lw_duplicate(opening->language);
}

static bool any_given(const struct opening *opening)
{
    return opening->engineer != NULL || opening->company != NULL || opening->contact != NULL ||
           opening->machine_serial != NULL || opening->language != NULL;
}

// A visit that stands already takes what comes later as a record of its own.
static int record_change(struct lw_session *session, const struct opening *opening)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_visit_facts change;
    lw_json_init(&lw_visit_change_shape, &change);
    fill_facts(opening, &change);
    enum lw_status status = lw_step_begin(session, &step, "visit", false, &error);
    step.shape = &lw_visit_change_shape;
    step.result = &change;
    int exit_status = lw_step_end(session, &step, status, &error, false);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_visit_change_shape, &change);
    return exit_status;
}

static const char *state_of(const struct lw_acceptance_check *check)
{
    if (check->skipped != NULL) {
        return "left out";
    }
    if (check->number == 0) {
        return "not done";
    }
    if (check->outdated != LW_UP_TO_DATE) {
        return check->outdated == LW_OTHER_PLAN ? "other plan" : "outdated";
    }
    if (check->partial && check->verdict != LW_FAIL) {
        return "in part";
    }
    return check->done || check->partial ? lw_verdict_shown(check->verdict) : "interrupted";
}

static void print_checks(const struct lw_acceptance *acceptance)
{
    static const char *const heads[] = {"check", "state", "record|", "", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    for (size_t i = 0; i < acceptance->check_count; i++) {
        const struct lw_acceptance_check *check = &acceptance->checks[i];
        const char *const cells[] = {check->check, state_of(check),
                                     check->number > 0 ? lw_cell_count(check->number) : "-",
                                     check->required ? "required" : ""};
        lw_cli_table_row(table, cells);
    }
    lw_cli_table_print(table);
}

static void print_next(const struct lw_acceptance *acceptance)
{
    for (size_t i = 0; i < acceptance->check_count; i++) {
        const struct lw_acceptance_check *check = &acceptance->checks[i];
        if (check->required && !check->done) {
            printf("\nnext: linewalk %s\n", check->check);
            return;
        }
    }
    printf("\nnext: linewalk report\n");
}

static void print_visit(const struct lw_session *session)
{
    const struct lw_visit_facts *facts = &session->visit.facts;
    struct lw_acceptance acceptance;
    lw_acceptance_judge(session->has_plan ? &session->plan : NULL, &session->records,
                        session->broken, &acceptance);
    printf("visit %s, opened %s\n", session->visit.folder, lw_cell_text(facts->opened));
    if (facts->engineer != NULL || facts->machine_serial != NULL) {
        printf("engineer %s, machine %s\n", lw_cell_text(facts->engineer),
               lw_cell_text(facts->machine_serial));
    }
    putchar('\n');
    print_checks(&acceptance);
    printf("\nso far: %s%s\n", lw_acceptance_word(acceptance.verdict),
           acceptance.simulated ? _(" (simulated: it cannot be signed off)") : "");
    print_next(&acceptance);
}

static enum lw_status open_new(struct lw_cli *cli, const struct opening *opening, bool *made,
                               struct lw_error *error)
{
    char file[LW_PATH];
    struct lw_clock clock;
    struct lw_visit visit;
    struct lw_visit_facts facts;
    lw_path_join(file, sizeof file, cli->settings.visit, "visit.json");
    *made = !lw_file_exists(file);
    if (!*made) {
        return LW_OK;
    }
    lw_clock_system(&clock);
    lw_json_init(&lw_visit_shape, &facts);
    fill_facts(opening, &facts);
    enum lw_status status = lw_visit_open(cli->settings.visit, &facts, &clock, &visit, error);
    if (status == LW_OK) {
        lw_visit_close(&visit);
    }
    lw_json_free(&lw_visit_shape, &facts);
    return status;
}

int lw_cmd_visit(struct lw_cli *cli)
{
    struct opening opening = {0};
    const struct lw_option own[] = {
        {"engineer", 0, "NAME", LW_OPTION_TEXT, &opening.engineer, 0, 0, "who does the work"},
        {"company", 0, "NAME", LW_OPTION_TEXT, &opening.company, 0, 0, "for whom"},
        {"contact", 0, "NAME", LW_OPTION_TEXT, &opening.contact, 0, 0, "the customer's person"},
        {"machine-serial", 0, "TEXT", LW_OPTION_TEXT, &opening.machine_serial, 0, 0,
         "serial number of the machine"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    bool made = false;
    if (!lw_cli_parse(cli, own, 1, &exit_status)) {
        return exit_status;
    }
    opening.language = cli->settings.language;
    if (cli->rest[0] != NULL) {
        cli->settings.visit = cli->rest[0];
    }
    enum lw_status status =
        cli->settings.visit != NULL ? open_new(cli, &opening, &made, &error) : LW_OK;
    struct lw_session session;
    if (status == LW_OK) {
        status = lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_TAKES_PLAN, &error);
    }
    if (status != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    if (!made && any_given(&opening)) {
        exit_status = record_change(&session, &opening);
    }
    if (exit_status == LW_EXIT_OK) {
        print_visit(&session);
    }
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_visit = {
    "visit", "opens a visit, or shows how far it is", "[FOLDER]",
    "A visit is the folder with everything seen and decided on one day at one machine. Without a "
    "folder it shows the visit that it stands in.",
    lw_cmd_visit};
