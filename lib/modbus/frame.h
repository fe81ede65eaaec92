// SPDX-License-Identifier: GPL-3.0-or-later
//
// Envelopes: a PDU with address and CRC for a serial line, with the MBAP header for TCP, and how
// long a frame will be, told from its first bytes. Pure: bytes in, values out.
//
//   RTU    address | PDU 1..253 | CRC low | CRC high                  4..256 bytes
//   MBAP   transaction 2 | protocol 2 (0) | length 2 | unit | PDU     8..260 bytes
#ifndef LW_MODBUS_FRAME_H
#define LW_MODBUS_FRAME_H

#include "modbus/exchange.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { LW_RTU_MIN = 4, LW_MBAP_HEAD = 7 };

// Returns the frame's bytes. The PDU has 1..253.
size_t lw_rtu_wrap(uint8_t address, const struct lw_pdu *pdu, uint8_t bytes[LW_RTU_MAX]);

// True when the count bytes are one RTU frame with a right CRC; address and pdu may be NULL.
bool lw_rtu_unwrap(const uint8_t *bytes, size_t count, uint8_t *address, struct lw_pdu *pdu);

size_t lw_mbap_wrap(uint16_t transaction, uint8_t unit, const struct lw_pdu *pdu,
                    uint8_t bytes[LW_MBAP_MAX]);

// How long a frame is, from its first bytes.
enum {
    LW_LENGTH_MORE = 0,        // more bytes are needed to tell
    LW_LENGTH_OPEN = -1,       // the function does not tell: silence ends the frame
    LW_LENGTH_IMPOSSIBLE = -2, // no frame begins like this
};

// Takes the first ADU of a stream. Returns its length (the values are filled then), LW_LENGTH_MORE,
// or LW_LENGTH_IMPOSSIBLE (protocol not 0 or length outside 2..254: the stream cannot be followed
// any further).
int lw_mbap_unwrap(const uint8_t *bytes, size_t count, uint16_t *transaction, uint8_t *unit,
                   struct lw_pdu *pdu);

// Whole length in bytes, address and CRC included, of the RTU request that begins with these bytes,
// or one of the three above. Functions unknown here, 0x08 with sub-function 00 (its data may have
// any number of words, though one is usual) and 0x2B with another MEI type than 0x0E are open.
int lw_rtu_request_length(const uint8_t *bytes, size_t count);

// The same of a reply. `request` (or NULL) is what was asked: with it the length of a 0x08 echo is
// known. A node that counts its own bytes wrong has another length than told here: a CRC that fails
// at this length is no proof of damage until silence has ended the frame.
int lw_rtu_reply_length(const struct lw_pdu *request, const uint8_t *bytes, size_t count);

#endif
