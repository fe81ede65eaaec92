// SPDX-License-Identifier: GPL-3.0-or-later
//
// One more load lowers every voltage and raises every current, so the number of nodes that is
// carried is found by halving.
#include "power/carry.h"

#include "power/solver.h"

struct search {
    struct lw_solver solver;
    struct lw_point point;
    const struct lw_carry_limits *limits;
};

static void run_first(struct search *search, size_t loads)
{
    const struct lw_ladder *ladder = search->solver.ladder;
    for (size_t i = 0; i < ladder->tap_count; i++) {
        bool has_load = ladder->taps[i].load.kind != LW_LOAD_NONE;
        search->point.load_state[i] = has_load && loads > 0 ? LW_LOAD_RUNNING : LW_LOAD_OFF;
        loads -= has_load && loads > 0;
    }
    for (size_t s = 0; s < ladder->source_count; s++) {
        search->point.source_mode[s] = LW_SOURCE_VOLTAGE;
    }
    lw_solver_run(&search->solver, &search->point);
}

static bool source_gives(const struct search *search, size_t *index)
{
    for (size_t s = 0; s < search->solver.ladder->source_count; s++) {
        enum lw_source_mode mode = search->point.source_mode[s];
        double limit_a = search->solver.ladder->sources[s].limit_a;
        // At the load factor that solves, a supply at its limit stands a thousandth below it.
        bool at_limit = !search->point.exists && search->point.source_a[s] > 0.99 * limit_a;
        if (mode == LW_SOURCE_LIMITED || mode == LW_SOURCE_OFF || at_limit) {
            *index = s;
            return true;
        }
    }
    return false;
}

static bool voltage_gives(const struct search *search, size_t *tap)
{
    const struct lw_ladder *ladder = search->solver.ladder;
    double lowest_v = 0.0;
    for (size_t i = 0; i < ladder->tap_count; i++) {
        if (search->point.load_state[i] != LW_LOAD_RUNNING) {
            continue;
        }
        double needed_v = search->limits->minimum_v ? search->limits->minimum_v[i]
                                                    : ladder->taps[i].load.drop_out_v;
        double over_v = lw_point_volts(&search->point, i) - needed_v;
        if (over_v < lowest_v) {
            lowest_v = over_v;
            *tap = i;
        }
    }
    return lowest_v < 0.0;
}

static bool rating_gives(const struct search *search, size_t *tap)
{
    for (size_t i = 1; search->limits->rated_a && i < search->solver.ladder->tap_count; i++) {
        double amperes =
            fmax(fabs(search->point.span_plus_a[i]), fabs(search->point.span_zero_a[i]));
        if (amperes > search->limits->rated_a[i]) {
            *tap = i;
            return true;
        }
    }
    return false;
}

static enum lw_gives_first gives(const struct search *search, size_t *where)
{
    if (source_gives(search, where)) {
        return LW_GIVES_SUPPLY_LIMIT;
    }
    if (!search->point.exists) {
        return LW_GIVES_COLLAPSE;
    }
    if (rating_gives(search, where)) {
        return LW_GIVES_RATING;
    }
    return voltage_gives(search, where) ? LW_GIVES_VOLTAGE : LW_GIVES_NOTHING;
}

static size_t tap_of_load(const struct lw_ladder *ladder, size_t number)
{
    size_t tap = 0;
    for (size_t i = 0; i < ladder->tap_count && number > 0; i++) {
        if (ladder->taps[i].load.kind != LW_LOAD_NONE) {
            tap = i;
            number--;
        }
    }
    return tap;
}

static size_t count_loads(const struct lw_ladder *ladder)
{
    size_t count = 0;
    for (size_t i = 0; i < ladder->tap_count; i++) {
        count += ladder->taps[i].load.kind != LW_LOAD_NONE;
    }
    return count;
}

static void halve(struct search *search, struct lw_carry *carry)
{
    size_t carried = 0;
    size_t fails = count_loads(search->solver.ladder) + 1;
    *carry = (struct lw_carry){0};
    // All at once first: the common case.
    for (size_t trial = fails - 1; trial > carried; trial = (carried + fails) / 2) {
        run_first(search, trial);
        size_t where = tap_of_load(search->solver.ladder, trial);
        enum lw_gives_first give = gives(search, &where);
        if (give == LW_GIVES_NOTHING) {
            carried = trial;
        } else {
            fails = trial;
            carry->give = give;
            carry->tap = where;
        }
    }
    carry->nodes = carried;
}

static enum lw_status search_init(struct search *search, const struct lw_ladder *ladder,
                                  struct lw_error *error)
{
    enum lw_status status = lw_point_init(ladder, &search->point, error);
    if (status != LW_OK) {
        return status;
    }
    status = lw_solver_init(&search->solver, ladder, error);
    if (status != LW_OK) {
        lw_point_finish(&search->point);
    }
    return status;
}

static void search_finish(struct search *search)
{
    lw_solver_finish(&search->solver);
    lw_point_finish(&search->point);
}

enum lw_status lw_ladder_carry(const struct lw_ladder *ladder, const struct lw_carry_limits *limits,
                               struct lw_carry *carry, struct lw_error *error)
{
    struct search search = {.limits = limits};
    enum lw_status status = search_init(&search, ladder, error);
    if (status == LW_OK) {
        halve(&search, carry);
        search_finish(&search);
    }
    return status;
}

enum lw_status lw_ladder_highest(const struct lw_ladder *ladder, double *volts,
                                 struct lw_error *error)
{
    struct search search = {0};
    enum lw_status status = search_init(&search, ladder, error);
    if (status != LW_OK) {
        return status;
    }
    run_first(&search, 0);
    for (size_t i = 0; i < ladder->tap_count; i++) {
        volts[i] = lw_point_volts(&search.point, i);
    }
    search_finish(&search);
    return LW_OK;
}

double lw_boosted_limit_a(double limit_a, double boost_a, double boost_s, double starting_s)
{
    return starting_s <= boost_s && boost_a > limit_a ? boost_a : limit_a;
}

double lw_starting_s(const double *start_up_s, size_t count, double latest_delay_s)
{
    double longest_s = 0.0;
    for (size_t i = 0; i < count; i++) {
        longest_s = fmax(longest_s, start_up_s[i]);
    }
    return latest_delay_s + longest_s;
}
