// SPDX-License-Identifier: GPL-3.0-or-later
//
// The window over the stream: bytes with what is known of their times, frames taken one after the
// other as long as each is beyond doubt, and a search where one is not.
#include "modbus/stream_inside.h"

#include "modbus/stream_mbap.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

struct lw_stream *lw_stream_new(const struct lw_stream_options *options,
                                const struct lw_stream_sinks *sinks)
{
    assert(options->char_ns >= 0 && options->reply_ns >= 0);
    struct lw_stream *stream = calloc(1, sizeof *stream);
    if (stream == NULL) {
        return NULL;
    }
    stream->options = *options;
    stream->sinks = *sinks;
    stream->synced = true;
    stream->plain = true;
    stream->pair.options = &stream->options;
    stream->pair.sinks = &stream->sinks;
    stream->pair.totals = &stream->totals;
    return stream;
}

void lw_stream_free(struct lw_stream *stream)
{
    free(stream);
}

const struct lw_stream_totals *lw_stream_totals(const struct lw_stream *stream)
{
    return &stream->totals;
}

void lw_stream_totals_add(struct lw_stream_totals *sum, const struct lw_stream_totals *more)
{
    sum->bytes += more->bytes;
    sum->frames += more->frames;
    sum->requests += more->requests;
    sum->replies += more->replies;
    sum->echoes += more->echoes;
    sum->noise_runs += more->noise_runs;
    sum->noise_bytes += more->noise_bytes;
    sum->damaged += more->damaged;
    sum->exchanges += more->exchanges;
    sum->unanswered += more->unanswered;
    sum->exceptions += more->exceptions;
    sum->orphans += more->orphans;
    sum->crossed += more->crossed;
}

// Offset in the stream of the first byte that is not decided.
static uint64_t here(const struct lw_stream *stream)
{
    return stream->base + stream->start;
}

static struct lw_mark *mark(struct lw_stream *stream, size_t index)
{
    return &stream->marks[(stream->mark_first + index) % LW_MARKS];
}

// Begin and end of a byte, evenly spread over its piece. Nearly always a frame is a piece, so that
// there is nothing to divide.
static int64_t begin_ns(const struct lw_mark *mark, uint64_t at)
{
    if (mark->first_ns < 0) {
        return -1;
    }
    if (at == mark->at) {
        return mark->first_ns;
    }
    int64_t span_ns = mark->last_ns - mark->first_ns;
    return mark->first_ns + span_ns * (int64_t)(at - mark->at) / (int64_t)mark->count;
}

static int64_t end_ns(const struct lw_mark *mark, uint64_t at)
{
    if (mark->first_ns < 0) {
        return -1;
    }
    if (at + 1 - mark->at == mark->count) {
        return mark->last_ns;
    }
    int64_t span_ns = mark->last_ns - mark->first_ns;
    return mark->first_ns + span_ns * (int64_t)(at + 1 - mark->at) / (int64_t)mark->count;
}

// Drops the marks that end before offset `at`.
static void forget_marks(struct lw_stream *stream, uint64_t at)
{
    while (stream->mark_count > 1 && mark(stream, 0)->at + mark(stream, 0)->count <= at) {
        stream->mark_first = (stream->mark_first + 1) % LW_MARKS;
        stream->mark_count--;
    }
}

static void date(struct lw_stream *stream, struct lw_item *item)
{
    forget_marks(stream, item->at);
    const struct lw_mark *first = mark(stream, 0);
    item->side = first->side;
    item->first_ns = begin_ns(first, item->at);
    item->timing_u_ns = first->timing_u_ns;
    uint64_t last_at = item->at + item->count - 1;
    forget_marks(stream, last_at);
    const struct lw_mark *last = mark(stream, 0);
    item->last_ns = end_ns(last, last_at);
    if (last->timing_u_ns > item->timing_u_ns) {
        item->timing_u_ns = last->timing_u_ns;
    }
}

// Hands the next `count` bytes on.
static void hand_on(struct lw_stream *stream, size_t count, bool is_frame, uint64_t answers_at)
{
    struct lw_item *item = lw_pair_room(&stream->pair);
    item->is_frame = is_frame;
    item->can_request = item->can_reply = false;
    item->at = here(stream);
    item->answers_at = answers_at;
    item->count = count;
    memcpy(item->bytes, stream->bytes + stream->start, count);
    date(stream, item);
    if (is_frame) {
        int request = lw_rtu_request_length(item->bytes, count);
        int reply = lw_rtu_reply_length(NULL, item->bytes, count);
        item->can_request = request == (int)count || request == LW_LENGTH_OPEN;
        item->can_reply = reply == (int)count || reply == LW_LENGTH_OPEN;
    }
    stream->start += count;
    lw_pair_added(&stream->pair);
}

void lw_stream_take_frame(struct lw_stream *stream, size_t count, bool reply, bool answers)
{
    struct lw_span frame = {stream->bytes + stream->start, count};
    uint64_t answers_at = answers ? stream->asked_at : LW_NOWHERE;
    lw_weigh_learn(stream, frame, reply);
    stream->asked_count = reply ? 0 : count;
    if (!reply) {
        memcpy(stream->asked, frame.bytes, count);
        stream->asked_at = here(stream);
    }
    stream->synced = true;
    hand_on(stream, count, true, answers_at);
}

// Noise is cut at silence and where another side sends, since what is broken there are two things.
static size_t noise_part(const struct lw_stream *stream, size_t count)
{
    size_t part = 1, most = count < LW_STREAM_NOISE_MOST ? count : LW_STREAM_NOISE_MOST;
    while (part < most && lw_edge_at(stream, stream->start + part) < LW_EDGE_SILENCE) {
        part++;
    }
    return part;
}

void lw_stream_take_noise(struct lw_stream *stream, size_t count)
{
    stream->synced = false;
    while (count > 0) {
        size_t part = noise_part(stream, count);
        hand_on(stream, part, false, LW_NOWHERE);
        count -= part;
    }
}

// The shortest frame that is beyond doubt whatever else fits, else the one that most speaks for.
static const struct lw_candidate *best_of(const struct lw_stream *stream,
                                          struct lw_candidate *found, size_t count, int *most)
{
    const struct lw_candidate *best = NULL;
    struct lw_span asked = {stream->asked, stream->asked_count};
    *most = 0;
    for (size_t i = 0; i < count && *most < LW_BITS_CERTAIN; i++) {
        int bits = found[i].bits + lw_weigh_asked(stream, stream->start, &found[i], asked);
        if (bits > *most) {
            *most = bits;
            best = &found[i];
        }
    }
    return best;
}

// Takes the frame that begins where the last one ended, when it is beyond doubt. False when it is
// not; then *need says how many bytes it takes to tell, as far as that is all that is missing. A
// stream is decoded alike however it is cut into pieces, so nothing is decided on a part of what
// counts.
static bool take_solid(struct lw_stream *stream, bool final, size_t *need)
{
    struct lw_candidate found[LW_CANDIDATES];
    int most;
    size_t count = lw_weigh_find(stream, stream->start, stream->end, false, found, need);
    const struct lw_candidate *best = best_of(stream, found, count, &most);
    bool all_known = final || *need == 0;
    if (most < LW_BITS_SOLID || (most < LW_BITS_CERTAIN && !all_known)) {
        return false;
    }
    lw_stream_take_frame(stream, best->count, best->reply, best->answers);
    return true;
}

// What is decided as far as the bytes reach; with `final` everything.
static void decide(struct lw_stream *stream, bool final)
{
    while (stream->start < stream->end) {
        size_t have = stream->end - stream->start, need = 0;
        if (stream->synced && take_solid(stream, final, &need)) {
            continue;
        }
        size_t wanted = need > have ? need : LW_SEARCH;
        if (!final && have < wanted) {
            stream->need = here(stream) + wanted;
            return;
        }
        lw_cover(stream, have < LW_SEARCH ? have : LW_SEARCH, final && have <= LW_SEARCH);
    }
    stream->need = 0;
}

// Makes room at the end of the window.
static void compact(struct lw_stream *stream)
{
    size_t left = stream->end - stream->start;
    memmove(stream->bytes, stream->bytes + stream->start, left);
    memmove(stream->edges, stream->edges + stream->start, left);
    stream->base += stream->start;
    stream->start = 0;
    stream->end = left;
}

// What the times prove about the gap before this piece.
static enum lw_edge edge_between(const struct lw_stream *stream, const struct lw_mark *before,
                                 const struct lw_mark *mark)
{
    int64_t char_ns = stream->options.char_ns;
    if (before->side != mark->side) {
        return LW_EDGE_SIDE;
    }
    if (char_ns == 0 || before->first_ns < 0 || mark->first_ns < 0) {
        return LW_EDGE_UNKNOWN;
    }
    int64_t gap_ns = mark->first_ns - before->last_ns;
    int64_t doubt_ns =
        3 * (before->timing_u_ns > mark->timing_u_ns ? before->timing_u_ns : mark->timing_u_ns);
    if (gap_ns - doubt_ns > char_ns * 5 / 2) {
        return LW_EDGE_SILENCE;
    }
    return gap_ns + doubt_ns < char_ns * 3 / 2 ? LW_EDGE_CLOSE : LW_EDGE_UNKNOWN;
}

// Notes a piece that begins at the window's end; returns the edge before it.
static enum lw_edge note(struct lw_stream *stream, const struct lw_stream_piece *piece, size_t from,
                         size_t count)
{
    struct lw_mark whole = {
        0, piece->count, piece->first_ns, piece->last_ns, piece->timing_u_ns, piece->side};
    if (whole.first_ns >= 0 && whole.last_ns < whole.first_ns) {
        whole.last_ns = whole.first_ns + stream->options.char_ns * (int64_t)piece->count;
    }
    struct lw_mark part = {
        .at = stream->base + stream->end,
        .count = count,
        .first_ns = begin_ns(&whole, from),
        .last_ns = end_ns(&whole, from + count - 1),
        .timing_u_ns = whole.timing_u_ns,
        .side = whole.side,
    };
    enum lw_edge edge = LW_EDGE_UNKNOWN;
    if (stream->mark_count > 0 && from == 0) {
        edge = edge_between(stream, mark(stream, stream->mark_count - 1), &part);
    }
    assert(stream->mark_count < LW_MARKS);
    *mark(stream, stream->mark_count++) = part;
    return edge;
}

void lw_stream_add(struct lw_stream *stream, const struct lw_stream_piece *piece)
{
    stream->totals.bytes += piece->count;
    if (stream->options.adu == LW_ADU_MBAP) {
        lw_stream_mbap_add(stream, piece);
        return;
    }
    stream->sent_known = stream->sent_known || piece->side == LW_SIDE_OUT;
    for (size_t from = 0, count; from < piece->count; from += count) {
        if (stream->end == LW_WINDOW) {
            compact(stream);
        }
        size_t room = LW_WINDOW - stream->end;
        count = piece->count - from < room ? piece->count - from : room;
        enum lw_edge edge = note(stream, piece, from, count);
        stream->plain = stream->plain && edge == LW_EDGE_UNKNOWN && piece->side == LW_SIDE_UNKNOWN;
        memcpy(stream->bytes + stream->end, piece->bytes + from, count);
        memset(stream->edges + stream->end, piece->side << 2, count);
        stream->edges[stream->end] = (uint8_t)(piece->side << 2 | edge);
        stream->end += count;
        if (stream->base + stream->end >= stream->need) {
            decide(stream, false);
        }
    }
}

void lw_stream_flush(struct lw_stream *stream)
{
    lw_stream_mbap_flush(stream);
    decide(stream, true);
    lw_pair_flush(&stream->pair);
}
