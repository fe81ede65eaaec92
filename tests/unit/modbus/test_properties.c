// SPDX-License-Identifier: GPL-3.0-or-later
//
// What must hold for any bytes at all: whatever can be read can be written back to the same bytes,
// and a length told from a beginning is the length of the frame. Bytes are random, worked examples
// with random damage, or values built at random; the seed is fixed.
#include "modbus/frame.h"
#include "modbus/identity.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

#include "worked.h"

enum { ROUNDS = 200000 };

static uint64_t state_of_random = 20061220;

// SplitMix64 (Steele, Lea, Flood 2014): any generator would do here.
static uint64_t random_bits(void)
{
    uint64_t z = (state_of_random += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

static size_t below(size_t limit)
{
    return (size_t)(random_bits() % limit);
}

static struct lw_pdu random_pdu(void)
{
    struct lw_pdu pdu = {.count = 1 + below(below(4) == 0 ? LW_PDU_MAX : 20)};
    for (size_t i = 0; i < pdu.count; i++) {
        pdu.bytes[i] = (uint8_t)(below(3) == 0 ? below(8) : random_bits());
    }
    pdu.bytes[0] = (uint8_t)below(0x30);
    return pdu;
}

static struct lw_pdu damaged_pdu(bool reply)
{
    const struct worked *example = &worked[below(WORKED)];
    struct lw_pdu pdu = pdu_of(reply ? example->reply : example->request);
    for (size_t hits = below(3); hits > 0; hits--) {
        pdu.bytes[below(pdu.count)] = (uint8_t)random_bits();
    }
    return pdu;
}

static void assert_same(const struct lw_pdu *a, const struct lw_pdu *b)
{
    assert_int_equal(a->count, b->count);
    assert_memory_equal(a->bytes, b->bytes, a->count);
}

static void any_request_that_is_read_is_written_back_the_same(void **state)
{
    (void)state;
    size_t taken = 0;
    for (int round = 0; round < ROUNDS; round++) {
        struct lw_pdu pdu = round % 2 ? random_pdu() : damaged_pdu(false), again;
        struct lw_request request;
        if (lw_request_parse(&pdu, &request) == 0) {
            taken++;
            assert_true(lw_request_build(&request, &again));
            assert_same(&pdu, &again);
        }
    }
    assert_in_range(taken, ROUNDS / 10, ROUNDS);
}

// Replies to 11 may be counted a byte short, and are written with the right count.
static bool is_exact(uint8_t function)
{
    return function != LW_REPORT_ID;
}

static void any_reply_that_is_read_is_written_back_the_same(void **state)
{
    (void)state;
    size_t taken = 0;
    for (int round = 0; round < ROUNDS; round++) {
        struct lw_pdu pdu = round % 2 ? random_pdu() : damaged_pdu(true), again;
        struct lw_reply reply;
        if (is_exact(pdu.bytes[0]) && lw_reply_parse(NULL, &pdu, &reply)) {
            taken++;
            assert_true(lw_reply_build(&reply, &again));
            assert_same(&pdu, &again);
        }
    }
    assert_in_range(taken, ROUNDS / 10, ROUNDS);
}

// Calls the length on every beginning: it may want more, but not change its mind.
static void assert_steady(const struct lw_pdu *pdu, bool reply)
{
    uint8_t frame[LW_RTU_MAX];
    size_t count = lw_rtu_wrap(1, pdu, frame);
    int told = LW_LENGTH_MORE;
    for (size_t seen = 0; seen <= count; seen++) {
        int length =
            reply ? lw_rtu_reply_length(NULL, frame, seen) : lw_rtu_request_length(frame, seen);
        assert_true(told == LW_LENGTH_MORE || length == told);
        told = length;
    }
    assert_true(told == LW_LENGTH_OPEN || told == (int)count);
}

static void a_frame_that_can_be_read_has_the_length_that_is_told(void **state)
{
    (void)state;
    for (int round = 0; round < ROUNDS; round++) {
        struct lw_pdu pdu = round % 2 ? random_pdu() : damaged_pdu(round % 4 == 0);
        struct lw_request request;
        struct lw_reply reply;
        if (lw_request_parse(&pdu, &request) == 0) {
            assert_steady(&pdu, false);
        }
        bool walked = pdu.bytes[0] == LW_ENCAPSULATED; // its objects are judged elsewhere
        if (!walked && is_exact(pdu.bytes[0]) && lw_reply_parse(NULL, &pdu, &reply)) {
            assert_steady(&pdu, true);
        }
    }
}

static struct lw_identity random_identity(void)
{
    struct lw_identity node = {.conformity = 0x83};
    uint8_t text[LW_OBJECT_MAX];
    memset(text, 'x', sizeof text);
    for (size_t objects = below(12); objects > 0; objects--) {
        lw_identity_set(&node, (uint8_t)random_bits(), text,
                        below(4) == 0 ? below(LW_OBJECT_MAX + 1) : below(30));
    }
    return node;
}

static void any_identity_served_in_parts_is_gathered_whole(void **state)
{
    (void)state;
    for (int round = 0; round < 2000; round++) {
        struct lw_identity node = random_identity(), heard = {0};
        enum lw_identity_step step = LW_IDENTITY_MORE;
        for (int part = 0; step == LW_IDENTITY_MORE; part++) {
            struct lw_pdu request, reply;
            assert_in_range(part, 0, 12);
            lw_identity_request(LW_IDENTITY_EXTENDED, heard.next, &request);
            lw_identity_reply(&node, &request, &reply);
            assert_steady(&reply, true);
            step = lw_identity_add(&heard, &request, &reply);
        }
        assert_int_equal(step, LW_IDENTITY_WHOLE);
        assert_int_equal(heard.count, node.count);
        for (size_t i = 0; i < node.count; i++) {
            size_t length = 0;
            assert_non_null(lw_identity_get(&heard, node.objects[i].id, &length));
            assert_int_equal(length, node.objects[i].length);
        }
    }
}

static void a_hostile_identity_ends_within_256_parts(void **state)
{
    (void)state;
    for (int round = 0; round < 2000; round++) {
        struct lw_identity heard = {0};
        enum lw_identity_step step = LW_IDENTITY_MORE;
        for (int part = 0; step == LW_IDENTITY_MORE; part++) {
            struct lw_pdu request, reply = random_pdu();
            assert_in_range(part, 0, 255);
            lw_identity_request(LW_IDENTITY_EXTENDED, heard.next, &request);
            memcpy(reply.bytes, request.bytes, 3);
            reply.bytes[4] = 0xFF;
            reply.bytes[5] = (uint8_t)(heard.next + 1);
            reply.bytes[6] = 0;
            reply.count = 7;
            step = lw_identity_add(&heard, &request, &reply);
        }
        assert_int_equal(step, LW_IDENTITY_WHOLE);
        assert_true(heard.cut);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_request_that_is_read_is_written_back_the_same),
        cmocka_unit_test(any_reply_that_is_read_is_written_back_the_same),
        cmocka_unit_test(a_frame_that_can_be_read_has_the_length_that_is_told),
        cmocka_unit_test(any_identity_served_in_parts_is_gathered_whole),
        cmocka_unit_test(a_hostile_identity_ends_within_256_parts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
