// SPDX-License-Identifier: GPL-3.0-or-later
//
// The words and options of linewalk ports.
#include "ports_command.h"

bool lw_ports_parse(struct lw_cli *cli, bool *feeds_chain, int *exit_status)
{
    const struct lw_option own[] = {
        {"feeds-chain", 0, NULL, LW_OPTION_FLAG, feeds_chain, 0, 0,
         "the chain gets its power through the adapter, from USB: is that enough?"},
        {0},
    };
    return lw_cli_parse(cli, own, 1, exit_status);
}

const struct lw_command lw_command_ports = {
    "ports", "the serial ports of this machine", "[PORT]",
    "Lists the serial ports: what their adapters are, how USB feeds them, who holds them, whether "
    "you may open them. With the name of one, all that is known of it; for that it is opened, "
    "which "
    "raises DTR and RTS for a moment. Works without root, and says what root would add.",
    lw_cmd_ports};
