// SPDX-License-Identifier: GPL-3.0-or-later
//
// The stream decoder's own parts, shared by its files: stream.c keeps the window and takes the easy
// frames, stream_weigh.c says how much speaks for a frame, stream_cover.c finds the best cover
// where it is not easy, stream_pair.c makes exchanges of frames. Inside lib/modbus only.
#ifndef LW_MODBUS_STREAM_INSIDE_H
#define LW_MODBUS_STREAM_INSIDE_H

#include "modbus/frame.h"
#include "modbus/stream.h"
#include "modbus/stream_known.h"

enum {
    LW_WINDOW = 8192,
    LW_SEARCH = 1536, // bytes that one search looks at
    LW_GUARD = 512,   // of these the last, which more bytes may explain otherwise
    LW_OWED = 4,
    LW_QUEUE = 16, // frames that the pairing sees at once
};

// What lies between a byte and the one before it.
enum lw_edge {
    LW_EDGE_UNKNOWN,
    LW_EDGE_CLOSE,   // no silence
    LW_EDGE_SILENCE, // silence that the times prove
    LW_EDGE_SIDE,    // somebody else sends from here on
};

// Evidence, in bits: the logarithm (base 2) of how much likelier bytes are as what they are taken
// for than as noise. docs/method/decoder.md derives them and tells what they cost.
enum {
    LW_BITS_CRC = 16,
    LW_BITS_FRAME = -18, // each frame has to bring this much
    LW_BITS_ENTER = -6,  // from noise to a frame, at a place that nothing points out
    LW_BITS_LEAVE = -6,  // from a frame to noise
    LW_BITS_DENY = -12,  // and so much more where what follows would make a fair frame
    LW_BITS_FAIR = 20,
    LW_BITS_SOLID = 24,   // a frame with so much, where the last one ended, needs no search
    LW_BITS_CERTAIN = 40, // nor a look at longer frames that begin alike
};

struct lw_mark { // a piece of the stream
    uint64_t at;
    size_t count;
    int64_t first_ns, last_ns, timing_u_ns;
    enum lw_side side;
};
enum { LW_MARKS = LW_WINDOW };
#define LW_NOWHERE UINT64_MAX

struct lw_span { // of the window
    const uint8_t *bytes;
    size_t count;
};

// A frame as it left the window, or noise.
struct lw_item {
    bool is_frame, can_request, can_reply;
    uint64_t at;
    uint64_t answers_at; // of the request that it is known to answer; LW_NOWHERE: not known
    size_t count;
    int64_t first_ns, last_ns, timing_u_ns;
    enum lw_side side;
    uint8_t bytes[LW_RTU_MAX];
};

struct lw_pair {
    const struct lw_stream_options *options;
    const struct lw_stream_sinks *sinks;
    struct lw_stream_totals *totals;
    struct lw_item queue[LW_QUEUE];
    size_t head, count;
    // The request that waits for its reply.
    bool open, echoed, wrong;
    struct lw_item asked;
    unsigned garbled; // bytes of noise since
    int64_t garbled_first_ns, garbled_last_ns;
    struct lw_exchange exchange;
    // Requests after which nothing right or broken came, the latest first: their answers may yet.
    struct lw_item owed[LW_OWED];
    size_t owed_count;
    bool unanswered;          // the request closed last, `asked`, had no right reply
    unsigned strays;          // for the next exchange
    unsigned doubled, single; // requests that came with an echo, and without
};

// One node of the search: the best cover of the window up to a byte that ends so. Noise with and
// without an open request before it are two, since only the one lets a reply be told from chance.
enum lw_cover_end {
    LW_ENDS_NOISE,
    LW_ENDS_NOISE_OPEN,
    LW_ENDS_REQUEST,
    LW_ENDS_REPLY,
    LW_COVER_ENDS
};
struct lw_node {
    int32_t score;
    uint16_t from; // where its last frame, or its last byte of noise, begins
    uint8_t from_end;
    uint16_t asked_at, asked_count; // the open request; count 0: none, LW_ASKED_BEFORE: carried
};
enum { LW_ASKED_BEFORE = 0xFFFF };

// An MBAP line: the bytes of each side that are no whole ADU yet, and the open requests.
enum { LW_MBAP_SIDES = 3, LW_MBAP_OPEN = 16 };
struct lw_mbap_side {
    size_t count;
    uint64_t at; // of the first of them in the stream
    int64_t first_ns, last_ns, timing_u_ns;
    uint8_t bytes[2 * LW_MBAP_MAX];
};
struct lw_mbap {
    struct lw_mbap_side sides[LW_MBAP_SIDES]; // by enum lw_side
    size_t open_count;                        // the oldest first
    struct lw_mbap_open {
        uint16_t transaction;
        struct lw_exchange exchange;
    } open[LW_MBAP_OPEN];
};

struct lw_stream {
    struct lw_stream_options options;
    struct lw_stream_sinks sinks;
    struct lw_stream_totals totals;
    struct lw_known known;
    // The window: bytes start..end of the arrays are not yet decided.
    uint8_t bytes[LW_WINDOW];
    uint8_t edges[LW_WINDOW]; // before each byte: enum lw_edge, and from bit 2 on enum lw_side
    size_t start, end;
    uint64_t base;             // offset in the stream of bytes[0]
    uint64_t need;             // offset that has to be reached before there is anything to do
    bool plain;                // no edge in the window is known
    bool synced;               // a frame ended, or the stream began, at `start`
    bool sent_known;           // pieces sent by this computer were seen
    size_t asked_count;        // of the open request; 0: none
    uint64_t asked_at;         // where it began in the stream
    uint8_t asked[LW_RTU_MAX]; // its bytes
    struct lw_mark marks[LW_MARKS];
    size_t mark_first, mark_count;
    struct lw_node nodes[LW_SEARCH + 1][LW_COVER_ENDS];
    struct lw_pair pair;
    struct lw_mbap mbap;
};

static inline enum lw_edge lw_edge_at(const struct lw_stream *stream, size_t at)
{
    return (enum lw_edge)(stream->edges[at] & 3);
}

static inline enum lw_side lw_side_at(const struct lw_stream *stream, size_t at)
{
    return (enum lw_side)(stream->edges[at] >> 2);
}

// A frame that may begin at a byte.
struct lw_candidate {
    size_t count;
    bool reply;
    bool open;    // its length is not told by its function
    int bits;     // what speaks for it by itself
    bool answers; // set by lw_weigh_asked(): it answers the open request
};
enum { LW_CANDIDATES = 4 };

// The frames with a right CRC that may begin at `at`, the shortest first, within bytes at..end of
// the window. With `open_too` also those of open length (slow). *need gets how many bytes from `at`
// on it would take to know all.
size_t lw_weigh_find(const struct lw_stream *stream, size_t at, size_t end, bool open_too,
                     struct lw_candidate found[LW_CANDIDATES], size_t *need);
// What is added by the open request (count 0: none).
int lw_weigh_asked(const struct lw_stream *stream, size_t at, struct lw_candidate *candidate,
                   struct lw_span asked);
// Whether the frame `reply` answers the frame `request`.
bool lw_weigh_answers(struct lw_span request, struct lw_span reply);
void lw_weigh_learn(struct lw_stream *stream, struct lw_span frame, bool reply);

// Finds the best cover of bytes start..start+count and hands its beginning on: to the first frame
// after noise, or to LW_GUARD bytes before the end; with `final` all of it.
void lw_cover(struct lw_stream *stream, size_t count, bool final);

// Called by the search for what it decided: bytes from `start` on, in order.
void lw_stream_take_frame(struct lw_stream *stream, size_t count, bool reply, bool answers);
void lw_stream_take_noise(struct lw_stream *stream, size_t count);

struct lw_item *lw_pair_room(struct lw_pair *pair); // the place for the next item
void lw_pair_added(struct lw_pair *pair);           // it is filled: moves on
void lw_pair_flush(struct lw_pair *pair);
// Counts an exchange and hands it on.
void lw_pair_report(const struct lw_stream_sinks *sinks, struct lw_stream_totals *totals,
                    const struct lw_exchange *exchange);

#endif
