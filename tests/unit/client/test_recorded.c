// SPDX-License-Identifier: GPL-3.0-or-later
//
// Real nodes' answers at their real times, played to the client that asks what the real master
// asked; and the real master's traffic, heard by a client that must not join in.
#include "fixture.h"

#include "../modbus/recorded.h"

static void play_answers(struct fixture *f, const char *name, int rate, char parity)
{
    static struct recorded frames[RECORDED_MAX];
    size_t count = recorded_load(name, frames);
    assert_true(count > 0);
    f->script.line.framing = (struct lw_framing){rate, 8, parity, 1};
    with(f, (struct lw_client_options){.reply_s = 0.05, .allow_writes = true});
    for (size_t i = 0; i + 1 < count; i += 2) {
        f->script.cue_count = 0;
        struct cue *cue =
            raw(&f->script, (int)(i / 2) + 1, frames[i + 1].first_ns - frames[i].end_ns, "");
        cue->count = frames[i + 1].count;
        memcpy(cue->bytes, frames[i + 1].bytes, cue->count);
        struct lw_pdu request;
        uint8_t address;
        assert_true(lw_rtu_unwrap(frames[i].bytes, frames[i].count, &address, &request));
        assert_int_equal(lw_client_exchange(f->client, address, &request, &f->last, &f->error),
                         LW_OK);
        assert_outcome(f, LW_ANSWERED);
        assert_int_equal(f->last.strays, 0);
        assert_memory_equal(f->last.reply.bytes, frames[i + 1].bytes + 1, f->last.reply.count);
    }
    assert_int_equal(f->script.sends, count / 2);
}

static void an_io_module_is_asked_as_its_master_did(void **state)
{
    play_answers(*state, "io-module", 19200, 'E');
}

static void a_sensor_is_asked_as_its_master_did(void **state)
{
    play_answers(*state, "sensor", 9600, 'N');
}

static size_t play_line(struct fixture *f, const char *name, int rate, char parity)
{
    static struct recorded frames[RECORDED_MAX];
    size_t count = recorded_load(name, frames);
    f->script.line.framing = (struct lw_framing){rate, 8, parity, parity == 'N' ? 2 : 1};
    for (size_t i = 0; i < count; i++) {
        struct cue *cue = raw(&f->script, 0, frames[i].first_ns, "");
        cue->count = frames[i].count;
        memcpy(cue->bytes, frames[i].bytes, cue->count);
    }
    play(&f->script, 0, 0);
    return count;
}

static void all_frames_of_a_real_line_are_heard(void **state)
{
    struct fixture *f = *state;
    struct lw_heard heard;
    size_t count = play_line(f, "sensor", 9600, 'N');
    assert_int_equal(lw_listen_first(&f->script.line, 30, &heard, &f->error), LW_OK);
    assert_int_equal(heard.frames, count);
    assert_int_equal(heard.address, 1);
    assert_int_equal(heard.function, 3);
}

static void a_real_master_stops_the_client_before_its_first_word(void **state)
{
    struct fixture *f = *state;
    play_line(f, "io-module", 19200, 'E');
    with(f, (struct lw_client_options){.reply_s = 0.05});
    assert_int_equal(lw_client_wait(f->client, 1, &f->error), LW_REFUSED);
    assert_int_equal(ask(f, 1, "03 00 00 00 01"), LW_REFUSED);
    assert_int_equal(f->script.sends, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        client_test(an_io_module_is_asked_as_its_master_did),
        client_test(a_sensor_is_asked_as_its_master_did),
        client_test(all_frames_of_a_real_line_are_heard),
        client_test(a_real_master_stops_the_client_before_its_first_word),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
