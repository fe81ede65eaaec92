// SPDX-License-Identifier: GPL-3.0-or-later
//
// The dialog of the source test: a source is switched off, on, left on, switched off, and readings
// are taken after each.
#ifndef LW_CHECK_NOISE_SWITCH_H
#define LW_CHECK_NOISE_SWITCH_H

#include "check/dialog.h"
#include "check/noise.h"

// Plain memory. `source` is borrowed; `stretches` (struct lw_noise_stretch) fills as it goes.
// "Back" asks for and measures the stretch before again.
struct lw_switch {
    struct lw_dialog dialog;
    const char *source;
    struct lw_list stretches;
    bool answered;
};
void lw_switch_init(struct lw_switch *dialog, const char *source);
void lw_switch_finish(struct lw_switch *dialog);

// The stretch that was asked for has been measured. LW_MEMORY.
enum lw_status lw_switch_measured(struct lw_switch *dialog, double from_s, double to_s,
                                  struct lw_error *error);

#endif
