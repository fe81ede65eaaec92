// SPDX-License-Identifier: GPL-3.0-or-later
//
// Keeps the machine from going to sleep in the middle of a long run: a laptop beside a cabinet that
// nobody types on, or whose lid is shut.
#ifndef LW_CLI_AWAKE_H
#define LW_CLI_AWAKE_H

#include "base/error.h"

// Zero: nothing is held.
struct lw_awake {
    int process; // of the helper that holds the lock
    int hold;    // it ends when this is closed, so the lock outlives this process in no case
};

// Asks the system's login manager not to sleep, neither by itself nor when the lid is shut, through
// systemd-inhibit (a program of its own, since its library would slow down every command's start).
// Returns when the lock is held, within 3 s. LW_SYSTEM when it is not to be had, and why.
enum lw_status lw_awake_begin(struct lw_awake *awake, struct lw_error *error);

// Gives it back. Nothing held is allowed.
void lw_awake_end(struct lw_awake *awake);

#endif
