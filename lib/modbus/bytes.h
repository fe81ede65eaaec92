// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writing and reading a PDU byte by byte with one check at the end: a writer that runs over, or a
// reader that runs dry, remembers it and goes on harmlessly. Inside lib/modbus only.
#ifndef LW_MODBUS_BYTES_H
#define LW_MODBUS_BYTES_H

#include "modbus/pdu.h"

#include <stdbool.h>
#include <string.h>

struct reader {
    const uint8_t *bytes;
    size_t left;
    bool dry; // more was asked for than there was
};

static inline uint8_t take_byte(struct reader *from)
{
    if (from->left == 0) {
        from->dry = true;
        return 0;
    }
    from->left--;
    return *from->bytes++;
}

static inline uint16_t take_word(struct reader *from)
{
    unsigned high = take_byte(from);
    return (uint16_t)(high << 8 | take_byte(from));
}

static inline void take_words(struct reader *from, uint16_t *words, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        words[i] = take_word(from);
    }
}

static inline void take_bytes(struct reader *from, uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        bytes[i] = take_byte(from);
    }
}

// All taken, and not one byte more than there was.
static inline bool used_up(const struct reader *from)
{
    return !from->dry && from->left == 0;
}

struct writer {
    struct lw_pdu *pdu;
    bool over; // more was put than a PDU holds
};

static inline void put_byte(struct writer *to, uint8_t byte)
{
    if (to->pdu->count == LW_PDU_MAX) {
        to->over = true;
        return;
    }
    to->pdu->bytes[to->pdu->count++] = byte;
}

static inline void put_word(struct writer *to, uint16_t word)
{
    put_byte(to, (uint8_t)(word >> 8));
    put_byte(to, (uint8_t)(word & 0xFF));
}

static inline void put_words(struct writer *to, const uint16_t *words, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        put_word(to, words[i]);
    }
}

static inline void put_bytes(struct writer *to, const uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        put_byte(to, bytes[i]);
    }
}

// Words from a request's or a reply's values[], never from beyond it.
static inline void put_values(struct writer *to, const uint16_t *values, unsigned count)
{
    if (count > LW_READ_REGISTERS_MAX) {
        to->over = true;
        return;
    }
    put_words(to, values, count);
}

// A file part's head: reference type 6, file, record, registers (6.14, 6.15).
static inline void put_part(struct writer *to, const struct lw_file_part *part)
{
    put_byte(to, 6);
    put_word(to, part->file);
    put_word(to, part->record);
    put_word(to, part->count);
}

#endif
