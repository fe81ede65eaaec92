// SPDX-License-Identifier: GPL-3.0-or-later
//
// Nodes that have not started draw their start-up current from drop_out_v upwards. One that cannot
// hold itself there hangs at the step and draws what is left: its electronics try and fail. They
// are found one by one, the lowest first, as the running nodes are that go off.
#include "power/solver.h"

// Rounding of a solved voltage.
static const double least_v = 1e-9;

// Not proved to end: in 3 of 1000 cold starts made to be hostile it went in circles until here,
// with a node some millivolts off its step and trapped in any case. A node is moved once as a rule;
// one that is lifted again by another's giving up, a few times.
enum { ROUNDS_PER_TAP = 8 };

static bool waits(const struct lw_solver *solver, const struct lw_point *point, size_t tap)
{
    return point->load_state[tap] == LW_LOAD_WAITING &&
           solver->ladder->taps[tap].load.kind != LW_LOAD_NONE &&
           solver->ladder->taps[tap].load.start_up_a > 0.0;
}

// How far the voltage is on the wrong side of what the node draws; 0 or below: it fits.
static double misfit_v(const struct lw_solver *solver, size_t tap)
{
    double over_v = solver->volts[tap] - solver->ladder->taps[tap].load.drop_out_v;
    switch (solver->draw[tap]) {
    case LW_DRAW_FULL:
        return -over_v;
    case LW_DRAW_RAMP:
        return over_v > 0.0 ? over_v : -LW_RAMP_V - over_v;
    case LW_DRAW_NONE:
        break;
    }
    return over_v + LW_RAMP_V;
}

static enum lw_draw next_draw(const struct lw_solver *solver, size_t tap)
{
    if (solver->draw[tap] != LW_DRAW_RAMP) {
        return LW_DRAW_RAMP;
    }
    bool is_over = solver->volts[tap] > solver->ladder->taps[tap].load.drop_out_v;
    return is_over ? LW_DRAW_FULL : LW_DRAW_NONE;
}

// The node that fits its voltage least, or without an operating point the lowest of those that draw
// all; ties: the highest tap. Returns whether there was one.
static bool move_one(struct lw_solver *solver, const struct lw_point *point, bool exists)
{
    bool found = false;
    size_t worst = 0;
    double worst_v = exists ? least_v : -INFINITY;
    for (size_t i = 0; i < solver->ladder->tap_count; i++) {
        if (!waits(solver, point, i) || (!exists && solver->draw[i] != LW_DRAW_FULL)) {
            continue;
        }
        double wrong_v = exists ? misfit_v(solver, i) : -solver->volts[i];
        if (wrong_v >= worst_v) {
            found = true;
            worst = i;
            worst_v = wrong_v;
        }
    }
    if (found) {
        solver->draw[worst] = next_draw(solver, worst);
    }
    return found;
}

// A supply that shuts itself down does so at the first rush; what the nodes do then does not bring
// it back.
static void hold_shut_down(struct lw_solver *solver, const struct lw_point *point)
{
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        solver->held_off[s] = point->source_mode[s] == LW_SOURCE_OFF;
    }
}

bool lw_waiting_settle(struct lw_solver *solver, struct lw_point *point)
{
    size_t count = solver->ladder->tap_count;
    for (size_t i = 0; i < count; i++) {
        solver->draw[i] = LW_DRAW_FULL;
    }
    bool exists = lw_sources_settle(solver, point);
    point->unsettled = false;
    for (size_t round = 0; move_one(solver, point, exists); round++) {
        point->unsettled = round == ROUNDS_PER_TAP * count;
        if (point->unsettled) {
            break;
        }
        hold_shut_down(solver, point);
        exists = lw_sources_settle(solver, point);
    }
    return exists;
}
