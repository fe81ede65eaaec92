// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk commission: the whole walk on one open line. What the visit has already is not done
// again, so that a walk goes on after a flat battery; a check left out needs a reason.
#include "checks.h"

#include "base/text.h"
#include "check/acceptance.h"
#include "commands.h"

enum { MOST_SKIPS = 8 };

struct walk {
    struct lw_session session;
    const char *skip; // "link:no time, supply:no plan of it"
    bool again;
    int exit_status;
};

static const char *const walk_order[] = {"scan", "roster", "link", "supply", "noise", "touch"};

// The reason behind "CHECK:" in the list, into `reason`; false when the check is not left out.
static bool skip_reason(const char *list, const char *check, char *reason, size_t size)
{
    for (const char *at = list; at != NULL && *at != '\0';) {
        size_t length = strcspn(at, ",");
        size_t name = strcspn(at, ":");
        if (name < length && name == strlen(check) && strncmp(at, check, name) == 0) {
            lw_text_clean(reason, size, at + name + 1, length - name - 1);
            return true;
        }
        at += length + (at[length] == ',');
    }
    return false;
}

static enum lw_status check_skips(const char *list, struct lw_error *error)
{
    for (const char *at = list; at != NULL && *at != '\0';) {
        size_t length = strcspn(at, ",");
        size_t name = strcspn(at, ":");
        bool known = false;
        for (size_t i = 0; i < sizeof walk_order / sizeof *walk_order; i++) {
            known =
                known || (name == strlen(walk_order[i]) && strncmp(at, walk_order[i], name) == 0);
        }
        if (!known || name + 1 >= length) {
            return lw_fail(error, LW_USAGE,
                           "--skip takes CHECK:REASON, and CHECK is one of scan, roster, link, "
                           "supply, noise, touch");
        }
        at += length + (at[length] == ',');
    }
    return LW_OK;
}

static bool is_required(const struct lw_plan *plan, const char *check)
{
    char *const *names = plan->required_checks.items;
    for (size_t i = 0; i < plan->required_checks.count; i++) {
        if (strcmp(names[i], check) == 0) {
            return true;
        }
    }
    return false;
}

// What needs hands in the machine is walked where the plan requires it.
static bool belongs(const struct lw_plan *plan, const char *check)
{
    return strcmp(check, "touch") != 0 || is_required(plan, check);
}

static int run_check(struct walk *walk, const char *check, bool required)
{
    struct lw_session *session = &walk->session;
    if (strcmp(check, "scan") == 0) {
        struct lw_scan_options options = {.gentle = session->cli->settings.gentle};
        return lw_do_scan(session, &options, required);
    }
    if (strcmp(check, "touch") == 0) {
        const struct lw_touch_request request = {.returns = 3, .wait_s = 60, .return_limit = NAN};
        return lw_do_touch(session, &request, required);
    }
    if (strcmp(check, "roster") == 0) {
        struct lw_roster_request request = {0};
        return lw_do_roster(session, &request, required);
    }
    if (strcmp(check, "link") == 0) {
        return lw_do_link(session, &(struct lw_link_request){.most_s = 600}, required);
    }
    if (strcmp(check, "supply") == 0) {
        const struct lw_supply_request request = {
            .draws = LW_SUPPLY_DRAWS, .seed = 1, .ambient_c = NAN};
        return lw_do_supply(session, &request, required);
    }
    struct lw_noise_request request = {.limit = NAN};
    return lw_do_noise(session, &request, required);
}

static int record_skip(struct walk *walk, const char *check, const char *reason)
{
    struct lw_error error = {0};
    struct lw_step step;
    enum lw_status status = lw_step_begin(&walk->session, &step, check, false, &error);
    step.skipped = reason;
    if (status == LW_OK) {
        struct lw_finding *finding = lw_findings_add(
            &step.findings, "commission_skipped", LW_NOT_TESTED, "%s left out: %s", check, reason);
        lw_finding_about(&step.findings, finding, check);
    }
    int exit_status = lw_step_end(&walk->session, &step, status, &error, false);
    lw_step_print(&walk->session, &step);
    lw_findings_free(&step.findings);
    return exit_status;
}

// The plan and the profiles of now are among those that the record used.
static bool used_this_plan(const struct lw_session *session, const struct lw_record *record)
{
    const struct lw_record_file *inputs = record->inputs.items;
    for (size_t i = 0; i < session->inputs.count; i++) {
        bool same = false;
        for (size_t k = 0; k < record->inputs.count && !same; k++) {
            same = strcmp(inputs[k].sha256, session->inputs.items[i].digest) == 0;
        }
        if (!same) {
            return false;
        }
    }
    return true;
}

static bool done_before(const struct walk *walk, const char *check)
{
    const struct lw_record *record = lw_records_last(&walk->session.records, check, true);
    const char *part = lw_session_part(&walk->session, check);
    return !walk->again && record != NULL && record->complete && record->skipped == NULL &&
           used_this_plan(&walk->session, record) &&
           (record->part == NULL || (part != NULL && strcmp(record->part, part) == 0));
}

// A verdict of 1 goes on to the next check; a line that failed or an interruption ends the walk.
static void walk_on(struct walk *walk)
{
    for (size_t i = 0; i < sizeof walk_order / sizeof *walk_order; i++) {
        const char *check = walk_order[i];
        char reason[200];
        int exit_status;
        if (!belongs(&walk->session.plan, check)) {
            continue;
        }
        printf("%s%s\n", i > 0 ? "\n" : "", check);
        if (done_before(walk, check)) {
            printf("done before in this visit (--again does it anew)\n");
            continue;
        }
        if (skip_reason(walk->skip, check, reason, sizeof reason)) {
            exit_status = record_skip(walk, check, reason);
        } else {
            exit_status = run_check(walk, check, is_required(&walk->session.plan, check));
        }
        walk->exit_status = lw_exit_worse(walk->exit_status, exit_status);
        if (exit_status > LW_EXIT_VERDICT) {
            return;
        }
    }
}

int lw_cmd_commission(struct lw_cli *cli)
{
    struct walk walk = {.exit_status = LW_EXIT_OK};
    const char *report = NULL;
    const struct lw_option own[] = {
        {"skip", 0, "CHECK:REASON", LW_OPTION_TEXT, &walk.skip, 0, 0,
         "leave a check out, with the reason for the record; several with commas"},
        {"again", 0, NULL, LW_OPTION_FLAG, &walk.again, 0, 0,
         "do checks again that this visit has already"},
        {"output", 0, "FILE", LW_OPTION_TEXT, &report, 0, 0,
         "where to write the report; by default report.html in the visit"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    enum lw_status status = check_skips(walk.skip, &error);
    if (status == LW_OK) {
        status = lw_session_open(&walk.session, cli, LW_NEEDS_LINE | LW_NEEDS_PLAN | LW_NEEDS_VISIT,
                                 &error);
    }
    if (status != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    walk_on(&walk);
    if (walk.exit_status <= LW_EXIT_VERDICT && !cli->settings.json) {
        putchar('\n');
        exit_status = lw_do_report(&walk.session, NULL, report);
        walk.exit_status = lw_exit_worse(walk.exit_status, exit_status);
    }
    lw_session_close(&walk.session);
    return walk.exit_status;
}

const struct lw_command lw_command_commission = {
    "commission", "the whole walk, then the report", "",
    "Scan, roster, link, supply and noise in order on one open line, and touch where the plan "
    "requires it, then the report. It goes on where an earlier walk of the same visit stopped.",
    lw_cmd_commission};
