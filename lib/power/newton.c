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

// Following: few steps, and stop a step earlier; 1e-6 V are far below what a tolerance means.
enum { FOLLOW_STEPS = 6 };
static const double follow_v = 1e-4;

static struct lw_demand waiting_demand(const struct lw_load *load, enum lw_draw draw)
{
    switch (draw) {
    case LW_DRAW_FULL:
        return (struct lw_demand){LW_LAW_CURRENT, load->start_up_a};
    case LW_DRAW_RAMP:
        return (struct lw_demand){LW_LAW_RAMP, load->start_up_a / LW_RAMP_V};
    case LW_DRAW_NONE:
        break;
    }
    return (struct lw_demand){0};
}

static struct lw_demand running_demand(const struct lw_load *load)
{
    switch (load->kind) {
    case LW_LOAD_POWER:
        return (struct lw_demand){LW_LAW_POWER, load->value};
    case LW_LOAD_CURRENT:
        return (struct lw_demand){LW_LAW_CURRENT, load->value};
    case LW_LOAD_RESISTOR:
        return (struct lw_demand){LW_LAW_OHM, 1.0 / load->value};
    case LW_LOAD_NONE:
        break;
    }
    return (struct lw_demand){0};
}

static void set_demands(struct lw_solver *solver, const struct lw_point *point)
{
    for (size_t i = 0; i < solver->ladder->tap_count; i++) {
        const struct lw_load *load = &solver->ladder->taps[i].load;
        struct lw_demand demand = {0};
        if (load->kind != LW_LOAD_NONE && point->load_state[i] == LW_LOAD_RUNNING) {
            demand = running_demand(load);
        } else if (load->kind != LW_LOAD_NONE && point->load_state[i] == LW_LOAD_WAITING) {
            demand = waiting_demand(load, solver->draw[i]);
        }
        demand.value *= solver->factor;
        solver->demands[i] = demand;
    }
}

struct lw_branch lw_demand_branch(const struct lw_solver *solver, size_t tap)
{
    const struct lw_demand *demand = &solver->demands[tap];
    switch (demand->law) {
    case LW_LAW_POWER: {
        double per_volt = 1.0 / solver->volts[tap];
        double amperes = demand->value * per_volt;
        return (struct lw_branch){-amperes * per_volt, 2.0 * amperes};
    }
    case LW_LAW_CURRENT:
        return (struct lw_branch){.amperes = demand->value};
    case LW_LAW_OHM:
        return (struct lw_branch){.siemens = demand->value};
    case LW_LAW_RAMP: {
        double foot_v = solver->ladder->taps[tap].load.drop_out_v - LW_RAMP_V;
        return (struct lw_branch){demand->value, -demand->value * foot_v};
    }
    case LW_LAW_NOTHING:
        break;
    }
    return (struct lw_branch){0};
}

static bool carries(const struct lw_solver *solver, const struct lw_point *point, size_t index)
{
    return !solver->blocked[index] && point->source_mode[index] != LW_SOURCE_OFF;
}

// Adds what the sources at a tap give. *next counts through solver->outward, which lists the
// sources from the far end; those of this tap are taken off it.
static void add_sources(const struct lw_solver *solver, const struct lw_point *point, size_t tap,
                        size_t *next, struct lw_branch *sum)
{
    for (; *next < solver->ladder->source_count; ++*next) {
        size_t index = solver->outward[*next];
        if (solver->ladder->sources[index].tap != tap) {
            break;
        }
        if (carries(solver, point, index)) {
            struct lw_branch branch =
                lw_source_branch(&solver->ladder->sources[index], point->source_mode[index]);
            sum->siemens += branch.siemens;
            sum->amperes += branch.amperes;
        }
    }
}

static size_t source_tap(const struct lw_solver *solver, size_t next)
{
    return next < solver->ladder->source_count ? solver->ladder->sources[solver->outward[next]].tap
                                               : (size_t)-1;
}

// Adds the tangent on a tap's load. False when a running load would have to draw from a rail
// without voltage; a waiting one draws nothing there.
static inline bool add_load(const struct lw_solver *solver, const struct lw_point *point,
                            size_t tap, struct lw_branch *sum)
{
    if (solver->volts[tap] > 0.0) {
        struct lw_branch branch = lw_demand_branch(solver, tap);
        sum->siemens += branch.siemens;
        sum->amperes -= branch.amperes;
        return true;
    }
    return point->load_state[tap] != LW_LOAD_RUNNING || solver->demands[tap].value == 0.0 ||
           solver->demands[tap].law == LW_LAW_OHM;
}

static bool eliminate(struct lw_solver *solver, const struct lw_point *point, bool loaded)
{
    struct lw_triangle beyond = {0};
    size_t next = 0;
    size_t next_tap = source_tap(solver, next);
    for (size_t i = solver->ladder->tap_count; i-- > 0;) {
        struct lw_branch sum = {0};
        if (i == next_tap) {
            add_sources(solver, point, i, &next, &sum);
            next_tap = source_tap(solver, next);
        }
        if ((loaded && !add_load(solver, point, i, &sum)) ||
            !lw_cell_take(&solver->cells[i], &beyond, sum,
                          solver->bond_s ? solver->bond_s[i] : 0.0)) {
            return false;
        }
    }
    return true;
}

struct change {
    double fall_v, lift_v; // largest, 0 or more
};

static struct change substitute(struct lw_solver *solver)
{
    struct change change = {0};
    double plus_v = 0.0;
    double zero_v = 0.0;
    for (size_t i = 0; i < solver->ladder->tap_count; i++) {
        lw_cell_step_out(&solver->cells[i], &plus_v, &zero_v);
        solver->next_volts[i] = plus_v - zero_v;
        double step_v = solver->next_volts[i] - solver->volts[i];
        change.lift_v = step_v > change.lift_v ? step_v : change.lift_v;
        change.fall_v = -step_v > change.fall_v ? -step_v : change.fall_v;
    }
    return change;
}

static void take_over(struct lw_solver *solver)
{
    double *volts = solver->volts;
    solver->volts = solver->next_volts;
    solver->next_volts = volts;
}

static void set_modes(const struct lw_solver *solver, struct lw_point *point, bool loaded)
{
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        if (carries(solver, point, s)) {
            const struct lw_source *source = &solver->ladder->sources[s];
            point->source_mode[s] =
                loaded ? lw_source_mode_at(source, solver->volts[source->tap]) : LW_SOURCE_VOLTAGE;
        }
    }
}

// All loads away, no source limited: above every operating point.
static bool no_load_profile(struct lw_solver *solver, struct lw_point *point)
{
    set_modes(solver, point, false);
    if (solver->ladder->source_count == 1 && carries(solver, point, 0)) {
        for (size_t i = 0; i < solver->ladder->tap_count; i++) {
            solver->volts[i] = solver->ladder->sources[0].volts;
        }
        return true;
    }
    if (!eliminate(solver, point, false)) {
        return false;
    }
    substitute(solver);
    take_over(solver);
    return true;
}

bool lw_newton(struct lw_solver *solver, struct lw_point *point)
{
    bool loaded = solver->factor > 0.0;
    set_demands(solver, point);
    if (!no_load_profile(solver, point)) {
        return false;
    }
    for (int step = 0; step < MOST_STEPS; step++) {
        set_modes(solver, point, true);
        if (!eliminate(solver, point, loaded)) {
            return false;
        }
        struct change change = substitute(solver);
        if (change.lift_v > rise_v && change.lift_v > change.fall_v) {
            return false;
        }
        take_over(solver);
        solver->iterations++;
        if (change.fall_v < stop_v && change.lift_v < stop_v) {
            return true;
        }
    }
    return false;
}

bool lw_newton_follow(struct lw_solver *solver, struct lw_point *point)
{
    set_demands(solver, point);
    for (int step = 0; step < FOLLOW_STEPS; step++) {
        set_modes(solver, point, true);
        if (!eliminate(solver, point, true)) {
            return false;
        }
        struct change change = substitute(solver);
        take_over(solver);
        solver->iterations++;
        // The step after one of this size is below stop_v: its error is the square of this one's.
        if (change.fall_v < follow_v && change.lift_v < follow_v) {
            return true;
        }
    }
    return false;
}
