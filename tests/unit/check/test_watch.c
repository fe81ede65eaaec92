// SPDX-License-Identifier: GPL-3.0-or-later
//
// The watch on virtual chains: how soon it shows what happens, and that it shows nothing on a chain
// that is well.
#include "check/watch.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

// A supply for every 20 nodes, since each node's way through costs 4 mohm.
static const char *supplies_for(size_t nodes)
{
    static char text[2000];
    size_t length = 0;
    for (size_t tap = 1; tap <= nodes; tap += 20) {
        length += (size_t)snprintf(text + length, sizeof text - length,
                                   "%s{\"name\": \"PS%zu\", \"nominal_v\": 24, "
                                   "\"output_ohm\": 0.02, \"limit_a\": 10, \"feeds_tap\": %zu%s}",
                                   tap > 1 ? "," : "[", tap, tap,
                                   tap > 1 ? ", \"cuts_before\": \"v_plus\"" : "");
    }
    lw_print(text + length, sizeof text - length, "]");
    return text;
}

struct watched {
    struct walk walk;
    struct lw_live *live;
    struct lw_live_result result;
};

static void begin(struct watched *watched, const struct cell *cell, uint64_t seed)
{
    const struct lw_live_options options = {0};
    *watched = (struct watched){0};
    walk_open_cell(&watched->walk, cell, seed);
    assert_int_equal(lw_live_new(&watched->walk.plan, &options,
                                 lw_clock_now_ns(watched->walk.line->clock), &watched->live, NULL),
                     LW_OK);
}

static int64_t now_ns(const struct watched *watched)
{
    return lw_clock_now_ns(watched->walk.line->clock);
}

static void step(struct watched *watched)
{
    assert_int_equal(lw_live_step(watched->live, &watched->walk.run, watched->walk.client, NULL),
                     LW_OK);
}

static void until(struct watched *watched, double seconds)
{
    while (lw_live_seconds(watched->live, now_ns(watched)) < seconds) {
        step(watched);
    }
}

static enum lw_live_state state_of(const struct watched *watched, size_t tap)
{
    return lw_live_state(watched->live, tap - 1, now_ns(watched));
}

// Seconds from `from_s` until the node at `tap` is seen in that state.
static double seen_after(struct watched *watched, size_t tap, enum lw_live_state state,
                         double from_s)
{
    while (state_of(watched, tap) != state) {
        step(watched);
        assert_true(lw_live_seconds(watched->live, now_ns(watched)) < from_s + 30);
    }
    return lw_live_seconds(watched->live, now_ns(watched)) - from_s;
}

static void judge(struct watched *watched)
{
    assert_int_equal(lw_live_result(watched->live, now_ns(watched), &watched->result, NULL), LW_OK);
    walk_comes_back(&lw_live_shape, &watched->result);
    lw_live_findings(&watched->result, &watched->walk.rule, &watched->walk.findings);
    assert_int_equal(lw_findings_check(&watched->walk.findings, NULL), LW_OK);
}

static void end(struct watched *watched)
{
    lw_json_free(&lw_live_shape, &watched->result);
    lw_live_free(watched->live);
    walk_close(&watched->walk);
}

static size_t count_events(const struct watched *watched, enum lw_live_what what)
{
    size_t count = 0;
    for (size_t i = 0; i < lw_live_events(watched->live); i++) {
        count += lw_live_event(watched->live, i)->what == what;
    }
    return count;
}

static const struct lw_live_event *first_event(const struct watched *watched,
                                               enum lw_live_what what)
{
    for (size_t i = 0; i < lw_live_events(watched->live); i++) {
        if (lw_live_event(watched->live, i)->what == what) {
            return lw_live_event(watched->live, i);
        }
    }
    fail_msg("no such event");
    return NULL;
}

static void a_chain_that_is_well_shows_nothing(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        struct watched watched;
        const struct cell cell = {.probes = 6, .loops = 2, .airs = 2, .encoders = 2};
        begin(&watched, &cell, seed);
        until(&watched, 60);
        for (size_t tap = 1; tap <= 12; tap++) {
            assert_int_equal(state_of(&watched, tap), LW_LIVE_WELL);
        }
        judge(&watched);
        walk_show(&watched.walk);
        assert_int_equal(walk_count(&watched.walk, NULL), 0);
        assert_int_equal(lw_live_events(watched.live), 0);
        end(&watched);
    }
}

static void drop_out_at(char *fault, size_t size, size_t tap, double from_s, double to_s)
{
    lw_print(fault, size, "{\"kind\": \"dead_node\", \"tap\": %zu, \"from_s\": %g, \"to_s\": %g}",
             tap, from_s, to_s);
}

static void a_node_that_drops_out_shows_within_a_second(void **state)
{
    (void)state;
    for (size_t tap = 1; tap <= 24; tap++) {
        struct watched watched;
        char fault[120];
        double from_s = 5 + 0.037 * (double)tap;
        drop_out_at(fault, sizeof fault, tap, from_s, from_s + 3);
        const struct cell cell = {.probes = 24, .supplies = supplies_for(24), .faults = fault};
        begin(&watched, &cell, tap);
        until(&watched, from_s);
        assert_true(seen_after(&watched, tap, LW_LIVE_MISSED, from_s) < 1);
        assert_true(seen_after(&watched, tap, LW_LIVE_OUT, from_s) < 1.2);
        end(&watched);
    }
}

static void a_node_that_returns_shows_within_a_second_and_is_in_the_record(void **state)
{
    (void)state;
    struct watched watched;
    char fault[120];
    drop_out_at(fault, sizeof fault, 7, 5, 8);
    const struct cell cell = {.probes = 24, .supplies = supplies_for(24), .faults = fault};
    begin(&watched, &cell, 3);
    until(&watched, 8);
    assert_int_equal(state_of(&watched, 7), LW_LIVE_OUT);
    assert_true(seen_after(&watched, 7, LW_LIVE_BACK, 8) < 1);
    until(&watched, 20);
    assert_int_equal(state_of(&watched, 7), LW_LIVE_WELL);
    judge(&watched);
    assert_int_equal(count_events(&watched, LW_LIVE_SILENT), 1);
    assert_int_equal(count_events(&watched, LW_LIVE_RESTART), 1);
    const struct lw_live_event *silent = first_event(&watched, LW_LIVE_SILENT);
    assert_int_equal(silent->index, 6);
    assert_true(silent->to_s - silent->from_s > 2 && silent->to_s - silent->from_s < 4);
    const struct lw_finding *finding = walk_found(&watched.walk, "watch_dropped", "P07");
    assert_non_null(finding);
    assert_int_equal(finding->severity, LW_ATTENTION);
    assert_int_equal(walk_count(&watched.walk, "watch_dropped"), 1);
    end(&watched);
}

// A plug pulled: all nodes from `tap` on.
static const char *all_from(size_t tap, size_t nodes, double from_s, double to_s)
{
    static char text[20000];
    size_t length = 0;
    for (size_t i = tap; i <= nodes; i++) {
        drop_out_at(text + length, sizeof text - length, i, from_s, to_s);
        length += strlen(text + length);
        lw_print(text + length, sizeof text - length, "%s", i < nodes ? "," : "");
        length += strlen(text + length);
    }
    return text;
}

static void a_break_is_placed_at_its_span_among_200_nodes(void **state)
{
    (void)state;
    static const size_t spans[] = {3, 60, 117, 199};
    for (size_t i = 0; i < sizeof spans / sizeof *spans; i++) {
        struct watched watched;
        const struct cell cell = {
            .probes = 200, .supplies = supplies_for(200), .faults = all_from(spans[i], 200, 9, 16)};
        begin(&watched, &cell, 1 + i);
        until(&watched, 9);
        assert_true(seen_after(&watched, 200, LW_LIVE_MISSED, 9) < 1);
        while (lw_live_break(watched.live) == SIZE_MAX) {
            step(&watched);
        }
        assert_true(lw_live_seconds(watched.live, now_ns(&watched)) < 12);
        assert_int_equal(lw_live_break(watched.live), spans[i] - 1);
        until(&watched, 30);
        assert_int_equal(lw_live_break(watched.live), SIZE_MAX);
        judge(&watched);
        const struct lw_finding *finding = walk_found(&watched.walk, "watch_break", NULL);
        assert_non_null(finding);
        assert_int_equal(finding->span, spans[i]);
        assert_int_equal(walk_count(&watched.walk, "watch_break"), 1);
        assert_int_equal(walk_count(&watched.walk, NULL), 1);
        end(&watched);
    }
}

// The end falls silent for itself while another node is silent: nothing is broken in between.
static void two_silent_nodes_are_no_break(void **state)
{
    (void)state;
    for (size_t tap = 2; tap <= 38; tap += 6) {
        struct watched watched;
        char faults[300];
        size_t length = 0;
        drop_out_at(faults, sizeof faults, tap, 5, 30);
        length = strlen(faults);
        lw_print(faults + length, sizeof faults - length, ",");
        drop_out_at(faults + length + 1, sizeof faults - length - 1, 40, 8, 12);
        const struct cell cell = {.probes = 40, .supplies = supplies_for(40), .faults = faults};
        begin(&watched, &cell, tap);
        until(&watched, 20);
        assert_int_equal(count_events(&watched, LW_LIVE_BREAK), 0);
        assert_int_equal(count_events(&watched, LW_LIVE_SILENT), 2);
        end(&watched);
    }
}

static void all_that_was_silent_is_asked_at_once_when_the_first_comes_back(void **state)
{
    (void)state;
    struct watched watched;
    const struct cell cell = {
        .probes = 24, .supplies = supplies_for(24), .faults = all_from(5, 24, 5, 12)};
    begin(&watched, &cell, 2);
    until(&watched, 12);
    assert_int_equal(state_of(&watched, 24), LW_LIVE_OUT);
    double first_s = seen_after(&watched, 5, LW_LIVE_BACK, 12);
    double last_s = 0;
    for (size_t tap = 6; tap <= 24; tap++) {
        last_s = fmax(last_s, seen_after(&watched, tap, LW_LIVE_BACK, 12));
    }
    assert_true(first_s < 1.5);
    assert_true(last_s - first_s < 1.5);
    end(&watched);
}

static void where_the_hands_are_a_drop_out_shows_at_once_among_200(void **state)
{
    (void)state;
    for (size_t tap = 20; tap <= 180; tap += 40) {
        struct watched watched;
        char fault[120];
        drop_out_at(fault, sizeof fault, tap, 10, 14);
        const struct cell cell = {.probes = 200, .supplies = supplies_for(200), .faults = fault};
        begin(&watched, &cell, tap);
        lw_live_hands(watched.live, tap);
        until(&watched, 10);
        assert_true(seen_after(&watched, tap, LW_LIVE_MISSED, 10) < 1);
        end(&watched);
    }
}

static void a_reading_that_jumps_and_a_sensor_unplugged_are_told_apart(void **state)
{
    (void)state;
    struct watched watched;
    const struct cell cell = {
        .probes = 6,
        .faults = "{\"kind\": \"magnet_near\", \"tap\": 2, \"field\": 0.0, "
                  "\"steady\": 0.05, \"reach_taps\": 0.1, \"from_s\": 20, \"to_s\": 60},"
                  "{\"kind\": \"unplugged_sensor\", \"tap\": 5, \"from_s\": 30, "
                  "\"to_s\": 40}"};
    begin(&watched, &cell, 4);
    until(&watched, 20);
    assert_true(seen_after(&watched, 2, LW_LIVE_JUMPED, 20) < 1);
    until(&watched, 30);
    seen_after(&watched, 5, LW_LIVE_JUMPED, 30);
    until(&watched, 36);
    assert_int_equal(state_of(&watched, 5), LW_LIVE_FLAGGED);
    judge(&watched);
    assert_non_null(walk_found(&watched.walk, "watch_jumped", "P02"));
    assert_null(walk_found(&watched.walk, "watch_flagged", "P02"));
    assert_non_null(walk_found(&watched.walk, "watch_flagged", "P05"));
    end(&watched);
}

static void an_element_that_never_answers_fails(void **state)
{
    (void)state;
    struct watched watched;
    const struct cell cell = {.probes = 4, .faults = "{\"kind\": \"dead_node\", \"tap\": 3}"};
    begin(&watched, &cell, 1);
    until(&watched, 10);
    judge(&watched);
    const struct lw_finding *finding = walk_found(&watched.walk, "watch_never", "P03");
    assert_non_null(finding);
    assert_int_equal(finding->severity, LW_FAIL);
    assert_int_equal(walk_count(&watched.walk, NULL), 1);
    assert_int_equal(count_events(&watched, LW_LIVE_SILENT), 1);
    end(&watched);
}

static void trouble_sorts_first_and_else_the_chain_keeps_its_order(void **state)
{
    (void)state;
    struct watched watched;
    size_t order[6];
    const struct cell cell = {.probes = 6,
                              .faults = "{\"kind\": \"dead_node\", \"tap\": 4},"
                                        "{\"kind\": \"dead_node\", \"tap\": 2, \"from_s\": 5, "
                                        "\"to_s\": 6}"};
    begin(&watched, &cell, 1);
    until(&watched, 7.5);
    lw_live_order(watched.live, true, now_ns(&watched), order);
    const size_t by_trouble[] = {3, 1, 0, 2, 4, 5}, by_tap[] = {0, 1, 2, 3, 4, 5};
    assert_memory_equal(order, by_trouble, sizeof order);
    lw_live_order(watched.live, false, now_ns(&watched), order);
    assert_memory_equal(order, by_tap, sizeof order);
    end(&watched);
}

static void a_mark_stands_among_the_events_and_beside_the_drop_out_after_it(void **state)
{
    (void)state;
    struct watched watched;
    char fault[120];
    drop_out_at(fault, sizeof fault, 2, 5, 7);
    const struct cell cell = {.probes = 4, .faults = fault};
    begin(&watched, &cell, 1);
    until(&watched, 4);
    lw_live_mark(watched.live, SIZE_MAX, "plug of tap 2 \033[31mturned", now_ns(&watched));
    until(&watched, 15);
    judge(&watched);
    const struct lw_finding *finding = walk_found(&watched.walk, "watch_dropped", "P02");
    assert_non_null(finding);
    const char *because = ((char *const *)finding->because.items)[0];
    assert_non_null(strstr(because, "plug of tap 2"));
    assert_null(strchr(because, '\033'));
    assert_int_equal((int)watched.result.marks, 1);
    end(&watched);
}

static void a_line_that_was_gone_is_one_event_and_no_node_is_blamed(void **state)
{
    (void)state;
    struct watched watched;
    const struct cell cell = {.probes = 4};
    begin(&watched, &cell, 1);
    until(&watched, 3);
    lw_live_lost(watched.live, now_ns(&watched));
    lw_live_lost(watched.live, now_ns(&watched));
    assert_true(lw_live_is_lost(watched.live));
    assert_int_equal(lw_client_wait(watched.walk.client, 2, NULL), LW_OK);
    lw_live_found(watched.live, now_ns(&watched));
    until(&watched, 8);
    judge(&watched);
    assert_int_equal(walk_count(&watched.walk, NULL), 1);
    assert_non_null(walk_found(&watched.walk, "watch_unplugged", NULL));
    assert_true(watched.result.unplugged_s > 1.9 && watched.result.unplugged_s < 2.1);
    const struct lw_live_result_node *nodes = watched.result.nodes.items;
    assert_true(nodes[0].longest_unasked_s < 1);
    end(&watched);
}

// More events than there is room for: all are counted, the first are kept.
static void events_without_room_are_counted(void **state)
{
    (void)state;
    struct watched watched;
    const struct cell cell = {.probes = 2};
    begin(&watched, &cell, 1);
    struct lw_node_values silent = {.last = {.outcome = LW_NO_ANSWER}};
    struct lw_node_values answered = {.last = {.outcome = LW_ANSWERED}};
    for (int64_t i = 0; i < LW_LIVE_EVENTS + 50; i++) {
        lw_live_take(watched.live, 0, &silent, 3 * i * 1000000);
        lw_live_take(watched.live, 0, &silent, (3 * i + 1) * 1000000);
        lw_live_take(watched.live, 0, &answered, (3 * i + 2) * 1000000);
    }
    assert_int_equal(lw_live_events(watched.live), LW_LIVE_EVENTS);
    assert_int_equal((int)lw_live_events_in_all(watched.live), LW_LIVE_EVENTS + 50);
    assert_int_equal((int)lw_live_node(watched.live, 0)->drop_outs, LW_LIVE_EVENTS + 50);
    end(&watched);
}

static void no_node_at_all_is_wrong_usage(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_live *live = NULL;
    const bool none[2] = {false, false};
    const struct lw_live_options options = {.selected = none};
    walk_open_cell(&walk, &(struct cell){.probes = 2}, 1);
    assert_int_equal(lw_live_new(&walk.plan, &options, 0, &live, NULL), LW_USAGE);
    assert_null(live);
    walk_close(&walk);
}

static void every_state_has_a_sign_of_its_own(void **state)
{
    (void)state;
    for (int i = 0; i < LW_LIVE_STATES; i++) {
        for (int k = 0; k < i; k++) {
            assert_int_not_equal(lw_live_sign((enum lw_live_state)i),
                                 lw_live_sign((enum lw_live_state)k));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_chain_that_is_well_shows_nothing),
        cmocka_unit_test(a_node_that_drops_out_shows_within_a_second),
        cmocka_unit_test(a_node_that_returns_shows_within_a_second_and_is_in_the_record),
        cmocka_unit_test(a_break_is_placed_at_its_span_among_200_nodes),
        cmocka_unit_test(two_silent_nodes_are_no_break),
        cmocka_unit_test(all_that_was_silent_is_asked_at_once_when_the_first_comes_back),
        cmocka_unit_test(where_the_hands_are_a_drop_out_shows_at_once_among_200),
        cmocka_unit_test(a_reading_that_jumps_and_a_sensor_unplugged_are_told_apart),
        cmocka_unit_test(an_element_that_never_answers_fails),
        cmocka_unit_test(trouble_sorts_first_and_else_the_chain_keeps_its_order),
        cmocka_unit_test(a_mark_stands_among_the_events_and_beside_the_drop_out_after_it),
        cmocka_unit_test(a_line_that_was_gone_is_one_event_and_no_node_is_blamed),
        cmocka_unit_test(events_without_room_are_counted),
        cmocka_unit_test(no_node_at_all_is_wrong_usage),
        cmocka_unit_test(every_state_has_a_sign_of_its_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
