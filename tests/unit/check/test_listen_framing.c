// SPDX-License-Identifier: GPL-3.0-or-later
//
// A listener that is not told the framing, on virtual lines at framings of all usual rates, heard
// through the wire's own sampling of wrong rates and parities.
#include "walk.h"

#include "check/listen.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

// A line that passes everything on and counts what is sent.
struct counting_line {
    struct lw_line line; // first
    struct lw_line *inner;
    size_t sent, switches;
    bool blind; // an adapter that reports neither parity nor stop-bit errors
};

static enum lw_status counting_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                    int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    struct counting_line *counting = (struct counting_line *)line;
    counting->sent += count;
    return lw_line_send(counting->inner, bytes, count, first_ns, last_ns, error);
}

static enum lw_status counting_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                       size_t size, struct lw_piece *piece, struct lw_error *error)
{
    struct counting_line *counting = (struct counting_line *)line;
    enum lw_status status =
        lw_line_receive(counting->inner, deadline_ns, bytes, size, piece, error);
    piece->flags = counting->blind ? 0 : piece->flags;
    return status;
}

static enum lw_status counting_framing(struct lw_line *line, const struct lw_framing *framing,
                                       struct lw_error *error)
{
    struct counting_line *counting = (struct counting_line *)line;
    counting->switches++;
    return lw_line_set_framing(counting->inner, framing, error);
}

static const struct lw_line_ops counting_ops = {
    .send = counting_send, .receive = counting_receive, .set_framing = counting_framing};

static void wrap(struct counting_line *counting, struct lw_line *inner)
{
    *counting = (struct counting_line){.line = *inner, .inner = inner};
    counting->line.ops = &counting_ops;
}

struct heard {
    bool blind;
    struct lw_listen_result result;
    size_t sent, switches;
};

// Listens for so long to a chain at `framing` with a controller on it, begun at 19200/8E1.
static void hear(const char *framing, const char *faults, double seconds, uint64_t seed,
                 struct heard *heard)
{
    struct walk walk;
    struct lw_error error = {0};
    struct counting_line counting;
    struct lw_listener *listener = NULL;
    struct lw_line *line = NULL;
    struct lw_framing first;
    const struct lw_listener_options options = {0};
    walk_open_cell(&walk, &(struct cell){.probes = 4, .framing = framing, .faults = faults}, seed);
    assert_int_equal(lw_framing_parse("19200/8E1", &first, NULL), LW_OK);
    assert_int_equal(lw_chain_port(walk.chain, &first, &line, &error), LW_OK);
    wrap(&counting, line);
    counting.blind = heard->blind;
    assert_int_equal(lw_listener_new(&counting.line, &walk.run, NULL, &options, &listener, &error),
                     LW_OK);
    int64_t end_ns = lw_clock_now_ns(line->clock) + (int64_t)(seconds * 1e9);
    while (lw_clock_now_ns(line->clock) < end_ns) {
        assert_int_equal(lw_listener_step(listener, end_ns, &error), LW_OK);
    }
    lw_listener_flush(listener);
    assert_int_equal(lw_listener_result(listener, &heard->result, &error), LW_OK);
    walk_comes_back(&lw_listen_shape, &heard->result);
    heard->sent = counting.sent;
    heard->switches = counting.switches;
    lw_listener_free(listener);
    lw_line_close(line);
    walk_close(&walk);
}

static void forget(struct heard *heard)
{
    lw_json_free(&lw_listen_shape, &heard->result);
}

static const char controller[] =
    "{\"kind\": \"foreign_controller\", \"cycle_ms\": 200, \"addresses\": [1, 2, 3, 4]}";

static void finds_ten_framings_and_sends_nothing(void **state)
{
    (void)state;
    static const char *const framings[] = {"19200/8E1",  "19200/8N1", "19200/8O1", "9600/8E1",
                                           "9600/8N1",   "38400/8E1", "57600/8N1", "115200/8E1",
                                           "115200/8N1", "4800/8O1"};
    for (size_t i = 0; i < sizeof framings / sizeof *framings; i++) {
        for (uint64_t seed = 1; seed <= 5; seed++) {
            struct heard heard = {0};
            hear(framings[i], controller, 10, seed, &heard);
            const struct lw_listen_framing *framing = &heard.result.framing;
            assert_true(framing->found);
            assert_string_equal(framing->framing, framings[i]);
            assert_in_range(framing->switches, 0, 6);
            assert_true(framing->found_after_s < 5);
            assert_int_equal(heard.switches, framing->switches);
            assert_int_equal(heard.sent, 0);
            assert_true(heard.result.frames > 100);
            forget(&heard);
        }
    }
}

static void finds_all_usual_rates_and_parities_with_six_changes_at_most(void **state)
{
    (void)state;
    static const char *const rates[] = {"1200",  "2400",  "4800",   "9600",  "19200",
                                        "38400", "57600", "115200", "230400"};
    static const char *const rest[] = {"/8E1", "/8N1", "/8O1"};
    for (size_t i = 0; i < 27; i++) {
        char framing[LW_FRAMING_TEXT];
        struct heard heard = {0};
        lw_print(framing, sizeof framing, "%s%s", rates[i / 3], rest[i % 3]);
        hear(framing, controller, 10, 1, &heard);
        assert_true(heard.result.framing.found);
        assert_string_equal(heard.result.framing.framing, framing);
        assert_in_range(heard.switches, 0, 6);
        assert_int_equal(heard.sent, 0);
        forget(&heard);
    }
}

static void an_adapter_that_reports_no_errors_takes_no_longer_than_ten_seconds(void **state)
{
    (void)state;
    static const char *const framings[] = {"9600/8N1", "19200/8N1", "38400/8E1", "115200/8N1",
                                           "2400/8E1"};
    for (size_t i = 0; i < sizeof framings / sizeof *framings; i++) {
        struct heard heard = {.blind = true};
        hear(framings[i], controller, 10, 1, &heard);
        assert_true(heard.result.framing.found);
        assert_int_equal(
            strncmp(heard.result.framing.framing, framings[i], strcspn(framings[i], "/") + 1), 0);
        forget(&heard);
    }
}

static void a_disturbed_line_does_not_mislead(void **state)
{
    (void)state;
    static const char disturbed[] =
        "{\"kind\": \"foreign_controller\", \"cycle_ms\": 200, \"addresses\": [1, 2, 3, 4]},"
        "{\"kind\": \"noisy_span\", \"span\": 1, \"bit_error_rate\": 0.002}";
    static const char *const framings[] = {"19200/8E1", "9600/8N1", "57600/8E1"};
    for (size_t i = 0; i < sizeof framings / sizeof *framings; i++) {
        for (uint64_t seed = 1; seed <= 5; seed++) {
            struct heard heard = {0};
            hear(framings[i], disturbed, 20, seed, &heard);
            assert_true(heard.result.framing.found);
            assert_string_equal(heard.result.framing.framing, framings[i]);
            forget(&heard);
        }
    }
}

static void a_silent_line_has_no_framing_and_is_not_hunted(void **state)
{
    (void)state;
    struct heard heard = {0};
    hear("9600/8E1", NULL, 30, 1, &heard);
    assert_false(heard.result.framing.found);
    assert_null(heard.result.framing.framing);
    assert_int_equal(heard.switches, 0);
    assert_true(heard.result.bytes == 0);
    forget(&heard);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_ten_framings_and_sends_nothing),
        cmocka_unit_test(finds_all_usual_rates_and_parities_with_six_changes_at_most),
        cmocka_unit_test(an_adapter_that_reports_no_errors_takes_no_longer_than_ten_seconds),
        cmocka_unit_test(a_disturbed_line_does_not_mislead),
        cmocka_unit_test(a_silent_line_has_no_framing_and_is_not_hunted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
