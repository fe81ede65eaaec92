// SPDX-License-Identifier: GPL-3.0-or-later
//
// Newton's method from the no-load profile. Each step lays tangents on the loads. As long as an
// operating point lies below, the tangents' matrix is positive definite and the voltages fall; a
// matrix that is not, or a step that raises the loads, proves that there is none. (Where the frame
// joins the 0 V of stretches whose V+ is cut, a load in one can lift a node of the other by a
// trifle, so a step counts as raising only when its largest rise exceeds its largest fall.)
#include "power/solver.h"

// A fall by less than stop_v squares away in the step after; a rise by less than rise_v is
// rounding.
static const double stop_v = 1e-10;
static const double rise_v = 1e-9;

// 1e-10 below the largest load that solves, 20 steps suffice; more say that it is passed.
enum { MOST_STEPS = 60 };

struct lw_branch lw_load_branch(const struct lw_load *load, enum lw_load_state state,
                                enum lw_draw draw, double volts)
{
    if (load->kind == LW_LOAD_NONE || state == LW_LOAD_OFF) {
        return (struct lw_branch){0};
    }
    if (state == LW_LOAD_WAITING) {
        double slope = load->start_up_a / LW_RAMP_V;
        return draw == LW_DRAW_NONE ? (struct lw_branch){0}
               : draw == LW_DRAW_FULL
                   ? (struct lw_branch){.amperes = load->start_up_a}
                   : (struct lw_branch){slope, -slope * (load->drop_out_v - LW_RAMP_V)};
    }
    if (load->kind == LW_LOAD_POWER) {
        double amperes = load->value / volts;
        return (struct lw_branch){-amperes / volts, 2.0 * amperes};
    }
    return load->kind == LW_LOAD_CURRENT ? (struct lw_branch){.amperes = load->value}
                                         : (struct lw_branch){.siemens = 1.0 / load->value};
}

static void clear_branches(struct lw_solver *solver)
{
    for (size_t i = 0; i < solver->ladder->tap_count; i++) {
        solver->cells[i].siemens = 0.0;
        solver->cells[i].amperes = 0.0;
    }
}

static void add_source(struct lw_solver *solver, size_t index, enum lw_source_mode mode)
{
    const struct lw_source *source = &solver->ladder->sources[index];
    struct lw_branch branch = lw_source_branch(source, mode);
    solver->cells[source->tap].siemens += branch.siemens;
    solver->cells[source->tap].amperes += branch.amperes;
}

static bool carries(const struct lw_solver *solver, const struct lw_point *point, size_t index)
{
    return !solver->blocked[index] && point->source_mode[index] != LW_SOURCE_OFF;
}

// All loads away, no source limited: above every operating point.
static bool no_load_profile(struct lw_solver *solver, struct lw_point *point)
{
    const struct lw_ladder *ladder = solver->ladder;
    clear_branches(solver);
    for (size_t s = 0; s < ladder->source_count; s++) {
        if (carries(solver, point, s)) {
            add_source(solver, s, LW_SOURCE_VOLTAGE);
        }
    }
    if (!lw_network_solve(solver->cells, ladder->tap_count)) {
        return false;
    }
    for (size_t i = 0; i < ladder->tap_count; i++) {
        solver->volts[i] = solver->cells[i].plus_v - solver->cells[i].zero_v;
    }
    return true;
}

static void set_sources(struct lw_solver *solver, struct lw_point *point)
{
    const struct lw_ladder *ladder = solver->ladder;
    for (size_t s = 0; s < ladder->source_count; s++) {
        if (carries(solver, point, s)) {
            const struct lw_source *source = &ladder->sources[s];
            point->source_mode[s] = lw_source_mode_at(source, solver->volts[source->tap]);
            add_source(solver, s, point->source_mode[s]);
        }
    }
}

// False when a running load would have to draw from a rail without voltage; a waiting one draws
// nothing there.
static bool set_loads(struct lw_solver *solver, const struct lw_point *point)
{
    for (size_t i = 0; i < solver->ladder->tap_count; i++) {
        struct lw_branch branch = lw_load_branch(
            &solver->ladder->taps[i].load, point->load_state[i], solver->draw[i], solver->volts[i]);
        if (solver->volts[i] > 0.0) {
            solver->cells[i].siemens += solver->factor * branch.siemens;
            solver->cells[i].amperes -= solver->factor * branch.amperes;
        } else if (point->load_state[i] == LW_LOAD_RUNNING && branch.amperes != 0.0 &&
                   solver->factor > 0.0) {
            return false;
        }
    }
    return true;
}

// Takes the new voltages over; false, and nothing taken, when they rose. *largest_v is the largest
// change.
static bool fall(struct lw_solver *solver, double *largest_v)
{
    double fall_v = 0.0;
    double lift_v = 0.0;
    size_t count = solver->ladder->tap_count;
    for (size_t i = 0; i < count; i++) {
        double step_v = solver->cells[i].plus_v - solver->cells[i].zero_v - solver->volts[i];
        lift_v = step_v > lift_v ? step_v : lift_v;
        fall_v = -step_v > fall_v ? -step_v : fall_v;
    }
    if (lift_v > rise_v && lift_v > fall_v) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        solver->volts[i] = solver->cells[i].plus_v - solver->cells[i].zero_v;
    }
    *largest_v = lift_v > fall_v ? lift_v : fall_v;
    return true;
}

bool lw_newton(struct lw_solver *solver, struct lw_point *point)
{
    if (!no_load_profile(solver, point)) {
        return false;
    }
    for (int step = 0; step < MOST_STEPS; step++) {
        clear_branches(solver);
        set_sources(solver, point);
        double largest_v;
        if (!set_loads(solver, point) ||
            !lw_network_solve(solver->cells, solver->ladder->tap_count) ||
            !fall(solver, &largest_v)) {
            return false;
        }
        solver->iterations++;
        if (largest_v < stop_v) {
            return true;
        }
    }
    return false;
}
