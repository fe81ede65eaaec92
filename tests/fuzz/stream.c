// SPDX-License-Identifier: GPL-3.0-or-later
//
// Fuzz target: any bytes as a stream, cut into pieces by its first bytes. Properties: what comes
// out covers the stream from its first byte to its last, in order; whatever is called a frame has a
// right CRC; the totals are what came out; and without times the same comes out however the stream
// is cut.
#include "fuzz.h"

#include "modbus/frame.h"
#include "modbus/stream.h"

#include <stdio.h>
#include <stdlib.h>

struct heard {
    uint64_t next; // offset of the first byte that did not come out yet
    uint64_t frames, noise_bytes, requests, exchanges;
    uint32_t digest; // of kinds and places
};

static void take_frame(void *context, const struct lw_stream_frame *frame)
{
    struct heard *heard = context;
    bool noise = frame->kind == LW_STREAM_NOISE;
    MUST(frame->at == heard->next && frame->count > 0 && frame->count <= LW_STREAM_NOISE_MOST);
    MUST(noise || lw_rtu_unwrap(frame->bytes, frame->count, NULL, NULL));
    heard->next += frame->count;
    heard->frames += !noise;
    heard->noise_bytes += noise ? frame->count : 0;
    heard->requests += frame->kind == LW_STREAM_REQUEST;
    heard->digest = (heard->digest ^ (uint32_t)frame->kind ^ (uint32_t)frame->at << 2) * 16777619u;
}

static void take_exchange(void *context, const struct lw_exchange *exchange)
{
    struct heard *heard = context;
    MUST(exchange->request.count <= LW_PDU_MAX && exchange->reply.count <= LW_PDU_MAX);
    MUST(exchange->request.count > 0 || exchange->reply.count > 0);
    heard->exchanges += exchange->request.count > 0;
}

// `timed`: the pieces have times and sides too, drawn from the bytes themselves.
static struct heard decode(const uint8_t *bytes, size_t size, size_t piece, bool timed)
{
    struct heard heard = {0};
    const struct lw_stream_options options = {.char_ns = timed ? 1000 : 0,
                                              .reply_ns = timed ? 100000 : 0};
    const struct lw_stream_sinks sinks = {&heard, take_frame, take_exchange};
    struct lw_stream *stream = lw_stream_new(&options, &sinks);
    MUST(stream != NULL);
    int64_t now_ns = 0;
    for (size_t at = 0; at < size; at += piece) {
        size_t count = size - at < piece ? size - at : piece;
        now_ns += 100 * bytes[at];
        lw_stream_add(stream, &(struct lw_stream_piece){
                                  .bytes = bytes + at,
                                  .count = count,
                                  .first_ns = timed ? now_ns : -1,
                                  .last_ns = timed ? now_ns + 1000 * (int64_t)count : -1,
                                  .timing_u_ns = bytes[at] % 2 * 300,
                                  .side = timed ? (enum lw_side)(bytes[at] % 3) : LW_SIDE_UNKNOWN,
                              });
        now_ns += 1000 * (int64_t)count;
    }
    lw_stream_flush(stream);
    const struct lw_stream_totals *totals = lw_stream_totals(stream);
    MUST(heard.next == size && totals->bytes == size);
    MUST(totals->frames == heard.frames && totals->noise_bytes == heard.noise_bytes);
    MUST(totals->frames == totals->requests + totals->replies + totals->echoes);
    MUST(totals->requests == heard.requests && totals->exchanges == heard.exchanges);
    MUST(totals->exchanges == totals->requests);
    lw_stream_free(stream);
    return heard;
}

// MBAP has no CRC: only that nothing is lost and nothing breaks.
static void decode_mbap(const uint8_t *bytes, size_t size)
{
    const struct lw_stream_options options = {.adu = LW_ADU_MBAP};
    const struct lw_stream_sinks sinks = {0};
    struct lw_stream *stream = lw_stream_new(&options, &sinks);
    MUST(stream != NULL);
    for (size_t at = 0, count; at < size; at += count) {
        count = (size_t)bytes[at] + 1 < size - at ? (size_t)bytes[at] + 1 : size - at;
        lw_stream_add(stream, &(struct lw_stream_piece){.bytes = bytes + at,
                                                        .count = count,
                                                        .first_ns = -1,
                                                        .last_ns = -1,
                                                        .side = (enum lw_side)(bytes[at] % 3)});
    }
    lw_stream_flush(stream);
    const struct lw_stream_totals *totals = lw_stream_totals(stream);
    MUST(totals->bytes == size && totals->frames == totals->requests + totals->replies);
    MUST(totals->exchanges == totals->requests);
    lw_stream_free(stream);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    size_t piece = size > 0 ? (size_t)bytes[0] + 1 : 1;
    struct heard whole = decode(bytes, size, size > 0 ? size : 1, false);
    struct heard torn = decode(bytes, size, piece, false);
    MUST(whole.digest == torn.digest && whole.frames == torn.frames);
    decode(bytes, size, piece, true);
    decode_mbap(bytes, size);
    return 0;
}
