// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk sim: a virtual chain for other programs.
#include "commands.h"

#include "base/text.h"
#include "chain/chain.h"
#include "cli/session.h"

struct serving {
    const char *pty;
    int tcp, rtu; // ports; -1: not asked for
    int tell;     // say when so many requests have come; 0: never
};

static void on_request(void *user, unsigned long count)
{
    const struct serving *serving = user;
    if (serving->tell > 0 && count == (unsigned long)serving->tell) {
        printf("request %lu\n", count);
        fflush(stdout);
    }
}

static enum lw_status open_outside(const struct serving *serving, const struct lw_framing *framing,
                                   struct lw_line **line, struct lw_error *error)
{
    const struct lw_line_options options = {.framing = *framing, .cancel = lw_cli_cancel()};
    if (serving->pty != NULL) {
        enum lw_status status = lw_pty_serve(serving->pty, &options, line, error);
        if (status == LW_OK) {
            printf("ready on %s\n", serving->pty);
        }
        return status;
    }
    bool mbap = serving->tcp >= 0;
    int bound = 0;
    enum lw_status status =
        lw_socket_serve(mbap ? serving->tcp : serving->rtu, mbap ? LW_ADU_MBAP : LW_ADU_RTU,
                        &options, &bound, line, error);
    if (status == LW_OK) {
        printf("ready on %s://127.0.0.1:%d\n", mbap ? "tcp" : "rtu", bound);
    }
    return status;
}

static enum lw_status serve(const struct lw_cli *cli, struct serving *serving, const char *path,
                            struct lw_error *error)
{
    struct lw_plan plan = {0};
    struct lw_chain *chain = NULL;
    struct lw_line *outside = NULL;
    struct lw_chain_options options = {.start_s =
                                           cli->settings.sim_at_s > 0 ? cli->settings.sim_at_s : 0};
    enum lw_status status =
        lw_plan_load(path, cli->settings.profiles, LW_PROFILESDIR, &plan, NULL, error);
    if (status == LW_OK) {
        status = lw_chain_new(&plan, &options, &chain, error);
    }
    if (status == LW_OK) {
        status = open_outside(serving, &plan.framing, &outside, error);
        fflush(stdout);
    }
    if (status == LW_OK) {
        const struct lw_serve_options served = {.framing = plan.framing,
                                                .cancel = lw_cli_cancel(),
                                                .user = serving,
                                                .on_request = on_request};
        status = lw_wire_serve(lw_chain_wire(chain), outside, &served, error);
    }
    lw_line_close(outside);
    lw_chain_free(chain);
    lw_plan_free(&plan);
    return status == LW_CANCELLED ? LW_OK : status; // Ctrl-C is how it is meant to end
}

int lw_cmd_sim(struct lw_cli *cli)
{
    struct serving serving = {.tcp = -1, .rtu = -1};
    const struct lw_option own[] = {
        {"pty", 0, "LINK", LW_OPTION_TEXT, &serving.pty, 0, 0,
         "serve on a pseudo-terminal, and make this link to it"},
        {"tcp", 0, "PORT", LW_OPTION_INTEGER, &serving.tcp, 0, 65535,
         "serve Modbus TCP on this port of 127.0.0.1 (0: any free one)"},
        {"rtu", 0, "PORT", LW_OPTION_INTEGER, &serving.rtu, 0, 65535,
         "serve RTU bytes on this port of 127.0.0.1"},
        {"tell", 0, "COUNT", LW_OPTION_INTEGER, &serving.tell, 1, 1000000000,
         "print a line when so many requests have come"},
        {0},
    };
    struct lw_error error = {0};
    char path[LW_PATH];
    int exit_status;
    if (!lw_cli_parse(cli, own, 1, &exit_status)) {
        return exit_status;
    }
    int ways = (serving.pty != NULL) + (serving.tcp >= 0) + (serving.rtu >= 0);
    const char *plan = cli->rest[0] != NULL ? cli->rest[0] : cli->settings.plan;
    if (plan == NULL || ways != 1) {
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
