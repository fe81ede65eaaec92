// SPDX-License-Identifier: GPL-3.0-or-later
//
// Every allocation of a listener refused in turn, until it gets through: each time a clean
// LW_MEMORY, nothing lost (the sanitizers watch). The linker puts the calls below between the
// library and the allocators.
#include "check/listen.h"
#include "modbus/frame.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static int left = -1; // allocations that still succeed; negative: all do

static bool refuse(void)
{
    return left >= 0 && left-- == 0;
}

void *__real_malloc(size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_malloc(size_t size)
{
    return refuse() ? NULL : __real_malloc(size);
}

void *__real_calloc(size_t count, size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_calloc(size_t count, size_t size)
{
    return refuse() ? NULL : __real_calloc(count, size);
}

void *__real_realloc(void *old, size_t size);
void *__wrap_realloc(void *old, size_t size);
void *__wrap_realloc(void *old, size_t size)
{
    return refuse() ? NULL : __real_realloc(old, size);
}

// A line on which a controller asks address 5 for two registers, a frame at every receive, heard
// with errors until the parity is odd.
struct scripted {
    struct lw_line line; // first
    struct lw_clock clock;
    int frames;
};

static enum lw_status scripted_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                       size_t size, struct lw_piece *piece, struct lw_error *error)
{
    (void)error;
    (void)deadline_ns;
    struct scripted *scripted = (struct scripted *)line;
    static const struct lw_pdu request = {5, {4, 0, 0, 0, 2}};
    static const struct lw_pdu reply = {6, {4, 4, 0x40, 0xA0, 0, 0}};
    uint8_t frame[LW_RTU_MAX];
    bool asks = scripted->frames++ % 2 == 0;
    size_t count = lw_rtu_wrap(5, asks ? &request : &reply, frame);
    assert_true(count <= size);
    memcpy(bytes, frame, count);
    *piece = (struct lw_piece){.count = count,
                               .first_ns = scripted->clock.fixed_ns,
                               .last_ns = scripted->clock.fixed_ns + 4000000,
                               .flags = line->framing.parity == 'O' ? 0 : LW_PIECE_PARITY};
    scripted->clock.fixed_ns += 20000000;
    return LW_OK;
}

static enum lw_status scripted_framing(struct lw_line *line, const struct lw_framing *framing,
                                       struct lw_error *error)
{
    (void)line;
    (void)framing;
    (void)error;
    return LW_OK;
}

static const struct lw_line_ops scripted_ops = {.receive = scripted_receive,
                                                .set_framing = scripted_framing};

static enum lw_status listen_through(struct lw_listen_result *result, struct lw_error *error)
{
    struct scripted scripted = {
        .line = {.ops = &scripted_ops, .hears_others = true, .framed = true}};
    lw_clock_virtual(&scripted.clock, 0);
    scripted.line.clock = &scripted.clock;
    assert_int_equal(lw_framing_parse("19200/8E1", &scripted.line.framing, NULL), LW_OK);
    const struct lw_run run = {.clock = &scripted.clock};
    const struct lw_listener_options options = {0};
    struct lw_listener *listener = NULL;
    enum lw_status status = lw_listener_new(&scripted.line, &run, NULL, &options, &listener, error);
    for (int i = 0; status == LW_OK && i < 60; i++) {
        status = lw_listener_step(listener, INT64_MAX, error);
    }
    if (status == LW_OK) {
        lw_listener_flush(listener);
        status = lw_listener_result(listener, result, error);
    }
    lw_listener_free(listener);
    return status;
}

static void each_refused_allocation_is_said_and_loses_nothing(void **state)
{
    (void)state;
    int refused = 0;
    for (;; refused++) {
        struct lw_listen_result result = {0};
        struct lw_error error = {0};
        left = refused;
        enum lw_status status = listen_through(&result, &error);
        bool through = left >= 0;
        left = -1;
        if (status == LW_OK) {
            lw_json_free(&lw_listen_shape, &result);
        }
        if (through) {
            assert_int_equal(status, LW_OK);
            break;
        }
        assert_int_equal(status, LW_MEMORY);
        assert_int_equal(error.status, LW_MEMORY);
    }
    assert_in_range(refused, 10, 1000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_refused_allocation_is_said_and_loses_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
