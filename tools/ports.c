// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk ports: hands over to the program that looks at USB, so that no other command waits for
// its libraries.
#include "cli/beside.h"
#include "ports_command.h"

int lw_cmd_ports(struct lw_cli *cli)
{
    struct lw_error error = {0};
    bool feeds_chain = false;
    int exit_status;
    if (!lw_ports_parse(cli, &feeds_chain, &exit_status)) {
        return exit_status;
    }
    if (cli->argc - 1 > LW_BESIDE_MOST) {
        lw_fail(&error, LW_USAGE, "too many arguments");
        return lw_cli_fail(cli, &error);
    }
    if (lw_run_beside("linewalk-ports", (const char *const *)cli->argv + 1, &exit_status, &error) !=
        LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    return exit_status;
}
