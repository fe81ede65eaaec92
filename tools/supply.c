// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk supply: draw against capacity, computed and measured.
#include "checks.h"

#include "commands.h"
#include "supply_print.h"

#include <limits.h>

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

int lw_do_supply(struct lw_session *session, const struct lw_supply_request *request, bool required)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_supply_result result;
    struct lw_supply_measured measured = {0};
    const struct lw_supply_options options = {.draws = (uint64_t)request->draws,
                                              .seed = (uint64_t)request->seed};
    lw_json_init(&lw_supply_shape, &result);
    enum lw_status status = lw_step_begin(session, &step, "supply", false, &error);
    if (status == LW_OK) {
        status = lw_supply_compute(&session->plan, &options, &result, &error);
    }
    bool has_result = status == LW_OK;
    if (status == LW_OK && !request->computed) {
        status = measure(session, &measured, &result, &error);
    }
    if (has_result) {
        lw_supply_findings(&session->plan, status == LW_OK && !request->computed ? &measured : NULL,
                           &result, &step.rule, &step.findings);
        step.has_rule = true;
    }
    step.shape = has_result ? &lw_supply_shape : NULL;
    step.result = &result;
    int exit_status = lw_step_end(session, &step, status, &error, required);
    bool shown = !session->cli->settings.json && has_result;
    if (shown) {
        lw_print_supply(&result);
    }
    lw_step_print(session, &step);
    if (shown) {
        lw_print_supply_cautions();
    }
    lw_findings_free(&step.findings);
    lw_supply_measured_free(&measured);
    lw_json_free(&lw_supply_shape, &result);
    return exit_status;
}

int lw_cmd_supply(struct lw_cli *cli)
{
    struct lw_supply_request request = {.draws = LW_SUPPLY_DRAWS, .seed = 1};
    const struct lw_option own[] = {
        {"computed", 0, NULL, LW_OPTION_FLAG, &request.computed, 0, 0,
         "only from the plan, even where there is a line"},
        {"draws", 0, "N", LW_OPTION_INTEGER, &request.draws, 0, 10000000,
         "draws of all tolerances for the probabilities (10000); 0: none"},
        {"seed", 0, "N", LW_OPTION_INTEGER, &request.seed, 0, INT_MAX,
         "of the draws (1): the same seed draws the same"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    request.computed = request.computed || cli->settings.on == NULL;
    struct lw_session session;
    unsigned needs = LW_NEEDS_PLAN | (request.computed ? 0 : LW_NEEDS_LINE);
    if (lw_session_open(&session, cli, needs, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = lw_do_supply(&session, &request, !request.computed);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_supply = {
    "supply", "draw against capacity, computed and measured", "",
    "Computes the voltage at every tap and the load of every supply from the plan; with --on it "
    "reads the nodes' own voltmeters beside that and looks for a span with too much resistance.",
    lw_cmd_supply};
