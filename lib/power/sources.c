// SPDX-License-Identifier: GPL-3.0-or-later
//
// How sources behave past their limit and against a higher neighbour.
#include "power/solver.h"

// Reverse current and overload below this are rounding.
static const double least_a = 1e-9;

// Each source wakes once as a rule.
enum { ROUNDS_PER_SOURCE = 4 };

static bool limits_itself(const struct lw_source *source)
{
    return !isinf(source->limit_a) &&
           (source->past_limit == LW_CONSTANT_CURRENT || source->past_limit == LW_FOLD_BACK);
}

static double total_ohm(const struct lw_source *source)
{
    return source->plus_ohm + source->zero_ohm;
}

enum lw_source_mode lw_source_mode_at(const struct lw_source *source, double volts)
{
    bool past = (source->volts - volts) / total_ohm(source) > source->limit_a;
    return limits_itself(source) && past ? LW_SOURCE_LIMITED : LW_SOURCE_VOLTAGE;
}

// Fold-back: the current falls in a straight line with the regulated voltage e = u + I R, from
// limit_a at the open-circuit voltage to fold_back_a at a short. Solved for I.
static struct lw_branch folded_back(const struct lw_source *source)
{
    double per_volt = (source->limit_a - source->fold_back_a) / source->volts;
    double scale = 1.0 / (1.0 - per_volt * total_ohm(source));
    return (struct lw_branch){-per_volt * scale, source->fold_back_a * scale};
}

struct lw_branch lw_source_branch(const struct lw_source *source, enum lw_source_mode mode)
{
    switch (mode) {
    case LW_SOURCE_VOLTAGE:
        return (struct lw_branch){1.0 / total_ohm(source), source->volts / total_ohm(source)};
    case LW_SOURCE_LIMITED:
        return source->past_limit == LW_FOLD_BACK ? folded_back(source)
                                                  : (struct lw_branch){.amperes = source->limit_a};
    case LW_SOURCE_BLOCKING:
    case LW_SOURCE_OFF:
        break;
    }
    return (struct lw_branch){0};
}

static double current(const struct lw_solver *solver, const struct lw_point *point, size_t index)
{
    const struct lw_source *source = &solver->ladder->sources[index];
    struct lw_branch branch = lw_source_branch(source, point->source_mode[index]);
    return branch.amperes - branch.siemens * solver->volts[source->tap];
}

static void unblock_all(struct lw_solver *solver, struct lw_point *point)
{
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        solver->blocked[s] = false;
        if (point->source_mode[s] != LW_SOURCE_OFF) {
            point->source_mode[s] = LW_SOURCE_VOLTAGE;
        }
    }
}

// How much a source sinks that has still to be blocked for it; 0: nothing.
static double sinks_a(const struct lw_solver *solver, const struct lw_point *point, size_t index)
{
    bool can_block = solver->ladder->sources[index].reverse == LW_REVERSE_BLOCKS;
    double amperes = can_block && !solver->blocked[index] ? -current(solver, point, index) : 0.0;
    return amperes > least_a ? amperes : 0.0;
}

static void block(struct lw_solver *solver, struct lw_point *point, size_t index)
{
    solver->blocked[index] = true;
    point->source_mode[index] = LW_SOURCE_BLOCKING;
}

// All that sink in a solution. Their going raises every voltage, so all of them would stay blocked.
static bool block_all(struct lw_solver *solver, struct lw_point *point)
{
    bool any = false;
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        if (sinks_a(solver, point, s) > 0.0) {
            block(solver, point, s);
            any = true;
        }
    }
    return any;
}

// All that would sink if nobody drew: the others carry the rails without them.
static void block_idle(struct lw_solver *solver, struct lw_point *point)
{
    double factor = solver->factor;
    solver->factor = 0.0;
    do {
        lw_newton(solver, point);
    } while (block_all(solver, point));
    solver->factor = factor;
}

// Of the blocked sources the highest whose voltage the rails are below; without a solution the
// highest at all. False: none.
static bool wake_highest(struct lw_solver *solver, struct lw_point *point, bool exists)
{
    const struct lw_source *sources = solver->ladder->sources;
    size_t highest = solver->ladder->source_count;
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        bool can_wake =
            solver->blocked[s] && (!exists || solver->volts[sources[s].tap] < sources[s].volts);
        if (can_wake && (highest == solver->ladder->source_count ||
                         sources[s].volts > sources[highest].volts)) {
            highest = s;
        }
    }
    if (highest == solver->ladder->source_count) {
        return false;
    }
    solver->blocked[highest] = false;
    point->source_mode[highest] = LW_SOURCE_VOLTAGE;
    return true;
}

// The other way round, for when a low source that may sink takes so much from a limited high one
// that nothing stands: begin with those blocked that no load leaves idle, and wake what is needed.
static bool newton_with_waking(struct lw_solver *solver, struct lw_point *point)
{
    unblock_all(solver, point);
    block_idle(solver, point);
    for (size_t round = 0; round <= ROUNDS_PER_SOURCE * solver->ladder->source_count; round++) {
        bool exists = lw_newton(solver, point);
        bool blocked = exists && block_all(solver, point);
        if (!blocked && !wake_highest(solver, point, exists)) {
            return exists;
        }
    }
    return false;
}

static bool newton_with_blocking(struct lw_solver *solver, struct lw_point *point)
{
    bool exists;
    unblock_all(solver, point);
    do {
        exists = lw_newton(solver, point);
    } while (exists && block_all(solver, point));
    return exists || (solver->ladder->source_count > 1 && newton_with_waking(solver, point));
}

// How far past what it stands a source is: reverse current, or overload of one that shuts down.
static double past_protection_a(const struct lw_solver *solver, const struct lw_point *point,
                                size_t index)
{
    const struct lw_source *source = &solver->ladder->sources[index];
    double amperes = current(solver, point, index);
    if (source->reverse == LW_REVERSE_TRIPS && amperes < 0.0) {
        return -amperes;
    }
    bool shuts_down = source->past_limit == LW_HICCUP || source->past_limit == LW_LATCH_OFF;
    return shuts_down ? amperes - source->limit_a : 0.0;
}

// The one that is furthest past goes off first, since its going changes the others' currents.
static bool shut_one_down(struct lw_solver *solver, struct lw_point *point)
{
    size_t worst = 0;
    double worst_a = least_a;
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        double past_a = past_protection_a(solver, point, s);
        if (past_a > worst_a) {
            worst_a = past_a;
            worst = s;
        }
    }
    if (worst_a > least_a) {
        point->source_mode[worst] = LW_SOURCE_OFF;
        return true;
    }
    return false;
}

bool lw_sources_settle(struct lw_solver *solver, struct lw_point *point)
{
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        point->source_mode[s] = solver->held_off[s] ? LW_SOURCE_OFF : LW_SOURCE_VOLTAGE;
    }
    bool exists;
    do {
        exists = newton_with_blocking(solver, point);
    } while (shut_one_down(solver, point));
    return exists;
}

bool lw_sources_follow(struct lw_solver *solver, struct lw_point *point)
{
    if (!lw_newton_follow(solver, point)) {
        return false;
    }
    for (size_t s = 0; s < solver->ladder->source_count; s++) {
        const struct lw_source *source = &solver->ladder->sources[s];
        bool sinks = source->reverse == LW_REVERSE_BLOCKS && current(solver, point, s) < -least_a;
        bool wakes = solver->blocked[s] && solver->volts[source->tap] < source->volts;
        if (sinks || wakes || past_protection_a(solver, point, s) > least_a) {
            return false;
        }
    }
    return true;
}
