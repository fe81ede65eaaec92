// SPDX-License-Identifier: GPL-3.0-or-later
//
// The worked examples of MODBUS Application Protocol V1.1b3, section 6 and 7, as byte strings, and
// helpers to read them. The CRCs around them are not printed there: they were computed apart from
// this code.
#ifndef TEST_MODBUS_WORKED_H
#define TEST_MODBUS_WORKED_H

#include "modbus/pdu.h"

struct worked {
    const char *clause;
    const char *request, *reply; // PDU bytes in hexadecimal
};

static const struct worked worked[] = {
    {"6.1", "01 00 13 00 13", "01 03 CD 6B 05"},
    {"6.2", "02 00 C4 00 16", "02 03 AC DB 35"},
    {"6.3", "03 00 6B 00 03", "03 06 02 2B 00 00 00 64"},
    {"6.4", "04 00 08 00 01", "04 02 00 0A"},
    {"6.5", "05 00 AC FF 00", "05 00 AC FF 00"},
    {"6.6", "06 00 01 00 03", "06 00 01 00 03"},
    {"6.7", "07", "07 6D"},
    {"6.8.2", "08 00 00 A5 37", "08 00 00 A5 37"},
    {"6.9", "0B", "0B FF FF 01 08"},
    {"6.10", "0C", "0C 08 00 00 01 08 01 21 20 00"},
    {"6.11", "0F 00 13 00 0A 02 CD 01", "0F 00 13 00 0A"},
    {"6.12", "10 00 01 00 02 04 00 0A 01 02", "10 00 01 00 02"},
    {"6.14", "14 0E 06 00 04 00 01 00 02 06 00 03 00 09 00 02",
     "14 0C 05 06 0D FE 00 20 05 06 33 CD 00 40"},
    {"6.15", "15 0D 06 00 04 00 07 00 03 06 AF 04 BE 10 0D",
     "15 0D 06 00 04 00 07 00 03 06 AF 04 BE 10 0D"},
    {"6.16", "16 00 04 00 F2 00 25", "16 00 04 00 F2 00 25"},
    {"6.17", "17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF",
     "17 0C 00 FE 0A CD 00 01 00 03 00 0D 00 FF"},
    {"6.18", "18 04 DE", "18 00 06 00 02 01 B8 12 84"},
    {"7", "01 04 A1 00 01", "81 02"},
};
enum { WORKED = sizeof worked / sizeof worked[0] };

static inline unsigned nibble_of(char c)
{
    return (unsigned)(c <= '9' ? c - '0' : c - 'A' + 10);
}

// "0A FF" to bytes; returns how many.
static inline size_t from_hex(const char *text, uint8_t *bytes)
{
    size_t count = 0;
    for (; text[0] != '\0'; text += text[2] == ' ' ? 3 : 2) {
        bytes[count++] = (uint8_t)(nibble_of(text[0]) << 4 | nibble_of(text[1]));
    }
    return count;
}

static inline struct lw_pdu pdu_of(const char *text)
{
    struct lw_pdu pdu = {0};
    pdu.count = from_hex(text, pdu.bytes);
    return pdu;
}

#endif
