// SPDX-License-Identifier: GPL-3.0-or-later
//
// The words and options of linewalk ports. Two programs parse them: linewalk, which hands over, and
// linewalk-ports, which does the work; each has a lw_cmd_ports() of its own.
#ifndef LW_TOOLS_PORTS_COMMAND_H
#define LW_TOOLS_PORTS_COMMAND_H

#include "commands.h"

// As lw_cli_parse(). The port's name, when one is given, is the first of the rest.
bool lw_ports_parse(struct lw_cli *cli, bool *feeds_chain, int *exit_status);

#endif
