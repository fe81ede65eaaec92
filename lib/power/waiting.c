// SPDX-License-Identifier: GPL-3.0-or-later
//
// Nodes that have not started draw their start-up current from drop_out_v upwards. One that cannot
// hold itself there hangs at the step and draws what is left: its electronics try and fail. They
// are found one by one, the lowest first, as the running nodes are that go off.
#include "power/solver.h"

// A node is moved once as a rule; one that is lifted again by another's giving up, a few times.
enum { ROUNDS_PER_TAP = 8 };

static bool is_full(const struct lw_solver *solver, const struct lw_point *point, size_t tap)
{
    return point->load_state[tap] == LW_LOAD_WAITING && solver->draw[tap] == LW_DRAW_FULL &&
           solver->ladder->taps[tap].load.kind != LW_LOAD_NONE &&
           solver->ladder->taps[tap].load.start_up_a > 0.0;
}

static double over_drop_out_v(const struct lw_solver *solver, size_t tap)
{
    return solver->volts[tap] - solver->ladder->taps[tap].load.drop_out_v;
}

// Largest deficit under drop-out, or without an operating point the lowest voltage; ties: the
// highest tap.
static bool move_one_to_ramp(struct lw_solver *solver, const struct lw_point *point, bool exists)
{
    bool found = false;
    size_t worst = 0;
    double worst_v = 0.0;
    for (size_t i = 0; i < solver->ladder->tap_count; i++) {
        if (!is_full(solver, point, i)) {
            continue;
        }
        double over_v = exists ? over_drop_out_v(solver, i) : solver->volts[i];
        if ((!exists || over_v < 0.0) && (!found || over_v <= worst_v)) {
            found = true;
            worst = i;
            worst_v = over_v;
        }
    }
    if (found) {
        solver->draw[worst] = LW_DRAW_RAMP;
    }
    return found;
}

// Off the ramp's foot a node draws nothing, over its top it draws all.
static bool leave_ramp(struct lw_solver *solver)
{
    bool any = false;
    for (size_t i = 0; i < solver->ladder->tap_count; i++) {
        if (solver->draw[i] != LW_DRAW_RAMP) {
            continue;
        }
        double over_v = over_drop_out_v(solver, i);
        if (over_v < -LW_RAMP_V || over_v > LW_RAMP_V) {
            solver->draw[i] = over_v > 0.0 ? LW_DRAW_FULL : LW_DRAW_NONE;
            any = true;
        }
    }
    return any;
}

bool lw_waiting_settle(struct lw_solver *solver, struct lw_point *point)
{
    size_t count = solver->ladder->tap_count;
    for (size_t i = 0; i < count; i++) {
        solver->draw[i] = LW_DRAW_FULL;
    }
    bool exists = lw_sources_settle(solver, point);
    for (size_t round = 0; round < ROUNDS_PER_TAP * count; round++) {
        if (!move_one_to_ramp(solver, point, exists) && !(exists && leave_ramp(solver))) {
            break;
        }
        exists = lw_sources_settle(solver, point);
    }
    return exists;
}
