// SPDX-License-Identifier: GPL-3.0-or-later
//
// The load step: a known load at the far end is off, on, still on, off, and the nodes' voltmeters
// are read each time. Their constant errors and the nodes' own draw cancel, a drift in a straight
// line too, and the load's current flows through every span.
#ifndef LW_CHECK_SUPPLY_STEP_H
#define LW_CHECK_SUPPLY_STEP_H

#include "check/dialog.h"
#include "check/supply.h"

enum { LW_SUPPLY_STRETCHES = 4 };

// Plain memory apart from `stretches`; the plan is borrowed.
struct lw_supply_step {
    struct lw_dialog dialog;
    const struct lw_plan *plan;
    double most_a;  // that the tail carries, as planned or, once measured, as measured
    double way_ohm; // planned, both rails to the tail
    char where[80];
    bool plugged, answered;
    double amps; // of the load, as the person says; 0: not asked yet
    size_t done; // stretches
    struct lw_supply_measured stretches[LW_SUPPLY_STRETCHES];
};

// Least step that says something about joints beside readings in steps of 10 mV; our choice.
#define LW_SUPPLY_LEAST_STEP_A 0.02

// Finds the largest load, at most `asked_a`, with which every node keeps its minimum, no supply
// reaches its limit and no span its rating (as planned). LW_USAGE when not even
// LW_SUPPLY_LEAST_STEP_A is left, or the plan has no operating point; LW_MEMORY. Finish it even
// after a failure.
enum lw_status lw_supply_step_init(struct lw_supply_step *step, const struct lw_plan *plan,
                                   double asked_a, struct lw_error *error);
void lw_supply_step_finish(struct lw_supply_step *step);

// Whether the load is to be on in the stretch that is measured next.
bool lw_supply_step_is_on(const struct lw_supply_step *step);

// Takes the stretch that was asked for; `measured` is moved from. After the first, a load under
// which a node would fall below its minimum, as its own voltmeter has it, is asked for anew,
// smaller.
void lw_supply_step_measured(struct lw_supply_step *step, struct lw_supply_measured *measured);

// The four as one measurement: the mean of both "off", and by how much each node fell. LW_MEMORY.
enum lw_status lw_supply_step_join(const struct lw_supply_step *step,
                                   struct lw_supply_measured *measured, struct lw_error *error);

#endif
