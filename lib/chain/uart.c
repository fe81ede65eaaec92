// SPDX-License-Identifier: GPL-3.0-or-later
//
// The slow path of the wire. Levels change only at the bit boundaries of the transmissions in
// flight, so the search for a falling edge steps from boundary to boundary instead of through time.
#include "chain/uart.h"

#include <assert.h>

static const double undecided_v = 0.2; // receiver threshold, TIA/EIA-485: +-200 mV

int64_t lw_uart_bits_ns(const struct lw_framing *framing, uint64_t bits)
{
    uint64_t rate = (uint64_t)framing->rate;
    return (int64_t)(bits / rate * 1000000000U + (bits % rate * 1000000000U + rate / 2) / rate);
}

static bool parity_bit(const struct lw_framing *framing, uint8_t byte)
{
    bool odd = __builtin_parity(byte & ((1U << framing->data_bits) - 1U));
    return framing->parity == 'E' ? odd : !odd;
}

// Bit `index` of a character as sent: start 0, data with the lowest first, parity, stop 1.
static bool character_bit(const struct lw_framing *framing, uint8_t byte, unsigned index)
{
    unsigned data = (unsigned)framing->data_bits;
    if (index == 0) {
        return false;
    }
    if (index <= data) {
        return (byte >> (index - 1)) & 1;
    }
    if (index == data + 1 && framing->parity != 'N') {
        return parity_bit(framing, byte);
    }
    return true;
}

static bool flipped(const struct lw_seen *seen, uint64_t bit)
{
    for (size_t i = 0; i < seen->flip_count; i++) {
        if (seen->flips[i] == bit) {
            return true;
        }
    }
    return false;
}

// The number of the bit that stands on the line at that time.
static uint64_t bit_at(const struct lw_transmission *sent, int64_t at_ns)
{
    uint64_t elapsed = (uint64_t)(at_ns - sent->first_ns);
    uint64_t bit = elapsed * (uint64_t)sent->framing.rate / 1000000000U;
    while (lw_uart_bits_ns(&sent->framing, bit + 1) <= (int64_t)elapsed) {
        bit++;
    }
    while (bit > 0 && lw_uart_bits_ns(&sent->framing, bit) > (int64_t)elapsed) {
        bit--;
    }
    return bit;
}

static bool driven(const struct lw_transmission *sent, int64_t at_ns)
{
    return at_ns >= sent->first_ns && at_ns < sent->last_ns;
}

static bool sent_level(const struct lw_seen *seen, int64_t at_ns)
{
    const struct lw_transmission *sent = seen->sent;
    unsigned bits = (unsigned)lw_framing_bits(&sent->framing);
    uint64_t bit = bit_at(sent, at_ns);
    uint64_t character = bit / bits;
    if (character >= sent->count) {
        return true;
    }
    bool level = character_bit(&sent->framing, sent->bytes[character], (unsigned)(bit % bits));
    return level != flipped(seen, bit);
}

bool lw_uart_level(const struct lw_seen *seen, size_t count, int64_t at_ns)
{
    double volts = 0;
    unsigned drivers = 0;
    for (size_t i = 0; i < count; i++) {
        if (driven(seen[i].sent, at_ns)) {
            volts += sent_level(&seen[i], at_ns) ? seen[i].sent->drive_v : -seen[i].sent->drive_v;
            drivers++;
        }
    }
    return drivers == 0 || volts / drivers >= -undecided_v;
}

// The next bit boundary of any transmission after at_ns; INT64_MAX when there is none.
static int64_t next_boundary(const struct lw_seen *seen, size_t count, int64_t at_ns)
{
    int64_t next = INT64_MAX;
    for (size_t i = 0; i < count; i++) {
        const struct lw_transmission *sent = seen[i].sent;
        int64_t boundary = INT64_MAX;
        if (at_ns < sent->first_ns) {
            boundary = sent->first_ns;
        } else if (at_ns < sent->last_ns) {
            boundary = sent->first_ns + lw_uart_bits_ns(&sent->framing, bit_at(sent, at_ns) + 1);
        }
        next = boundary < next ? boundary : next;
    }
    return next;
}

// First change from mark to space after from_ns; INT64_MAX when there is none up to until_ns.
static int64_t falling_edge(const struct lw_seen *seen, size_t count, int64_t from_ns,
                            int64_t until_ns)
{
    bool before = lw_uart_level(seen, count, from_ns);
    int64_t at = next_boundary(seen, count, from_ns);
    while (at <= until_ns) {
        bool level = lw_uart_level(seen, count, at);
        if (before && !level) {
            return at;
        }
        before = level;
        at = next_boundary(seen, count, at);
    }
    return INT64_MAX;
}

// Three samples around the middle of bit `index` of the receiver's own time, and their majority.
static bool sample(const struct lw_seen *seen, size_t count, const struct lw_framing *framing,
                   int64_t start_ns, unsigned index)
{
    int64_t sixteenth = lw_uart_bits_ns(framing, 1) / 16;
    int64_t middle = start_ns + lw_uart_bits_ns(framing, 2 * (uint64_t)index + 1) / 2;
    unsigned marks = 0;
    for (int64_t i = -1; i <= 1; i++) {
        marks += lw_uart_level(seen, count, middle + i * sixteenth);
    }
    return marks >= 2;
}

static void read_character(const struct lw_seen *seen, size_t count,
                           const struct lw_framing *framing, struct lw_character *character)
{
    unsigned data = (unsigned)framing->data_bits;
    unsigned byte = 0, flags = 0, next = data + 1;
    for (unsigned i = 0; i < data; i++) {
        byte |= (unsigned)sample(seen, count, framing, character->first_ns, i + 1) << i;
    }
    bool parity = false;
    if (framing->parity != 'N') {
        parity = sample(seen, count, framing, character->first_ns, next++);
        flags |= parity != parity_bit(framing, (uint8_t)byte) ? LW_PIECE_PARITY : 0U;
    }
    if (!sample(seen, count, framing, character->first_ns, next)) {
        flags |= byte == 0 && !parity ? LW_PIECE_BREAK | LW_PIECE_STOP_BIT : LW_PIECE_STOP_BIT;
    }
    character->byte = (uint8_t)byte;
    character->flags = flags;
}

enum lw_uart_found lw_uart_next(const struct lw_seen *seen, size_t count,
                                const struct lw_framing *framing, int64_t from_ns, int64_t until_ns,
                                struct lw_character *character, int64_t *resume_ns)
{
    uint64_t bits = (uint64_t)lw_framing_bits(framing);
    uint64_t first_stop = bits - (uint64_t)framing->stop_bits;
    for (;;) {
        int64_t edge = falling_edge(seen, count, from_ns, until_ns);
        if (edge > until_ns) {
            return LW_UART_NOTHING;
        }
        character->first_ns = edge;
        character->last_ns = edge + lw_uart_bits_ns(framing, bits);
        if (character->last_ns > until_ns) {
            return LW_UART_UNFINISHED;
        }
        if (!sample(seen, count, framing, edge, 0)) {
            read_character(seen, count, framing, character);
            *resume_ns = edge + lw_uart_bits_ns(framing, 2 * first_stop + 1) / 2;
            return LW_UART_CHARACTER;
        }
        from_ns = edge + lw_uart_bits_ns(framing, 1) / 2; // too short to be a start bit
    }
}
