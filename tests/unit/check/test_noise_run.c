// SPDX-License-Identifier: GPL-3.0-or-later
//
// How a noise run samples a virtual chain: when it ends, what it learns of the nodes, and what it
// leaves out.
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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(deciding_ends_early_when_all_is_clear),
        cmocka_unit_test(deciding_goes_on_near_the_limit_until_the_time_is_up),
        cmocka_unit_test(deciding_does_not_wait_for_what_no_reading_can_decide),
        cmocka_unit_test(a_sample_counter_tells_the_update_interval),
        cmocka_unit_test(a_burst_tells_it_where_there_is_no_counter),
        cmocka_unit_test(repeats_are_no_readings),
        cmocka_unit_test(feed_pressure_is_read_along),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
