// SPDX-License-Identifier: GPL-3.0-or-later
//
// The hunt for a framing. Every clue multiplies the likelihood of the candidates that it speaks
// against by a small number; the most likely candidate is next. Nothing is ever ruled out, so that
// a clue that misled (a disturbed line, an adapter that reports no errors) costs time only.
#include "check/listen_framing.h"

#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <math.h>
#include <string.h>

static const double against = 1e-3;

// What is met on sensor lines (common practice). The highest usual rate stands a little above its
// neighbours, since it tells all of them.
static const struct {
    int rate;
    double likelihood;
} rates[] = {{19200, 1},  {9600, 0.9},  {115200, 0.5},  {38400, 0.45}, {57600, 0.4},
             {4800, 0.2}, {2400, 0.15}, {230400, 0.12}, {1200, 0.1},   {460800, 0.05}};
static const struct {
    char parity;
    double likelihood;
} parities[] = {{'E', 1}, {'N', 0.8}, {'O', 0.1}};

enum { ENOUGH_FRAMES = 3, ENOUGH_PIECES = 4, ENOUGH_BYTES = 40, DAMAGED_FRAMES = 2 };

static bool same(const struct lw_framing *a, const struct lw_framing *b)
{
    return a->rate == b->rate && a->data_bits == b->data_bits && a->parity == b->parity;
}

static void add_candidate(struct lw_hunt *hunt, const struct lw_framing *framing, double likelihood)
{
    for (size_t i = 0; i < hunt->count; i++) {
        if (same(&hunt->candidates[i].framing, framing)) {
            return;
        }
    }
    if (hunt->count < LW_HUNT_CANDIDATES) {
        hunt->candidates[hunt->count++] =
            (struct lw_hunt_candidate){.framing = *framing, .likelihood = likelihood};
    }
}

static void listen_afresh(struct lw_hunt *hunt)
{
    hunt->heard = hunt->clean_frames = hunt->damaged_frames = 0;
    hunt->pieces = hunt->kept = hunt->framed = 0;
    memset(hunt->in_runs, 0, sizeof hunt->in_runs);
}

void lw_hunt_init(struct lw_hunt *hunt, const struct lw_framing *first)
{
    *hunt = (struct lw_hunt){0};
    if (first != NULL) {
        add_candidate(hunt, first, 10);
    }
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++) {
        for (size_t p = 0; p < sizeof parities / sizeof *parities; p++) {
            const struct lw_framing framing = {rates[r].rate, 8, parities[p].parity, 1};
            add_candidate(hunt, &framing, rates[r].likelihood * parities[p].likelihood);
        }
    }
    hunt->now = hunt->candidates[0].framing;
    hunt->candidates[0].tries = 1;
}

// Whether a frame of `length` begins at `at`, a request or a reply as the protocol has them.
static bool is_frame(const struct lw_hunt *hunt, size_t at, int length, bool request)
{
    uint8_t address;
    struct lw_pdu pdu;
    struct lw_request asked;
    struct lw_reply replied;
    return length >= LW_RTU_MIN && at + (size_t)length <= hunt->kept &&
           lw_rtu_unwrap(hunt->bytes + at, (size_t)length, &address, &pdu) &&
           address <= LW_ADDRESS_MAX &&
           (request ? lw_request_parse(&pdu, &asked) == 0 : lw_reply_parse(NULL, &pdu, &replied));
}

static size_t frame_at(const struct lw_hunt *hunt, size_t at)
{
    const uint8_t *bytes = hunt->bytes + at;
    int request = lw_rtu_request_length(bytes, hunt->kept - at);
    int reply = lw_rtu_reply_length(NULL, bytes, hunt->kept - at);
    if (is_frame(hunt, at, request, true)) {
        return (size_t)request;
    }
    return is_frame(hunt, at, reply, false) ? (size_t)reply : 0;
}

static void count_frames(struct lw_hunt *hunt)
{
    for (size_t at = hunt->framed; at + LW_RTU_MIN <= hunt->kept;) {
        size_t length = frame_at(hunt, at);
        unsigned flags = 0;
        for (size_t i = at; i < at + length; i++) {
            flags |= hunt->flags[i];
        }
        hunt->damaged_frames += length > 0 && flags != 0;
        hunt->clean_frames += length > 0 && flags == 0;
        at += length > 0 ? length : 1;
        hunt->framed = length > 0 ? at : hunt->framed;
    }
}

static void keep(struct lw_hunt *hunt, const uint8_t *bytes, const struct lw_piece *piece)
{
    size_t room = LW_HUNT_BYTES - LW_RTU_MAX; // a frame that has begun stays whole
    size_t count = piece->count < room ? piece->count : room;
    if (hunt->kept + count > LW_HUNT_BYTES) {
        size_t drop = hunt->kept + count - LW_HUNT_BYTES;
        hunt->kept -= drop;
        hunt->framed -= drop < hunt->framed ? drop : hunt->framed;
        memmove(hunt->bytes, hunt->bytes + drop, hunt->kept);
        memmove(hunt->flags, hunt->flags + drop, hunt->kept * sizeof *hunt->flags);
    }
    for (size_t i = 0; i < count; i++) {
        hunt->bytes[hunt->kept] = bytes[i];
        hunt->flags[hunt->kept++] = piece->flags & (LW_PIECE_PARITY | LW_PIECE_STOP_BIT);
    }
}

// Bit 0 of `bits` is the start bit, bits 1 to 8 are the data; a run that reaches beyond them is
// looked at as far as it is there.
static bool is_in_runs(unsigned bits, unsigned k)
{
    for (unsigned i = 1; i < 9; i++) {
        if (i % k != 0 && ((bits >> i) & 1) != ((bits >> (i - 1)) & 1)) {
            return false;
        }
    }
    return true;
}

static void count_runs(struct lw_hunt *hunt, const uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        for (unsigned k = 2; k <= LW_HUNT_RUNS; k++) {
            hunt->in_runs[k] += is_in_runs((unsigned)bytes[i] << 1, k);
        }
    }
}

// How many times too fast this listener is, LW_HUNT_RUNS for so much and more, 1 for not at all.
// One character in ten may be spoilt.
static int too_fast(const struct lw_hunt *hunt)
{
    int k = LW_HUNT_RUNS;
    while (k > 1 && hunt->in_runs[k] * 10 < hunt->heard * 9) {
        k--;
    }
    return k;
}

// Speaks against every candidate that the clue does not fit.
static void weigh_rate(struct lw_hunt *hunt)
{
    double k = too_fast(hunt);
    for (size_t i = 0; i < hunt->count; i++) {
        double ratio = (double)hunt->now.rate / hunt->candidates[i].framing.rate;
        bool fits = k == 1 ? ratio < 1.7 : k == LW_HUNT_RUNS ? ratio > 8 : fabs(ratio - k) < 0.7;
        hunt->candidates[i].likelihood *= fits ? 1 : against;
    }
}

static void weigh_parity(struct lw_hunt *hunt)
{
    for (size_t i = 0; i < hunt->count; i++) {
        const struct lw_framing *other = &hunt->candidates[i].framing;
        bool fits = other->rate == hunt->now.rate && other->data_bits == hunt->now.data_bits;
        hunt->candidates[i].likelihood *= fits ? 1 : against;
    }
}

static double standing(const struct lw_hunt_candidate *candidate)
{
    return candidate->likelihood * pow(against, candidate->tries);
}

static enum lw_hunt_step try_next(struct lw_hunt *hunt)
{
    struct lw_hunt_candidate *best = &hunt->candidates[0];
    for (size_t i = 1; i < hunt->count; i++) {
        if (standing(&hunt->candidates[i]) > standing(best)) {
            best = &hunt->candidates[i];
        }
    }
    best->tries++;
    if (same(&best->framing, &hunt->now)) {
        listen_afresh(hunt);
        return LW_HUNT_ON;
    }
    hunt->now = best->framing;
    hunt->switches++;
    listen_afresh(hunt);
    return LW_HUNT_SWITCH;
}

// Each time a framing is tried again it is given twice as long: the line may be a bad one.
static size_t patience(const struct lw_hunt *hunt)
{
    int tries = 1;
    for (size_t i = 0; i < hunt->count; i++) {
        tries = same(&hunt->candidates[i].framing, &hunt->now) ? hunt->candidates[i].tries : tries;
    }
    return (size_t)1 << (tries < 6 ? tries - 1 : 5);
}

enum lw_hunt_step lw_hunt_take(struct lw_hunt *hunt, const uint8_t *bytes,
                               const struct lw_piece *piece)
{
    if (hunt->found || piece->count == 0) {
        return LW_HUNT_ON;
    }
    hunt->heard += piece->count;
    hunt->pieces++;
    keep(hunt, bytes, piece);
    count_runs(hunt, bytes, piece->count);
    count_frames(hunt);
    if (hunt->clean_frames >= ENOUGH_FRAMES && hunt->clean_frames > hunt->damaged_frames) {
        hunt->found = true;
        return LW_HUNT_FOUND;
    }
    if (hunt->damaged_frames >= DAMAGED_FRAMES && hunt->damaged_frames > 2 * hunt->clean_frames) {
        weigh_parity(hunt);
        return try_next(hunt);
    }
    size_t twice = patience(hunt);
    bool enough = hunt->pieces >= ENOUGH_PIECES * twice && hunt->heard >= ENOUGH_BYTES * twice;
    if (enough && hunt->clean_frames + hunt->damaged_frames == 0) {
        weigh_rate(hunt);
        return try_next(hunt);
    }
    return LW_HUNT_ON;
}
