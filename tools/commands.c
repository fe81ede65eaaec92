// SPDX-License-Identifier: GPL-3.0-or-later
//
// The list of commands, in the order of a day.
#include "commands.h"

#include <stddef.h>

const struct lw_command *const lw_commands[] = {
    &lw_command_visit,     &lw_command_ports,
    &lw_command_listen,    &lw_command_decode,
    &lw_command_scan,      &lw_command_roster,
    &lw_command_link,      &lw_command_supply,
    &lw_command_noise,     &lw_command_meter,
    &lw_command_checklist, &lw_command_touch,
    &lw_command_watch,     &lw_command_restart,
    &lw_command_note,      &lw_command_compare,
    &lw_command_report,    &lw_command_commission,
    &lw_command_assign,    &lw_command_replay,
    &lw_command_sim,       NULL,
};
