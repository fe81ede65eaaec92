// SPDX-License-Identifier: GPL-3.0-or-later
//
// The stream decoder: from the bytes of a line, with good, coarse or no times, to frames and
// exchanges. An adapter behind USB hands bytes over in lumps, so the silence that ends a frame is
// often lost; the decoder weighs instead, in bits, what speaks for a frame at each place (CRC,
// length told by the function, quantities, what this address did before, a request that it answers,
// silence where the times can be trusted) against the bytes being noise, and takes the best cover.
// docs/method/decoder.md says how, and how often it errs. Pure: bytes in, exchanges out through
// callbacks, the same time per byte and the same memory whatever the length of the stream.
#ifndef LW_MODBUS_STREAM_H
#define LW_MODBUS_STREAM_H

#include "modbus/exchange.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

// Who sent a piece, as far as known: this computer, or somebody else.
enum lw_side { LW_SIDE_UNKNOWN, LW_SIDE_OUT, LW_SIDE_IN };

// A piece of the stream. A send is a piece of its own, so that no frame spans a change of sides.
struct lw_stream_piece {
    const uint8_t *bytes; // borrowed for the call
    size_t count;
    int64_t first_ns, last_ns; // first bit of the first byte, last bit of the last; -1: unknown
    int64_t timing_u_ns;       // standard uncertainty of both
    enum lw_side side;
    bool damaged; // parity or stop-bit errors were seen in it
};

enum lw_stream_kind {
    LW_STREAM_REQUEST,
    LW_STREAM_REPLY,
    LW_STREAM_ECHO,  // a request heard again, from an adapter that hears itself
    LW_STREAM_NOISE, // bytes of no frame: damage, a collision, another rate
};

// One frame, or one run of noise. Noise is cut at silence where that can be trusted, at a change of
// sides, and at LW_STREAM_NOISE_MOST bytes. Times are -1 where the stream has none; inside a piece
// bytes are taken to be evenly spread.
struct lw_stream_frame {
    enum lw_stream_kind kind;
    uint64_t at;          // offset of its first byte in the stream
    const uint8_t *bytes; // the decoder's, until the callback returns
    size_t count;
    int64_t first_ns, last_ns, timing_u_ns;
    enum lw_side side;
};
enum { LW_STREAM_NOISE_MOST = 256 };

struct lw_stream_options {
    enum lw_adu adu;  // MBAP: sides must be known, each is a stream of its own, matched by number
    int64_t char_ns;  // time of one character; 0: unknown, then silence is not used
    int64_t reply_ns; // a reply that begins later than this after its request is late; 0: no limit
};

// Either callback may be NULL. Both are called in the order of the stream: first the frames of an
// exchange, then the exchange. An exchange with request.count 0 is a reply whose request was not
// heard: the rule on an answers-only tap, else the sign of a damaged request. One with address 0
// and LW_NO_ANSWER is a broadcast, which nobody answers. `attempt` is 1, or one more than that of
// the same request before it when that stayed without an answer.
struct lw_stream_sinks {
    void *context;
    void (*frame)(void *context, const struct lw_stream_frame *frame);
    void (*exchange)(void *context, const struct lw_exchange *exchange);
};

struct lw_stream; // opaque, ours

// NULL: no memory. Free with lw_stream_free(), which takes NULL.
struct lw_stream *lw_stream_new(const struct lw_stream_options *options,
                                const struct lw_stream_sinks *sinks);
void lw_stream_free(struct lw_stream *stream);

// Takes a piece of any length. Frames come out as soon as what follows can no longer change them,
// at most about LW_STREAM_BEHIND bytes later.
void lw_stream_add(struct lw_stream *stream, const struct lw_stream_piece *piece);
enum { LW_STREAM_BEHIND = 6144 };

// Decides about everything taken so far: at the end, or when a line has fallen silent. An open
// request counts as unanswered then. More may be added afterwards.
void lw_stream_flush(struct lw_stream *stream);

struct lw_stream_totals {
    uint64_t bytes;
    uint64_t frames; // requests, replies and echoes
    uint64_t requests, replies, echoes;
    uint64_t noise_runs, noise_bytes;
    uint64_t damaged;    // noise runs of LW_RTU_MIN bytes and more: frames with a wrong CRC
    uint64_t exchanges;  // with a request
    uint64_t unanswered; // of these: no reply, a broken one or a wrong one; broadcasts excepted
    uint64_t exceptions;
    uint64_t orphans; // replies without a request
    uint64_t crossed; // requests sent while another was open and still to be answered: what two
                      // masters do
};
const struct lw_stream_totals *lw_stream_totals(const struct lw_stream *stream);
void lw_stream_totals_add(struct lw_stream_totals *sum, const struct lw_stream_totals *more);

#endif
