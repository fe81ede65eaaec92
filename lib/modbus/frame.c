// SPDX-License-Identifier: GPL-3.0-or-later
//
// Envelopes and lengths. Lengths come from the function code and the byte counts alone, since on a
// socket, a pseudo-terminal or a busy USB adapter the silence between two frames is long gone.
#include "modbus/frame.h"

#include "modbus/bytes.h"
#include "modbus/crc.h"
#include "modbus/pdu.h"

#include <assert.h>

size_t lw_rtu_wrap(uint8_t address, const struct lw_pdu *pdu, uint8_t bytes[LW_RTU_MAX])
{
    assert(pdu->count >= 1 && pdu->count <= LW_PDU_MAX);
    bytes[0] = address;
    memcpy(bytes + 1, pdu->bytes, pdu->count);
    uint16_t crc = lw_crc16(bytes, pdu->count + 1);
    bytes[pdu->count + 1] = (uint8_t)(crc & 0xFF);
    bytes[pdu->count + 2] = (uint8_t)(crc >> 8);
    return pdu->count + 3;
}

static void take_pdu(const uint8_t *bytes, size_t count, struct lw_pdu *pdu)
{
    pdu->count = count;
    memcpy(pdu->bytes, bytes, count);
}

bool lw_rtu_unwrap(const uint8_t *bytes, size_t count, uint8_t *address, struct lw_pdu *pdu)
{
    if (count < LW_RTU_MIN || count > LW_RTU_MAX || lw_crc16(bytes, count) != 0) {
        return false;
    }
    if (address != NULL) {
        *address = bytes[0];
    }
    if (pdu != NULL) {
        take_pdu(bytes + 1, count - 3, pdu);
    }
    return true;
}

size_t lw_mbap_wrap(uint16_t transaction, uint8_t unit, const struct lw_pdu *pdu,
                    uint8_t bytes[LW_MBAP_MAX])
{
    assert(pdu->count >= 1 && pdu->count <= LW_PDU_MAX);
    bytes[0] = (uint8_t)(transaction >> 8);
    bytes[1] = (uint8_t)(transaction & 0xFF);
    bytes[2] = bytes[3] = bytes[4] = 0;
    bytes[5] = (uint8_t)(pdu->count + 1);
    bytes[6] = unit;
    memcpy(bytes + LW_MBAP_HEAD, pdu->bytes, pdu->count);
    return pdu->count + LW_MBAP_HEAD;
}

int lw_mbap_unwrap(const uint8_t *bytes, size_t count, uint16_t *transaction, uint8_t *unit,
                   struct lw_pdu *pdu)
{
    struct reader from = {.bytes = bytes, .left = count};
    uint16_t id = take_word(&from);
    uint16_t protocol = take_word(&from);
    unsigned length = take_word(&from);
    if (from.dry) {
        return LW_LENGTH_MORE;
    }
    if (protocol != 0 || length < 2 || length > LW_PDU_MAX + 1) {
        return LW_LENGTH_IMPOSSIBLE;
    }
    if (from.left < length) {
        return LW_LENGTH_MORE;
    }
    *transaction = id;
    *unit = take_byte(&from);
    take_pdu(from.bytes, length - 1, pdu);
    return (int)length + LW_MBAP_HEAD - 1;
}

// PDU length from a byte count at `at` of the PDU, `after` bytes on; the count is within limits.
static int counted(const uint8_t *pdu, size_t count, size_t at, int least, int most)
{
    if (count <= at) {
        return LW_LENGTH_MORE;
    }
    int length = pdu[at];
    if (length < least || length > most) {
        return LW_LENGTH_IMPOSSIBLE;
    }
    return (int)at + 1 + length;
}

// Registers come in whole words.
static int counted_words(const uint8_t *pdu, size_t count, size_t at, int most)
{
    return count > at && pdu[at] % 2 != 0 ? LW_LENGTH_IMPOSSIBLE : counted(pdu, count, at, 2, most);
}

// 0x08: any number of words with sub-function 00, one word with every other.
static int diagnostics_length(const uint8_t *pdu, size_t count)
{
    if (count < 3) {
        return LW_LENGTH_MORE;
    }
    return pdu[1] == 0 && pdu[2] == LW_DIAGNOSTICS_ECHO ? LW_LENGTH_OPEN : 5;
}

static int fifo_length(const uint8_t *pdu, size_t count)
{
    if (count < 3) {
        return LW_LENGTH_MORE;
    }
    int length = pdu[1] << 8 | pdu[2];
    bool possible = length >= 2 && length <= 2 + 2 * LW_FIFO_MAX && length % 2 == 0;
    return possible ? 3 + length : LW_LENGTH_IMPOSSIBLE;
}

// 0x2B/0x0E has no length of its own: head of 7, then so many objects of id, length and bytes.
static int identity_length(const uint8_t *pdu, size_t count)
{
    if (count < 7) {
        return LW_LENGTH_MORE;
    }
    size_t end = 7;
    for (int object = 0; object < pdu[6]; object++) {
        if (count < end + 2) {
            return LW_LENGTH_MORE;
        }
        end += 2u + pdu[end + 1];
        if (end > LW_PDU_MAX) {
            return LW_LENGTH_IMPOSSIBLE;
        }
    }
    return (int)end;
}

static int encapsulated_length(const uint8_t *pdu, size_t count, bool reply)
{
    if (count < 2) {
        return LW_LENGTH_MORE;
    }
    if (pdu[1] != LW_MEI_IDENTITY) {
        return LW_LENGTH_OPEN;
    }
    return reply ? identity_length(pdu, count) : 4;
}

static int request_pdu_length(const uint8_t *pdu, size_t count)
{
    switch (pdu[0]) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
        return 5;
    case LW_READ_EXCEPTION_STATUS:
    case LW_EVENT_COUNTER:
    case LW_EVENT_LOG:
    case LW_REPORT_ID:
        return 1;
    case LW_DIAGNOSTICS:
        return diagnostics_length(pdu, count);
    case LW_WRITE_COILS:
        return counted(pdu, count, 5, 1, LW_WRITE_BITS_MAX / 8);
    case LW_WRITE_REGISTERS:
        return counted_words(pdu, count, 5, 2 * LW_WRITE_REGISTERS_MAX);
    case LW_READ_FILE:
        return counted(pdu, count, 1, 7, 0xF5);
    case LW_WRITE_FILE:
        return counted(pdu, count, 1, 9, 0xFB);
    case LW_MASK_WRITE:
        return 7;
    case LW_READ_WRITE:
        return counted_words(pdu, count, 9, 2 * LW_READ_WRITE_MAX);
    case LW_READ_FIFO:
        return 3;
    case LW_ENCAPSULATED:
        return encapsulated_length(pdu, count, false);
    default:
        return LW_LENGTH_OPEN;
    }
}

static int reply_pdu_length(const struct lw_pdu *request, const uint8_t *pdu, size_t count)
{
    switch (pdu[0]) {
    case LW_READ_COILS:
    case LW_READ_INPUTS:
        return counted(pdu, count, 1, 1, LW_BITS_BYTES);
    case LW_READ_HOLDING:
    case LW_READ_INPUT_REGISTERS:
    case LW_READ_WRITE:
        return counted_words(pdu, count, 1, 2 * LW_READ_REGISTERS_MAX);
    case LW_WRITE_COIL:
    case LW_WRITE_REGISTER:
    case LW_WRITE_COILS:
    case LW_WRITE_REGISTERS:
    case LW_EVENT_COUNTER:
        return 5;
    case LW_READ_EXCEPTION_STATUS:
        return 2;
    case LW_DIAGNOSTICS:
        if (request != NULL && request->count > 0 && request->bytes[0] == LW_DIAGNOSTICS) {
            return (int)request->count;
        }
        return diagnostics_length(pdu, count);
    case LW_EVENT_LOG:
        return counted(pdu, count, 1, 6, 6 + LW_EVENTS_MAX);
    case LW_REPORT_ID:
        return counted(pdu, count, 1, 0, LW_PDU_MAX - 2);
    case LW_READ_FILE:
        return counted(pdu, count, 1, 4, 0xF5);
    case LW_WRITE_FILE:
        return counted(pdu, count, 1, 9, 0xFB);
    case LW_MASK_WRITE:
        return 7;
    case LW_READ_FIFO:
        return fifo_length(pdu, count);
    case LW_ENCAPSULATED:
        return encapsulated_length(pdu, count, true);
    default:
        return LW_LENGTH_OPEN;
    }
}

// A PDU length as that of the frame around it: address before, CRC behind.
static int framed(int length)
{
    return length > 0 ? length + 3 : length;
}

// Function codes are 1..127; the upper half are exceptions (MODBUS Application Protocol, 4.1).
int lw_rtu_request_length(const uint8_t *bytes, size_t count)
{
    if (count < 2) {
        return LW_LENGTH_MORE;
    }
    if (bytes[1] == 0 || bytes[1] & LW_EXCEPTION_BIT) {
        return LW_LENGTH_IMPOSSIBLE;
    }
    return framed(request_pdu_length(bytes + 1, count - 1));
}

int lw_rtu_reply_length(const struct lw_pdu *request, const uint8_t *bytes, size_t count)
{
    if (count < 2) {
        return LW_LENGTH_MORE;
    }
    if (bytes[1] == 0 || bytes[1] == LW_EXCEPTION_BIT) {
        return LW_LENGTH_IMPOSSIBLE;
    }
    if (bytes[1] & LW_EXCEPTION_BIT) {
        return framed(2);
    }
    return framed(reply_pdu_length(request, bytes + 1, count - 1));
}
