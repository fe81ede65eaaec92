// SPDX-License-Identifier: GPL-3.0-or-later
//
// A line that writes down what passes. One send is one packet. What is received is gathered and cut
// at the first of: the next send, silence of 3.5 characters between arrival times, a frame's
// greatest length, one second. It does not wait for anybody to understand the bytes: splitting
// frames that an adapter glued together is for whoever reads the capture.
#include "capture/pcapng.h"
#include "line/line.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

static const int64_t LONGEST_NS = 1000000000;

struct recorder {
    struct lw_line line; // first: it is a line
    struct lw_line *inner;
    struct lw_capture *capture; // NULL: nothing is kept
    struct lw_error failure;    // told once more at every call until the capture is switched
    uint8_t bytes[LW_MBAP_MAX]; // heard, not yet written
    size_t count;
    unsigned flags;
    int64_t first_ns, last_ns;
};

static size_t longest(const struct recorder *recorder)
{
    return recorder->line.adu == LW_ADU_MBAP ? LW_MBAP_MAX : LW_RTU_MAX;
}

static int64_t silence_ns(const struct recorder *recorder)
{
    const struct lw_framing *framing = &recorder->line.framing;
    return framing->rate > 0 ? lw_framing_t35_ns(framing) : 1750000; // as above 19200 bit/s
}

static unsigned damage_of(unsigned flags)
{
    unsigned damage = flags & LW_PIECE_OVERRUN ? LW_DAMAGE_LENGTH : 0;
    if (flags & (LW_PIECE_PARITY | LW_PIECE_STOP_BIT | LW_PIECE_BREAK)) {
        damage |= LW_DAMAGE_SYMBOL;
    }
    return damage;
}

static enum lw_status told(const struct recorder *recorder, struct lw_error *error)
{
    if (recorder->failure.status != LW_OK && error) {
        *error = recorder->failure;
    }
    return recorder->failure.status;
}

static void write_packet(struct recorder *recorder, const struct lw_packet *packet)
{
    if (recorder->capture && recorder->failure.status == LW_OK) {
        lw_capture_packet(recorder->capture, packet, &recorder->failure);
    }
}

static void write_pending(struct recorder *recorder)
{
    if (recorder->count == 0) {
        return;
    }
    const struct lw_clock *clock = recorder->line.clock;
    const struct lw_packet packet = {.first_utc_ns = lw_clock_utc_ns(clock, recorder->first_ns),
                                     .last_utc_ns = lw_clock_utc_ns(clock, recorder->last_ns),
                                     .damage = damage_of(recorder->flags),
                                     .bytes = recorder->bytes,
                                     .count = recorder->count};
    write_packet(recorder, &packet);
    recorder->count = 0;
    recorder->flags = 0;
}

// Takes as much of the piece as one packet holds; returns how much. The bytes of a piece are taken
// to be evenly spread over its time.
static size_t gather(struct recorder *recorder, const uint8_t *bytes, const struct lw_piece *piece,
                     size_t from)
{
    int64_t span_ns = piece->last_ns - piece->first_ns;
    size_t room = longest(recorder) - recorder->count;
    size_t taken = piece->count - from < room ? piece->count - from : room;
    if (recorder->count == 0) {
        recorder->first_ns = piece->first_ns + span_ns / (int64_t)piece->count * (int64_t)from;
    }
    memcpy(recorder->bytes + recorder->count, bytes + from, taken);
    recorder->count += taken;
    recorder->flags |= piece->flags;
    recorder->last_ns =
        from + taken == piece->count
            ? piece->last_ns
            : piece->first_ns + span_ns / (int64_t)piece->count * (int64_t)(from + taken);
    return taken;
}

static void keep_piece(struct recorder *recorder, const uint8_t *bytes,
                       const struct lw_piece *piece)
{
    if (piece->first_ns - recorder->last_ns >= silence_ns(recorder) ||
        piece->last_ns - recorder->first_ns >= LONGEST_NS) {
        write_pending(recorder);
    }
    for (size_t from = 0; from < piece->count;) {
        from += gather(recorder, bytes, piece, from);
        if (recorder->count == longest(recorder)) {
            write_pending(recorder);
        }
    }
}

// Nothing came: what is pending may have been complete for a while.
static void keep_silence(struct recorder *recorder)
{
    int64_t now_ns = lw_clock_now_ns(recorder->line.clock);
    if (now_ns - recorder->last_ns >= silence_ns(recorder) ||
        now_ns - recorder->first_ns >= LONGEST_NS) {
        write_pending(recorder);
    }
}

static enum lw_status recorder_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                    int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    struct recorder *recorder = (struct recorder *)line;
    write_pending(recorder);
    enum lw_status status = told(recorder, error);
    if (status == LW_OK) {
        status = lw_line_send(recorder->inner, bytes, count, first_ns, last_ns, error);
    }
    if (status != LW_OK) {
        return status;
    }
    const struct lw_packet packet = {.first_utc_ns = lw_clock_utc_ns(line->clock, *first_ns),
                                     .last_utc_ns = lw_clock_utc_ns(line->clock, *last_ns),
                                     .outbound = true,
                                     .bytes = bytes,
                                     .count = count};
    write_packet(recorder, &packet);
    return told(recorder, error);
}

static enum lw_status recorder_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                       size_t size, struct lw_piece *piece, struct lw_error *error)
{
    struct recorder *recorder = (struct recorder *)line;
    enum lw_status status = told(recorder, error);
    if (status == LW_OK) {
        status = lw_line_receive(recorder->inner, deadline_ns, bytes, size, piece, error);
    }
    if (status != LW_OK) {
        return status;
    }
    if (piece->count > 0) {
        keep_piece(recorder, bytes, piece);
    } else {
        keep_silence(recorder);
    }
    return told(recorder, error);
}

static enum lw_status recorder_set_framing(struct lw_line *line, const struct lw_framing *framing,
                                           struct lw_error *error)
{
    struct recorder *recorder = (struct recorder *)line;
    write_pending(recorder);
    enum lw_status status = lw_line_set_framing(recorder->inner, framing, error);
    recorder->line.late_ns = recorder->inner->late_ns;
    return status;
}

static void recorder_close(struct lw_line *line)
{
    struct recorder *recorder = (struct recorder *)line;
    write_pending(recorder);
    lw_line_close(recorder->inner);
    free(recorder);
}

static const struct lw_line_ops recorder_ops = {
    .send = recorder_send,
    .receive = recorder_receive,
    .set_framing = recorder_set_framing,
    .close = recorder_close,
};

enum lw_status lw_recorder_wrap(struct lw_line *inner, struct lw_capture *capture,
                                struct lw_line **line, struct lw_error *error)
{
    assert(inner && line);
    struct recorder *recorder = calloc(1, sizeof *recorder);
    if (!recorder) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    recorder->line = *inner;
    recorder->line.ops = &recorder_ops;
    recorder->inner = inner;
    recorder->capture = capture;
    *line = &recorder->line;
    return LW_OK;
}

bool lw_recorder_is_full(const struct lw_line *line)
{
    return line->ops == &recorder_ops && ((const struct recorder *)line)->failure.status != LW_OK;
}

enum lw_status lw_recorder_switch(struct lw_line *line, struct lw_capture *capture,
                                  struct lw_error *error)
{
    assert(line->ops == &recorder_ops);
    struct recorder *recorder = (struct recorder *)line;
    write_pending(recorder);
    enum lw_status status = told(recorder, error);
    recorder->capture = capture;
    recorder->failure = (struct lw_error){0};
    return status;
}
