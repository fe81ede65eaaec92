// SPDX-License-Identifier: GPL-3.0-or-later
//
// The dialog of the restart test: off, on, section by section, cycle by cycle.
#ifndef LW_CHECK_RESTART_DIALOG_H
#define LW_CHECK_RESTART_DIALOG_H

#include "check/dialog.h"
#include "check/restart.h"

// Plain memory; `plan` is borrowed. "Back" goes to where the cycle is switched off, or to the cycle
// before: a cycle that is done again takes the place of what it was.
struct lw_restart_dialog {
    struct lw_dialog dialog;
    const struct lw_plan *plan;
    int cycles;
    bool switches_known, one_switch;
    int cycle;   // from 1
    size_t step; // 0: off; then each turn on
    bool answered;
};
void lw_restart_dialog_init(struct lw_restart_dialog *dialog, const struct lw_plan *plan,
                            int cycles);

// What the answer just given means: a switch was turned.
struct lw_restart_act {
    int cycle;
    enum lw_restart_order order;
    int supply; // or LW_RESTART_ALL
    bool on;
    bool ends_cycle, ends_all;
};
struct lw_restart_act lw_restart_dialog_act(const struct lw_restart_dialog *dialog);
// It was done and watched: the next question may come.
void lw_restart_dialog_acted(struct lw_restart_dialog *dialog);

#endif
