// SPDX-License-Identifier: GPL-3.0-or-later
//
// What scan and link make of the wire, counted on the virtual clock, where only the wire takes
// time.
#include "modbus/pdu.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

enum { NODES = 32, ADDRESSES = 247 };

static double since_s(const struct walk *walk, int64_t start_ns)
{
    return (double)(lw_clock_now_ns(walk->line->clock) - start_ns) / 1e9;
}

static void the_address_pass_takes_the_wires_own_time(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_scan_result result;
    walk_open_cell(&walk, &(struct cell){.probes = NODES}, 1);
    walk_scan(&walk, &result);
    double ratio = result.pass_s / result.wire_s;
    print_message("scan of %d addresses, %d nodes, 19200/8E1: %.3f s, the wire's own time %.3f s, "
                  "ratio %.4f\n",
                  result.asked, NODES, result.pass_s, result.wire_s, ratio);
    assert_int_equal(result.asked, ADDRESSES);
    assert_int_equal(result.nodes.count, NODES);
    assert_true(ratio < 1.02);
    // By hand, at 19200 bit/s with characters of 11 bits: 8 characters out, 5 back (an exception),
    // t3.5, and 8 ms at each silent address; the nodes' own latency comes on top.
    double character_s = 11.0 / 19200;
    double least_s =
        ADDRESSES * 8 * character_s + NODES * (5 + 3.5) * character_s + (ADDRESSES - NODES) * 0.008;
    assert_true(result.wire_s > least_s && result.wire_s < least_s + NODES * 0.008);
    lw_json_free(&lw_scan_shape, &result);
    walk_close(&walk);
}

// What a plain loop takes that waits half a second at every address.
static double plain_loop_s(const struct cell *cell)
{
    struct walk walk;
    size_t found = 0;
    const struct lw_pdu request = {5, {LW_READ_HOLDING, 0, 0, 0, 1}};
    walk_open_cell(&walk, cell, 1);
    lw_client_reply_s(walk.client, 0.5);
    int64_t start_ns = lw_clock_now_ns(walk.line->clock);
    for (int address = 1; address <= ADDRESSES; address++) {
        struct lw_exchange exchange;
        assert_int_equal(
            lw_client_exchange(walk.client, (uint8_t)address, &request, &exchange, NULL), LW_OK);
        found += exchange.outcome != LW_NO_ANSWER;
    }
    double seconds = since_s(&walk, start_ns);
    assert_int_equal(found, NODES);
    walk_close(&walk);
    return seconds;
}

static void a_known_slowest_reply_saves_most_of_the_waiting(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_scan_result result;
    const struct cell cell = {.probes = NODES};
    double plain_s = plain_loop_s(&cell);
    walk_open_cell(&walk, &cell, 1);
    walk.scan_options.slowest_reply_s = 0.020;
    walk_scan(&walk, &result);
    print_message("the same with 20 ms a silent address: %.2f s, a loop with 0.5 s: %.2f s, "
                  "%.1f times\n",
                  result.pass_s, plain_s, plain_s / result.pass_s);
    assert_int_equal(result.nodes.count, NODES);
    assert_true(plain_s / result.pass_s > 15);
    lw_json_free(&lw_scan_shape, &result);
    walk_close(&walk);
}

static void polls_fill_the_wire(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_link_result result;
    walk_open_cell(&walk, &(struct cell){.probes = 1, .framing = "115200/8E1"}, 1);
    walk_link(&walk, &(struct lw_link_options){.seconds = 60}, &result);
    double allowed = result.elapsed_s * 1e3 / result.wire_cycle_ms;
    print_message("link, one register pair, 115200/8E1: %.0f exchanges in %.1f s, the wire allows "
                  "%.0f: %.2f %%\n",
                  result.line.polls, result.elapsed_s, allowed, 100 * result.line.polls / allowed);
    assert_true(result.line.polls / allowed > 0.98);
    assert_true(result.line.polls / allowed < 1.001);
    lw_json_free(&lw_link_shape, &result);
    walk_close(&walk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_address_pass_takes_the_wires_own_time),
        cmocka_unit_test(a_known_slowest_reply_saves_most_of_the_waiting),
        cmocka_unit_test(polls_fill_the_wire),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
