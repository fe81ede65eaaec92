// SPDX-License-Identifier: GPL-3.0-or-later
//
// The memory of one solving, and the way from a solved network to a point: references, currents by
// Kirchhoff's law, load factor.
#include "power/solver.h"

static const double factor_step = 1e-3;

static const size_t nowhere = (size_t)-1;

void lw_number_sections(const struct lw_ladder *ladder, size_t *section)
{
    size_t number = 0;
    for (size_t i = 0; i < ladder->tap_count; i++) {
        number += i > 0 && ladder->taps[i].cut_zero;
        section[i] = number;
    }
    if (ladder->bond_count == 0) {
        return;
    }
    // The bonded runs become the section after the last.
    size_t framed = number + 1;
    for (size_t b = 0; b < ladder->bond_count; b++) {
        size_t run = section[ladder->bonds[b].tap];
        for (size_t i = ladder->bonds[b].tap + 1; i-- > 0 && section[i] == run && run != framed;) {
            section[i] = framed;
        }
        for (size_t i = ladder->bonds[b].tap + 1;
             i < ladder->tap_count && section[i] == run && run != framed; i++) {
            section[i] = framed;
        }
    }
}

// Turns section numbers into the sections' first sources, in place.
static void find_references(const struct lw_ladder *ladder, size_t *reference, size_t *first)
{
    lw_number_sections(ladder, reference);
    for (size_t i = 0; i <= ladder->tap_count; i++) {
        first[i] = nowhere;
    }
    for (size_t s = ladder->source_count; s-- > 0;) {
        first[reference[ladder->sources[s].tap]] = s;
    }
    for (size_t i = 0; i < ladder->tap_count; i++) {
        reference[i] = first[reference[i]];
    }
}

void lw_solver_load(struct lw_solver *solver)
{
    const struct lw_ladder *ladder = solver->ladder;
    for (size_t i = 0; i < ladder->tap_count; i++) {
        const struct lw_tap *tap = &ladder->taps[i];
        struct lw_cell *cell = &solver->cells[i];
        cell->plus_ohm = i == 0 || tap->cut_plus ? INFINITY : tap->span_plus_ohm;
        cell->zero_ohm = i == 0 || tap->cut_zero ? INFINITY : tap->span_zero_ohm;
        if (solver->bond_s) {
            solver->bond_s[i] = 0.0;
        }
    }
    for (size_t b = 0; b < ladder->bond_count; b++) {
        solver->bond_s[ladder->bonds[b].tap] += 1.0 / ladder->bonds[b].ohm;
    }
}

// Few sources, so by insertion.
static void sort_outward(const struct lw_ladder *ladder, size_t *outward)
{
    for (size_t s = 0; s < ladder->source_count; s++) {
        size_t at = s;
        for (; at > 0 && ladder->sources[outward[at - 1]].tap < ladder->sources[s].tap; at--) {
            outward[at] = outward[at - 1];
        }
        outward[at] = s;
    }
}

enum lw_status lw_solver_init(struct lw_solver *solver, const struct lw_ladder *ladder,
                              struct lw_error *error)
{
    size_t taps = ladder->tap_count;
    *solver = (struct lw_solver){.ladder = ladder, .factor = 1.0};
    solver->cells = malloc(taps * sizeof(*solver->cells));
    solver->bond_s = ladder->bond_count > 0 ? calloc(taps, sizeof(double)) : NULL;
    solver->volts = calloc(taps, sizeof(*solver->volts));
    solver->next_volts = calloc(taps, sizeof(*solver->next_volts));
    solver->outward = calloc(ladder->source_count, sizeof(*solver->outward));
    solver->demands = calloc(taps, sizeof(*solver->demands));
    solver->draw = calloc(taps, sizeof(*solver->draw));
    solver->reference = calloc(taps, sizeof(*solver->reference));
    solver->blocked = calloc(ladder->source_count, sizeof(*solver->blocked));
    solver->held_off = calloc(ladder->source_count, sizeof(*solver->held_off));
    solver->terminal_v = calloc(ladder->source_count, sizeof(*solver->terminal_v));
    solver->off_before = calloc(ladder->source_count, sizeof(*solver->off_before));
    solver->tripped = calloc(ladder->source_count, sizeof(*solver->tripped));
    size_t *first = calloc(taps + 1, sizeof(*first));
    if (!solver->cells || (ladder->bond_count > 0 && !solver->bond_s) || !solver->volts ||
        !solver->next_volts || !solver->outward || !solver->demands || !solver->draw ||
        !solver->reference || !solver->blocked || !solver->held_off || !solver->off_before ||
        !solver->tripped || !solver->terminal_v || !first) {
        free(first);
        lw_solver_finish(solver);
        return lw_fail(error, LW_MEMORY, "no memory for a chain of %zu taps", taps);
    }
    find_references(ladder, solver->reference, first);
    free(first);
    sort_outward(ladder, solver->outward);
    lw_solver_load(solver);
    return LW_OK;
}

void lw_solver_finish(struct lw_solver *solver)
{
    free(solver->cells);
    free(solver->bond_s);
    free(solver->volts);
    free(solver->next_volts);
    free(solver->outward);
    free(solver->demands);
    free(solver->draw);
    free(solver->reference);
    free(solver->blocked);
    free(solver->held_off);
    free(solver->terminal_v);
    free(solver->off_before);
    free(solver->tripped);
    *solver = (struct lw_solver){0};
}

// What the sources give, also taken off the taps' balance in span_plus_a.
static void fill_sources(struct lw_solver *solver, struct lw_point *point)
{
    const struct lw_ladder *ladder = solver->ladder;
    memset(point->span_plus_a, 0, ladder->tap_count * sizeof(*point->span_plus_a));
    for (size_t s = 0; s < ladder->source_count; s++) {
        size_t tap = ladder->sources[s].tap;
        struct lw_branch branch = lw_source_branch(&ladder->sources[s], point->source_mode[s]);
        point->source_a[s] = branch.amperes - branch.siemens * solver->volts[tap];
        point->span_plus_a[tap] -= point->source_a[s];
    }
}

static double load_current(const struct lw_solver *solver, size_t tap)
{
    double volts = solver->volts[tap];
    if (!(volts > 0.0)) {
        return 0.0;
    }
    struct lw_branch branch = lw_demand_branch(solver, tap);
    return branch.siemens * volts + branch.amperes;
}

// Loads by their law; spans by Kirchhoff's current law from the far end, so that the sums close at
// every tap.
static void fill_currents(struct lw_solver *solver, struct lw_point *point)
{
    double plus_a = 0.0;
    double zero_a = 0.0;
    for (size_t i = solver->ladder->tap_count; i-- > 0;) {
        const struct lw_cell *cell = &solver->cells[i];
        point->load_a[i] = load_current(solver, i);
        double tap_a = point->load_a[i] + point->span_plus_a[i];
        plus_a += tap_a;
        zero_a += tap_a - (solver->bond_s ? point->zero_v[i] * solver->bond_s[i] : 0.0);
        plus_a = isinf(cell->plus_ohm) ? 0.0 : plus_a;
        zero_a = isinf(cell->zero_ohm) ? 0.0 : zero_a;
        point->span_plus_a[i] = plus_a;
        point->span_zero_a[i] = zero_a;
    }
}

// Against the frame, or any point of a floating section.
static void fill_voltages(struct lw_solver *solver, struct lw_point *point)
{
    double plus_v = 0.0;
    double zero_v = 0.0;
    for (size_t i = 0; i < solver->ladder->tap_count; i++) {
        lw_cell_step_out(&solver->cells[i], &plus_v, &zero_v);
        point->plus_v[i] = plus_v;
        point->zero_v[i] = zero_v;
    }
}

// Moves each section's zero to its first source's 0 V terminal.
static void refer_voltages(struct lw_solver *solver, struct lw_point *point)
{
    const struct lw_ladder *ladder = solver->ladder;
    for (size_t s = 0; s < ladder->source_count; s++) {
        const struct lw_source *source = &ladder->sources[s];
        solver->terminal_v[s] = point->zero_v[source->tap] - point->source_a[s] * source->zero_ohm;
    }
    for (size_t i = 0; i < ladder->tap_count; i++) {
        if (solver->reference[i] != nowhere) {
            point->plus_v[i] -= solver->terminal_v[solver->reference[i]];
            point->zero_v[i] -= solver->terminal_v[solver->reference[i]];
        }
    }
}

static void fill_point(struct lw_solver *solver, struct lw_point *point)
{
    fill_voltages(solver, point);
    fill_sources(solver, point);
    fill_currents(solver, point);
    refer_voltages(solver, point);
}

static bool settles_at(struct lw_solver *solver, struct lw_point *point, double factor)
{
    solver->factor = factor;
    memcpy(solver->held_off, solver->off_before,
           solver->ladder->source_count * sizeof(*solver->held_off));
    return lw_waiting_settle(solver, point);
}

// Bisects for the largest common multiplier of the loads. Leaves the point there, but with those
// sources off that the loads asked for drive into their protection.
static void carry_what_can_be(struct lw_solver *solver, struct lw_point *point)
{
    double solves = 0.0;
    double fails = 1.0;
    while (fails - solves > factor_step) {
        double middle = 0.5 * (solves + fails);
        *(settles_at(solver, point, middle) ? &solves : &fails) = middle;
    }
    settles_at(solver, point, fails);
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        solver->tripped[s] = point->source_mode[s] == LW_SOURCE_OFF;
    }
    settles_at(solver, point, solves);
    fill_point(solver, point);
    point->load_factor = solves;
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        point->source_mode[s] = solver->tripped[s] ? LW_SOURCE_OFF : point->source_mode[s];
    }
}

void lw_solver_run(struct lw_solver *solver, struct lw_point *point)
{
    solver->iterations = 0;
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        solver->off_before[s] = point->source_mode[s] == LW_SOURCE_OFF;
    }
    point->exists = settles_at(solver, point, 1.0);
    if (point->exists) {
        point->load_factor = 1.0;
        fill_point(solver, point);
    } else {
        carry_what_can_be(solver, point);
    }
    point->iterations = solver->iterations;
}
