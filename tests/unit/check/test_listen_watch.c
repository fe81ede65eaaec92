// SPDX-License-Identifier: GPL-3.0-or-later
//
// The judge of a watch: what it calls out, once at the beginning and once at the end, and what it
// leaves alone.
#include "polling.h"
#include "walk.h"

#include "check/listen_watch.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { TOLD = 400 };

struct watching {
    struct walk walk;
    struct lw_watch *watch;
    size_t begun, ended;
    struct lw_watch_event begins[TOLD], ends[TOLD];
};

static void on_event(void *user, const struct lw_watch_event *event)
{
    struct watching *watching = user;
    if (event->over) {
        assert_true(watching->ended < TOLD);
        watching->ends[watching->ended++] = *event;
    } else {
        assert_true(watching->begun < TOLD);
        watching->begins[watching->begun++] = *event;
    }
}

static void open_watch(struct watching *watching, const char *within)
{
    struct lw_error error = {0};
    memset(watching, 0, sizeof *watching);
    walk_open_cell(&watching->walk, &(struct cell){.probes = 4}, 1);
    struct lw_watch_options options = {.user = watching, .event = on_event};
    if (within) {
        assert_int_equal(lw_watch_limits_parse(within, &watching->walk.plan, &options, &error),
                         LW_OK);
    }
    assert_int_equal(lw_watch_new(&watching->walk.plan, &options, 0, &watching->watch, &error),
                     LW_OK);
}

static void close_watch(struct watching *watching)
{
    lw_watch_free(watching->watch);
    walk_close(&watching->walk);
}

static int64_t ns(double seconds)
{
    return (int64_t)(seconds * 1e9);
}

// Something was heard then.
static void hear(struct watching *watching, double at_s)
{
    lw_watch_piece(watching->watch,
                   &(struct lw_piece){.count = 8, .first_ns = ns(at_s), .last_ns = ns(at_s)});
    lw_watch_tick(watching->watch, ns(at_s));
}

// A poll of everything a probe measures: reading, volts, temperature, status.
static void poll_all(struct watching *watching, double at_s, int address, float reading,
                     double volts, unsigned status)
{
    uint16_t words[5];
    polling_float(reading, words);
    words[2] = (uint16_t)(volts * 100 + 0.5);
    words[3] = 250;
    words[4] = (uint16_t)status;
    const struct lw_exchange exchange = polling_exchange(&(struct poll){.address = address,
                                                                        .function = 4,
                                                                        .count = 5,
                                                                        .words = words,
                                                                        .at_ms = at_s * 1e3,
                                                                        .reply_ms = 3});
    hear(watching, at_s);
    lw_watch_exchange(watching->watch, &exchange);
}

static void poll_outcome(struct watching *watching, double at_s, int address,
                         enum lw_outcome outcome, uint8_t exception)
{
    const struct lw_exchange exchange = polling_exchange(&(struct poll){.address = address,
                                                                        .function = 4,
                                                                        .count = 2,
                                                                        .at_ms = at_s * 1e3,
                                                                        .reply_ms = 3,
                                                                        .outcome = outcome,
                                                                        .exception = exception});
    hear(watching, at_s);
    lw_watch_exchange(watching->watch, &exchange);
}

static void a_quiet_hour_has_no_event(void **state)
{
    (void)state;
    struct watching watching;
    open_watch(&watching, NULL);
    for (int i = 0; i < 7200; i++) {
        poll_all(&watching, i * 0.5, 1 + i % 4, 5, 24, 0);
    }
    lw_watch_end(watching.watch, ns(3600));
    assert_int_equal(watching.begun, 0);
    close_watch(&watching);
}

static void what_goes_on_is_one_event_with_a_beginning_and_an_end(void **state)
{
    (void)state;
    struct watching watching;
    open_watch(&watching, NULL);
    for (int i = 0; i < 200; i++) {
        bool dead = i >= 50 && i < 100;
        poll_outcome(&watching, i * 0.5, 3, dead ? LW_NO_ANSWER : LW_ANSWERED, 0);
    }
    assert_int_equal(watching.begun, 1);
    assert_int_equal(watching.ended, 1);
    const struct lw_watch_event *event = &watching.ends[0];
    assert_int_equal(event->kind, LW_WATCH_UNANSWERED);
    assert_string_equal(event->node, "P03");
    assert_true(event->count == 50);
    assert_int_equal(event->first_ns, ns(25));
    assert_int_equal(event->last_ns, ns(49.5));
    close_watch(&watching);
}

static void silence_begins_with_the_last_byte(void **state)
{
    (void)state;
    struct watching watching;
    char says[200];
    open_watch(&watching, NULL);
    hear(&watching, 1);
    for (double at_s = 1; at_s < 60; at_s += 0.5) {
        lw_watch_tick(watching.watch, ns(at_s));
    }
    assert_int_equal(watching.begun, 1);
    assert_int_equal(watching.begins[0].kind, LW_WATCH_SILENCE);
    assert_int_equal(watching.begins[0].first_ns, ns(1));
    for (double at_s = 60; at_s < 80; at_s += 0.5) {
        hear(&watching, at_s);
    }
    assert_int_equal(watching.ended, 1);
    assert_string_equal(lw_watch_says(&watching.ends[0], says, sizeof says),
                        "nothing was heard for 58.5 s");
    close_watch(&watching);
}

static void a_line_that_is_gone_twice_is_two_events_with_their_length(void **state)
{
    (void)state;
    struct watching watching;
    char says[200];
    open_watch(&watching, NULL);
    hear(&watching, 1);
    lw_watch_lost(watching.watch, ns(2));
    assert_string_equal(lw_watch_says(&watching.begins[0], says, sizeof says),
                        "the line is gone (adapter or cable)");
    lw_watch_lost(watching.watch, ns(2.5));
    lw_watch_regained(watching.watch, ns(3.25));
    lw_watch_lost(watching.watch, ns(4));
    lw_watch_regained(watching.watch, ns(4.5));
    assert_int_equal(watching.begun, 2);
    assert_int_equal(watching.ended, 2);
    assert_string_equal(lw_watch_says(&watching.ends[0], says, sizeof says),
                        "the line was gone for 1.2 s (adapter or cable)");
    assert_string_equal(lw_watch_says(&watching.ends[1], says, sizeof says),
                        "the line was gone for 0.5 s (adapter or cable)");
    close_watch(&watching);
}

static void status_bits_and_volts_are_read_from_the_controllers_own_polls(void **state)
{
    (void)state;
    struct watching watching;
    char says[200];
    open_watch(&watching, NULL);
    poll_all(&watching, 0.5, 2, 5, 24, 0);
    poll_all(&watching, 1.0, 2, 5, 17.2, 3); // under 18 V; under_voltage and sensor_open
    poll_all(&watching, 1.5, 2, 5, 24, 0);
    lw_watch_end(watching.watch, ns(2));
    assert_int_equal(watching.begun, 3);
    assert_string_equal(lw_watch_says(&watching.begins[0], says, sizeof says),
                        "P02: supply 17.2 V, below 18");
    assert_string_equal(lw_watch_says(&watching.begins[1], says, sizeof says),
                        "P02: status bit 0 (under voltage)");
    assert_string_equal(lw_watch_says(&watching.begins[2], says, sizeof says),
                        "P02: status bit 1 (sensor open)");
    close_watch(&watching);
}

static void readings_are_held_to_the_range_or_to_what_a_person_says(void **state)
{
    (void)state;
    struct watching watching;
    open_watch(&watching, "P01=4.9..5.1,P02=-1..1");
    poll_all(&watching, 0.5, 1, 5.05F, 24, 0);
    poll_all(&watching, 1.0, 1, 5.15F, 24, 0);
    poll_all(&watching, 1.5, 2, 5, 24, 0);
    poll_all(&watching, 2.0, 3, 5, 24, 0);
    poll_all(&watching, 2.5, 3, 10.5F, 24, 0); // the profile's range ends at 10 mm
    lw_watch_end(watching.watch, ns(3));
    assert_int_equal(watching.begun, 3);
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(watching.begins[i].kind, LW_WATCH_VALUE);
        assert_int_equal(watching.begins[i].address, i + 1);
    }
    close_watch(&watching);
}

static void damage_is_the_nodes_when_its_answer_was_hit_and_nobodys_else(void **state)
{
    (void)state;
    struct watching watching;
    static const uint8_t bytes[8] = {0};
    open_watch(&watching, NULL);
    const struct lw_stream_frame noise = {
        .kind = LW_STREAM_NOISE, .bytes = bytes, .count = 8, .first_ns = ns(1)};
    hear(&watching, 1);
    lw_watch_frame(watching.watch, &noise);
    poll_outcome(&watching, 1, 4, LW_CRC_ERROR, 0);
    assert_int_equal(watching.begun, 1);
    assert_int_equal(watching.begins[0].address, 4);
    lw_watch_frame(watching.watch, &noise);
    poll_outcome(&watching, 2, 4, LW_ANSWERED, 0);
    assert_int_equal(watching.begun, 2);
    assert_int_equal(watching.begins[1].address, 0);
    assert_int_equal(watching.begins[1].kind, LW_WATCH_DAMAGED);
    close_watch(&watching);
}

static void a_glitch_of_the_idle_line_is_no_event(void **state)
{
    (void)state;
    struct watching watching;
    static const uint8_t bytes[3] = {0};
    open_watch(&watching, NULL);
    lw_watch_frame(watching.watch,
                   &(struct lw_stream_frame){
                       .kind = LW_STREAM_NOISE, .bytes = bytes, .count = 3, .first_ns = ns(1)});
    poll_outcome(&watching, 1, 4, LW_ANSWERED, 0);
    lw_watch_end(watching.watch, ns(2));
    assert_int_equal(watching.begun, 0);
    close_watch(&watching);
}

static void exceptions_are_told_apart_by_their_code(void **state)
{
    (void)state;
    struct watching watching;
    char says[200];
    open_watch(&watching, NULL);
    poll_outcome(&watching, 1, 1, LW_EXCEPTION, 2);
    poll_outcome(&watching, 2, 1, LW_EXCEPTION, 6);
    poll_outcome(&watching, 3, 1, LW_EXCEPTION, 2);
    assert_int_equal(watching.begun, 2);
    lw_watch_end(watching.watch, ns(4));
    assert_int_equal(watching.ended, 2);
    assert_string_equal(lw_watch_says(&watching.ends[0], says, sizeof says),
                        "P01: refused with exception 2 (illegal data address), 2 times");
    close_watch(&watching);
}

static void more_at_a_time_than_there_is_room_for_are_counted(void **state)
{
    (void)state;
    struct watching watching;
    open_watch(&watching, NULL);
    for (int address = 1; address <= 200; address++) {
        poll_outcome(&watching, 1, address, LW_NO_ANSWER, 0);
    }
    assert_int_equal(watching.begun, LW_WATCH_OPEN);
    assert_true(lw_watch_uncounted(watching.watch) == 200 - LW_WATCH_OPEN);
    lw_watch_end(watching.watch, ns(2));
    assert_int_equal(watching.ended, LW_WATCH_OPEN);
    close_watch(&watching);
}

static void limits_that_make_no_sense_are_refused(void **state)
{
    (void)state;
    struct watching watching;
    open_watch(&watching, NULL);
    static const char *const wrong[] = {
        "P01",      "P01=",  "P01=1",    "P01=1..",   "P01=2..1",
        "P09=0..1", "=0..1", "P01=a..b", "P01=0..1,", "P01=0..1,,P02=0..1"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct lw_watch_options options = {0};
        struct lw_error error = {0};
        enum lw_status status =
            lw_watch_limits_parse(wrong[i], &watching.walk.plan, &options, &error);
        if (status != LW_USAGE) {
            fail_msg("'%s' was taken", wrong[i]);
        }
        assert_true(error.says[0] != '\0');
    }
    close_watch(&watching);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_quiet_hour_has_no_event),
        cmocka_unit_test(what_goes_on_is_one_event_with_a_beginning_and_an_end),
        cmocka_unit_test(silence_begins_with_the_last_byte),
        cmocka_unit_test(a_line_that_is_gone_twice_is_two_events_with_their_length),
        cmocka_unit_test(status_bits_and_volts_are_read_from_the_controllers_own_polls),
        cmocka_unit_test(readings_are_held_to_the_range_or_to_what_a_person_says),
        cmocka_unit_test(damage_is_the_nodes_when_its_answer_was_hit_and_nobodys_else),
        cmocka_unit_test(a_glitch_of_the_idle_line_is_no_event),
        cmocka_unit_test(exceptions_are_told_apart_by_their_code),
        cmocka_unit_test(more_at_a_time_than_there_is_room_for_are_counted),
        cmocka_unit_test(limits_that_make_no_sense_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
