// SPDX-License-Identifier: GPL-3.0-or-later
//
// Every call of the supply that takes memory, with the first allocation refused, then the second,
// and so on until the call succeeds: a clean error each time, and under the address sanitizer
// nothing leaked.
#include "power/advise.h"
#include "power/carry.h"
#include "power/load_step.h"
#include "power/tolerance.h"
#include "power/weak_span.h"

#include "chains.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);

static int allocations_left = -1; // negative: none is refused

static bool refused(void)
{
    if (allocations_left > 0) {
        allocations_left--;
    }
    return allocations_left == 0;
}

void *__wrap_malloc(size_t size)
{
    return refused() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return refused() ? NULL : __real_calloc(count, size);
}

static struct chain chain;
static const struct lw_carry_limits none;

static void make_chain(void)
{
    chain_begin(&chain, 8);
    chain_fill(&chain, 0.05, 0.05, power_load(0.9));
    chain_feed(&chain, 0, 24.0, 0.1, 0.05, 2.5);
    chain_feed(&chain, 7, 24.0, 0.1, 0.05, 2.5);
    chain_bond(&chain, 0, 0.1);
    chain_bond(&chain, 7, 0.1);
}

static enum lw_status check(struct lw_error *error)
{
    return lw_ladder_check(&chain.ladder, error);
}

static enum lw_status follow(enum lw_status status, struct lw_ladder_path *path)
{
    if (status == LW_OK) {
        lw_ladder_path_finish(path);
    }
    return status;
}

static enum lw_status running(struct lw_error *error)
{
    struct lw_ladder_path path;
    return follow(lw_ladder_running(&chain.ladder, &path, error), &path);
}

static enum lw_status cold(struct lw_error *error)
{
    struct lw_ladder_path path;
    return follow(lw_ladder_cold(&chain.ladder, &path, error), &path);
}

static enum lw_status dip(struct lw_error *error)
{
    struct lw_ladder_path path;
    return follow(lw_ladder_after_dip(&chain.ladder, 0.5, &path, error), &path);
}

static enum lw_status step(struct lw_error *error)
{
    struct lw_point point;
    bool changed;
    enum lw_status status = lw_point_init(&chain.ladder, &point, error);
    if (status == LW_OK) {
        status = lw_ladder_step(&chain.ladder, &point, &changed, error);
        lw_point_finish(&point);
    }
    return status;
}

static enum lw_status carry(struct lw_error *error)
{
    struct lw_carry result;
    return lw_ladder_carry(&chain.ladder, &none, &result, error);
}

static enum lw_status highest(struct lw_error *error)
{
    double volts[8];
    return lw_ladder_highest(&chain.ladder, volts, error);
}

static enum lw_status worst(struct lw_error *error)
{
    struct lw_worst_case result;
    chain.ladder.bond_count = 0;
    enum lw_status status = lw_worst_case_find(&chain.ladder, &result, error);
    chain.ladder.bond_count = 2;
    if (status == LW_OK) {
        lw_worst_case_finish(&result);
    }
    return status;
}

static enum lw_status draws(struct lw_error *error)
{
    struct lw_draw_options options = {.seed = 1, .draws = 2, .confidence = 0.95};
    struct lw_draws result;
    enum lw_status status =
        lw_tolerance_draw(&chain.ladder, &chain.ladder, &options, &result, error);
    if (status == LW_OK) {
        lw_draws_finish(&result);
    }
    return status;
}

static enum lw_status rare(struct lw_error *error)
{
    struct lw_draw_options options = {.seed = 1, .draws = 1000, .confidence = 0.95};
    struct lw_rare result;
    return lw_tolerance_rare(&chain.ladder, &chain.ladder, &options, &result, error);
}

static enum lw_status load_step(struct lw_error *error)
{
    static const enum lw_load_state states[8] = {LW_LOAD_RUNNING, LW_LOAD_RUNNING};
    double amperes;
    return lw_load_step_size(&chain.ladder, states, &none, 1.0, &amperes, error);
}

static enum lw_status advise(struct lw_error *error)
{
    static const double ohm[8];
    static const double minimum_v[8];
    static const struct lw_wiring wiring = {ohm, ohm, 0.0};
    struct lw_wish wish = {
        .minimum_v = minimum_v, .supply_load = 1.0, .wirings = &wiring, .wiring_count = 1};
    struct lw_advice result;
    return lw_ladder_advise(&chain.ladder, &wish, &result, error);
}

static enum lw_status weak_span(struct lw_error *error)
{
    static const enum lw_load_state states[8] = {LW_LOAD_RUNNING};
    static const double source_u_v[] = {0.1, 0.1};
    struct lw_voltmeter meters[8];
    struct lw_weak_span_options options = {.source_u_v = source_u_v, .draw_u = 0.1};
    struct lw_weak_span result;
    for (size_t i = 0; i < 8; i++) {
        meters[i] = (struct lw_voltmeter){.volts = 23.0, .node_u_v = 0.02, .step_v = 0.01};
    }
    enum lw_status status =
        lw_weak_span_find(&chain.ladder, states, meters, &options, &result, error);
    if (status == LW_OK) {
        lw_weak_span_finish(&result);
    }
    return status;
}

// Runs the call with the n-th and all later allocations refused, n counting up, until it succeeds.
static void refuse_each(enum lw_status (*call)(struct lw_error *error), int least)
{
    enum lw_status status = LW_MEMORY;
    int n = 0;
    while (status != LW_OK) {
        struct lw_error error = {0};
        allocations_left = ++n;
        status = call(&error);
        allocations_left = -1;
        if (status != LW_OK) {
            assert_int_equal(status, LW_MEMORY);
            assert_int_equal(error.status, LW_MEMORY);
        }
        assert_true(n < 10000);
    }
    assert_true(n > least);
}

static void each_refused_allocation_is_a_clean_error(void **state)
{
    (void)state;
    static enum lw_status (*const calls[])(struct lw_error * error) = {
        running, cold, dip, step, carry, highest, worst, draws, rare, load_step, advise, weak_span};
    make_chain();
    refuse_each(check, 1);
    for (size_t i = 0; i < sizeof(calls) / sizeof(*calls); i++) {
        refuse_each(calls[i], 10);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_refused_allocation_is_a_clean_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
