// SPDX-License-Identifier: GPL-3.0-or-later
//
// MBAP: no search is needed, since a socket loses nothing; what does not begin with a possible head
// can't be followed any further and is noise as a whole.
#include "modbus/stream_mbap.h"

#include "modbus/pdu.h"

#include <string.h>

static void report_part(struct lw_stream *stream, const struct lw_mbap_side *from, size_t count,
                        enum lw_stream_kind kind)
{
    if (stream->sinks.frame != NULL) {
        const struct lw_stream_frame frame = {
            .kind = kind,
            .at = from->at,
            .bytes = from->bytes,
            .count = count,
            .first_ns = from->first_ns,
            .last_ns = from->last_ns,
            .timing_u_ns = from->timing_u_ns,
            .side = (enum lw_side)(from - stream->mbap.sides),
        };
        stream->sinks.frame(stream->sinks.context, &frame);
    }
}

static void drop(struct lw_mbap_side *side, size_t count)
{
    side->count -= count;
    side->at += count;
    memmove(side->bytes, side->bytes + count, side->count);
}

static void report_open(struct lw_stream *stream, size_t index)
{
    struct lw_mbap *mbap = &stream->mbap;
    lw_pair_report(&stream->sinks, &stream->totals, &mbap->open[index].exchange);
    mbap->open_count--;
    memmove(mbap->open + index, mbap->open + index + 1,
            (mbap->open_count - index) * sizeof *mbap->open);
}

static void take_request(struct lw_stream *stream, const struct lw_mbap_side *from,
                         uint16_t transaction, uint8_t unit, const struct lw_pdu *pdu)
{
    struct lw_mbap *mbap = &stream->mbap;
    if (mbap->open_count == LW_MBAP_OPEN) {
        report_open(stream, 0);
    }
    mbap->open[mbap->open_count++] = (struct lw_mbap_open){
        .transaction = transaction,
        .exchange = {.address = unit,
                     .outcome = LW_NO_ANSWER,
                     .attempt = 1,
                     .sent_first_ns = from->first_ns,
                     .sent_last_ns = from->last_ns,
                     .reply_first_ns = -1,
                     .reply_last_ns = -1,
                     .timing_u_ns = from->timing_u_ns,
                     .request = *pdu},
    };
    stream->totals.requests++;
}

static void fill_reply(struct lw_exchange *exchange, const struct lw_mbap_side *from,
                       const struct lw_pdu *pdu)
{
    struct lw_reply reply;
    const struct lw_pdu *request = exchange->request.count > 0 ? &exchange->request : NULL;
    bool fits = lw_reply_parse(request, pdu, &reply) ||
                (pdu->bytes[0] == exchange->request.bytes[0] && !lw_function_word(pdu->bytes[0]));
    bool refused = (pdu->bytes[0] & LW_EXCEPTION_BIT) != 0;
    exchange->outcome = !fits ? LW_WRONG_ANSWER : refused ? LW_EXCEPTION : LW_ANSWERED;
    exchange->exception = fits && refused ? pdu->bytes[1] : 0;
    exchange->reply = *pdu;
    exchange->reply_first_ns = from->first_ns;
    exchange->reply_last_ns = from->last_ns;
    exchange->timing_u_ns = from->timing_u_ns;
}

static void take_reply(struct lw_stream *stream, const struct lw_mbap_side *from, size_t index,
                       uint8_t unit, const struct lw_pdu *pdu)
{
    struct lw_mbap *mbap = &stream->mbap;
    stream->totals.replies++;
    if (index < mbap->open_count) {
        fill_reply(&mbap->open[index].exchange, from, pdu);
        report_open(stream, index);
        return;
    }
    struct lw_exchange orphan = {
        .address = unit, .attempt = 1, .sent_first_ns = -1, .sent_last_ns = -1};
    fill_reply(&orphan, from, pdu);
    lw_pair_report(&stream->sinks, &stream->totals, &orphan);
}

static size_t find_open(const struct lw_mbap *mbap, uint16_t transaction, uint8_t unit)
{
    size_t index = 0;
    while (index < mbap->open_count && (mbap->open[index].transaction != transaction ||
                                        mbap->open[index].exchange.address != unit)) {
        index++;
    }
    return index;
}

static void take_adu(struct lw_stream *stream, struct lw_mbap_side *from, size_t count,
                     uint16_t transaction, uint8_t unit, const struct lw_pdu *pdu)
{
    size_t side = (size_t)(from - stream->mbap.sides);
    size_t index = find_open(&stream->mbap, transaction, unit);
    bool reply = side == LW_SIDE_IN || (side == LW_SIDE_UNKNOWN && index < stream->mbap.open_count);
    stream->totals.frames++;
    report_part(stream, from, count, reply ? LW_STREAM_REPLY : LW_STREAM_REQUEST);
    if (reply) {
        take_reply(stream, from, index, unit, pdu);
    } else {
        take_request(stream, from, transaction, unit, pdu);
    }
    drop(from, count);
}

static void take_noise(struct lw_stream *stream, struct lw_mbap_side *side)
{
    stream->totals.noise_runs++;
    stream->totals.noise_bytes += side->count;
    stream->totals.damaged += side->count >= LW_MBAP_HEAD;
    report_part(stream, side, side->count, LW_STREAM_NOISE);
    drop(side, side->count);
}

static void take_all(struct lw_stream *stream, struct lw_mbap_side *side)
{
    struct lw_pdu pdu;
    uint16_t transaction;
    uint8_t unit;
    int length;
    while ((length = lw_mbap_unwrap(side->bytes, side->count, &transaction, &unit, &pdu)) > 0) {
        take_adu(stream, side, (size_t)length, transaction, unit, &pdu);
    }
    if (length == LW_LENGTH_IMPOSSIBLE && side->count > 0) {
        take_noise(stream, side);
    }
}

// A piece is at most as long as the room that a torn ADU leaves, so it is taken in parts.
void lw_stream_mbap_add(struct lw_stream *stream, const struct lw_stream_piece *piece)
{
    struct lw_mbap_side *side = &stream->mbap.sides[piece->side];
    uint64_t at = stream->totals.bytes - piece->count;
    for (size_t from = 0, count; from < piece->count; from += count) {
        size_t room = sizeof side->bytes - side->count;
        count = piece->count - from < room ? piece->count - from : room;
        if (side->count == 0) {
            side->first_ns = piece->first_ns;
            side->at = at + from;
        }
        side->last_ns = piece->last_ns;
        side->timing_u_ns = piece->timing_u_ns;
        memcpy(side->bytes + side->count, piece->bytes + from, count);
        side->count += count;
        take_all(stream, side);
    }
}

void lw_stream_mbap_flush(struct lw_stream *stream)
{
    for (size_t side = 0; side < LW_MBAP_SIDES; side++) {
        if (stream->mbap.sides[side].count > 0) {
            take_noise(stream, &stream->mbap.sides[side]);
        }
    }
    while (stream->mbap.open_count > 0) {
        report_open(stream, 0);
    }
}
