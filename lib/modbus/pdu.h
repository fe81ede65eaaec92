// SPDX-License-Identifier: GPL-3.0-or-later
//
// Requests and replies of the Modbus application protocol (MODBUS Application Protocol V1.1b3,
// section 6), from bytes to values and back. A request built and parsed again is the same request,
// and the same holds for replies, so client, decoder and virtual nodes share one set of rules.
// Coils and registers are counted from 0 here, as on the wire.
#ifndef LW_MODBUS_PDU_H
#define LW_MODBUS_PDU_H

#include "modbus/exchange.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum lw_function {
    LW_READ_COILS = 0x01,
    LW_READ_INPUTS = 0x02,
    LW_READ_HOLDING = 0x03,
    LW_READ_INPUT_REGISTERS = 0x04,
    LW_WRITE_COIL = 0x05,
    LW_WRITE_REGISTER = 0x06,
    LW_READ_EXCEPTION_STATUS = 0x07,
    LW_DIAGNOSTICS = 0x08,
    LW_EVENT_COUNTER = 0x0B,
    LW_EVENT_LOG = 0x0C,
    LW_WRITE_COILS = 0x0F,
    LW_WRITE_REGISTERS = 0x10,
    LW_REPORT_ID = 0x11,
    LW_READ_FILE = 0x14,
    LW_WRITE_FILE = 0x15,
    LW_MASK_WRITE = 0x16,
    LW_READ_WRITE = 0x17,
    LW_READ_FIFO = 0x18,
    LW_ENCAPSULATED = 0x2B, // only with MEI type 0x0E, Read Device Identification
};
enum { LW_EXCEPTION_BIT = 0x80, LW_MEI_IDENTITY = 0x0E };

// Section 7. Others may come from a node; 0 is never sent.
enum lw_exception_code {
    LW_ILLEGAL_FUNCTION = 0x01,
    LW_ILLEGAL_ADDRESS = 0x02,
    LW_ILLEGAL_VALUE = 0x03,
    LW_DEVICE_FAILURE = 0x04,
    LW_ACKNOWLEDGE = 0x05,
    LW_DEVICE_BUSY = 0x06,
    LW_MEMORY_PARITY = 0x08,
    LW_GATEWAY_PATH = 0x0A,
    LW_GATEWAY_TARGET = 0x0B,
};

// Sub-functions of 0x08 that read (6.8.1): an echo, the register, and the eight counters.
enum {
    LW_DIAGNOSTICS_ECHO = 0x00,
    LW_DIAGNOSTICS_REGISTER = 0x02,
    LW_COUNT_BUS_MESSAGES = 0x0B,
    LW_COUNT_BUS_ERRORS = 0x0C,
    LW_COUNT_EXCEPTIONS = 0x0D,
    LW_COUNT_NODE_MESSAGES = 0x0E,
    LW_COUNT_NO_RESPONSE = 0x0F,
    LW_COUNT_NAK = 0x10,
    LW_COUNT_BUSY = 0x11,
    LW_COUNT_OVERRUN = 0x12,
};

// Quantity limits of section 6, and what follows from them.
enum {
    LW_READ_BITS_MAX = 2000,
    LW_READ_REGISTERS_MAX = 125,
    LW_WRITE_BITS_MAX = 1968,
    LW_WRITE_REGISTERS_MAX = 123,
    LW_READ_WRITE_MAX = 121, // registers written by 0x17
    LW_FILE_PARTS_MAX = 35,
    LW_FILE_RECORD_MAX = 0x270F,
    LW_EVENTS_MAX = 64,
    LW_FIFO_MAX = 31,
    LW_BITS_BYTES = 250,
};

struct lw_file_part {
    uint16_t file;   // 1..65535; 0 in a reply to 0x14, which does not repeat it
    uint16_t record; // 0..LW_FILE_RECORD_MAX; 0 in a reply to 0x14
    uint16_t count;  // registers; their values follow one another in values[]
};

// A request as values. Members that a function does not use are 0.
struct lw_request {
    uint8_t function;     // enum lw_function
    uint16_t start;       // first coil or register; 0x18: the FIFO's address
    uint16_t count;       // coils or registers, read or written; 0x08: words in values[] (1 usual)
    uint16_t value;       // 0x05: 0x0000 or 0xFF00; 0x06: the register's
    uint16_t write_start; // 0x17
    uint16_t write_count; // 0x17
    uint16_t and_mask, or_mask; // 0x16
    uint16_t sub;               // 0x08
    uint8_t read_code;          // 0x2B/0x0E: 1 basic, 2 regular, 3 extended, 4 one object
    uint8_t object;             // 0x2B/0x0E: the first object wanted
    uint8_t part_count;         // 0x14, 0x15
    struct lw_file_part parts[LW_FILE_PARTS_MAX];
    uint16_t values[LW_READ_REGISTERS_MAX]; // 0x08, 0x10, 0x15, 0x17: words sent
    uint8_t bits[LW_BITS_BYTES];            // 0x0F: packed, first coil in bit 0 of byte 0
};

// Reads a request. Returns 0, or the exception code that a node answers with: ILLEGAL_FUNCTION for
// a function not listed above, ILLEGAL_VALUE for a bad quantity, length or value, ILLEGAL_ADDRESS
// when start + count passes 65536 or a file part cannot be; then `request` is of no use. Of its
// arrays only what the counts name is filled. Which functions, sub-functions and registers a node
// really has is the node's to say.
uint8_t lw_request_parse(const struct lw_pdu *pdu, struct lw_request *request);

// Writes a request. False, and `pdu` empty, when the values are outside the limits of section 6.
bool lw_request_build(const struct lw_request *request, struct lw_pdu *pdu);

// A reply as values. Members that a function does not use are 0.
struct lw_reply {
    uint8_t function;  // as requested, without the exception bit
    uint8_t exception; // 0, or the code; then nothing else is filled
    uint16_t start;    // 0x05 06 0F 10 16
    uint16_t count; // registers in values[] (03 04 08 14 17 18), bits asked (01 02: 8 per byte when
                    // no request is at hand) or written (0F, 10: registers)
    uint16_t value; // 0x05, 0x06
    uint16_t and_mask, or_mask; // 0x16
    uint16_t sub;               // 0x08
    uint8_t status;             // 0x07: the eight exception status outputs
    uint16_t event_status;      // 0x0B, 0x0C: 0xFFFF busy, 0x0000 ready
    uint16_t event_count;       // 0x0B, 0x0C
    uint16_t message_count;     // 0x0C
    uint8_t byte_count;         // 0x0C: events; 0x11: id, run indicator and what follows
    uint8_t part_count;         // 0x14, 0x15
    struct lw_file_part parts[LW_FILE_PARTS_MAX];
    uint16_t values[LW_READ_REGISTERS_MAX];
    uint8_t bits[LW_BITS_BYTES]; // 01 02: packed, first coil in bit 0 of byte 0
    uint8_t bytes[LW_PDU_MAX];   // 0x0C, 0x11
};

// Reads a reply. True when it is whole and, with a request, answers it: same function, as many bits
// or registers as were asked, an echo where the protocol wants one. With request NULL only the
// inner lengths are held. When false, `reply` is of no use; of its arrays only what the counts name
// is filled. 0x2B/0x0E is checked for its head here and read by lw_identity_add().
// Some nodes count 0x11 one byte too small: such a reply is taken with all its bytes.
bool lw_reply_parse(const struct lw_pdu *request, const struct lw_pdu *pdu, struct lw_reply *reply);

// Writes a reply; what a node needs. False, and `pdu` empty, when it would not fit or breaks a
// limit. With `exception` set it writes the exception. 0x2B/0x0E is written by lw_identity_reply().
bool lw_reply_build(const struct lw_reply *reply, struct lw_pdu *pdu);

// Bits as packed by 01, 02 and 0F.
bool lw_bit(const uint8_t *bits, size_t index);
void lw_bit_set(uint8_t *bits, size_t index, bool on);

// "illegal data address"; "exception 0x42" has no word: NULL then.
const char *lw_exception_word(uint8_t code);

// "read holding registers", or NULL for a function not listed above. The exception bit is ignored.
const char *lw_function_word(uint8_t function);

#endif
