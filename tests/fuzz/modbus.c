// SPDX-License-Identifier: GPL-3.0-or-later
//
// Fuzz target: any bytes as a request, a reply, frames and an identity. Properties: what can be
// read is written back to the same bytes; a length told from a beginning stays, and is that of the
// frame; an identity's gathering changes nothing when a part is broken and always ends.
#include "fuzz.h"

#include "modbus/frame.h"
#include "modbus/identity.h"
#include "modbus/pdu.h"

#include <string.h>

static void must_be_same(const struct lw_pdu *a, const struct lw_pdu *b)
{
    MUST(a->count == b->count && memcmp(a->bytes, b->bytes, a->count) == 0);
}

static void length_is_told(const struct lw_pdu *pdu, bool reply)
{
    uint8_t frame[LW_RTU_MAX];
    size_t count = lw_rtu_wrap(1, pdu, frame);
    int told = LW_LENGTH_MORE;
    for (size_t seen = 0; seen <= count; seen++) {
        int length =
            reply ? lw_rtu_reply_length(NULL, frame, seen) : lw_rtu_request_length(frame, seen);
        MUST(told == LW_LENGTH_MORE || length == told);
        told = length;
    }
    MUST(told == LW_LENGTH_OPEN || told == (int)count);
}

static void as_request(const struct lw_pdu *pdu)
{
    struct lw_request request;
    struct lw_pdu again;
    if (lw_request_parse(pdu, &request) == 0) {
        MUST(lw_request_build(&request, &again));
        must_be_same(pdu, &again);
        length_is_told(pdu, false);
    }
}

// 0x11 may be counted a byte short, and the objects of 0x2B are an identity's matter.
static void as_reply(const struct lw_pdu *pdu)
{
    struct lw_reply reply;
    struct lw_pdu again;
    if (pdu->bytes[0] == LW_REPORT_ID || !lw_reply_parse(NULL, pdu, &reply)) {
        return;
    }
    MUST(lw_reply_build(&reply, &again));
    must_be_same(pdu, &again);
    if (pdu->bytes[0] != LW_ENCAPSULATED) {
        length_is_told(pdu, true);
    }
}

static void as_frames(const uint8_t *bytes, size_t size)
{
    struct lw_pdu pdu;
    uint8_t address, again[LW_MBAP_MAX];
    uint16_t transaction;
    if (lw_rtu_unwrap(bytes, size, &address, &pdu)) {
        MUST(lw_rtu_wrap(address, &pdu, again) == size && memcmp(again, bytes, size) == 0);
    }
    int length = lw_mbap_unwrap(bytes, size, &transaction, &address, &pdu);
    if (length > 0) {
        MUST(lw_mbap_wrap(transaction, address, &pdu, again) == (size_t)length);
        MUST(memcmp(again, bytes, (size_t)length) == 0);
    }
}

// The bytes are the replies, one after the other: a length and so many bytes each.
static void as_identity(const uint8_t *bytes, size_t size)
{
    static struct lw_identity heard, before;
    enum lw_identity_step step = LW_IDENTITY_MORE;
    heard = (struct lw_identity){0};
    for (int part = 0; step == LW_IDENTITY_MORE && size > 0; part++) {
        struct lw_pdu request, reply = {.count = bytes[0] < size ? bytes[0] : size - 1};
        reply.count = reply.count < LW_PDU_MAX ? reply.count : LW_PDU_MAX;
        memcpy(reply.bytes, bytes + 1, reply.count);
        bytes += reply.count + 1;
        size -= reply.count + 1;
        before = heard;
        lw_identity_request(LW_IDENTITY_EXTENDED, heard.next, &request);
        step = lw_identity_add(&heard, &request, &reply);
        MUST(step != LW_IDENTITY_BROKEN || memcmp(&before, &heard, sizeof heard) == 0);
        MUST(part < 256 && heard.count >= before.count);
        MUST(heard.count <= LW_IDENTITY_OBJECTS && heard.used <= LW_IDENTITY_BYTES);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct lw_pdu pdu = {.count = size < LW_PDU_MAX ? size : LW_PDU_MAX};
    memcpy(pdu.bytes, bytes, pdu.count);
    if (pdu.count > 0) {
        as_request(&pdu);
        as_reply(&pdu);
    }
    as_frames(bytes, size);
    as_identity(bytes, size);
    return 0;
}
