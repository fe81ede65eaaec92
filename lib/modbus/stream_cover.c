// SPDX-License-Identifier: GPL-3.0-or-later
//
// The search for the best cover: the shortest-path kind of dynamic programming over the bytes of
// the window. A path goes on by one byte of noise or by one frame; each byte keeps the best path
// for each way of ending there, with the request that is open on it, since what a reply brings
// depends on that. Work per byte is bounded by the frames that can begin at it.
#include "modbus/stream_inside.h"

#include <assert.h>

enum { IMPOSSIBLE = INT32_MIN / 2 };

static struct lw_span asked_of(const struct lw_stream *stream, const struct lw_node *node)
{
    if (node->asked_count == LW_ASKED_BEFORE) {
        return (struct lw_span){stream->asked, stream->asked_count};
    }
    return (struct lw_span){stream->bytes + stream->start + node->asked_at, node->asked_count};
}

static void reach(struct lw_node *node, struct lw_node path)
{
    if (path.score > node->score) {
        *node = path;
    }
}

static bool is_noise(size_t end)
{
    return end == LW_ENDS_NOISE || end == LW_ENDS_NOISE_OPEN;
}

static void step_noise(struct lw_stream *stream, size_t at, size_t end, bool denies)
{
    int leave = LW_BITS_LEAVE + (denies ? LW_BITS_DENY : 0);
    const struct lw_node *node = &stream->nodes[at][end];
    reach(&stream->nodes[at + 1][node->asked_count > 0 ? LW_ENDS_NOISE_OPEN : LW_ENDS_NOISE],
          (struct lw_node){.score = node->score + (is_noise(end) ? 0 : leave),
                           .from = (uint16_t)at,
                           .from_end = (uint8_t)end,
                           .asked_at = node->asked_at,
                           .asked_count = node->asked_count});
}

static void step_frame(struct lw_stream *stream, size_t at, size_t end,
                       struct lw_candidate *candidate)
{
    const struct lw_node *node = &stream->nodes[at][end];
    int bits = candidate->bits + LW_BITS_FRAME + (is_noise(end) ? LW_BITS_ENTER : 0) +
               lw_weigh_asked(stream, stream->start + at, candidate, asked_of(stream, node));
    struct lw_node path = {.score = node->score + bits,
                           .from = (uint16_t)at,
                           .from_end = (uint8_t)end,
                           .asked_at = (uint16_t)at,
                           .asked_count = (uint16_t)(candidate->reply ? 0 : candidate->count)};
    size_t ends = candidate->reply ? LW_ENDS_REPLY : LW_ENDS_REQUEST;
    reach(&stream->nodes[at + candidate->count][ends], path);
}

static size_t best_end(const struct lw_stream *stream, size_t at)
{
    size_t best = 0;
    for (size_t end = 1; end < LW_COVER_ENDS; end++) {
        if (stream->nodes[at][end].score > stream->nodes[at][best].score) {
            best = end;
        }
    }
    return best;
}

// Frames of open length are looked for only where a frame may well begin: at silence, or where the
// best path so far ended one.
static bool is_place(const struct lw_stream *stream, size_t at)
{
    return !is_noise(best_end(stream, at)) ||
           lw_edge_at(stream, stream->start + at) >= LW_EDGE_SILENCE;
}

static void step(struct lw_stream *stream, size_t at, size_t count)
{
    struct lw_candidate found[LW_CANDIDATES];
    size_t need, begin = stream->start + at;
    size_t frames =
        lw_weigh_find(stream, begin, stream->start + count, is_place(stream, at), found, &need);
    bool fair = false;
    for (size_t i = 0; i < frames; i++) {
        fair = fair || found[i].bits >= LW_BITS_FAIR;
    }
    for (size_t end = 0; end < LW_COVER_ENDS; end++) {
        if (stream->nodes[at][end].score == IMPOSSIBLE) {
            continue;
        }
        step_noise(stream, at, end, fair);
        for (size_t i = 0; i < frames; i++) {
            step_frame(stream, at, end, &found[i]);
        }
    }
}

static void begin(struct lw_stream *stream, size_t count)
{
    for (size_t at = 0; at <= count; at++) {
        for (size_t end = 0; end < LW_COVER_ENDS; end++) {
            stream->nodes[at][end].score = IMPOSSIBLE;
        }
    }
    bool open = stream->asked_count > 0;
    size_t noise = open ? LW_ENDS_NOISE_OPEN : LW_ENDS_NOISE;
    stream->nodes[0][stream->synced ? (size_t)LW_ENDS_REPLY : noise] = (struct lw_node){
        .asked_count = open ? LW_ASKED_BEFORE : 0,
    };
}

// The best path's parts in order: each node that it passes gets the end of its next part.
struct part {
    uint16_t to;
    uint8_t end;
};

static void trace(const struct lw_stream *stream, size_t count, struct part parts[LW_SEARCH + 1])
{
    size_t at = count, end = best_end(stream, count);
    while (at > 0) {
        const struct lw_node *node = &stream->nodes[at][end];
        parts[node->from] = (struct part){(uint16_t)at, (uint8_t)end};
        at = node->from;
        end = node->from_end;
    }
}

static size_t noise_until(const struct part *parts, size_t at, size_t limit)
{
    while (at < limit && is_noise(parts[at].end)) {
        at = parts[at].to;
    }
    return at;
}

void lw_cover(struct lw_stream *stream, size_t count, bool final)
{
    struct part parts[LW_SEARCH + 1];
    assert(count > 0 && count <= LW_SEARCH && (final || count == LW_SEARCH));
    begin(stream, count);
    for (size_t at = 0; at < count; at++) {
        step(stream, at, count);
    }
    trace(stream, count, parts);
    size_t limit = final ? count : count - LW_GUARD;
    bool after_noise = false;
    for (size_t at = 0; at < limit;) {
        size_t to = noise_until(parts, at, limit);
        if (to > at) {
            lw_stream_take_noise(stream, to - at);
            after_noise = true;
        } else {
            to = parts[at].to;
            lw_stream_take_frame(stream, to - at, parts[at].end == LW_ENDS_REPLY, false);
            if (after_noise) {
                break;
            }
        }
        at = to;
    }
}
