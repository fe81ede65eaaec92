// SPDX-License-Identifier: GPL-3.0-or-later
//
// Frames of real masters and nodes, which know nothing of this code.
#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

#include "recorded.h"

// A beginning wants more or tells the truth.
static void assert_length(const struct recorded *frame, const struct lw_pdu *request)
{
    bool told = false;
    for (size_t seen = 0; seen <= frame->count; seen++) {
        int length = frame->request ? lw_rtu_request_length(frame->bytes, seen)
                                    : lw_rtu_reply_length(request, frame->bytes, seen);
        told = told || length != LW_LENGTH_MORE;
        assert_int_equal(length, told ? (int)frame->count : LW_LENGTH_MORE);
    }
    assert_true(told);
}

static void assert_line(const char *name, size_t wanted)
{
    static struct recorded frames[RECORDED_MAX];
    size_t count = recorded_load(name, frames);
    struct lw_pdu request = {0}, reply, again;
    struct lw_request asked;
    struct lw_reply answer;
    assert_int_equal(count, wanted);
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(frames[i].request, i % 2 == 0);
        assert_length(&frames[i], &request);
        if (frames[i].request) {
            assert_true(lw_rtu_unwrap(frames[i].bytes, frames[i].count, NULL, &request));
            assert_int_equal(lw_request_parse(&request, &asked), 0);
            assert_true(lw_request_build(&asked, &again));
            assert_memory_equal(again.bytes, request.bytes, request.count);
        } else {
            assert_true(lw_rtu_unwrap(frames[i].bytes, frames[i].count, NULL, &reply));
            assert_true(lw_reply_parse(&request, &reply, &answer));
            assert_true(lw_reply_build(&answer, &again));
            assert_memory_equal(again.bytes, reply.bytes, reply.count);
        }
    }
}

static void every_frame_of_an_io_module_is_read_and_written_back(void **state)
{
    (void)state;
    assert_line("io-module", 30);
}

static void every_frame_of_a_sensor_is_read_and_written_back(void **state)
{
    (void)state;
    assert_line("sensor", 88);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_frame_of_an_io_module_is_read_and_written_back),
        cmocka_unit_test(every_frame_of_a_sensor_is_read_and_written_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
