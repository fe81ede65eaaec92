// SPDX-License-Identifier: GPL-3.0-or-later
//
// Where the recorder cuts, on a line whose bytes and times the test decides.
#include "base/file.h"
#include "base/text.h"
#include "capture/pcapng.h"
#include "capture/reader.h"
#include "line/line.h"

#include <errno.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <unistd.h>

#include <cmocka.h>

static const int64_t MS = 1000000, START_UTC_NS = INT64_C(1764000000000000000);

// A line on a virtual clock. A receive gives the next piece of the script, or silence.
struct script {
    struct lw_line line; // first
    struct lw_clock clock;
    struct lw_piece pieces[64];
    size_t count, next;
    bool closed;
};

static enum lw_status script_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                  int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    struct script *script = (struct script *)line;
    (void)bytes;
    (void)error;
    *first_ns = lw_clock_now_ns(&script->clock);
    script->clock.fixed_ns += lw_framing_chars_ns(&line->framing, count);
    *last_ns = script->clock.fixed_ns;
    return LW_OK;
}

static enum lw_status script_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                     size_t size, struct lw_piece *piece, struct lw_error *error)
{
    struct script *script = (struct script *)line;
    (void)error;
    if (script->next == script->count) {
        script->clock.fixed_ns = deadline_ns;
        return LW_OK;
    }
    *piece = script->pieces[script->next++];
    assert_true(piece->count <= size);
    memset(bytes, 'a' + (int)script->next - 1, piece->count);
    script->clock.fixed_ns = piece->last_ns;
    return LW_OK;
}

static enum lw_status script_set_framing(struct lw_line *line, const struct lw_framing *framing,
                                         struct lw_error *error)
{
    (void)line;
    (void)framing;
    (void)error;
    return LW_OK;
}

static void script_close(struct lw_line *line)
{
    ((struct script *)line)->closed = true;
}

static const struct lw_line_ops script_ops = {script_send, script_receive, script_set_framing,
                                              script_close};

struct recording {
    struct script script;
    struct lw_capture *capture;
    struct lw_line *line;
    char path[64];
};

static int set_up(void **state)
{
    const struct lw_capture_facts facts = {.application = "linewalk 0.1.0", .line = "script"};
    struct recording *recording = calloc(1, sizeof *recording);
    struct script *script = &recording->script;
    snprintf(recording->path, sizeof recording->path, "/tmp/lw-recorder-XXXXXX");
    close(mkstemp(recording->path));
    lw_clock_virtual(&script->clock, START_UTC_NS);
    script->line = (struct lw_line){.ops = &script_ops,
                                    .clock = &script->clock,
                                    .framed = true,
                                    .framing = {19200, 8, 'E', 1},
                                    .name = "script",
                                    .hears_others = true};
    assert_int_equal(lw_capture_create(recording->path, &facts, &recording->capture, NULL), LW_OK);
    assert_int_equal(lw_recorder_wrap(&script->line, recording->capture, &recording->line, NULL),
                     LW_OK);
    *state = recording;
    return 0;
}

static int tear_down(void **state)
{
    struct recording *recording = *state;
    lw_file_fail_after(-1, 0);
    lw_line_close(recording->line);
    lw_capture_close(recording->capture, NULL, NULL);
    unlink(recording->path);
    free(recording);
    return 0;
}

static void piece(struct recording *recording, size_t count, int64_t first_ns, int64_t last_ns,
                  unsigned flags)
{
    recording->script.pieces[recording->script.count++] =
        (struct lw_piece){.count = count, .first_ns = first_ns, .last_ns = last_ns, .flags = flags};
}

static void hear(struct recording *recording)
{
    uint8_t bytes[1024];
    struct lw_piece heard;
    assert_int_equal(lw_line_receive(recording->line, recording->script.clock.fixed_ns + MS, bytes,
                                     sizeof bytes, &heard, NULL),
                     LW_OK);
}

// Hears all of the script, ends the recording, and writes what was kept as
// "first_us+duration_us:direction count first-byte damage;" for every packet.
static const char *packets(struct recording *recording)
{
    static char shown[4000];
    struct lw_reader *reader = NULL;
    bool more = true;
    while (recording->script.next < recording->script.count) {
        hear(recording);
    }
    lw_line_close(recording->line);
    assert_true(recording->script.closed);
    recording->line = NULL;
    assert_int_equal(lw_capture_close(recording->capture, NULL, NULL), LW_OK);
    recording->capture = NULL;
    assert_int_equal(lw_reader_open(recording->path, &reader, NULL), LW_OK);
    shown[0] = '\0';
    while (more) {
        struct lw_read_packet read;
        assert_int_equal(lw_reader_next(reader, &read, &more, NULL), LW_OK);
        if (more) {
            size_t at = strlen(shown);
            snprintf(shown + at, sizeof shown - at, "%s%lld+%lld:%s %zu %c %u", at ? "; " : "",
                     (long long)(read.packet.first_utc_ns - START_UTC_NS) / 1000,
                     (long long)(read.packet.last_utc_ns - read.packet.first_utc_ns) / 1000,
                     read.packet.outbound ? "tx" : "rx", read.packet.count, read.packet.bytes[0],
                     read.packet.damage);
        }
    }
    lw_reader_close(reader);
    return shown;
}

static void a_send_is_one_packet_and_cuts_what_was_heard_before(void **state)
{
    struct recording *recording = *state;
    piece(recording, 3, 1 * MS, 2 * MS, 0);
    hear(recording);
    recording->script.clock.fixed_ns = 2500000;
    // MODBUS over Serial Line V1.02, 2.5.1: 11 bits a character; 8 * 11 / 19200 s = 4583 us.
    assert_int_equal(
        lw_line_send(recording->line, (const uint8_t *)"12345678", 8, NULL, NULL, NULL), LW_OK);
    piece(recording, 5, 8 * MS, 11 * MS, 0);
    assert_string_equal(packets(recording),
                        "1000+1000:rx 3 a 0; 2500+4583:tx 8 1 0; 8000+3000:rx 5 b 0");
}

static void pieces_without_silence_between_them_are_one_packet(void **state)
{
    struct recording *recording = *state;
    piece(recording, 3, 1 * MS, 2 * MS, 0);
    piece(recording, 4, 4 * MS, 6 * MS, 0);   // 2.000 ms after, less than 3.5 characters
    piece(recording, 1, 8005207, 8500000, 0); // one nanosecond less than 3.5 characters after
    assert_string_equal(packets(recording), "1000+7500:rx 8 a 0");
}

static void silence_of_three_and_a_half_characters_cuts(void **state)
{
    struct recording *recording = *state;
    piece(recording, 3, 1 * MS, 2 * MS, 0);
    piece(recording, 4, 4005208, 6 * MS, 0); // 3.5 * 11 / 19200 s = 2005208 ns
    assert_string_equal(packets(recording), "1000+1000:rx 3 a 0; 4005+1994:rx 4 b 0");
}

static void two_hundred_and_fifty_six_bytes_cut_even_within_a_piece(void **state)
{
    struct recording *recording = *state;
    piece(recording, 200, 0, 100 * MS, 0);
    piece(recording, 600, 101 * MS, 401 * MS, 0);
    assert_string_equal(packets(recording), "0+129000:rx 256 a 0; 129000+128000:rx 256 b 0; "
                                            "257000+128000:rx 256 b 0; 385000+16000:rx 32 b 0");
}

static void one_second_cuts_what_never_falls_silent(void **state)
{
    struct recording *recording = *state;
    for (int i = 0; i < 25; i++) {
        piece(recording, 1, i * 100 * MS, i * 100 * MS + 99 * MS, 0);
    }
    assert_string_equal(packets(recording),
                        "0+999000:rx 10 a 0; 1000000+999000:rx 10 k 0; 2000000+499000:rx 5 u 0");
}

static void silence_after_a_packet_writes_it_without_waiting_for_more(void **state)
{
    struct recording *recording = *state;
    piece(recording, 3, 1 * MS, 2 * MS, 0);
    hear(recording);
    assert_int_equal(lw_capture_count(recording->capture), 0);
    hear(recording); // 1 ms of silence
    assert_int_equal(lw_capture_count(recording->capture), 0);
    hear(recording); // 2 ms
    hear(recording); // 3 ms
    assert_int_equal(lw_capture_count(recording->capture), 1);
}

static void damage_on_the_wire_is_kept_with_its_packet_only(void **state)
{
    struct recording *recording = *state;
    piece(recording, 2, 0, MS, LW_PIECE_PARITY);
    piece(recording, 2, MS, 2 * MS, LW_PIECE_OVERRUN);
    piece(recording, 2, 20 * MS, 21 * MS, LW_PIECE_BREAK);
    piece(recording, 2, 40 * MS, 41 * MS, LW_PIECE_STOP_BIT);
    piece(recording, 2, 60 * MS, 61 * MS, 0);
    assert_string_equal(packets(recording),
                        "0+2000:rx 4 a 10; 20000+1000:rx 2 c 8; 40000+1000:rx 2 d 8; "
                        "60000+1000:rx 2 e 0");
}

static void another_framing_has_another_silence(void **state)
{
    struct recording *recording = *state;
    const struct lw_framing slow = {1200, 8, 'E', 1};
    piece(recording, 3, 1 * MS, 2 * MS, 0);
    hear(recording);
    assert_int_equal(lw_line_set_framing(recording->line, &slow, NULL), LW_OK);
    piece(recording, 3, 20 * MS, 40 * MS, 0);
    piece(recording, 3, 60 * MS, 80 * MS, 0); // 3.5 * 11 / 1200 s = 32 ms
    assert_string_equal(packets(recording), "1000+1000:rx 3 a 0; 20000+60000:rx 6 b 0");
}

static void a_full_disk_fails_the_next_call_and_every_one_after_it(void **state)
{
    struct recording *recording = *state;
    struct lw_error error = {0};
    uint8_t bytes[256];
    struct lw_piece heard;
    lw_file_fail_after(0, ENOSPC);
    assert_int_equal(lw_line_send(recording->line, (const uint8_t *)"1", 1, NULL, NULL, &error),
                     LW_SYSTEM);
    assert_non_null(strstr(error.says, "No space left on device"));
    lw_file_fail_after(-1, 0);
    error = (struct lw_error){0};
    assert_int_equal(lw_line_receive(recording->line, 0, bytes, sizeof bytes, &heard, &error),
                     LW_SYSTEM);
    assert_non_null(strstr(error.says, "No space left on device"));
    assert_int_equal(lw_line_send(recording->line, (const uint8_t *)"1", 1, NULL, NULL, NULL),
                     LW_SYSTEM);
}

static void a_full_disk_fails_a_receive_whose_bytes_it_cannot_keep(void **state)
{
    struct recording *recording = *state;
    struct lw_error error = {0};
    uint8_t bytes[256];
    struct lw_piece heard;
    piece(recording, 256, 0, MS, 0);
    lw_file_fail_after(0, ENOSPC);
    assert_int_equal(lw_line_receive(recording->line, 0, bytes, sizeof bytes, &heard, &error),
                     LW_SYSTEM);
    assert_non_null(strstr(error.says, "No space left on device"));
}

static void a_switch_puts_what_is_pending_into_the_old_capture(void **state)
{
    struct recording *recording = *state;
    piece(recording, 3, 1 * MS, 2 * MS, 0);
    hear(recording);
    assert_int_equal(lw_recorder_switch(recording->line, NULL, NULL), LW_OK);
    assert_int_equal(lw_capture_count(recording->capture), 1);
    piece(recording, 3, 3 * MS, 4 * MS, 0);
    hear(recording);
    assert_int_equal(lw_line_send(recording->line, (const uint8_t *)"1", 1, NULL, NULL, NULL),
                     LW_OK);
    assert_int_equal(lw_recorder_switch(recording->line, recording->capture, NULL), LW_OK);
    piece(recording, 3, 50 * MS, 60 * MS, 0);
    assert_string_equal(packets(recording), "1000+1000:rx 3 a 0; 50000+10000:rx 3 c 0");
}

static void a_switch_ends_the_failure_of_the_old_capture(void **state)
{
    struct recording *recording = *state;
    lw_file_fail_after(0, ENOSPC);
    assert_int_equal(lw_line_send(recording->line, (const uint8_t *)"1", 1, NULL, NULL, NULL),
                     LW_SYSTEM);
    lw_file_fail_after(-1, 0);
    assert_int_equal(lw_recorder_switch(recording->line, NULL, NULL), LW_SYSTEM);
    assert_int_equal(lw_line_send(recording->line, (const uint8_t *)"1", 1, NULL, NULL, NULL),
                     LW_OK);
}

static void the_recorder_looks_like_the_line_that_it_wraps(void **state)
{
    struct recording *recording = *state;
    assert_string_equal(recording->line->name, "script");
    assert_true(recording->line->framed);
    assert_true(recording->line->hears_others);
    assert_ptr_equal(recording->line->clock, &recording->script.clock);
}

#define RECORDED(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        RECORDED(a_send_is_one_packet_and_cuts_what_was_heard_before),
        RECORDED(pieces_without_silence_between_them_are_one_packet),
        RECORDED(silence_of_three_and_a_half_characters_cuts),
        RECORDED(two_hundred_and_fifty_six_bytes_cut_even_within_a_piece),
        RECORDED(one_second_cuts_what_never_falls_silent),
        RECORDED(silence_after_a_packet_writes_it_without_waiting_for_more),
        RECORDED(damage_on_the_wire_is_kept_with_its_packet_only),
        RECORDED(another_framing_has_another_silence),
        RECORDED(a_full_disk_fails_the_next_call_and_every_one_after_it),
        RECORDED(a_full_disk_fails_a_receive_whose_bytes_it_cannot_keep),
        RECORDED(a_switch_puts_what_is_pending_into_the_old_capture),
        RECORDED(a_switch_ends_the_failure_of_the_old_capture),
        RECORDED(the_recorder_looks_like_the_line_that_it_wraps),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
