// SPDX-License-Identifier: GPL-3.0-or-later
//
// Frames among bytes. A frame of somebody unknown is believed only where its function tells the
// length and its content makes sense (or it is all there is): a CRC alone, tried at every byte of a
// noise, finds one frame that never was in 65 536 tries.
#include "client/inbox.h"

#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <assert.h>

enum { TIMING_SIGMAS = 3 };

void lw_inbox_drop(struct lw_inbox *inbox, size_t at, size_t count)
{
    assert(at + count <= inbox->count);
    size_t tail = inbox->count - at - count;
    memmove(inbox->bytes + at, inbox->bytes + at + count, tail);
    memmove(inbox->begins_ns + at, inbox->begins_ns + at + count, tail * sizeof(int64_t));
    memmove(inbox->ends_ns + at, inbox->ends_ns + at + count, tail * sizeof(int64_t));
    inbox->count -= count;
}

size_t lw_inbox_add(struct lw_inbox *inbox, const uint8_t *bytes, const struct lw_piece *piece)
{
    assert(piece->count <= LW_INBOX_SIZE);
    size_t over = inbox->count + piece->count;
    over = over > LW_INBOX_SIZE ? over - LW_INBOX_SIZE : 0;
    lw_inbox_drop(inbox, 0, over);
    double each_ns = (double)(piece->last_ns - piece->first_ns) / (double)piece->count;
    for (size_t i = 0; i < piece->count; i++) {
        size_t at = inbox->count++;
        inbox->bytes[at] = bytes[i];
        inbox->begins_ns[at] = piece->first_ns + (int64_t)((double)i * each_ns);
        inbox->ends_ns[at] = piece->first_ns + (int64_t)((double)(i + 1) * each_ns);
    }
    inbox->timing_u_ns = piece->timing_u_ns;
    return over;
}

static bool unwrap_at(const struct lw_inbox *inbox, size_t at, int length, size_t to,
                      struct lw_found *found)
{
    if (length <= 0 || at + (size_t)length > to) {
        return false;
    }
    found->at = at;
    found->count = (size_t)length;
    return lw_rtu_unwrap(inbox->bytes + at, found->count, &found->address, &found->pdu);
}

// A node that counts its identifier one byte short sends one byte more than it says.
static bool answer_at(const struct lw_inbox *inbox, bool ended, size_t at,
                      const struct lw_pdu *request, struct lw_found *found)
{
    size_t left = inbox->count - at;
    int told = lw_rtu_reply_length(request, inbox->bytes + at, left);
    bool short_count = request->bytes[0] == LW_REPORT_ID && told > 0;
    const int lengths[] = {told, short_count ? told + 1 : 0, ended ? (int)left : 0};
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++) {
        struct lw_reply reply;
        if (unwrap_at(inbox, at, lengths[i], inbox->count, found) &&
            lw_reply_parse(request, &found->pdu, &reply)) {
            return true;
        }
    }
    return false;
}

bool lw_inbox_answer(const struct lw_inbox *inbox, bool ended, uint8_t address,
                     const struct lw_pdu *request, int64_t not_before_ns, struct lw_found *found)
{
    int64_t earliest_ns = not_before_ns - TIMING_SIGMAS * inbox->timing_u_ns;
    for (size_t at = 0; at + LW_RTU_MIN <= inbox->count; at++) {
        bool ours = inbox->bytes[at] == address &&
                    (inbox->bytes[at + 1] & 0x7F) == request->bytes[0] &&
                    inbox->begins_ns[at] >= earliest_ns;
        if (ours && answer_at(inbox, ended, at, request, found)) {
            return true;
        }
    }
    return false;
}

static bool sensible_reply(const struct lw_pdu *pdu)
{
    struct lw_reply reply;
    return lw_reply_parse(NULL, pdu, &reply) && lw_function_word(reply.function) != NULL &&
           (reply.exception == 0 || lw_exception_word(reply.exception) != NULL);
}

static bool sensible_request(const struct lw_pdu *pdu)
{
    struct lw_request request;
    return lw_request_parse(pdu, &request) == 0;
}

static bool frame_at(const struct lw_inbox *inbox, size_t at, size_t to, struct lw_found *found)
{
    const uint8_t *bytes = inbox->bytes + at;
    int reply = lw_rtu_reply_length(NULL, bytes, to - at);
    int request = lw_rtu_request_length(bytes, to - at);
    return (unwrap_at(inbox, at, reply, to, found) && sensible_reply(&found->pdu)) ||
           (unwrap_at(inbox, at, request, to, found) && sensible_request(&found->pdu));
}

bool lw_inbox_frame(const struct lw_inbox *inbox, size_t from, size_t to, struct lw_found *found)
{
    for (size_t at = from; at + LW_RTU_MIN <= to; at++) {
        if (inbox->bytes[at] <= LW_ADDRESS_MAX &&
            (frame_at(inbox, at, to, found) ||
             (at == from && unwrap_at(inbox, at, (int)(to - at), to, found)))) {
            return true;
        }
    }
    return false;
}

size_t lw_inbox_find(const struct lw_inbox *inbox, const uint8_t *bytes, size_t count)
{
    for (size_t at = 0; at + count <= inbox->count; at++) {
        if (memcmp(inbox->bytes + at, bytes, count) == 0) {
            return at;
        }
    }
    return inbox->count;
}
