// SPDX-License-Identifier: GPL-3.0-or-later
//
// A line that plays a script: what is heard is cued on what is sent, to the nanosecond, on a clock
// that only moves when somebody waits. 19200/8E1 unless a test says otherwise. It shares nothing
// with the client but the line's interface.
#ifndef TEST_CLIENT_SCRIPTED_LINE_H
#define TEST_CLIENT_SCRIPTED_LINE_H

#include "line/line.h"
#include "modbus/frame.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

enum { CUES = 128, CUE_BYTES = 600, SENDS = 64, WIRE_BYTES = 8192 };
static const int64_t ms = 1000000;

// Bytes that begin delay_ns after the last bit of the n-th send (0: after the start).
struct cue {
    int send;
    int64_t delay_ns;
    size_t count;
    uint8_t bytes[CUE_BYTES];
};

struct wire_byte {
    uint8_t byte;
    int64_t begins_ns, ends_ns;
};

struct scripted_line {
    struct lw_line line;
    struct lw_clock clock;
    struct cue cues[CUES];
    size_t cue_count;
    struct wire_byte heard[WIRE_BYTES]; // in order of time
    size_t heard_count, heard_next;
    int sends;
    uint8_t sent[SENDS][LW_MBAP_MAX];
    size_t sent_count[SENDS];
    int64_t sent_first_ns[SENDS], sent_last_ns[SENDS];
    int64_t cancel_ns, gone_ns; // 0: never
    unsigned flags;             // of every piece
    int flood_after;            // number of the send after which the flood begins
    bool flood;                 // bytes are always there, whenever they are asked for
    int64_t timing_u_ns;        // of every piece
};

// Start, 8 data, parity, stop: 11 bits at the line's rate (MODBUS over Serial Line V1.02, 2.5.1).
static inline int64_t char_ns(const struct scripted_line *script)
{
    return 11 * INT64_C(1000000000) / script->line.framing.rate;
}

static inline void put_on_wire(struct scripted_line *script, const struct cue *cue, int64_t zero_ns)
{
    for (size_t i = 0; i < cue->count; i++) {
        struct wire_byte byte = {cue->bytes[i], 0, 0};
        byte.begins_ns = zero_ns + cue->delay_ns + (int64_t)i * char_ns(script);
        byte.ends_ns = byte.begins_ns + char_ns(script);
        size_t at = script->heard_count++;
        assert_in_range(at, 0, WIRE_BYTES - 1);
        for (; at > script->heard_next && script->heard[at - 1].ends_ns > byte.ends_ns; at--) {
            script->heard[at] = script->heard[at - 1];
        }
        script->heard[at] = byte;
    }
}

static inline void play(struct scripted_line *script, int send, int64_t zero_ns)
{
    for (size_t i = 0; i < script->cue_count; i++) {
        if (script->cues[i].send == send) {
            put_on_wire(script, &script->cues[i], zero_ns);
        }
    }
}

static inline enum lw_status script_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                         int64_t *first_ns, int64_t *last_ns,
                                         struct lw_error *error)
{
    struct scripted_line *script = (struct scripted_line *)line;
    if (script->gone_ns != 0 && script->clock.fixed_ns >= script->gone_ns) {
        return lw_fail(error, LW_SYSTEM, "'script' is gone: unplugged");
    }
    assert_in_range(script->sends, 0, SENDS - 1);
    int n = script->sends++;
    memcpy(script->sent[n], bytes, count);
    script->sent_count[n] = count;
    script->flood = script->flood || script->flood_after == n + 1;
    *first_ns = script->sent_first_ns[n] = script->clock.fixed_ns;
    script->clock.fixed_ns += (int64_t)count * char_ns(script);
    *last_ns = script->sent_last_ns[n] = script->clock.fixed_ns;
    play(script, n + 1, *last_ns);
    return LW_OK;
}

// Bytes that follow each other within 1.5 characters, as far as they are complete by the deadline.
static inline size_t run_of_bytes(const struct scripted_line *script, int64_t deadline_ns)
{
    size_t count = 0;
    const struct wire_byte *next = script->heard + script->heard_next;
    while (script->heard_next + count < script->heard_count && count < 256 &&
           next[count].ends_ns <= deadline_ns &&
           (count == 0 ||
            next[count].begins_ns - next[count - 1].ends_ns <= char_ns(script) * 3 / 2)) {
        count++;
    }
    return count;
}

// Ten bytes of nothing in a millisecond, before any deadline.
static inline enum lw_status receive_flood(struct scripted_line *script, uint8_t *bytes,
                                           struct lw_piece *piece)
{
    memset(bytes, 0xFE, 10);
    *piece = (struct lw_piece){.count = 10, .first_ns = script->clock.fixed_ns};
    script->clock.fixed_ns += ms;
    piece->last_ns = script->clock.fixed_ns;
    return LW_OK;
}

static inline enum lw_status script_receive(struct lw_line *line, int64_t deadline_ns,
                                            uint8_t *bytes, size_t size, struct lw_piece *piece,
                                            struct lw_error *error)
{
    struct scripted_line *script = (struct scripted_line *)line;
    if (script->flood) {
        return receive_flood(script, bytes, piece);
    }
    int64_t now_ns = script->clock.fixed_ns;
    int64_t until_ns = deadline_ns > now_ns ? deadline_ns : now_ns;
    size_t count = run_of_bytes(script, until_ns);
    count = count < size ? count : size;
    const struct wire_byte *next = script->heard + script->heard_next;
    int64_t then_ns = count > 0 ? next[count - 1].ends_ns : until_ns;
    then_ns = then_ns > now_ns ? then_ns : now_ns;
    if (script->cancel_ns != 0 && then_ns >= script->cancel_ns) {
        return lw_fail(error, LW_CANCELLED, "interrupted");
    }
    if (script->gone_ns != 0 && then_ns >= script->gone_ns) {
        return lw_fail(error, LW_SYSTEM, "'script' is gone: unplugged");
    }
    script->clock.fixed_ns = then_ns;
    for (size_t i = 0; i < count; i++) {
        bytes[i] = next[i].byte;
    }
    if (count > 0) {
        *piece = (struct lw_piece){count, next[0].begins_ns, next[count - 1].ends_ns,
                                   script->timing_u_ns, script->flags};
    }
    script->heard_next += count;
    return LW_OK;
}

static inline enum lw_status
script_set_framing(struct lw_line *line, const struct lw_framing *framing, struct lw_error *error)
{
    (void)line;
    return framing->rate > 0 ? LW_OK : lw_fail(error, LW_SYSTEM, "the script has no such rate");
}

static const struct lw_line_ops script_ops = {
    .send = script_send, .receive = script_receive, .set_framing = script_set_framing};

static inline void script_init(struct scripted_line *script)
{
    memset(script, 0, sizeof *script);
    lw_clock_virtual(&script->clock, 0);
    script->line = (struct lw_line){
        .ops = &script_ops,
        .clock = &script->clock,
        .hears_others = true,
        .framed = true,
        .framing = {19200, 8, 'E', 1},
        .name = "script",
    };
}

static inline unsigned nibble_of(char c)
{
    return (unsigned)(c <= '9' ? c - '0' : c - 'A' + 10);
}

static inline size_t from_hex(const char *text, uint8_t *bytes)
{
    size_t count = 0;
    for (; text[0] != '\0'; text += text[2] == ' ' ? 3 : 2) {
        bytes[count++] = (uint8_t)(nibble_of(text[0]) << 4 | nibble_of(text[1]));
    }
    return count;
}

static inline struct lw_pdu pdu_of(const char *text)
{
    struct lw_pdu pdu = {0};
    pdu.count = from_hex(text, pdu.bytes);
    return pdu;
}

// Cues raw bytes.
static inline struct cue *raw(struct scripted_line *script, int send, int64_t delay_ns,
                              const char *text)
{
    assert_in_range(script->cue_count, 0, CUES - 1);
    struct cue *cue = &script->cues[script->cue_count++];
    *cue = (struct cue){.send = send, .delay_ns = delay_ns};
    cue->count = from_hex(text, cue->bytes);
    return cue;
}

// Cues an RTU frame: address and PDU, the CRC is put behind it.
static inline struct cue *frame(struct scripted_line *script, int send, int64_t delay_ns,
                                uint8_t address, const char *text)
{
    struct cue *cue = raw(script, send, delay_ns, "");
    struct lw_pdu pdu = pdu_of(text);
    cue->count = lw_rtu_wrap(address, &pdu, cue->bytes);
    return cue;
}

// Cues an MBAP ADU.
static inline struct cue *adu(struct scripted_line *script, int send, int64_t delay_ns,
                              uint16_t transaction, uint8_t unit, const char *text)
{
    struct cue *cue = raw(script, send, delay_ns, "");
    struct lw_pdu pdu = pdu_of(text);
    cue->count = lw_mbap_wrap(transaction, unit, &pdu, cue->bytes);
    return cue;
}

// Takes the last cue back and puts its bytes right behind the one before.
static inline void glue(struct scripted_line *script)
{
    struct cue *last = &script->cues[--script->cue_count], *before = last - 1;
    assert_in_range(before->count + last->count, 0, CUE_BYTES);
    memcpy(before->bytes + before->count, last->bytes, last->count);
    before->count += last->count;
}

// Tears the last cue in two at byte `at`, with a pause between.
static inline void tear(struct scripted_line *script, size_t at, int64_t pause_ns)
{
    struct cue *first = &script->cues[script->cue_count - 1];
    struct cue *second = raw(script, first->send, 0, "");
    second->count = first->count - at;
    memcpy(second->bytes, first->bytes + at, second->count);
    first->count = at;
    second->delay_ns = first->delay_ns + (int64_t)at * char_ns(script) + pause_ns;
}

#endif
