// SPDX-License-Identifier: GPL-3.0-or-later
//
// What lw_line_* promise for every kind of line, on a line made for the purpose.
#include "line/line.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

struct fake {
    struct lw_line line;
    int sends, closes;
    enum lw_status answer;
};

static enum lw_status fake_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    (void)bytes;
    (void)error;
    ((struct fake *)line)->sends++;
    *first_ns = 10;
    *last_ns = 10 + (int64_t)count;
    return ((struct fake *)line)->answer;
}

static enum lw_status fake_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                   size_t size, struct lw_piece *piece, struct lw_error *error)
{
    (void)deadline_ns;
    (void)bytes;
    (void)size;
    (void)error;
    assert_int_equal(piece->count, 0);
    assert_int_equal(piece->flags, 0);
    return ((struct fake *)line)->answer;
}

static enum lw_status fake_framing(struct lw_line *line, const struct lw_framing *framing,
                                   struct lw_error *error)
{
    (void)framing;
    (void)error;
    return ((struct fake *)line)->answer;
}

static void fake_close(struct lw_line *line)
{
    ((struct fake *)line)->closes++;
}

static const struct lw_line_ops fake_ops = {fake_send, fake_receive, fake_framing, fake_close};

static void the_times_of_a_send_may_be_left_out(void **state)
{
    (void)state;
    struct fake fake = {.line = {.ops = &fake_ops}};
    int64_t last_ns = 0;
    assert_int_equal(lw_line_send(&fake.line, (const uint8_t *)"abc", 3, NULL, &last_ns, NULL),
                     LW_OK);
    assert_int_equal(last_ns, 13);
    assert_int_equal(fake.sends, 1);
}

static void a_failed_send_leaves_the_times_alone(void **state)
{
    (void)state;
    struct fake fake = {.line = {.ops = &fake_ops}, .answer = LW_SYSTEM};
    int64_t first_ns = 1, last_ns = 2;
    assert_int_equal(lw_line_send(&fake.line, (const uint8_t *)"abc", 3, &first_ns, &last_ns, NULL),
                     LW_SYSTEM);
    assert_int_equal(first_ns, 1);
    assert_int_equal(last_ns, 2);
}

static void a_receive_starts_from_an_empty_piece(void **state)
{
    (void)state;
    struct fake fake = {.line = {.ops = &fake_ops}};
    struct lw_piece piece = {.count = 9, .flags = 9};
    uint8_t bytes[4];
    assert_int_equal(lw_line_receive(&fake.line, 0, bytes, sizeof bytes, &piece, NULL), LW_OK);
    assert_int_equal(piece.count, 0);
}

static void a_line_keeps_a_framing_only_when_it_took_it(void **state)
{
    (void)state;
    const struct lw_framing even = {19200, 8, 'E', 1}, none = {9600, 8, 'N', 1};
    struct fake fake = {.line = {.ops = &fake_ops, .framed = true}};
    assert_int_equal(lw_line_set_framing(&fake.line, &even, NULL), LW_OK);
    assert_int_equal(fake.line.framing.rate, 19200);
    fake.answer = LW_SYSTEM;
    assert_int_equal(lw_line_set_framing(&fake.line, &none, NULL), LW_SYSTEM);
    assert_int_equal(fake.line.framing.rate, 19200);
}

static void a_line_without_framing_refuses_one(void **state)
{
    (void)state;
    const struct lw_framing even = {19200, 8, 'E', 1};
    struct fake fake = {.line = {.ops = &fake_ops, .name = "tcp://127.0.0.1:502"}};
    struct lw_error error = {0};
    assert_int_equal(lw_line_set_framing(&fake.line, &even, &error), LW_USAGE);
    assert_string_equal(error.says, "'tcp://127.0.0.1:502' has no rate and no parity to set");
}

static void closing_no_line_is_allowed(void **state)
{
    (void)state;
    struct fake fake = {.line = {.ops = &fake_ops}};
    lw_line_close(NULL);
    lw_line_close(&fake.line);
    assert_int_equal(fake.closes, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_times_of_a_send_may_be_left_out),
        cmocka_unit_test(a_failed_send_leaves_the_times_alone),
        cmocka_unit_test(a_receive_starts_from_an_empty_piece),
        cmocka_unit_test(a_line_keeps_a_framing_only_when_it_took_it),
        cmocka_unit_test(a_line_without_framing_refuses_one),
        cmocka_unit_test(closing_no_line_is_allowed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
