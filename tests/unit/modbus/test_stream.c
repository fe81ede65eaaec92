// SPDX-License-Identifier: GPL-3.0-or-later
//
// The stream decoder, one situation a test: what stands on the line, as hex, and what is made of
// it, as one letter a frame (Q request, R reply, E echo, n noise) and one line an exchange.
#include "base/text.h"
#include "modbus/frame.h"
#include "modbus/stream.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>

#include <cmocka.h>

#include "recorded.h"

enum { SEEN = 4096 };
static const int64_t ms = 1000000;

struct seen {
    char frames[SEEN];    // "QRn"
    char exchanges[SEEN]; // "1:answered 2:no_answer"
    size_t count;
    struct lw_stream_frame frame[SEEN];
    struct lw_exchange last;
};

static void see_frame(void *context, const struct lw_stream_frame *frame)
{
    struct seen *seen = context;
    assert_true(seen->count + 1 < SEEN);
    seen->frame[seen->count] = *frame;
    seen->frames[seen->count++] = "QREn"[frame->kind];
    seen->frames[seen->count] = '\0';
}

static void see_exchange(void *context, const struct lw_exchange *exchange)
{
    struct seen *seen = context;
    size_t used = strlen(seen->exchanges);
    lw_print(seen->exchanges + used, SEEN - used, "%s%s%d:%s", used > 0 ? " " : "",
             exchange->request.count == 0 ? "?" : "", exchange->address,
             lw_outcome_word(exchange->outcome));
    seen->last = *exchange;
}

static struct seen seen;
static struct lw_stream *stream;
static struct lw_stream_options options;

static struct lw_stream *fresh(void)
{
    const struct lw_stream_sinks sinks = {&seen, see_frame, see_exchange};
    memset(&seen, 0, sizeof seen);
    struct lw_stream *made = lw_stream_new(&options, &sinks);
    assert_non_null(made);
    return made;
}

static int begin(void **state)
{
    (void)state;
    options = (struct lw_stream_options){.adu = LW_ADU_RTU};
    stream = fresh();
    return 0;
}

static int end(void **state)
{
    (void)state;
    lw_stream_free(stream);
    return 0;
}

static void hear(const uint8_t *bytes, size_t count, int64_t first_ns, enum lw_side side)
{
    const struct lw_stream_piece piece = {
        .bytes = bytes,
        .count = count,
        .first_ns = first_ns,
        .last_ns = first_ns < 0 ? -1 : first_ns + (int64_t)count * options.char_ns,
        .side = side,
    };
    lw_stream_add(stream, &piece);
}

// "01 03 ..." as it stands.
static void say_raw(const char *hex)
{
    uint8_t bytes[512];
    hear(bytes, recorded_bytes(hex, bytes), -1, LW_SIDE_UNKNOWN);
}

// Address and PDU as hex; the CRC is put behind them. Returns the frame's end.
static int64_t say_at(const char *hex, int64_t first_ns, enum lw_side side)
{
    uint8_t bytes[LW_RTU_MAX], frame[LW_RTU_MAX];
    struct lw_pdu pdu = {.count = recorded_bytes(hex, bytes) - 1};
    memcpy(pdu.bytes, bytes + 1, pdu.count);
    size_t count = lw_rtu_wrap(bytes[0], &pdu, frame);
    hear(frame, count, first_ns, side);
    return first_ns + (int64_t)count * options.char_ns;
}

static void say(const char *hex)
{
    say_at(hex, -1, LW_SIDE_UNKNOWN);
}

static void assert_heard(const char *frames, const char *exchanges)
{
    lw_stream_flush(stream);
    assert_string_equal(seen.frames, frames);
    assert_string_equal(seen.exchanges, exchanges);
}

static void a_request_and_its_reply_are_an_exchange(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("01 03 04 41 20 00 00");
    assert_heard("QR", "1:answered");
    assert_int_equal(seen.last.request.count, 5);
    assert_int_equal(seen.last.reply.count, 6);
    assert_int_equal(lw_stream_totals(stream)->exchanges, 1);
    assert_int_equal(lw_stream_totals(stream)->unanswered, 0);
}

static void an_exception_is_an_answer(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("01 83 02");
    assert_heard("QR", "1:exception");
    assert_int_equal(seen.last.exception, 2);
}

static void a_silent_node_is_unanswered(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("02 03 00 10 00 02");
    say("02 03 04 41 20 00 00");
    assert_heard("QQR", "1:no_answer 2:answered");
    assert_int_equal(lw_stream_totals(stream)->unanswered, 1);
}

static void a_broadcast_is_not_unanswered(void **state)
{
    (void)state;
    say("00 06 00 10 00 02");
    say("02 03 00 10 00 02");
    say("02 03 04 41 20 00 00");
    assert_heard("QQR", "0:no_answer 2:answered");
    assert_int_equal(lw_stream_totals(stream)->unanswered, 0);
}

static void a_stray_first_byte_costs_no_frame(void **state)
{
    (void)state;
    say_raw("ff");
    say("01 03 00 10 00 02");
    say_raw("00");
    say("01 03 04 41 20 00 00");
    assert_heard("nQnR", "1:answered");
    assert_int_equal(seen.last.strays, 2);
    assert_int_equal(lw_stream_totals(stream)->damaged, 0);
}

static void a_broken_reply_is_a_crc_error_and_the_next_frames_are_found(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say_raw("01 03 04 41 21 00 00 ef d9");
    say("02 03 00 10 00 02");
    say("02 03 04 41 20 00 00");
    assert_heard("QnQR", "1:crc_error 2:answered");
    assert_int_equal(lw_stream_totals(stream)->damaged, 1);
}

static void a_reply_of_a_broken_request_stands_alone(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("01 03 04 41 20 00 00");
    say_raw("01 03 00 11 00 02 c5 ce");
    say("01 03 04 41 20 00 00");
    say("01 03 00 10 00 02");
    say("01 03 04 41 20 00 00");
    assert_heard("QRnRQR", "1:answered ?1:answered 1:answered");
}

// A CRC whose second byte is 0 leaves the frame without that byte with a right CRC, too: here the
// request for 41207 registers, which no master sends and the next reply does not answer.
static void a_reply_is_not_cut_to_a_request_that_nobody_sends(void **state)
{
    (void)state;
    for (int i = 0; i < 4; i++) {
        say("01 03 00 00 00 02");
        say("01 03 04 41 A0 93 8D");
        say("01 03 00 00 00 0A");
        say("01 03 14 41 A0 46 24 30 76 00 00 41 A0 75 58 30 77 00 00 41 A0 5B 00");
    }
    say_raw("01 03 00 00 00 02 2B 0B 01 03 04 41 A0 F7 2D 68 00 01 49 03 00 00 00 0A C5 CD");
    say("01 03 14 41 A0 46 24 30 76 00 00 41 A0 75 58 30 77 00 00 41 A0 5B 00");
    lw_stream_flush(stream);
    assert_string_equal(seen.frames, "QRQRQRQRQRQRQRQRnRnR");
    assert_int_equal(seen.frame[17].count, 9);
}

static void a_write_and_its_echoing_reply_are_told_apart(void **state)
{
    (void)state;
    say("01 06 00 10 12 34");
    say("01 06 00 10 12 34");
    say("02 05 00 10 ff 00");
    say("02 05 00 10 ff 00");
    say("01 06 00 10 56 78");
    say("02 06 00 10 56 78");
    say("02 06 00 10 56 78");
    assert_heard("QRQRQQR", "1:answered 2:answered 1:no_answer 2:answered");
}

// 01 with three bytes of coils has eight bytes, as its request has.
static void a_reply_as_long_as_its_request_is_told_by_its_place(void **state)
{
    (void)state;
    say("01 01 03 e8 00 14");
    say("01 01 03 e8 00 04");
    say("01 01 03 e8 00 14");
    say("01 01 03 00 00 00");
    assert_heard("QRQR", "1:answered 1:answered");
}

static void an_adapter_that_echoes_is_found_out(void **state)
{
    (void)state;
    for (int i = 0; i < 4; i++) {
        say("01 03 00 10 00 02");
        say("01 03 00 10 00 02");
        say("01 03 04 41 20 00 00");
    }
    say("01 06 00 10 12 34");
    say("01 06 00 10 12 34");
    say("01 06 00 10 12 34");
    assert_heard("QERQERQERQERQER", "1:answered 1:answered 1:answered 1:answered 1:answered");
}

static void an_echo_of_writes_alone_is_found_out(void **state)
{
    (void)state;
    const char *write[] = {"01 06 00 10 12 34", "01 06 00 10 12 35", "02 06 00 10 12 36"};
    for (size_t i = 0; i < 9; i++) {
        say(write[i / 3]);
    }
    assert_heard("QERQERQER", "1:answered 1:answered 2:answered");
}

static void a_request_asked_again_is_no_echo(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("01 03 04 41 20 00 00");
    say("02 03 00 10 00 02");
    say("02 03 00 10 00 02");
    say("02 03 04 41 20 00 00");
    say("01 03 00 10 00 02");
    say("01 03 04 41 20 00 00");
    assert_heard("QRQQRQR", "1:answered 2:no_answer 2:answered 1:answered");
}

static void a_second_attempt_is_counted(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("01 03 04 41 20 00 00");
    say("02 03 00 10 00 02");
    say("02 03 00 10 00 02");
    lw_stream_flush(stream);
    assert_int_equal(seen.last.attempt, 2);
}

static void what_was_sent_and_heard_again_is_an_echo(void **state)
{
    (void)state;
    say_at("01 03 00 10 00 02", -1, LW_SIDE_OUT);
    say_at("01 03 00 10 00 02", -1, LW_SIDE_IN);
    say_at("01 03 04 41 20 00 00", -1, LW_SIDE_IN);
    assert_heard("QER", "1:answered");
}

static void answers_alone_are_found(void **state)
{
    (void)state;
    for (int i = 0; i < 3; i++) {
        say("01 03 04 41 20 00 00");
        say("02 06 00 10 12 34");
    }
    lw_stream_flush(stream);
    assert_int_equal(lw_stream_totals(stream)->frames, 6);
    assert_int_equal(lw_stream_totals(stream)->noise_bytes, 0);
    assert_true(lw_stream_totals(stream)->orphans >= 3);
}

static void requests_alone_are_found(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("02 06 00 10 12 34");
    say("03 07");
    say("04 04 00 10 00 02");
    assert_heard("QQQQ", "1:no_answer 2:no_answer 3:no_answer 4:no_answer");
}

static void two_masters_that_cross_are_seen(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("02 04 00 10 00 01");
    say("01 03 04 41 20 00 00");
    say("02 04 02 41 20");
    assert_heard("QQRR", "1:no_answer 2:answered");
    assert_int_equal(lw_stream_totals(stream)->crossed, 1);
    assert_int_equal(seen.last.late_address, 1);
    assert_int_equal(seen.last.strays, 9);
}

static void a_reply_of_somebody_else_is_a_wrong_answer(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("03 03 04 41 20 00 00");
    say("02 03 00 10 00 02");
    say("02 03 04 41 20 00 00");
    assert_heard("QRQR", "1:wrong_answer 2:answered");
}

static void a_function_of_unknown_length_is_found_between_known_ones(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    say("01 03 04 41 20 00 00");
    say("01 64 01 02 03");
    say("01 64 09 08 07 06 05");
    say("01 03 00 10 00 02");
    say("01 03 04 41 20 00 00");
    assert_heard("QRQRQR", "1:answered 1:answered 1:answered");
}

static void silence_that_is_proven_cuts_noise(void **state)
{
    (void)state;
    const uint8_t first[] = {1, 3, 4, 5, 6}, second[] = {1, 3, 9, 9};
    lw_stream_free(stream);
    options.char_ns = ms;
    stream = fresh();
    int64_t now_ns = say_at("01 03 00 10 00 02", 0, LW_SIDE_UNKNOWN);
    hear(first, sizeof first, now_ns + 5 * ms, LW_SIDE_UNKNOWN);
    hear(second, sizeof second, now_ns + 15 * ms, LW_SIDE_UNKNOWN);
    assert_heard("Qnn", "1:crc_error");
    assert_int_equal(lw_stream_totals(stream)->damaged, 2);
}

static void times_tell_an_echo_from_a_second_attempt(void **state)
{
    (void)state;
    lw_stream_free(stream);
    options.char_ns = ms;
    stream = fresh();
    int64_t now_ns = say_at("01 06 00 10 00 02", 0, LW_SIDE_UNKNOWN);
    now_ns = say_at("01 06 00 10 00 02", now_ns, LW_SIDE_UNKNOWN);
    now_ns = say_at("01 06 00 10 00 02", now_ns + 5 * ms, LW_SIDE_UNKNOWN);
    now_ns = say_at("02 03 00 10 00 02", now_ns + 5 * ms, LW_SIDE_UNKNOWN);
    now_ns = say_at("02 03 00 10 00 02", now_ns + 50 * ms, LW_SIDE_UNKNOWN);
    say_at("02 03 04 00 00 00 00", now_ns + 5 * ms, LW_SIDE_UNKNOWN);
    assert_heard("QERQQR", "1:answered 2:no_answer 2:answered");
    assert_int_equal(seen.last.reply_first_ns - seen.last.sent_last_ns, 5 * ms);
}

static void a_reply_that_comes_too_late_is_none(void **state)
{
    (void)state;
    lw_stream_free(stream);
    options.char_ns = ms;
    options.reply_ns = 100 * ms;
    stream = fresh();
    int64_t now_ns = say_at("01 03 00 10 00 02", 0, LW_SIDE_UNKNOWN);
    say_at("01 03 04 00 00 00 00", now_ns + 150 * ms, LW_SIDE_UNKNOWN);
    assert_heard("QR", "1:wrong_answer");
}

static void more_may_be_added_after_a_flush(void **state)
{
    (void)state;
    say("01 03 00 10 00 02");
    lw_stream_flush(stream);
    assert_string_equal(seen.exchanges, "1:no_answer");
    say("01 03 00 10 00 02");
    say("01 03 04 41 20 00 00");
    assert_heard("QQR", "1:no_answer 1:answered");
    assert_int_equal(seen.frame[2].at, 16);
}

static void mbap_replies_are_matched_by_number(void **state)
{
    (void)state;
    const uint8_t asked[] = {0, 1, 0, 0, 0, 6, 7, 3, 0, 0, 0, 1,
                             0, 2, 0, 0, 0, 6, 8, 3, 0, 0, 0, 1};
    const uint8_t second[] = {0, 2, 0, 0, 0, 5, 8, 3, 2, 0, 1},
                  first[] = {0, 1, 0, 0, 0, 3, 7, 0x83, 2};
    lw_stream_free(stream);
    options.adu = LW_ADU_MBAP;
    stream = fresh();
    hear(asked, sizeof asked, -1, LW_SIDE_OUT);
    hear(second, 4, -1, LW_SIDE_IN);
    hear(second + 4, sizeof second - 4, -1, LW_SIDE_IN);
    hear(first, sizeof first, -1, LW_SIDE_IN);
    assert_heard("QQRR", "8:answered 7:exception");
}

// The recorded lines. Frames found that are none of the recorded ones would be false.
enum { LINE_BYTES = 1024 };
struct line {
    size_t count;
    uint8_t bytes[LINE_BYTES];
    int64_t first_ns[LINE_BYTES];
};

static void load_line(const char *name, struct line *line)
{
    char path[512], text[200];
    lw_print(path, sizeof path, "%s/lines/%s.bytes.tsv", TEST_DATA, name);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    line->count = 0;
    while (fgets(text, sizeof text, file) != NULL) {
        char *rest;
        double begins_us = strtod(text, &rest);
        if (rest != text) {
            line->first_ns[line->count] = (int64_t)(begins_us * 1000);
            line->bytes[line->count++] = (uint8_t)strtoul(rest, NULL, 16);
        }
    }
    fclose(file);
}

enum hearing { TIMED, UNTIMED, LUMPS };

// Adapters hand over what came in 16 ms as one piece, dated by its arrival.
static size_t lump(const struct line *line, size_t from)
{
    size_t count = 1;
    while (from + count < line->count &&
           line->first_ns[from + count] / (16 * ms) == line->first_ns[from] / (16 * ms)) {
        count++;
    }
    return count;
}

static void hear_line(const struct line *line, enum hearing hearing)
{
    for (size_t from = 0, count; from < line->count; from += count) {
        count = hearing == LUMPS ? lump(line, from) : 1;
        int64_t first_ns = line->first_ns[from], last_ns = first_ns + options.char_ns;
        if (hearing == LUMPS) {
            first_ns = last_ns = (first_ns / (16 * ms) + 1) * 16 * ms;
        }
        lw_stream_add(stream, &(struct lw_stream_piece){
                                  .bytes = line->bytes + from,
                                  .count = count,
                                  .first_ns = hearing == UNTIMED ? -1 : first_ns,
                                  .last_ns = hearing == UNTIMED ? -1 : last_ns,
                                  .timing_u_ns = hearing == LUMPS ? 16 * ms : 1000,
                              });
    }
    lw_stream_flush(stream);
}

static const struct {
    const char *name;
    size_t frames;
    int64_t char_ns;
} recorded_lines[] = {{"io-module", 30, 11 * 1000000000LL / 19200},
                      {"sensor", 88, 10 * 1000000000LL / 9600}};

static void assert_line_is_read(enum hearing hearing)
{
    static struct recorded frames[RECORDED_MAX];
    struct line line;
    for (size_t i = 0; i < 2; i++) {
        size_t count = recorded_load(recorded_lines[i].name, frames);
        uint64_t at = 0;
        options.char_ns = recorded_lines[i].char_ns;
        load_line(recorded_lines[i].name, &line);
        lw_stream_free(stream);
        stream = fresh();
        hear_line(&line, hearing);
        assert_int_equal(count, recorded_lines[i].frames);
        assert_int_equal(seen.count, count);
        for (size_t k = 0; k < count; k++) {
            assert_int_equal(seen.frame[k].at, at);
            assert_int_equal(seen.frame[k].count, frames[k].count);
            assert_int_equal(seen.frame[k].kind,
                             frames[k].request ? LW_STREAM_REQUEST : LW_STREAM_REPLY);
            at += frames[k].count;
        }
        assert_int_equal(lw_stream_totals(stream)->unanswered, 0);
        assert_int_equal(lw_stream_totals(stream)->exchanges, count / 2);
    }
}

static void recorded_lines_are_read_with_their_times(void **state)
{
    (void)state;
    assert_line_is_read(TIMED);
}

static void recorded_lines_are_read_without_times(void **state)
{
    (void)state;
    assert_line_is_read(UNTIMED);
}

static void recorded_lines_are_read_in_lumps(void **state)
{
    (void)state;
    assert_line_is_read(LUMPS);
}

// Damages one byte in a thousand on average, at least one; marks the frames that it hits.
static void damage(struct line *line, const struct recorded *frames, size_t count, unsigned seed,
                   bool *hit)
{
    uint32_t random = 2463534242u + 7919 * seed; // Marsaglia's xorshift, 32 bits
    for (size_t i = 0, done = 0; done * 1000 < line->count; i++) {
        random ^= random << 13;
        random ^= random >> 17;
        random ^= random << 5;
        size_t at = random % line->count, frame = 0, begins = 0;
        line->bytes[at] ^= (uint8_t)(1 + (random >> 16) % 255);
        while (begins + frames[frame].count <= at && frame + 1 < count) {
            begins += frames[frame++].count;
        }
        hit[frame] = true;
        done++;
    }
}

static void damaged_recorded_lines_lose_what_was_hit_and_no_more(void **state)
{
    (void)state;
    static struct recorded frames[RECORDED_MAX];
    struct line line;
    for (unsigned seed = 0; seed < 400; seed++) {
        size_t which = seed % 2, whole = 0;
        bool hit[RECORDED_MAX] = {false};
        size_t count = recorded_load(recorded_lines[which].name, frames);
        load_line(recorded_lines[which].name, &line);
        damage(&line, frames, count, seed, hit);
        lw_stream_free(stream);
        stream = fresh();
        hear_line(&line, UNTIMED);
        for (size_t k = 0, at = 0, found = 0; k < count; at += frames[k++].count) {
            while (found < seen.count && seen.frame[found].at < at) {
                found++;
            }
            bool there = found < seen.count && seen.frame[found].at == at &&
                         seen.frame[found].kind != LW_STREAM_NOISE;
            assert_int_equal(there, !hit[k]);
            whole += !hit[k];
        }
        assert_int_equal(lw_stream_totals(stream)->frames, whole);
    }
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)
    const struct CMUnitTest tests[] = {
        TEST(a_request_and_its_reply_are_an_exchange),
        TEST(an_exception_is_an_answer),
        TEST(a_silent_node_is_unanswered),
        TEST(a_broadcast_is_not_unanswered),
        TEST(a_stray_first_byte_costs_no_frame),
        TEST(a_broken_reply_is_a_crc_error_and_the_next_frames_are_found),
        TEST(a_reply_of_a_broken_request_stands_alone),
        TEST(a_reply_is_not_cut_to_a_request_that_nobody_sends),
        TEST(a_write_and_its_echoing_reply_are_told_apart),
        TEST(a_reply_as_long_as_its_request_is_told_by_its_place),
        TEST(an_adapter_that_echoes_is_found_out),
        TEST(an_echo_of_writes_alone_is_found_out),
        TEST(a_request_asked_again_is_no_echo),
        TEST(a_second_attempt_is_counted),
        TEST(what_was_sent_and_heard_again_is_an_echo),
        TEST(answers_alone_are_found),
        TEST(requests_alone_are_found),
        TEST(two_masters_that_cross_are_seen),
        TEST(a_reply_of_somebody_else_is_a_wrong_answer),
        TEST(a_function_of_unknown_length_is_found_between_known_ones),
        TEST(silence_that_is_proven_cuts_noise),
        TEST(times_tell_an_echo_from_a_second_attempt),
        TEST(a_reply_that_comes_too_late_is_none),
        TEST(more_may_be_added_after_a_flush),
        TEST(mbap_replies_are_matched_by_number),
        TEST(recorded_lines_are_read_with_their_times),
        TEST(recorded_lines_are_read_without_times),
        TEST(recorded_lines_are_read_in_lumps),
        TEST(damaged_recorded_lines_lose_what_was_hit_and_no_more),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
