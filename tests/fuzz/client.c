// SPDX-License-Identifier: GPL-3.0-or-later
//
// Fuzz target: any bytes, at any times, as what a client hears. The first byte chooses RTU or MBAP
// and the request; then come bytes, each after a pause of its own. Properties: every exchange ends
// in bounded time; an answer is one whose bytes were really there; no byte is counted twice.
#include "fuzz.h"

#include "client/client.h"
#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <string.h>

enum { EXCHANGES = 4 };

// A line that plays the input. Each byte stands with its pause before it, in tenths of a
// millisecond.
struct played_line {
    struct lw_line line;
    struct lw_clock clock;
    const uint8_t *bytes;
    size_t size, next;
    int64_t free_ns; // end of the last byte
    size_t handed;   // bytes given to the client
};

static int64_t next_ends_ns(const struct played_line *played)
{
    int64_t pause_ns = INT64_C(100000) * played->bytes[played->next];
    return played->free_ns + pause_ns + lw_framing_chars_ns(&played->line.framing, 1);
}

static enum lw_status played_send(struct lw_line *line, const uint8_t *bytes, size_t count,
                                  int64_t *first_ns, int64_t *last_ns, struct lw_error *error)
{
    struct played_line *played = (struct played_line *)line;
    (void)bytes;
    (void)error;
    *first_ns = played->clock.fixed_ns;
    *last_ns = *first_ns + lw_framing_chars_ns(&line->framing, count);
    played->clock.fixed_ns = *last_ns;
    return LW_OK;
}

static enum lw_status played_receive(struct lw_line *line, int64_t deadline_ns, uint8_t *bytes,
                                     size_t size, struct lw_piece *piece, struct lw_error *error)
{
    struct played_line *played = (struct played_line *)line;
    (void)size;
    (void)error;
    int64_t now_ns = played->clock.fixed_ns;
    int64_t until_ns = deadline_ns > now_ns ? deadline_ns : now_ns;
    if (played->next + 2 > played->size || next_ends_ns(played) > until_ns) {
        played->clock.fixed_ns = until_ns;
        return LW_OK;
    }
    played->free_ns = next_ends_ns(played);
    played->clock.fixed_ns = played->free_ns > now_ns ? played->free_ns : now_ns;
    bytes[0] = played->bytes[played->next + 1];
    piece->count = 1;
    piece->last_ns = played->free_ns;
    piece->first_ns = played->free_ns - lw_framing_chars_ns(&line->framing, 1);
    played->next += 2;
    played->handed++;
    return LW_OK;
}

static const struct lw_line_ops played_ops = {.send = played_send, .receive = played_receive};

// The reply's frame stands somewhere in what was played.
static bool was_played(const struct played_line *played, const uint8_t *frame, size_t count)
{
    size_t there = played->next / 2;
    for (size_t at = 0; at + count <= there; at++) {
        size_t same = 0;
        while (same < count && played->bytes[2 * (at + same) + 1] == frame[same]) {
            same++;
        }
        if (same == count) {
            return true;
        }
    }
    return false;
}

static void answer_is_real(const struct played_line *played, const struct lw_exchange *exchange,
                           size_t *answer_bytes)
{
    struct lw_reply reply;
    uint8_t frame[LW_MBAP_MAX];
    bool answered = exchange->outcome == LW_ANSWERED || exchange->outcome == LW_EXCEPTION;
    if (exchange->reply.count == 0) {
        MUST(!answered);
        return;
    }
    MUST(answered || exchange->outcome == LW_WRONG_ANSWER);
    MUST(!answered || lw_reply_parse(&exchange->request, &exchange->reply, &reply));
    if (played->line.adu == LW_ADU_RTU) {
        size_t count = lw_rtu_wrap(exchange->address, &exchange->reply, frame);
        MUST(!answered || was_played(played, frame, count));
        *answer_bytes += count;
    } else {
        *answer_bytes += exchange->reply.count + LW_MBAP_HEAD;
    }
}

static const struct lw_pdu requests[] = {
    {5, {0x03, 0x00, 0x00, 0x00, 0x01}}, {5, {0x01, 0x00, 0x00, 0x00, 0x10}}, {1, {0x11}},
    {4, {0x2B, 0x0E, 0x01, 0x00}},       {5, {0x08, 0x00, 0x00, 0xA5, 0x37}},
};

static void exchange_all(struct played_line *played, struct lw_client *client, unsigned choice)
{
    size_t accounted = 0;
    struct lw_exchange exchange;
    for (unsigned i = 0; i < EXCHANGES && !lw_client_foreign(client); i++) {
        const struct lw_pdu *request = &requests[(choice + i) % 5];
        int64_t begun_ns = played->clock.fixed_ns;
        enum lw_status status =
            lw_client_exchange(client, (uint8_t)(1 + i % 2), request, &exchange, NULL);
        MUST(status == LW_OK || (status == LW_REFUSED && lw_client_foreign(client)));
        MUST(played->clock.fixed_ns - begun_ns < INT64_C(3000000000));
        accounted += exchange.strays;
        answer_is_real(played, &exchange, &accounted);
        MUST(accounted <= played->handed);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    if (size == 0) {
        return 0;
    }
    struct played_line played = {.bytes = bytes + 1, .size = size - 1};
    lw_clock_virtual(&played.clock, 0);
    played.line = (struct lw_line){.ops = &played_ops,
                                   .clock = &played.clock,
                                   .adu = bytes[0] & 0x80 ? LW_ADU_MBAP : LW_ADU_RTU,
                                   .hears_others = true,
                                   .framed = true,
                                   .framing = {19200, 8, 'E', 1},
                                   .name = "played"};
    const struct lw_run run = {.clock = &played.clock};
    const struct lw_client_options options = {.reply_s = 0.05, .echo = bytes[0] & 0x40};
    struct lw_client *client = NULL;
    MUST(lw_client_new(&played.line, &run, &options, &client, NULL) == LW_OK);
    exchange_all(&played, client, bytes[0] & 0x0F);
    lw_client_free(client);
    return 0;
}
