// SPDX-License-Identifier: GPL-3.0-or-later
//
// Ctrl-C at the k-th exchange of each check, k counting up until the check ends by itself: it stops
// at once, and what it has so far is whole.
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

struct interrupt {
    struct lw_cancel cancel;
    size_t exchanges, at;
};

static void count_down(void *user, const struct lw_exchange *exchange)
{
    (void)exchange;
    struct interrupt *interrupt = user;
    if (++interrupt->exchanges == interrupt->at) {
        interrupt->cancel.flag = 1;
    }
}

static enum lw_status scan(struct walk *walk)
{
    struct lw_scan_result result;
    struct lw_scan_options options = {0};
    for (int address = 1; address <= 6; address++) {
        options.selected[address] = true;
    }
    enum lw_status status =
        lw_scan_measure(&walk->run, walk->client, &walk->plan, &options, &result, NULL);
    walk_comes_back(&lw_scan_shape, &result);
    lw_json_free(&lw_scan_shape, &result);
    return status;
}

static enum lw_status roster(struct walk *walk)
{
    struct lw_roster_result result;
    struct lw_roster_options options = {0};
    enum lw_status status =
        lw_roster_measure(&walk->run, walk->client, &walk->plan, &options, &result, NULL);
    walk_comes_back(&lw_roster_shape, &result);
    lw_json_free(&lw_roster_shape, &result);
    return status;
}

static enum lw_status link_polls(struct walk *walk)
{
    struct lw_link_result result;
    struct lw_link_options options = {.seconds = 0.3};
    enum lw_status status =
        lw_link_measure(&walk->run, walk->client, &walk->plan, &options, &result, NULL);
    walk_comes_back(&lw_link_shape, &result);
    lw_json_free(&lw_link_shape, &result);
    return status;
}

static enum lw_status supply(struct walk *walk)
{
    struct lw_supply_result result;
    struct lw_supply_measured measured;
    assert_int_equal(lw_supply_compute(&walk->plan, NULL, &result, NULL), LW_OK);
    assert_int_equal(lw_supply_measured_init(lw_plan_taps(&walk->plan), &measured, NULL), LW_OK);
    enum lw_status status =
        lw_supply_measure(&walk->run, walk->client, &walk->plan, NULL, &measured, NULL);
    assert_int_equal(lw_supply_judge(&walk->plan, &measured, &result, NULL), LW_OK);
    walk_comes_back(&lw_supply_shape, &result);
    lw_supply_measured_free(&measured);
    lw_json_free(&lw_supply_shape, &result);
    return status;
}

static enum lw_status noise(struct walk *walk)
{
    struct lw_series series = {0};
    struct lw_noise_result result;
    struct lw_noise_options options = {.limit = NAN, .seconds = 0.5};
    struct lw_noise_facts facts;
    enum lw_status status =
        lw_noise_measure(&walk->run, walk->client, &walk->plan, &options, &series, &facts, NULL);
    assert_int_equal(
        lw_noise_judge(&walk->plan, &options, &series, &facts, &result, &walk->rule, NULL), LW_OK);
    walk_comes_back(&lw_noise_shape, &result);
    lw_json_free(&lw_noise_shape, &result);
    lw_series_finish(&series);
    lw_noise_facts_finish(&facts);
    return status;
}

static void interrupt_everywhere(enum lw_status (*check)(struct walk *))
{
    enum lw_status status = LW_CANCELLED;
    size_t at = 0;
    while (status != LW_OK) {
        struct walk walk;
        struct interrupt interrupt = {.at = ++at};
        walk_open_cell(
            &walk, &(struct cell){.probes = 3, .faults = "{\"kind\": \"dead_node\", \"tap\": 2}"},
            1);
        walk.run.cancel = &interrupt.cancel;
        walk.run.user = &interrupt;
        walk.run.exchange = count_down;
        status = check(&walk);
        if (status == LW_OK) {
            assert_in_range(interrupt.exchanges, 1, at);
        } else {
            assert_int_equal(status, LW_CANCELLED);
            assert_int_equal(interrupt.exchanges, at); // not one request more
        }
        walk_close(&walk);
    }
    assert_true(at > 5);
}

static void a_scan_stops_anywhere(void **state)
{
    (void)state;
    interrupt_everywhere(scan);
}

static void a_roster_stops_anywhere(void **state)
{
    (void)state;
    interrupt_everywhere(roster);
}

static void polling_stops_anywhere(void **state)
{
    (void)state;
    interrupt_everywhere(link_polls);
}

static void reading_voltages_stops_anywhere(void **state)
{
    (void)state;
    interrupt_everywhere(supply);
}

static void sampling_stops_anywhere(void **state)
{
    (void)state;
    interrupt_everywhere(noise);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_scan_stops_anywhere),
        cmocka_unit_test(a_roster_stops_anywhere),
        cmocka_unit_test(polling_stops_anywhere),
        cmocka_unit_test(reading_voltages_stops_anywhere),
        cmocka_unit_test(sampling_stops_anywhere),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
