// SPDX-License-Identifier: GPL-3.0-or-later
//
// From frames to exchanges: which frame asks, which answers, which is an echo. Some frames have the
// same bytes in all three parts, so a few frames are held back and what follows decides.
#include "modbus/stream_inside.h"

#include "modbus/pdu.h"

#include <string.h>

enum { HABIT_MOST = 64, TIMING_SIGMAS = 3 };

static struct lw_span span_of(const struct lw_item *item)
{
    return (struct lw_span){item->bytes, item->count};
}

static bool same(const struct lw_item *a, const struct lw_item *b)
{
    return a->is_frame && b->is_frame && a->count == b->count &&
           memcmp(a->bytes, b->bytes, a->count) == 0;
}

static bool answers(const struct lw_item *request, const struct lw_item *reply)
{
    return reply->can_reply && lw_weigh_answers(span_of(request), span_of(reply));
}

// A request whose reply may have the same bytes: 05, 06, 08 and their kin.
static bool answers_itself(const struct lw_item *request)
{
    return answers(request, request);
}

// The n-th item after the head of the queue, or NULL.
static const struct lw_item *ahead(const struct lw_pair *pair, size_t n)
{
    return n < pair->count ? &pair->queue[(pair->head + n) % LW_QUEUE] : NULL;
}

static void report_frame(const struct lw_pair *pair, const struct lw_item *item,
                         enum lw_stream_kind kind)
{
    if (pair->sinks->frame != NULL) {
        const struct lw_stream_frame frame = {
            .kind = kind,
            .at = item->at,
            .bytes = item->bytes,
            .count = item->count,
            .first_ns = item->first_ns,
            .last_ns = item->last_ns,
            .timing_u_ns = item->timing_u_ns,
            .side = item->side,
        };
        pair->sinks->frame(pair->sinks->context, &frame);
    }
}

void lw_pair_report(const struct lw_stream_sinks *sinks, struct lw_stream_totals *totals,
                    const struct lw_exchange *exchange)
{
    bool asked = exchange->request.count > 0;
    totals->exchanges += asked;
    totals->orphans += !asked;
    totals->exceptions += exchange->outcome == LW_EXCEPTION;
    totals->unanswered += asked && exchange->address != 0 && exchange->outcome != LW_ANSWERED &&
                          exchange->outcome != LW_EXCEPTION;
    if (sinks->exchange != NULL) {
        sinks->exchange(sinks->context, exchange);
    }
}

static void take_pdu(const struct lw_item *item, struct lw_pdu *pdu)
{
    pdu->count = item->count - 3;
    memcpy(pdu->bytes, item->bytes + 1, pdu->count);
}

static void fill_reply(struct lw_exchange *exchange, const struct lw_item *item)
{
    take_pdu(item, &exchange->reply);
    exchange->reply_first_ns = item->first_ns;
    exchange->reply_last_ns = item->last_ns;
    exchange->timing_u_ns = item->timing_u_ns;
}

static void fill_answer(struct lw_exchange *exchange, const struct lw_item *item)
{
    bool refused = (item->bytes[1] & LW_EXCEPTION_BIT) != 0;
    exchange->outcome = refused ? LW_EXCEPTION : LW_ANSWERED;
    exchange->exception = refused && item->count > 4 ? item->bytes[2] : 0;
    fill_reply(exchange, item);
}

static uint16_t take_strays(struct lw_pair *pair)
{
    uint16_t strays = (uint16_t)(pair->strays < UINT16_MAX ? pair->strays : UINT16_MAX);
    pair->strays = 0;
    return strays;
}

static bool is_answered(const struct lw_exchange *exchange)
{
    return exchange->outcome == LW_ANSWERED || exchange->outcome == LW_EXCEPTION;
}

// Keeps the open request among those that are still owed an answer; the oldest gives way.
static void owe(struct lw_pair *pair)
{
    size_t kept = pair->owed_count < LW_OWED ? pair->owed_count : LW_OWED - 1;
    memmove(pair->owed + 1, pair->owed, kept * sizeof *pair->owed);
    pair->owed[0] = pair->asked;
    pair->owed_count = kept + 1;
}

// Ends the open exchange. Garbage beside an answer, or beside a wrong one, is stray.
static void close_exchange(struct lw_pair *pair)
{
    struct lw_exchange *exchange = &pair->exchange;
    if (!pair->open) {
        return;
    }
    bool answered = is_answered(exchange);
    if (answered || pair->wrong) {
        pair->strays += pair->garbled;
    } else if (pair->garbled > 0) {
        exchange->outcome = LW_CRC_ERROR;
        exchange->reply_first_ns = pair->garbled_first_ns;
        exchange->reply_last_ns = pair->garbled_last_ns;
    }
    exchange->strays = take_strays(pair);
    lw_pair_report(pair->sinks, pair->totals, exchange);
    pair->open = false;
    pair->unanswered = !answered && exchange->address != 0;
    if (pair->unanswered && pair->garbled == 0) {
        owe(pair);
    }
}

static void open_exchange(struct lw_pair *pair, const struct lw_item *item)
{
    bool again = !pair->open && pair->unanswered && same(&pair->asked, item);
    uint8_t attempt = pair->exchange.attempt;
    struct lw_exchange *exchange = &pair->exchange;
    memset(exchange, 0, offsetof(struct lw_exchange, request));
    exchange->address = item->bytes[0];
    exchange->outcome = LW_NO_ANSWER;
    exchange->attempt = (uint8_t)(again && attempt < UINT8_MAX ? attempt + 1 : 1);
    exchange->sent_first_ns = item->first_ns;
    exchange->sent_last_ns = item->last_ns;
    exchange->reply_first_ns = exchange->reply_last_ns = -1;
    exchange->timing_u_ns = item->timing_u_ns;
    exchange->reply.count = 0;
    take_pdu(item, &exchange->request);
    memcpy(&pair->asked, item, offsetof(struct lw_item, bytes) + item->count);
    pair->open = true;
    pair->echoed = pair->wrong = false;
    pair->garbled = 0;
}

static void take_request(struct lw_pair *pair, const struct lw_item *item)
{
    pair->totals->requests++;
    report_frame(pair, item, LW_STREAM_REQUEST);
    close_exchange(pair);
    open_exchange(pair, item);
}

// How requests that were answered came: once, or with an echo. Old habits fade.
static void learn_echo(struct lw_pair *pair)
{
    unsigned *habit = pair->echoed ? &pair->doubled : &pair->single;
    if (++*habit > HABIT_MOST) {
        pair->doubled /= 2;
        pair->single /= 2;
    }
}

// A reply whose request was not heard.
static void take_orphan(struct lw_pair *pair, const struct lw_item *item)
{
    struct lw_exchange exchange = {
        .address = item->bytes[0],
        .attempt = 1,
        .sent_first_ns = -1,
        .sent_last_ns = -1,
    };
    pair->totals->replies++;
    report_frame(pair, item, LW_STREAM_REPLY);
    if (pair->open && pair->garbled > 0) {
        close_exchange(pair); // what was broken was its reply, the next request, or both
    }
    if (pair->open) {
        if (!pair->wrong) {
            pair->wrong = true;
            pair->exchange.outcome = LW_WRONG_ANSWER;
            fill_reply(&pair->exchange, item);
        } else {
            pair->strays += (unsigned)item->count;
        }
        return;
    }
    fill_answer(&exchange, item);
    exchange.strays = take_strays(pair);
    lw_pair_report(pair->sinks, pair->totals, &exchange);
}

static void drop_owed(struct lw_pair *pair, size_t index)
{
    pair->owed_count--;
    memmove(pair->owed + index, pair->owed + index + 1,
            (pair->owed_count - index) * sizeof *pair->owed);
}

// A node that has answered owes nothing from before.
static void settle_owed(struct lw_pair *pair, uint8_t address)
{
    for (size_t index = pair->owed_count; index-- > 0;) {
        if (pair->owed[index].bytes[0] == address) {
            drop_owed(pair, index);
        }
    }
}

static void take_reply(struct lw_pair *pair, const struct lw_item *item)
{
    pair->totals->replies++;
    report_frame(pair, item, LW_STREAM_REPLY);
    fill_answer(&pair->exchange, item);
    learn_echo(pair);
    settle_owed(pair, item->bytes[0]);
    close_exchange(pair);
}

// Notes that an earlier request was answered too late, by this.
static void note_late(struct lw_pair *pair, size_t index, const struct lw_item *item)
{
    const struct lw_item *late = &pair->owed[index];
    bool timed = item->last_ns >= 0 && late->last_ns >= 0;
    pair->totals->crossed++;
    pair->strays += (unsigned)item->count;
    pair->exchange.late_address = late->bytes[0];
    pair->exchange.late_by_ns = timed ? item->last_ns - late->last_ns - pair->options->reply_ns : 0;
    drop_owed(pair, index);
}

// The earlier request that a frame answers; owed_count when none.
static size_t find_owed(const struct lw_pair *pair, const struct lw_item *item)
{
    size_t index = 0;
    while (index < pair->owed_count && !answers(&pair->owed[index], item)) {
        index++;
    }
    return index;
}

static void take_late(struct lw_pair *pair, size_t index, const struct lw_item *item)
{
    pair->totals->replies++;
    report_frame(pair, item, LW_STREAM_REPLY);
    note_late(pair, index, item);
}

// The first bytes of the reply to a request: three when it reads, else two.
static size_t reply_head(const struct lw_item *request, uint8_t head[3])
{
    struct lw_pdu pdu;
    struct lw_request asked;
    take_pdu(request, &pdu);
    head[0] = request->bytes[0];
    head[1] = request->bytes[1];
    if (pdu.bytes[0] > LW_READ_INPUT_REGISTERS || lw_request_parse(&pdu, &asked) != 0) {
        return 2;
    }
    bool bits = asked.function <= LW_READ_INPUTS;
    head[2] = (uint8_t)(bits ? (asked.count + 7) / 8 : 2 * asked.count);
    return 3;
}

// Whether these bytes are the end of the answer to `request`, of which the beginning was lost.
static bool is_tail(const struct lw_item *request, const uint8_t *bytes, size_t count)
{
    uint8_t frame[LW_RTU_MAX + 3];
    size_t known = reply_head(request, frame);
    for (size_t lost = 1; lost <= known; lost++) {
        struct lw_span whole = {frame, lost + count};
        reply_head(request, frame);
        memcpy(frame + lost, bytes, count);
        if (lw_rtu_unwrap(frame, whole.count, NULL, NULL) &&
            lw_weigh_answers(span_of(request), whole)) {
            return true;
        }
    }
    return false;
}

// The earlier request, of another node, whose late answer ends with this noise, since the open
// request was talked over it; owed_count when none. The byte on the wire as that ended may be
// wrong.
static size_t find_tail(const struct lw_pair *pair, const struct lw_item *item)
{
    size_t index = 0;
    for (; index < pair->owed_count; index++) {
        const struct lw_item *owed = &pair->owed[index];
        if (owed->bytes[0] != pair->asked.bytes[0] &&
            (is_tail(owed, item->bytes, item->count) ||
             (item->count > 1 && is_tail(owed, item->bytes + 1, item->count - 1)))) {
            break;
        }
    }
    return index;
}

// No node begins to answer within a character of the request's end, where the times can tell.
static bool is_talked_over(const struct lw_pair *pair, const struct lw_item *item)
{
    int64_t char_ns = pair->options->char_ns;
    return item->first_ns >= 0 && pair->asked.last_ns >= 0 &&
           TIMING_SIGMAS * item->timing_u_ns < char_ns &&
           item->first_ns < pair->asked.last_ns + char_ns;
}

// Noise that has nothing to do with the open request. False when it may be its reply.
static bool take_aside(struct lw_pair *pair, const struct lw_item *item)
{
    size_t tail = pair->owed_count;
    if (pair->open && item->side != LW_SIDE_OUT) {
        tail = pair->garbled == 0 ? find_tail(pair, item) : pair->owed_count;
        if (tail == pair->owed_count && (pair->garbled > 0 || !is_talked_over(pair, item))) {
            return false;
        }
    }
    if (tail < pair->owed_count) {
        note_late(pair, tail, item);
    } else {
        pair->strays += (unsigned)item->count;
    }
    return true;
}

static void take_echo(struct lw_pair *pair, const struct lw_item *item)
{
    pair->totals->echoes++;
    report_frame(pair, item, LW_STREAM_ECHO);
    pair->echoed = true;
}

static void take_noise(struct lw_pair *pair, const struct lw_item *item)
{
    pair->totals->noise_runs++;
    pair->totals->noise_bytes += item->count;
    pair->totals->damaged += item->count >= LW_RTU_MIN;
    report_frame(pair, item, LW_STREAM_NOISE);
    if (take_aside(pair, item)) {
        return;
    }
    if (pair->garbled == 0) {
        pair->garbled_first_ns = item->first_ns;
    }
    pair->garbled_last_ns = item->last_ns;
    pair->garbled += (unsigned)item->count;
}

// How many of the items ahead, from the n-th on, repeat `item`.
static size_t repeats(const struct lw_pair *pair, const struct lw_item *item, size_t n)
{
    size_t count = 0;
    while (ahead(pair, n + count) != NULL && same(ahead(pair, n + count), item)) {
        count++;
    }
    return count;
}

// A vote of `more` repetitions of a request and what follows them: a request that answers itself
// comes three times on a line that echoes, else twice.
static void vote(const struct lw_item *request, size_t more, const struct lw_item *next,
                 unsigned *doubled, unsigned *single)
{
    if (answers_itself(request)) {
        *doubled += more == 2;
        *single += more == 1;
    } else if (answers(request, next)) {
        *doubled += more == 1;
        *single += more == 0;
    }
}

// What the line did, and does in the queue; its head repeats the open request.
static bool line_echoes(const struct lw_pair *pair)
{
    unsigned doubled = pair->doubled, single = pair->single;
    const struct lw_item *request = &pair->asked, *next;
    size_t from = 0, more;
    do {
        more = repeats(pair, request, from);
        next = ahead(pair, from + more);
        if (next != NULL && request->is_frame && request->can_request) {
            vote(request, more, next, &doubled, &single);
        }
        request = next;
        from += more + 1;
    } while (next != NULL);
    return doubled > 2 * single;
}

// Whether a repetition of the open request is its echo: nobody answers, or asks again, within a
// character and a half; where the times can't tell, the line's habit does.
static bool is_echo(const struct lw_pair *pair, const struct lw_item *item)
{
    if (!pair->open || pair->echoed || pair->garbled > 0 || !same(&pair->asked, item)) {
        return false;
    }
    bool crossed = pair->asked.side == LW_SIDE_OUT && item->side == LW_SIDE_IN;
    if (crossed && !answers_itself(item)) {
        return true;
    }
    if (pair->options->char_ns > 0 && item->first_ns >= 0 && pair->asked.first_ns >= 0) {
        int64_t gap_ns = item->first_ns - pair->asked.last_ns;
        int64_t doubt_ns = TIMING_SIGMAS * item->timing_u_ns;
        int64_t least_ns = pair->options->char_ns * 3 / 2;
        if (gap_ns + doubt_ns < least_ns || gap_ns - doubt_ns > least_ns) {
            return gap_ns < least_ns;
        }
    }
    return line_echoes(pair);
}

static bool in_time(const struct lw_pair *pair, const struct lw_item *request,
                    const struct lw_item *reply)
{
    if (pair->options->reply_ns == 0 || request->last_ns < 0 || reply->first_ns < 0) {
        return true;
    }
    int64_t after_ns = reply->first_ns - request->last_ns;
    return after_ns - TIMING_SIGMAS * reply->timing_u_ns <= pair->options->reply_ns;
}

static bool is_reply(const struct lw_pair *pair, const struct lw_item *item)
{
    return pair->open && item->side != LW_SIDE_OUT &&
           (item->answers_at == pair->asked.at || answers(&pair->asked, item)) &&
           in_time(pair, &pair->asked, item);
}

// A frame that may be either and answers nothing: where this computer asks, the others answer, if
// wrongly; else the habit of the tap decides.
static bool is_request(const struct lw_pair *pair, const struct lw_item *item)
{
    if (!item->can_request || !item->can_reply) {
        return item->can_request;
    }
    if (item->side == LW_SIDE_OUT) {
        return true;
    }
    bool answers_only = pair->totals->orphans > pair->totals->requests;
    return !answers_only && !(pair->open && pair->asked.side == LW_SIDE_OUT);
}

static void take(struct lw_pair *pair, const struct lw_item *item)
{
    if (!item->is_frame) {
        take_noise(pair, item);
    } else if (is_echo(pair, item)) {
        take_echo(pair, item);
    } else if (is_reply(pair, item)) {
        take_reply(pair, item);
    } else if (is_request(pair, item)) {
        take_request(pair, item);
    } else if (pair->open && find_owed(pair, item) < pair->owed_count) {
        take_late(pair, find_owed(pair, item), item);
    } else {
        take_orphan(pair, item);
    }
    pair->totals->frames += item->is_frame;
}

static void take_head(struct lw_pair *pair)
{
    take(pair, &pair->queue[pair->head]);
    pair->head = (pair->head + 1) % LW_QUEUE;
    pair->count--;
}

struct lw_item *lw_pair_room(struct lw_pair *pair)
{
    if (pair->count == LW_QUEUE) {
        take_head(pair);
    }
    return &pair->queue[(pair->head + pair->count) % LW_QUEUE];
}

void lw_pair_added(struct lw_pair *pair)
{
    pair->count++;
}

void lw_pair_flush(struct lw_pair *pair)
{
    while (pair->count > 0) {
        take_head(pair);
    }
    close_exchange(pair);
}
