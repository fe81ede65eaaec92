// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk watch: becomes the program that draws on the full screen, so that no other command waits
// for its library, and no other process stands between the terminal and it.
#include "cli/beside.h"
#include "watch_command.h"

int lw_cmd_watch(struct lw_cli *cli)
{
    struct lw_error error = {0};
    struct lw_watch_request request;
    int exit_status;
    if (!lw_watch_parse(cli, &request, &exit_status)) {
        return exit_status;
    }
    if (cli->argc - 1 > LW_BESIDE_MOST) {
        lw_fail(&error, LW_USAGE, "too many arguments");
        return lw_cli_fail(cli, &error);
    }
    lw_become_beside("linewalk-watch", (const char *const *)cli->argv + 1, &error);
    return lw_cli_fail(cli, &error);
}
