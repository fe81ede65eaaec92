// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk supply: draw against capacity, computed and measured.
#include "checks.h"

#include "base/text.h"
#include "check/supply.h"
#include "cli/output.h"
#include "commands.h"

static void print_taps(const struct lw_supply_result *result)
{
    static const char *const heads[] = {"tap|",        "node",     "plan V|", "worst V|",
                                        "read V|",     "least V|", "0 V up|", "span A|",
                                        "times plan|", "",         NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_supply_tap *taps = result->taps.items;
    const struct lw_supply_span *spans = result->spans.items;
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_supply_tap *tap = &taps[i];
        const struct lw_supply_span *span =
            i > 0 && i <= result->spans.count ? &spans[i - 1] : NULL;
        const char *const cells[] = {
            lw_cell_count(tap->tap),
            lw_cell_text(tap->node),
            lw_cell_number(tap->volts, 2),
            lw_cell_number(tap->worst_volts, 2),
            lw_cell_number(tap->measured_v, 2),
            lw_cell_number(tap->minimum_v, 1),
            lw_cell_number(tap->zero_rise_v, 2),
            span != NULL ? lw_cell_number(span->amps, 2) : "-",
            span != NULL ? lw_cell_number(span->ratio_to_plan, 1) : "-",
            !tap->on && tap->node != NULL ? "off" : "",
        };
        lw_cli_table_row(table, cells);
    }
    lw_cli_table_print(table);
}

static void print_supplies(const struct lw_supply_result *result)
{
    static const char *const heads[] = {"supply",  "tap|", "amps|", "limit A|",
                                        "load %|", "mode", NULL};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_supply_supply *supplies = result->supplies.items;
    for (size_t i = 0; i < result->supplies.count; i++) {
        const char *const cells[] = {
            lw_cell_text(supplies[i].name),          lw_cell_count(supplies[i].tap),
            lw_cell_number(supplies[i].amps, 2),     lw_cell_number(supplies[i].limit_a, 2),
            lw_cell_number(supplies[i].load_pct, 0), lw_cell_text(supplies[i].mode),
        };
        lw_cli_table_row(table, cells);
    }
    putchar('\n');
    lw_cli_table_print(table);
}

static void print_cautions(void)
{
    lw_print_wrapped("\ncaution: ", 9, 9,
                     _("isolate a section before one of its joints is opened; feed a section from "
                       "one source only, unless the sources are made to share; fuses and "
                       "conductors to the local rules; plug no node in under power unless its "
                       "maker allows it. Local codes, the makers' instructions and qualified "
                       "persons come first."));
}

static enum lw_status measure(struct lw_session *session, struct lw_supply_measured *measured,
                              struct lw_supply_result *result, struct lw_error *error)
{
    struct lw_client *client = NULL;
    enum lw_status status = lw_session_client(session, &client, error);
    if (status == LW_OK) {
        status = lw_supply_measure(&session->run, client, &session->plan, session->selected,
                                   measured, error);
    }
    return status == LW_OK ? lw_supply_judge(&session->plan, measured, result, error) : status;
}

int lw_do_supply(struct lw_session *session, bool computed, bool required)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_supply_result result;
    struct lw_supply_measured measured = {0};
    lw_json_init(&lw_supply_shape, &result);
    enum lw_status status = lw_step_begin(session, &step, "supply", false, &error);
    if (status == LW_OK) {
        status = lw_supply_compute(&session->plan, &result, &error);
    }
    bool has_result = status == LW_OK;
    if (status == LW_OK && !computed) {
        status = measure(session, &measured, &result, &error);
    }
    if (has_result) {
        lw_supply_findings(&session->plan, status == LW_OK && !computed ? &measured : NULL, &result,
                           &step.rule, &step.findings);
        step.has_rule = true;
    }
    step.shape = has_result ? &lw_supply_shape : NULL;
    step.result = &result;
    int exit_status = lw_step_end(session, &step, status, &error, required);
    if (!session->cli->settings.json && has_result) {
        print_taps(&result);
        print_supplies(&result);
    }
    lw_step_print(session, &step);
    if (!session->cli->settings.json && has_result) {
        print_cautions();
    }
    lw_findings_free(&step.findings);
    lw_supply_measured_free(&measured);
    lw_json_free(&lw_supply_shape, &result);
    return exit_status;
}

int lw_cmd_supply(struct lw_cli *cli)
{
    bool computed = false;
    const struct lw_option own[] = {
        {"computed", 0, NULL, LW_OPTION_FLAG, &computed, 0, 0,
         "only from the plan, even where there is a line"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    computed = computed || cli->settings.on == NULL;
    struct lw_session session;
    unsigned needs = LW_NEEDS_PLAN | (computed ? 0 : LW_NEEDS_LINE);
    if (lw_session_open(&session, cli, needs, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = lw_do_supply(&session, computed, !computed);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_supply = {
    "supply", "draw against capacity, computed and measured", "",
    "Computes the voltage at every tap and the load of every supply from the plan; with --on it "
    "reads the nodes' own voltmeters beside that and looks for a span with too much resistance.",
    lw_cmd_supply};
