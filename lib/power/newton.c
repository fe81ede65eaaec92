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

static bool carries(const struct lw_solver *solver, const struct lw_point *point, size_t index)
{
    return !solver->blocked[index] && point->source_mode[index] != LW_SOURCE_OFF;
}

// What the sources at a tap give. *next counts down solver->outward, which lists the sources from
// the far end; those of this tap are taken off it.
static struct lw_branch sources_at(const struct lw_solver *solver, const struct lw_point *point,
                                   size_t tap, size_t *next)
{
    struct lw_branch sum = {0};
    for (; *next < solver->ladder->source_count; ++*next) {
        size_t index = solver->outward[*next];
        if (solver->ladder->sources[index].tap != tap) {
            break;
        }
        if (carries(solver, point, index)) {
            struct lw_branch branch =
                lw_source_branch(&solver->ladder->sources[index], point->source_mode[index]);
            sum.siemens += branch.siemens;
            sum.amperes += branch.amperes;
        }
    }
    return sum;
}

// Adds the tangent on a tap's load. False when a running load would have to draw from a rail
// without voltage; a waiting one draws nothing there.
static bool add_load(const struct lw_solver *solver, const struct lw_point *point, size_t tap,
                     struct lw_branch *sum)
{
    double volts = solver->volts[tap];
    if (volts > 0.0) {
        struct lw_branch branch = lw_load_branch(&solver->ladder->taps[tap].load,
                                                 point->load_state[tap], solver->draw[tap], volts);
        sum->siemens += solver->factor * branch.siemens;
        sum->amperes -= solver->factor * branch.amperes;
        return true;
    }
    const struct lw_load *load = &solver->ladder->taps[tap].load;
    return point->load_state[tap] != LW_LOAD_RUNNING || load->value == 0.0 ||
           load->kind == LW_LOAD_NONE || load->kind == LW_LOAD_RESISTOR;
}

static bool eliminate(struct lw_solver *solver, const struct lw_point *point, bool loaded)
{
    struct lw_triangle beyond = {0};
    size_t next_source = 0;
    for (size_t i = solver->ladder->tap_count; i-- > 0;) {
        struct lw_branch sum = sources_at(solver, point, i, &next_source);
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
        struct lw_cell *cell = &solver->cells[i];
        lw_cell_give_back(cell, plus_v, zero_v);
        plus_v = cell->plus.volts;
        zero_v = cell->zero.volts;
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
