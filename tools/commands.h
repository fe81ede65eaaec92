// SPDX-License-Identifier: GPL-3.0-or-later
//
// The commands of linewalk, one file each.
#ifndef LW_TOOLS_COMMANDS_H
#define LW_TOOLS_COMMANDS_H

#include "cli/cli.h"

extern const struct lw_command lw_command_assign, lw_command_visit, lw_command_ports,
    lw_command_scan, lw_command_roster, lw_command_link, lw_command_supply, lw_command_noise,
    lw_command_restart, lw_command_touch, lw_command_note, lw_command_compare, lw_command_report,
    lw_command_commission, lw_command_sim, lw_command_listen, lw_command_replay, lw_command_decode,
    lw_command_meter, lw_command_checklist, lw_command_watch;

int lw_cmd_assign(struct lw_cli *cli);
int lw_cmd_visit(struct lw_cli *cli);
int lw_cmd_ports(struct lw_cli *cli);
int lw_cmd_scan(struct lw_cli *cli);
int lw_cmd_roster(struct lw_cli *cli);
int lw_cmd_link(struct lw_cli *cli);
int lw_cmd_supply(struct lw_cli *cli);
int lw_cmd_noise(struct lw_cli *cli);
int lw_cmd_touch(struct lw_cli *cli);
int lw_cmd_restart(struct lw_cli *cli);
int lw_cmd_note(struct lw_cli *cli);
int lw_cmd_compare(struct lw_cli *cli);
int lw_cmd_meter(struct lw_cli *cli);
int lw_cmd_checklist(struct lw_cli *cli);
int lw_cmd_report(struct lw_cli *cli);
int lw_cmd_commission(struct lw_cli *cli);
int lw_cmd_replay(struct lw_cli *cli);
int lw_cmd_sim(struct lw_cli *cli);
int lw_cmd_listen(struct lw_cli *cli);
int lw_cmd_decode(struct lw_cli *cli);
int lw_cmd_watch(struct lw_cli *cli);

#endif
