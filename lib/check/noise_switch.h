// SPDX-License-Identifier: GPL-3.0-or-later
//
// The dialog of the source test: a source is switched off, on, left on, switched off, and readings
// are taken after each. A state machine: it asks, takes an answer or a step back, says when to
// measure; whoever drives it (a terminal, a file of answers) does the rest.
#ifndef LW_CHECK_NOISE_SWITCH_H
#define LW_CHECK_NOISE_SWITCH_H

#include "check/noise.h"

enum lw_switch_next { LW_SWITCH_ASK, LW_SWITCH_MEASURE, LW_SWITCH_DONE };

// Plain memory. `source` is borrowed; `stretches` (struct lw_noise_stretch) fills as it goes.
struct lw_switch {
    const char *source;
    struct lw_list stretches;
    bool answered;
};
void lw_switch_init(struct lw_switch *dialog, const char *source);
void lw_switch_finish(struct lw_switch *dialog);

// What is to be done now. With LW_SWITCH_ASK the question, which is obvious to answer "yes".
enum lw_switch_next lw_switch_next(const struct lw_switch *dialog, char *question, size_t size);

// "yes" or "": it is so, measure. "back": the stretch before is asked and measured again. LW_USAGE
// for anything else, and for "back" at the first question; the question then stands.
enum lw_status lw_switch_answer(struct lw_switch *dialog, const char *answer,
                                struct lw_error *error);

// The stretch that was asked for has been measured. LW_MEMORY.
enum lw_status lw_switch_measured(struct lw_switch *dialog, double from_s, double to_s,
                                  struct lw_error *error);

#endif
