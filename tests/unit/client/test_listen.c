// SPDX-License-Identifier: GPL-3.0-or-later
//
// Listening before the first word.
#include "fixture.h"

static struct lw_heard listen_for(struct fixture *f, double seconds)
{
    struct lw_heard heard;
    play(&f->script, 0, 0);
    assert_int_equal(lw_listen_first(&f->script.line, seconds, &heard, &f->error), LW_OK);
    assert_int_equal(f->script.sends, 0);
    return heard;
}

static void a_silent_line_is_heard_for_the_whole_time(void **state)
{
    struct lw_heard heard = listen_for(*state, 3);
    assert_int_equal(heard.bytes, 0);
    assert_int_equal(heard.frames, 0);
    assert_true(fabs(heard.listened_s - 3) < 1e-9);
    assert_false(heard.not_tested);
}

static void a_controllers_exchange_is_two_frames(void **state)
{
    struct fixture *f = *state;
    frame(&f->script, 0, 100 * ms, 9, "03 00 10 00 02");
    frame(&f->script, 0, 110 * ms, 9, "03 04 00 2A 00 2B");
    struct lw_heard heard = listen_for(f, 3);
    assert_int_equal(heard.bytes, 17);
    assert_int_equal(heard.frames, 2);
    assert_int_equal(heard.address, 9);
    assert_int_equal(heard.function, 3);
    assert_false(heard.damaged);
}

static void frames_among_garbage_are_counted(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 0, 100 * ms, "00 FF 03");
    frame(&f->script, 0, 0, 9, "04 00 10 00 02");
    glue(&f->script);
    struct lw_heard heard = listen_for(f, 3);
    assert_int_equal(heard.bytes, 11);
    assert_int_equal(heard.frames, 1);
    assert_int_equal(heard.function, 4);
}

static void a_single_byte_is_heard(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 0, 2900 * ms, "FF");
    struct lw_heard heard = listen_for(f, 3);
    assert_int_equal(heard.bytes, 1);
    assert_int_equal(heard.frames, 0);
}

static void damaged_characters_hint_at_another_framing(void **state)
{
    struct fixture *f = *state;
    raw(&f->script, 0, 100 * ms, "F8 80 07");
    f->script.flags = LW_PIECE_PARITY;
    assert_true(listen_for(f, 3).damaged);
}

static void a_line_full_of_garbage_is_heard_to_the_end(void **state)
{
    struct fixture *f = *state;
    for (int i = 0; i < 10; i++) {
        struct cue *cue = raw(&f->script, 0, i * CUE_BYTES * char_ns(&f->script), "");
        memset(cue->bytes, 0xFE, CUE_BYTES);
        cue->count = CUE_BYTES;
    }
    struct lw_heard heard = listen_for(f, 4);
    assert_int_equal(heard.bytes, 10 * CUE_BYTES);
    assert_int_equal(heard.frames, 0);
}

static void a_gateway_cannot_be_listened_to(void **state)
{
    struct fixture *f = *state;
    f->script.line.hears_others = false;
    struct lw_heard heard = listen_for(f, 3);
    assert_true(heard.not_tested);
    assert_int_equal(f->script.clock.fixed_ns, 0);
}

static void cancel_ends_listening(void **state)
{
    struct fixture *f = *state;
    struct lw_heard heard;
    f->script.cancel_ns = 1000 * ms;
    assert_int_equal(lw_listen_first(&f->script.line, 3, &heard, &f->error), LW_CANCELLED);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        client_test(a_silent_line_is_heard_for_the_whole_time),
        client_test(a_controllers_exchange_is_two_frames),
        client_test(frames_among_garbage_are_counted),
        client_test(a_single_byte_is_heard),
        client_test(damaged_characters_hint_at_another_framing),
        client_test(a_line_full_of_garbage_is_heard_to_the_end),
        client_test(a_gateway_cannot_be_listened_to),
        client_test(cancel_ends_listening),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
