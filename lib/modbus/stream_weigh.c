// SPDX-License-Identifier: GPL-3.0-or-later
//
// How much speaks for a frame. Every figure is the logarithm of a ratio: a field that noise hits
// once in 512 times brings 9 bits when it is right. Fields that a line repeats bring more, but less
// than their width, since damage spares most of a frame's bytes.
#include "modbus/stream_inside.h"

#include "modbus/crc.h"
#include "modbus/pdu.h"

#include <string.h>

enum {
    BITS_FUNCTION = 4,      // one of 19 public codes among 256
    BITS_OPEN_LENGTH = -8,  // any of 253 lengths would have done
    BITS_LONG_ECHO = -8,    // 0x08 sub 00 with other than one word
    BITS_UNUSUAL = -10,     // quantities that no master asks for
    BITS_ADDRESS = 5,       // an address that was seen
    BITS_RESERVED = -8,     // addresses 248..255
    BITS_SAME_REQUEST = 20, // this very request was seen
    BITS_SAME_SHAPE = 6,    // this address, function and direction were seen
    BITS_SAME_LENGTH = 12,  // and with this length: replies
    BITS_ANSWERS = 24,      // address, function and length are those asked for
    BITS_ORPHAN = -4,       // a reply to nothing
    BITS_AGAIN = -1,        // a request while another is open
    BITS_EXCEPTION = 5,     // function and code of an exception
    BITS_AT_SILENCE = 4,
    BITS_CLOSE = -3,
    BITS_SPANS_SILENCE = -25,
    BITS_SIDE = 4,
};
enum { DIAGNOSTICS_MOST = 0x14 }; // the highest sub-function (6.8.1)
enum { KEY_REQUEST = 1, KEY_REQUEST_SHAPE, KEY_REPLY_SHAPE, KEY_REPLY_LENGTH };

static void pdu_of(struct lw_span frame, struct lw_pdu *pdu)
{
    pdu->count = frame.count - 3;
    memcpy(pdu->bytes, frame.bytes + 1, pdu->count);
}

bool lw_weigh_answers(struct lw_span request, struct lw_span reply)
{
    struct lw_pdu asked, answer;
    struct lw_request wanted;
    struct lw_reply parsed;
    if (request.bytes[0] != reply.bytes[0] || request.bytes[0] == 0 ||
        ((request.bytes[1] ^ reply.bytes[1]) & ~LW_EXCEPTION_BIT) != 0) {
        return false;
    }
    pdu_of(request, &asked);
    pdu_of(reply, &answer);
    // Quantities that no master asks for get a refusal at most.
    if (lw_function_word(asked.bytes[0]) != NULL && lw_request_parse(&asked, &wanted) != 0 &&
        (answer.bytes[0] & LW_EXCEPTION_BIT) == 0) {
        return false;
    }
    return lw_reply_parse(&asked, &answer, &parsed) ||
           (lw_function_word(asked.bytes[0]) == NULL && asked.bytes[0] == answer.bytes[0]);
}

// What the quantities of a valid request bring: how seldom noise has such ones.
static int bits_of_request_fields(const struct lw_request *request)
{
    switch (request->function) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
        return 5; // 2000 of 65536
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
        return 9; // 125 of 65536
    case LW_WRITE_COIL:
        return 15; // two values of 65536
    case LW_DIAGNOSTICS:
        return request->sub <= DIAGNOSTICS_MOST ? 11 : BITS_UNUSUAL; // 21 of 65536
    case LW_WRITE_COILS:
    case LW_WRITE_REGISTERS:
        return 13; // a quantity within limits, and a byte count that fits it
    case LW_READ_WRITE:
        return 22;
    case LW_READ_FILE:
    case LW_WRITE_FILE:
        return 12; // a byte count that fits, and a reference type
    case LW_ENCAPSULATED:
        return request->read_code >= 1 && request->read_code <= 4 ? 14 : BITS_UNUSUAL;
    default:
        return 0;
    }
}

static bool writes(uint8_t function)
{
    return function == LW_WRITE_COIL || function == LW_WRITE_REGISTER ||
           function == LW_WRITE_COILS || function == LW_WRITE_REGISTERS ||
           function == LW_MASK_WRITE || function == LW_WRITE_FILE;
}

// Nobody answers a broadcast, so that nobody reads by one.
static int bits_of_address(const struct lw_stream *stream, struct lw_span frame, bool reply)
{
    uint8_t address = frame.bytes[0];
    if (address > LW_ADDRESS_MAX || (address == 0 && (reply || !writes(frame.bytes[1])))) {
        return BITS_RESERVED;
    }
    return stream->known.addresses[address] > 0 ? BITS_ADDRESS : 0;
}

static uint32_t shape_key(uint8_t purpose, struct lw_span frame)
{
    uint8_t shape[3] = {frame.bytes[0], frame.bytes[1], (uint8_t)frame.count};
    return lw_known_key(purpose, shape, purpose == KEY_REPLY_LENGTH ? 3 : 2);
}

static bool seen(const struct lw_stream *stream, uint32_t key)
{
    return lw_known_count(&stream->known, key) > 0;
}

static int bits_of_request(const struct lw_stream *stream, struct lw_span frame)
{
    struct lw_pdu pdu;
    struct lw_request request;
    if (seen(stream, lw_known_key(KEY_REQUEST, frame.bytes, frame.count))) {
        return BITS_SAME_REQUEST;
    }
    pdu_of(frame, &pdu);
    int bits = seen(stream, shape_key(KEY_REQUEST_SHAPE, frame)) ? BITS_SAME_SHAPE : 0;
    if (lw_function_word(pdu.bytes[0]) == NULL) {
        return bits;
    }
    if (lw_request_parse(&pdu, &request) != 0) {
        return BITS_UNUSUAL;
    }
    return bits + BITS_FUNCTION + bits_of_request_fields(&request);
}

static int bits_of_reply(const struct lw_stream *stream, struct lw_span frame)
{
    struct lw_pdu pdu;
    struct lw_reply reply;
    if (seen(stream, shape_key(KEY_REPLY_LENGTH, frame))) {
        return BITS_SAME_LENGTH;
    }
    int bits = seen(stream, shape_key(KEY_REPLY_SHAPE, frame)) ? BITS_SAME_SHAPE : 0;
    if (lw_function_word(frame.bytes[1]) == NULL) {
        return bits;
    }
    if (frame.bytes[1] & LW_EXCEPTION_BIT) {
        bool told = lw_exception_word(frame.bytes[2]) != NULL;
        return bits + (told ? BITS_EXCEPTION : BITS_UNUSUAL);
    }
    pdu_of(frame, &pdu);
    return bits + (lw_reply_parse(NULL, &pdu, &reply) ? BITS_FUNCTION + 1 : BITS_UNUSUAL);
}

static int bits_of_edge(enum lw_edge edge)
{
    return edge >= LW_EDGE_SILENCE ? BITS_AT_SILENCE : edge == LW_EDGE_CLOSE ? BITS_CLOSE : 0;
}

// What the times around and within bytes at..at+count say; false when they can't be one frame.
static bool weigh_edges(const struct lw_stream *stream, size_t at, size_t count, int *bits)
{
    *bits = 0;
    if (stream->plain) {
        return true;
    }
    *bits += bits_of_edge(lw_edge_at(stream, at));
    if (at + count < stream->end) {
        *bits += bits_of_edge(lw_edge_at(stream, at + count));
    }
    for (size_t i = at + 1; i < at + count; i++) {
        enum lw_edge edge = lw_edge_at(stream, i);
        if (edge == LW_EDGE_SIDE) {
            return false;
        }
        *bits += edge == LW_EDGE_SILENCE ? BITS_SPANS_SILENCE : 0;
    }
    return true;
}

// Who asks and who answers does not change on a line; where this computer asks, others answer.
static int bits_of_side(const struct lw_stream *stream, size_t at, bool reply)
{
    enum lw_side side = lw_side_at(stream, at);
    if (side == LW_SIDE_UNKNOWN || !stream->sent_known) {
        return 0;
    }
    return (side == LW_SIDE_IN) == reply ? BITS_SIDE : -BITS_SIDE;
}

// Adds the frame when its CRC is right and no change of sides is in it.
static size_t add(const struct lw_stream *stream, size_t at, struct lw_candidate candidate,
                  struct lw_candidate *found, size_t count)
{
    struct lw_span frame = {stream->bytes + at, candidate.count};
    int bits;
    if (count == LW_CANDIDATES || !weigh_edges(stream, at, frame.count, &bits)) {
        return count;
    }
    candidate.bits +=
        LW_BITS_CRC + bits + bits_of_side(stream, at, candidate.reply) +
        bits_of_address(stream, frame, candidate.reply) +
        (candidate.reply ? bits_of_reply(stream, frame) : bits_of_request(stream, frame));
    found[count] = candidate;
    return count + 1;
}

// All lengths that a frame of open length may have.
static size_t find_open(const struct lw_stream *stream, size_t at, size_t end, int both,
                        struct lw_candidate found[LW_CANDIDATES])
{
    const uint8_t *bytes = stream->bytes + at;
    size_t most = end - at < LW_RTU_MAX ? end - at : LW_RTU_MAX, count = 0;
    uint16_t crc = LW_CRC16_START;
    for (size_t i = 0; i < most; i++) {
        crc = lw_crc16_next(crc, bytes[i]);
        if (crc != 0 || i + 1 < LW_RTU_MIN) {
            continue;
        }
        bool usual = bytes[1] == LW_DIAGNOSTICS && i + 1 == 8;
        for (int reply = both & 1 ? 0 : 1; reply <= both >> 1; reply++) {
            struct lw_candidate candidate = {.count = i + 1,
                                             .reply = reply == 1,
                                             .open = true,
                                             .bits = usual ? 0 : BITS_OPEN_LENGTH};
            count = add(stream, at, candidate, found, count);
        }
    }
    return count;
}

// Notes that `length` bytes, or one more than there are, would have to be there.
static void want(size_t *need, int length, size_t have)
{
    size_t wanted = length == LW_LENGTH_MORE ? have + 1 : (size_t)length;
    *need = wanted > *need ? wanted : *need;
}

size_t lw_weigh_find(const struct lw_stream *stream, size_t at, size_t end, bool open_too,
                     struct lw_candidate found[LW_CANDIDATES], size_t *need)
{
    const uint8_t *bytes = stream->bytes + at;
    size_t have = end - at, count = 0;
    int lengths[2] = {lw_rtu_request_length(bytes, have), lw_rtu_reply_length(NULL, bytes, have)};
    int first = lengths[1] > 0 && lengths[1] < lengths[0] ? 1 : 0; // the shorter one first
    bool right = false;
    *need = 0;
    for (int i = 0; i < 2; i++) {
        int reply = first ^ i, length = lengths[reply];
        if (length == LW_LENGTH_MORE || (length > 0 && (size_t)length > have)) {
            want(need, length, have);
        } else if (length > 0) {
            bool told = i == 1 && lengths[0] == lengths[1];
            right = told ? right : lw_crc16(bytes, (size_t)length) == 0;
            count = right ? add(stream, at,
                                (struct lw_candidate){.count = (size_t)length, .reply = reply == 1},
                                found, count)
                          : count;
        }
    }
    int both = (lengths[0] == LW_LENGTH_OPEN ? 1 : 0) | (lengths[1] == LW_LENGTH_OPEN ? 2 : 0);
    if (both != 0 && open_too && count == 0) {
        count = find_open(stream, at, end, both, found);
    }
    return count;
}

static bool same(struct lw_span a, struct lw_span b)
{
    return a.count == b.count && memcmp(a.bytes, b.bytes, a.count) == 0;
}

int lw_weigh_asked(const struct lw_stream *stream, size_t at, struct lw_candidate *candidate,
                   struct lw_span asked)
{
    struct lw_span frame = {stream->bytes + at, candidate->count};
    if (candidate->reply) {
        bool answers_only = stream->totals.orphans >= stream->totals.requests;
        candidate->answers = asked.count > 0 && lw_weigh_answers(asked, frame);
        return candidate->answers ? BITS_ANSWERS : answers_only ? 0 : BITS_ORPHAN;
    }
    return asked.count == 0 || same(asked, frame) ? 0 : BITS_AGAIN;
}

void lw_weigh_learn(struct lw_stream *stream, struct lw_span frame, bool reply)
{
    struct lw_known *known = &stream->known;
    known->addresses[frame.bytes[0]] += known->addresses[frame.bytes[0]] < UINT32_MAX;
    if (reply) {
        lw_known_learn(known, shape_key(KEY_REPLY_SHAPE, frame));
        lw_known_learn(known, shape_key(KEY_REPLY_LENGTH, frame));
    } else {
        lw_known_learn(known, shape_key(KEY_REQUEST_SHAPE, frame));
        lw_known_learn(known, lw_known_key(KEY_REQUEST, frame.bytes, frame.count));
    }
}
