// SPDX-License-Identifier: GPL-3.0-or-later
//
// How a noise run samples a virtual chain: when it ends, what it learns of the nodes, and what it
// leaves out.
#include "base/text.h"
#include "stats/setup.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

static const struct lw_noise_node *node(const struct lw_noise_result *result, size_t index)
{
    return (const struct lw_noise_node *)result->nodes.items + index;
}

static void run(const struct cell *cell, const struct lw_noise_options *options, uint64_t seed,
                struct lw_noise_result *result)
{
    struct walk walk;
    walk_open_cell(&walk, cell, seed);
    walk_noise(&walk, options, result);
    walk_close(&walk);
}

static void deciding_ends_early_when_all_is_clear(void **state)
{
    (void)state;
    struct lw_noise_result result;
    run(&(struct cell){.probes = 4}, &(struct lw_noise_options){.limit = NAN, .decide = true}, 1,
        &result);
    assert_true(result.seconds >= 9.5); // the limit holds over 10 s
    assert_true(result.seconds < 30);
    assert_true(result.looks == 1);
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(node(&result, i)->verdict, LW_PASS);
    }
    lw_json_free(&lw_noise_shape, &result);
}

static void deciding_goes_on_near_the_limit_until_the_time_is_up(void **state)
{
    (void)state;
    struct lw_noise_result result;
    const struct lw_noise_options options = {.limit = NAN, .decide = true, .seconds = 40};
    run(&(struct cell){.probes = 2, .noise = "{\"white\": 0.0005}"}, &options, 5, &result);
    assert_true(result.seconds > 38);
    assert_true(result.looks >= 2);
    lw_json_free(&lw_noise_shape, &result);
}

static void deciding_does_not_wait_for_what_no_reading_can_decide(void **state)
{
    (void)state;
    struct lw_noise_result result;
    const struct lw_noise_options options = {.limit = NAN, .decide = true, .seconds = 100};
    const char *noise = "{\"white\": 0.00001}";
    run(&(struct cell){.probes = 2,
                       .noise = noise,
                       .more = "\"limits\": {\"noise_limit\": 0.00003},"},
        &options, 5, &result);
    assert_true(result.seconds < 30);
    lw_json_free(&lw_noise_shape, &result);
}

static void a_sample_counter_tells_the_update_interval(void **state)
{
    (void)state;
    struct lw_noise_result result;
    run(&(struct cell){.probes = 2}, NULL, 1, &result);
    for (size_t i = 0; i < 2; i++) {
        assert_int_equal(node(&result, i)->update_from, LW_UPDATE_COUNTER);
        // profile 'example-probe' renews every 4 ms
        assert_true(fabs(node(&result, i)->update_ms - 4) < 0.05);
        assert_true(node(&result, i)->timing_u_ms >= 0);
    }
    lw_json_free(&lw_noise_shape, &result);
}

static void a_burst_tells_it_where_there_is_no_counter(void **state)
{
    (void)state;
    struct lw_noise_result result;
    run(&(struct cell){.loops = 1, .framing = "115200/8E1"}, NULL, 1, &result);
    assert_int_equal(node(&result, 0)->update_from, LW_UPDATE_BURST);
    // profile 'example-loop' renews every 20 ms
    assert_true(fabs(node(&result, 0)->update_ms - 20) < 1);
    lw_json_free(&lw_noise_shape, &result);
}

static void repeats_are_no_readings(void **state)
{
    (void)state;
    struct lw_noise_result result;
    run(&(struct cell){.loops = 1, .framing = "115200/8E1"}, NULL, 1, &result);
    // A 20 ms node polled for 10 s has 500 values to give.
    assert_true(node(&result, 0)->repeats > 100);
    assert_true(node(&result, 0)->n <= 510);
    lw_json_free(&lw_noise_shape, &result);
}

static void feed_pressure_is_read_along(void **state)
{
    (void)state;
    struct lw_noise_result result;
    run(&(struct cell){.airs = 1}, NULL, 1, &result);
    assert_true(node(&result, 0)->pressure_high_kpa > node(&result, 0)->pressure_low_kpa);
    assert_int_equal(node(&result, 0)->not_judged.count, 0);
    lw_json_free(&lw_noise_shape, &result);
}

static void deciding_is_seldom_wrong_though_it_peeks(void **state)
{
    (void)state;
    enum { RUNS = 60 };
    size_t wrong = 0;
    for (uint64_t seed = 1; seed <= RUNS; seed++) {
        struct lw_noise_result result;
        const struct lw_noise_options options = {.limit = NAN, .decide = true, .seconds = 40};
        // Noise at its limit: the chain's 0.0005 mm, rounded to steps of 0.0001 mm (Sheppard 1898).
        const struct cell cell = {.probes = 1,
                                  .framing = "115200/8E1",
                                  .noise = "{\"white\": 0.0005}",
                                  .more = "\"limits\": {\"noise_limit\": 0.00050083},"};
        run(&cell, &options, seed, &result);
        wrong += node(&result, 0)->verdict != LW_UNDECIDED;
        lw_json_free(&lw_noise_shape, &result);
    }
    // 5 % each way: more than 13 of 60 has a probability under 1 %.
    assert_in_range(wrong, 0, 13);
}

static void a_place_is_named_rightly_or_not_at_all(void **state)
{
    (void)state;
    enum { RUNS = 40 };
    size_t named = 0, wrong = 0;
    for (uint64_t seed = 1; seed <= RUNS; seed++) {
        struct lw_noise_result result;
        char faults[200], name[8];
        uint64_t tap = 1 + seed % 8;
        lw_print(faults, sizeof faults,
                 "{\"kind\": \"magnet_near\", \"tap\": %d, \"field\": 0.001, \"reach_taps\": %g}",
                 (int)tap, 0.4 + 0.05 * (double)seed);
        lw_print(name, sizeof name, "P%02d", (int)tap);
        const struct cell cell = {
            .probes = 8, .framing = "115200/8E1", .faults = faults, .spaced_mm = 100};
        run(&cell, NULL, seed, &result);
        const struct lw_noise_along *along = result.along.items;
        const char *nearest = result.along.count > 0 ? along->nearest : NULL;
        named += nearest != NULL;
        wrong += nearest != NULL && strcmp(nearest, name) != 0;
        lw_json_free(&lw_noise_shape, &result);
    }
    // Said at 90 %: more than 9 of 40 wrong has a probability under 1 %; most are said at all.
    assert_in_range(wrong, 0, 9);
    assert_in_range(named, RUNS / 2, RUNS);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(deciding_ends_early_when_all_is_clear),
        cmocka_unit_test(deciding_goes_on_near_the_limit_until_the_time_is_up),
        cmocka_unit_test(deciding_does_not_wait_for_what_no_reading_can_decide),
        cmocka_unit_test(a_sample_counter_tells_the_update_interval),
        cmocka_unit_test(a_burst_tells_it_where_there_is_no_counter),
        cmocka_unit_test(repeats_are_no_readings),
        cmocka_unit_test(feed_pressure_is_read_along),
        cmocka_unit_test(deciding_is_seldom_wrong_though_it_peeks),
        cmocka_unit_test(a_place_is_named_rightly_or_not_at_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
