// SPDX-License-Identifier: GPL-3.0-or-later
//
// The paced crank on a scripted outside line: bytes come in at known times, and what goes out is
// kept with its time. No real time passes.
#include "fixture.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

enum { SCRIPT_MAX = 8 };

struct said {
    int64_t at_ns;
    size_t count; // 0: the master leaves
    uint8_t bytes[32];
};

struct scripted {
    struct lw_line line; // first
    struct lw_clock clock;
    struct lw_cancel cancel;
    size_t said_count, next;
    struct said said[SCRIPT_MAX];
    int64_t end_ns;
    size_t out_count;
    uint8_t out[512];
    int64_t out_ns; // of the last bytes out
    unsigned long requests;
};

static enum lw_status scripted_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                    int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    struct scripted *scripted = (struct scripted *)line;
    (void)error;
    memcpy(scripted->out + scripted->out_count, bytes, count);
    scripted->out_count += count;
    scripted->out_ns = *first_ns = *last_ns = scripted->clock.fixed_ns;
    return LW_OK;
}

static enum lw_status scripted_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                       size_t size, struct lw_piece *piece, struct lw_error *error)
{
    struct scripted *scripted = (struct scripted *)line;
    struct lw_clock *clock = &scripted->clock;
    (void)error;
    if (scripted->next < scripted->said_count &&
        scripted->said[scripted->next].at_ns <= deadline_ns) {
        const struct said *said = &scripted->said[scripted->next++];
        assert_true(said->count <= size);
        clock->fixed_ns = said->at_ns > clock->fixed_ns ? said->at_ns : clock->fixed_ns;
        memcpy(bytes, said->bytes, said->count);
        piece->count = said->count;
        piece->flags = said->count == 0 ? LW_PIECE_CLOSED : 0;
        return LW_OK;
    }
    clock->fixed_ns = deadline_ns > clock->fixed_ns ? deadline_ns : clock->fixed_ns;
    scripted->cancel.flag = clock->fixed_ns >= scripted->end_ns;
    return LW_OK;
}

static const struct lw_line_ops scripted_ops = {.send = scripted_send, .receive = scripted_receive};

static void script(struct scripted *scripted, enum lw_adu adu, double end_s)
{
    *scripted = (struct scripted){.line = {.ops = &scripted_ops, .adu = adu},
                                  .end_ns = (int64_t)(end_s * 1e9)};
    lw_clock_virtual(&scripted->clock, 0);
    scripted->line.clock = &scripted->clock;
}

static void say(struct scripted *scripted, double at_s, const uint8_t *bytes, size_t count)
{
    struct said *said = &scripted->said[scripted->said_count++];
    *said = (struct said){.at_ns = (int64_t)(at_s * 1e9), .count = count};
    if (count > 0) {
        memcpy(said->bytes, bytes, count);
    }
}

static void count_requests(void *user, unsigned long count)
{
    ((struct scripted *)user)->requests = count;
}

static void serve(struct scripted *scripted)
{
    struct fixture fixture;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 3}, NULL);
    struct lw_serve_options options = {.framing = fixture.plan.framing,
                                       .cancel = &scripted->cancel,
                                       .user = scripted,
                                       .on_request = count_requests};
    assert_int_equal(lw_wire_serve(lw_chain_wire(fixture.chain), &scripted->line, &options, NULL),
                     LW_CANCELLED);
    fixture_close(&fixture);
}

static const uint8_t rtu_request[] = {2, 4, 0, 0, 0, 2, 0x71, 0xF8};

static void a_request_in_bytes_is_answered_in_bytes_after_the_wires_own_time(void **state)
{
    (void)state;
    struct scripted scripted;
    struct lw_pdu pdu;
    uint8_t address = 0;
    script(&scripted, LW_ADU_RTU, 1);
    say(&scripted, 0.2, rtu_request, sizeof rtu_request);
    serve(&scripted);
    assert_true(lw_rtu_unwrap(scripted.out, scripted.out_count, &address, &pdu));
    assert_int_equal(address, 2);
    assert_int_equal(pdu.count, 6);
    assert_int_equal(scripted.requests, 1);
    // 8 and 9 characters of 0.573 ms, and 3 to 12 ms of thinking
    assert_in_range(scripted.out_ns, 200000000 + 9739583 + 3000000, 200000000 + 9739583 + 12000000);
}

// Pauses that no wire has: ten milliseconds are 17 characters.
static void lumps_are_one_request_whatever_the_pauses_between(void **state)
{
    (void)state;
    struct scripted scripted;
    script(&scripted, LW_ADU_RTU, 1);
    say(&scripted, 0.2, rtu_request, 3);
    say(&scripted, 0.21, rtu_request + 3, 4);
    say(&scripted, 0.3, rtu_request + 7, 1);
    serve(&scripted);
    assert_true(lw_rtu_unwrap(scripted.out, scripted.out_count, NULL, NULL));
    assert_int_equal(scripted.requests, 1);
}

static void a_piece_without_a_rest_does_not_spoil_the_next_request(void **state)
{
    (void)state;
    struct scripted scripted;
    script(&scripted, LW_ADU_RTU, 2);
    say(&scripted, 0.2, rtu_request, 3);
    say(&scripted, 0.6, rtu_request, sizeof rtu_request);
    serve(&scripted);
    assert_true(lw_rtu_unwrap(scripted.out, scripted.out_count, NULL, NULL));
    assert_int_equal(scripted.requests, 2);
}

// The first answer is out before 0.214 s; the second request comes within 3.5 characters of it.
static void a_master_that_asks_again_at_once_is_answered(void **state)
{
    (void)state;
    struct scripted scripted;
    const uint8_t other[] = {3, 4, 0, 0, 0, 2, 0x70, 0x29};
    script(&scripted, LW_ADU_RTU, 1);
    say(&scripted, 0.2, rtu_request, sizeof rtu_request);
    say(&scripted, 0.214, other, sizeof other);
    serve(&scripted);
    assert_int_equal(scripted.out_count, 18);
    assert_true(lw_rtu_unwrap(scripted.out + 9, 9, NULL, NULL));
}

static void gateway_requests_are_queued_and_answered_in_order(void **state)
{
    (void)state;
    struct scripted scripted;
    const uint8_t both[] = {0, 17, 0, 0, 0, 6, 1, 4, 0, 2, 0, 1,
                            0, 18, 0, 0, 0, 6, 3, 4, 0, 2, 0, 1};
    script(&scripted, LW_ADU_MBAP, 1);
    say(&scripted, 0.1, both, sizeof both);
    serve(&scripted);
    uint16_t transaction = 0;
    uint8_t unit = 0;
    struct lw_pdu pdu;
    int length = lw_mbap_unwrap(scripted.out, scripted.out_count, &transaction, &unit, &pdu);
    assert_int_equal(length, 11);
    assert_int_equal(transaction, 17);
    assert_int_equal(unit, 1);
    length = lw_mbap_unwrap(scripted.out + 11, scripted.out_count - 11, &transaction, &unit, &pdu);
    assert_int_equal(length, 11);
    assert_int_equal(transaction, 18);
    assert_int_equal(unit, 3);
    assert_int_equal(scripted.requests, 2);
}

// MODBUS Application Protocol V1.1b3, 7: 0B, gateway target device failed to respond.
static void a_gateway_says_when_a_node_is_silent(void **state)
{
    (void)state;
    struct scripted scripted;
    struct lw_pdu pdu;
    uint16_t transaction = 0;
    uint8_t unit = 0;
    const uint8_t ask_nine[] = {0, 5, 0, 0, 0, 6, 9, 4, 0, 2, 0, 1};
    script(&scripted, LW_ADU_MBAP, 3);
    say(&scripted, 0.1, ask_nine, sizeof ask_nine);
    serve(&scripted);
    assert_true(lw_mbap_unwrap(scripted.out, scripted.out_count, &transaction, &unit, &pdu) > 0);
    assert_int_equal(pdu.bytes[0], 0x84);
    assert_int_equal(pdu.bytes[1], LW_GATEWAY_TARGET);
}

static void a_master_that_leaves_takes_its_questions_with_it(void **state)
{
    (void)state;
    struct scripted scripted;
    uint16_t transaction = 0;
    uint8_t unit = 0;
    struct lw_pdu pdu;
    const uint8_t half[] = {0, 5, 0, 0, 0, 6, 1};
    const uint8_t whole[] = {0, 6, 0, 0, 0, 6, 1, 4, 0, 2, 0, 1};
    script(&scripted, LW_ADU_MBAP, 1);
    say(&scripted, 0.1, half, sizeof half);
    say(&scripted, 0.2, NULL, 0);
    say(&scripted, 0.3, whole, sizeof whole);
    serve(&scripted);
    assert_int_equal(lw_mbap_unwrap(scripted.out, scripted.out_count, &transaction, &unit, &pdu),
                     (int)scripted.out_count);
    assert_int_equal(transaction, 6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_request_in_bytes_is_answered_in_bytes_after_the_wires_own_time),
        cmocka_unit_test(lumps_are_one_request_whatever_the_pauses_between),
        cmocka_unit_test(a_piece_without_a_rest_does_not_spoil_the_next_request),
        cmocka_unit_test(a_master_that_asks_again_at_once_is_answered),
        cmocka_unit_test(gateway_requests_are_queued_and_answered_in_order),
        cmocka_unit_test(a_gateway_says_when_a_node_is_silent),
        cmocka_unit_test(a_master_that_leaves_takes_its_questions_with_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
