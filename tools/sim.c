// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk sim: a virtual chain for other programs.
#include "commands.h"

#include "base/text.h"
#include "chain/chain.h"
#include "cli/serving.h"
#include "cli/session.h"

// Whoever asks a served chain has today's date: at another the calibrations that its nodes tell
// would be out of date.
static struct lw_chain_options starting_now(const struct lw_cli *cli)
{
    struct lw_clock clock;
    lw_clock_system(&clock);
    double start_s = cli->settings.sim_at_s > 0 ? cli->settings.sim_at_s : 0;
    int64_t now_ns = lw_clock_utc_ns(&clock, lw_clock_now_ns(&clock));
    return (struct lw_chain_options){
        .start_s = start_s, .utc_given = true, .start_utc_ns = now_ns - (int64_t)(start_s * 1e9)};
}

static enum lw_status serve(const struct lw_cli *cli, const struct lw_serving *serving,
                            const char *path, struct lw_error *error)
{
    struct lw_plan plan = {0};
    struct lw_chain *chain = NULL;
    const struct lw_chain_options options = starting_now(cli);
    enum lw_status status =
        lw_plan_load(path, cli->settings.profiles, LW_PROFILESDIR, &plan, NULL, error);
    if (status == LW_OK) {
        status = lw_chain_new(&plan, &options, &chain, error);
    }
    if (status == LW_OK) {
        status = lw_serving_run(serving, &plan.framing, lw_chain_wire(chain), error);
    }
    lw_chain_free(chain);
    lw_plan_free(&plan);
    return status;
}

int lw_cmd_sim(struct lw_cli *cli)
{
    struct lw_serving serving = {.tcp = -1, .rtu = -1};
    struct lw_option own[LW_SERVING_OPTIONS + 1] = {0};
    struct lw_error error = {0};
    char path[LW_PATH];
    int exit_status;
    lw_serving_options(&serving, own);
    if (!lw_cli_parse(cli, own, 1, &exit_status)) {
        return exit_status;
    }
    const char *plan = cli->rest[0] != NULL ? cli->rest[0] : cli->settings.plan;
    if (plan == NULL || lw_serving_ways(&serving) != 1) {
        lw_fail(&error, LW_USAGE,
                "linewalk sim PLAN, and one of --pty LINK, --tcp PORT, --rtu PORT");
        return lw_cli_fail(cli, &error);
    }
    if (lw_folder_exists(plan)) {
        lw_path_join(path, sizeof path, plan, "plan.json");
    } else {
        lw_copy(path, sizeof path, plan);
    }
    return serve(cli, &serving, path, &error) == LW_OK ? LW_EXIT_OK : lw_cli_fail(cli, &error);
}

const struct lw_command lw_command_sim = {
    "sim", "serves a virtual chain", "PLAN",
    "Makes a virtual chain of a plan and serves it to any program, on a pseudo-terminal or a port, "
    "until it is interrupted. It behaves as copper does, with the faults that the plan gives it.",
    lw_cmd_sim};
