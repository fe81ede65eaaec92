// SPDX-License-Identifier: GPL-3.0-or-later
//
// The words and options of linewalk watch. Two programs parse them: linewalk, which hands over, and
// linewalk-watch, which does the work; each has a lw_cmd_watch() of its own.
#ifndef LW_TOOLS_WATCH_COMMAND_H
#define LW_TOOLS_WATCH_COMMAND_H

#include "commands.h"

struct lw_watch_request {
    double seconds, window_s; // 0: until quit; 0: as lw_live_options
    bool hold;                // keep the last picture after `seconds`
    bool hands_off;           // nobody reaches into the machine
    const char *answers;      // file of answers; NULL: the terminal
    double sim_speed;         // seconds of a virtual chain in a second; 0: as fast as it goes
};
// As lw_cli_parse().
bool lw_watch_parse(struct lw_cli *cli, struct lw_watch_request *request, int *exit_status);

#endif
