// SPDX-License-Identifier: GPL-3.0-or-later
//
// The words and options of linewalk watch.
#include "watch_command.h"

bool lw_watch_parse(struct lw_cli *cli, struct lw_watch_request *request, int *exit_status)
{
    *request = (struct lw_watch_request){.sim_speed = 1};
    const struct lw_option own[] = {
        {"seconds", 't', "TIME", LW_OPTION_DURATION, &request->seconds, 0.1, 1e6,
         "end after so long; by default with the key q"},
        {"hold", 0, NULL, LW_OPTION_FLAG, &request->hold, 0, 0,
         "then keep the last picture until the key q"},
        {"window", 0, "TIME", LW_OPTION_DURATION, &request->window_s, 0.5, 600,
         "the spread is that of so many last seconds, 5 by default"},
        {"hands-off", 0, NULL, LW_OPTION_FLAG, &request->hands_off, 0, 0,
         "nobody reaches into the machine: do not ask whether the drives are locked out"},
        {"answers", 0, "FILE", LW_OPTION_TEXT, &request->answers, 0, 0,
         "take the answers to that question from a file"},
        {"sim-speed", 0, "FACTOR", LW_OPTION_NUMBER, &request->sim_speed, 0, 1000,
         "let so many seconds of a virtual chain pass in one, 1 by default; 0: as fast as it goes"},
        {0},
    };
    return lw_cli_parse(cli, own, 1, exit_status);
}

const struct lw_command lw_command_watch = {
    "watch", "a live view of the chain while plugs are wiggled", "",
    "Shows the whole chain on the full screen, node by node in the order of the taps: how it is, "
    "its "
    "reading in its range, how far it wanders, its volts, and what happens, as it happens. Made "
    "for "
    "finding the joint that fails by wiggling: the far end is asked all the time, a silent node "
    "again "
    "at once, and where a break is, is looked for by halving. Keys: t sorts by trouble, space "
    "freezes the picture, m writes a mark into the record, h says where the hands are, b switches "
    "the bell, arrows move, q ends.",
    lw_cmd_watch};
