// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the files of this room share while they solve one ladder: the memory, taken once, and the
// three layers that stand on each other. newton.c finds the highest operating point with the
// sources' reverse and protective behaviour given; sources.c settles that behaviour; waiting.c
// settles how much the nodes draw that have not started. Private to this room.
//
// Why the order works. Seen from its tap, a source that may sink and is limited gives
// min(limit, (E - u) / R), a concave function of its voltage, and a load draws a convex one. So
// Newton's method from the no-load profile falls monotonically to the highest operating point, and
// passes through the limits on its way. Blocking is not concave, hence decided outside: block the
// sources that sink in the solution and solve again. That raises every voltage, so a source once
// blocked stays so, and the loop ends after as many rounds as there are sources. Only when nothing
// stands with the sources sinking is it tried the other way round, waking those that are needed.
#ifndef LW_POWER_SOLVER_H
#define LW_POWER_SOLVER_H

#include "power/ladder.h"
#include "power/network.h"

// How a waiting node draws: its start-up current is a step at drop_out_v, taken as a ramp over
// LW_RAMP_V below it, so that a node that cannot lift itself over the step has a static average.
enum lw_draw { LW_DRAW_FULL, LW_DRAW_RAMP, LW_DRAW_NONE };

#define LW_RAMP_V 1e-3

// What a load draws in the state it is in, the common factor counted: watts, amperes, siemens, or
// siemens from the ramp's foot.
enum lw_law { LW_LAW_NOTHING, LW_LAW_POWER, LW_LAW_CURRENT, LW_LAW_OHM, LW_LAW_RAMP };
struct lw_demand {
    enum lw_law law;
    double value;
};

struct lw_solver {
    const struct lw_ladder *ladder;
    struct lw_cell *cells;
    double *bond_s;            // per tap; NULL without bonds
    double *volts;             // V+ to 0 V per tap: the last iterate that fell, or the solution
    double *next_volts;        // per tap
    struct lw_demand *demands; // per tap
    enum lw_draw *draw;        // per tap
    size_t *reference;         // per tap: the source whose 0 V terminal is its zero
    size_t *outward;           // sources by their taps, the far end first
    bool *blocked;             // per source
    bool *off_before;          // per source: off before the solving began
    bool *held_off;            // per source: off, and stays so while it is settled
    bool *tripped;      // per source: off when more than the carried part of the loads is asked
    double *terminal_v; // per source: its 0 V terminal in the network's own datum
    double factor;      // on all loads
    unsigned iterations;
};

enum lw_status lw_solver_init(struct lw_solver *solver, const struct lw_ladder *ladder,
                              struct lw_error *error);
void lw_solver_finish(struct lw_solver *solver);

// Takes changed resistances and bonds of the ladder over; cuts, taps of sources and whether there
// are bonds must be the same.
void lw_solver_load(struct lw_solver *solver);

// Highest operating point for solver->factor. False: there is none, and volts is the last iterate
// above it.
bool lw_newton(struct lw_solver *solver, struct lw_point *point);
bool lw_sources_settle(struct lw_solver *solver, struct lw_point *point);

// From solver->volts and the modes as they are, on a ladder little changed. A solution at which the
// matrix is positive definite is the highest one, wherever the steps began. False: not found, or a
// source would have to change over; then solve afresh.
bool lw_newton_follow(struct lw_solver *solver, struct lw_point *point);
bool lw_sources_follow(struct lw_solver *solver, struct lw_point *point);
bool lw_waiting_settle(struct lw_solver *solver, struct lw_point *point);

// A source by the mode it has at this voltage.
enum lw_source_mode lw_source_mode_at(const struct lw_source *source, double volts);
struct lw_branch lw_source_branch(const struct lw_source *source, enum lw_source_mode mode);

// A tap's demand as siemens * volts + amperes, the tangent at the solver's volts (above 0).
struct lw_branch lw_demand_branch(const struct lw_solver *solver, size_t tap);

// The whole of lw_ladder_solve() in given memory.
void lw_solver_run(struct lw_solver *solver, struct lw_point *point);

// Taps whose 0 V hangs together, through the rail or through the frame, get one section's number,
// 0..tap_count.
void lw_number_sections(const struct lw_ladder *ladder, size_t *section);

// Node voltage at a tap of a point.
static inline double lw_point_volts(const struct lw_point *point, size_t tap)
{
    return point->plus_v[tap] - point->zero_v[tap];
}

#endif
