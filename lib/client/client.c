// SPDX-License-Identifier: GPL-3.0-or-later
//
// Attempts and waiting. All waiting is receiving, so that a late answer, an echo or another master
// is heard whenever it comes: before a send as silence is kept, after it as the answer is awaited.
#include "client/inside.h"

#include "modbus/frame.h"
#include "modbus/pdu.h"

#include <assert.h>
#include <string.h>

enum {
    PIECE = 256,
    // Common practice: USB serial adapters hand bytes over every 16 ms unless told otherwise, so on
    // a real port a shorter pause does not end a frame.
    PACED_SILENCE_NS = 20 * 1000 * 1000,
    TIMING_SIGMAS = 3,
};
static const int64_t second_ns = 1000000000;

enum lw_status lw_client_new(struct lw_line *line, const struct lw_run *run,
                             const struct lw_client_options *options, struct lw_client **client,
                             struct lw_error *error)
{
    assert(line != NULL && run != NULL && options != NULL);
    struct lw_client *made = calloc(1, sizeof *made);
    if (made == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a client");
    }
    made->line = line;
    made->run = run;
    made->gap_ns = (int64_t)(options->gap_s * 1e9);
    made->allow_writes = options->allow_writes;
    made->echoes = options->echo;
    made->gateway_ns = (int64_t)(options->gateway_s * 1e9);
    made->framing_known = options->framing_known;
    made->quiet_ns = lw_clock_now_ns(line->clock);
    lw_client_reply_s(made, options->reply_s);
    lw_client_attempts(made, options->attempts);
    *client = made;
    return LW_OK;
}

void lw_client_free(struct lw_client *client)
{
    free(client);
}

struct lw_line *lw_client_line(struct lw_client *client)
{
    return client->line;
}

void lw_client_reply_s(struct lw_client *client, double reply_s)
{
    int64_t reply_ns = (int64_t)((reply_s > 0 ? reply_s : 0.05) * 1e9);
    bool gateway = client->line->adu == LW_ADU_MBAP && client->gateway_ns > reply_ns;
    client->reply_ns = gateway ? client->gateway_ns : reply_ns;
}

void lw_client_gateway(const struct lw_client *client, struct lw_client_gateway *gateway)
{
    *gateway = client->gateway;
}

void lw_client_attempts(struct lw_client *client, int attempts)
{
    client->attempts = attempts > 0 ? attempts : 1;
}

bool lw_client_foreign(const struct lw_client *client)
{
    return client->foreign;
}

int64_t lw_client_now_ns(const struct lw_client *client)
{
    return lw_clock_now_ns(client->line->clock);
}

static bool is_rtu(const struct lw_client *client)
{
    return client->line->adu == LW_ADU_RTU;
}

// Where a line has no rate (a socket), that of the fast ones: MODBUS over Serial Line V1.02,
// 2.5.1.1.
static int64_t t35_ns(const struct lw_client *client)
{
    const struct lw_framing *framing = &client->line->framing;
    return framing->rate > 0 ? lw_framing_t35_ns(framing) : 1750000;
}

// Silence that ends a frame whose length does not tell its end: t3.5, and one character more, since
// a byte is heard when it is complete. TCP loses nothing, so there a frame that has begun is waited
// for longer.
static int64_t silence_ns(const struct lw_client *client)
{
    if (!is_rtu(client)) {
        return second_ns;
    }
    const struct lw_framing *framing = &client->line->framing;
    int64_t char_ns = framing->rate > 0 ? lw_framing_chars_ns(framing, 1) : 0;
    int64_t silence = t35_ns(client) + char_ns + TIMING_SIGMAS * client->inbox.timing_u_ns;
    int64_t least = client->line->paced ? PACED_SILENCE_NS : 0;
    least = least > client->line->gap_ns ? least : client->line->gap_ns;
    return silence > least ? silence : least;
}

// Longer than two of the longest frames: a line that goes on after that is not used by nodes.
static int64_t babble_ns(const struct lw_client *client)
{
    const struct lw_framing *framing = &client->line->framing;
    int64_t frames = framing->rate > 0 ? lw_framing_chars_ns(framing, 2 * LW_RTU_MAX) : 0;
    return frames > second_ns ? frames : second_ns;
}

enum lw_status lw_client_hear(struct lw_client *client, int64_t deadline_ns, size_t *count,
                              struct lw_error *error)
{
    uint8_t bytes[PIECE];
    struct lw_piece piece;
    *count = 0;
    enum lw_status status =
        lw_line_receive(client->line, deadline_ns, bytes, sizeof bytes, &piece, error);
    if (status != LW_OK) {
        return status;
    }
    if (piece.flags & LW_PIECE_CLOSED) {
        return lw_fail(error, LW_SYSTEM, "'%s' is gone: the other end has closed it",
                       client->line->name);
    }
    if (piece.count > 0) {
        client->strays += (unsigned)lw_inbox_add(&client->inbox, bytes, &piece);
        client->quiet_ns = piece.last_ns > client->quiet_ns ? piece.last_ns : client->quiet_ns;
    }
    *count = piece.count;
    return LW_OK;
}

void lw_client_note_late(struct lw_client *client, uint8_t address,
                         const struct lw_question *question, int64_t ends_ns)
{
    if (client->late_count < LW_LATE_MAX) {
        client->late[client->late_count].address = address;
        client->late[client->late_count++].by_ns = ends_ns - question->deadline_ns;
    }
}

bool lw_is_gateways(const struct lw_client *client, const struct lw_pdu *reply)
{
    return client->line->adu == LW_ADU_MBAP && reply->count == 2 &&
           reply->bytes[0] & LW_EXCEPTION_BIT &&
           (reply->bytes[1] == LW_GATEWAY_PATH || reply->bytes[1] == LW_GATEWAY_TARGET);
}

// A node can't have answered before the wire has carried request and reply (address and CRC are 3
// bytes each way).
static void count_answer(struct lw_client *client, const struct lw_exchange *exchange)
{
    size_t characters = exchange->request.count + 3 + exchange->reply.count + 3;
    int64_t took_ns = exchange->reply_last_ns - exchange->sent_first_ns;
    client->gateway.answers++;
    client->gateway.too_fast += client->framing_known && client->line->adu == LW_ADU_MBAP &&
                                took_ns < lw_framing_chars_ns(&client->line->framing, characters);
}

static void take_gateways(struct lw_client *client, struct lw_attempt *attempt,
                          const struct lw_pdu *reply)
{
    attempt->exchange->exception = reply->bytes[1];
    client->gateway.path += reply->bytes[1] == LW_GATEWAY_PATH;
    client->gateway.silent += reply->bytes[1] == LW_GATEWAY_TARGET;
    attempt->question->answered = true;
    attempt->done = true;
}

void lw_attempt_take(struct lw_client *client, struct lw_attempt *attempt,
                     const struct lw_pdu *reply, size_t at, size_t count)
{
    struct lw_exchange *exchange = attempt->exchange;
    bool exception = reply->bytes[0] & LW_EXCEPTION_BIT;
    if (lw_is_gateways(client, reply)) {
        take_gateways(client, attempt, reply);
        return;
    }
    exchange->outcome = exception ? LW_EXCEPTION : LW_ANSWERED;
    exchange->exception = exception ? reply->bytes[1] : 0;
    exchange->reply = *reply;
    exchange->reply_first_ns = client->inbox.begins_ns[at];
    exchange->reply_last_ns = client->inbox.ends_ns[at + count - 1];
    exchange->timing_u_ns = client->inbox.timing_u_ns;
    attempt->question->answered = true;
    attempt->done = true;
    count_answer(client, exchange);
}

void lw_attempt_wrong(struct lw_client *client, struct lw_attempt *attempt,
                      const struct lw_pdu *reply, size_t at, size_t count)
{
    struct lw_exchange *exchange = attempt->exchange;
    if (attempt->done || attempt->wrong) {
        client->strays += (unsigned)count;
        return;
    }
    attempt->wrong = true;
    exchange->reply = *reply;
    exchange->reply_first_ns = client->inbox.begins_ns[at];
    exchange->reply_last_ns = client->inbox.ends_ns[at + count - 1];
    exchange->timing_u_ns = client->inbox.timing_u_ns;
}

static enum lw_status refuse_foreign(const struct lw_client *client, struct lw_error *error)
{
    return lw_fail(error, LW_REFUSED,
                   "another master is on '%s': heard a frame with address %d and function 0x%02X "
                   "that is not ours",
                   client->line->name, client->foreign_address, client->foreign_function);
}

static void settle(struct lw_client *client)
{
    if (is_rtu(client)) {
        lw_rtu_settle(client);
    } else {
        lw_mbap_settle(client);
    }
}

// When the line may be used: after t3.5 and the gap. An RTU answer does not say what it answers, so
// a node that still owes one for another request is given as long again: its late answer would be
// taken for the next one's.
static int64_t may_send_ns(const struct lw_client *client, const struct lw_exchange *exchange)
{
    const struct lw_question *last = &client->asked.of[exchange->address][0];
    int64_t from_ns = client->quiet_ns + client->gap_ns;
    if (!is_rtu(client)) {
        return from_ns;
    }
    from_ns += t35_ns(client);
    int64_t owed_ns = last->deadline_ns + client->reply_ns;
    bool owes = lw_question_open(last) && !lw_question_is(last, &exchange->request);
    return owes && owed_ns > from_ns ? owed_ns : from_ns;
}

// Hears until the line may be used. *free is false when it never falls silent.
static enum lw_status await_silence(struct lw_client *client, const struct lw_exchange *exchange,
                                    bool *free, struct lw_error *error)
{
    int64_t now_ns = lw_client_now_ns(client), from_ns = may_send_ns(client, exchange);
    int64_t give_up_ns = (from_ns > now_ns ? from_ns : now_ns) + babble_ns(client);
    size_t count = 1;
    *free = true;
    while (count > 0 || lw_client_now_ns(client) < may_send_ns(client, exchange)) {
        if (lw_client_now_ns(client) >= give_up_ns) {
            *free = false;
            break;
        }
        enum lw_status status =
            lw_client_hear(client, may_send_ns(client, exchange), &count, error);
        if (status != LW_OK) {
            return status;
        }
    }
    settle(client);
    return LW_OK;
}

static void look(struct lw_client *client, struct lw_attempt *attempt, bool ended)
{
    if (is_rtu(client)) {
        lw_rtu_look(client, attempt, ended);
    } else {
        lw_mbap_look(client, attempt, ended);
    }
}

// Bytes in the inbox are the beginning of something until silence has followed them; without any,
// the node has until its deadline for the first one.
static enum lw_status await_reply(struct lw_client *client, struct lw_attempt *attempt,
                                  struct lw_error *error)
{
    int64_t deadline_ns = attempt->question->deadline_ns;
    int64_t give_up_ns = deadline_ns + babble_ns(client);
    while (!attempt->done) {
        size_t count;
        bool begun = client->inbox.count > 0;
        int64_t until_ns = begun ? client->quiet_ns + silence_ns(client) : deadline_ns;
        until_ns = until_ns < give_up_ns ? until_ns : give_up_ns;
        enum lw_status status = lw_client_hear(client, until_ns, &count, error);
        if (status != LW_OK) {
            return status;
        }
        bool over = lw_client_now_ns(client) >= until_ns;
        if (count == 0 && over && !begun) {
            break;
        }
        look(client, attempt, count == 0 && over);
        if (lw_client_now_ns(client) >= give_up_ns) {
            look(client, attempt, true);
            break;
        }
    }
    return LW_OK;
}

// What the attempt came to without an answer; garbage beside an answer is stray.
static void conclude(struct lw_client *client, struct lw_attempt *attempt)
{
    struct lw_exchange *exchange = attempt->exchange;
    if (attempt->done || attempt->wrong) {
        client->strays += attempt->garbled;
    }
    if (!attempt->done && attempt->wrong) {
        exchange->outcome = LW_WRONG_ANSWER;
    } else if (!attempt->done && attempt->garbled > 0) {
        exchange->outcome = LW_CRC_ERROR;
        exchange->reply_first_ns = attempt->garbled_first_ns;
        exchange->reply_last_ns = attempt->garbled_last_ns;
        exchange->timing_u_ns = client->inbox.timing_u_ns;
    }
}

// Hands what was heard beside the exchange over to it. Of several late answers each exchange tells
// one, so that none is lost.
static void report(struct lw_client *client, struct lw_exchange *exchange)
{
    exchange->strays = (uint16_t)(client->strays < UINT16_MAX ? client->strays : UINT16_MAX);
    client->strays = 0;
    if (client->late_count > 0) {
        exchange->late_address = client->late[0].address;
        exchange->late_by_ns = client->late[0].by_ns;
        client->late_count--;
        memmove(client->late, client->late + 1, client->late_count * sizeof client->late[0]);
    }
    if (client->run->exchange != NULL) {
        client->run->exchange(client->run->user, exchange);
    }
}

static bool reply_may_be_request(const struct lw_pdu *request)
{
    struct lw_reply reply;
    return lw_reply_parse(request, request, &reply);
}

// Sends and waits; the line is silent.
static enum lw_status ask(struct lw_client *client, struct lw_exchange *exchange,
                          struct lw_error *error)
{
    uint8_t frame[LW_MBAP_MAX];
    client->transaction++;
    size_t count = is_rtu(client) ? lw_rtu_wrap(exchange->address, &exchange->request, frame)
                                  : lw_mbap_wrap(client->transaction, exchange->address,
                                                 &exchange->request, frame);
    enum lw_status status = lw_line_send(client->line, frame, count, &exchange->sent_first_ns,
                                         &exchange->sent_last_ns, error);
    if (status != LW_OK) {
        return status;
    }
    client->quiet_ns = exchange->sent_last_ns;
    exchange->outcome = LW_NO_ANSWER;
    struct lw_attempt attempt = {
        .exchange = exchange,
        .question = lw_asked_enter(
            &client->asked, exchange->address, &exchange->request, client->transaction,
            exchange->sent_last_ns + client->reply_ns + client->line->late_ns),
        .sent = frame,
        .sent_count = count,
        .could_echo = reply_may_be_request(&exchange->request),
    };
    status = await_reply(client, &attempt, error);
    conclude(client, &attempt);
    return status;
}

static void begin(struct lw_exchange *exchange, uint8_t address, const struct lw_pdu *request,
                  int attempt)
{
    *exchange = (struct lw_exchange){
        .address = address,
        .outcome = LW_NOT_SENT,
        .attempt = (uint8_t)(attempt < UINT8_MAX ? attempt : UINT8_MAX),
        .sent_first_ns = -1,
        .sent_last_ns = -1,
        .reply_first_ns = -1,
        .reply_last_ns = -1,
        .request = *request,
    };
}

// One attempt. A line that fails, or the user who interrupts, leaves an attempt without an outcome;
// it is not reported.
static enum lw_status try_once(struct lw_client *client, struct lw_exchange *exchange,
                               struct lw_error *error)
{
    bool free = true;
    if (lw_run_cancelled(client->run)) {
        return lw_fail(error, LW_CANCELLED, "interrupted");
    }
    enum lw_status status = await_silence(client, exchange, &free, error);
    if (status == LW_OK && free && !client->foreign) {
        status = ask(client, exchange, error);
    }
    if (status != LW_OK) {
        return status;
    }
    report(client, exchange);
    return client->foreign ? refuse_foreign(client, error) : LW_OK;
}

static bool is_allowed(const struct lw_client *client, const struct lw_pdu *request)
{
    bool writes = request->bytes[0] == LW_WRITE_COIL || request->bytes[0] == LW_WRITE_REGISTER ||
                  request->bytes[0] == LW_WRITE_COILS || request->bytes[0] == LW_WRITE_REGISTERS;
    return lw_client_reads_only(request) || (writes && client->allow_writes);
}

static enum lw_status refuse_write(struct lw_client *client, struct lw_exchange *exchange,
                                   struct lw_error *error)
{
    uint8_t function = exchange->request.bytes[0];
    const char *word = lw_function_word(function);
    report(client, exchange);
    return lw_fail(error, LW_REFUSED, "function 0x%02X (%s) is not sent: it may change the node",
                   function, word != NULL ? word : "unknown");
}

enum lw_status lw_client_exchange(struct lw_client *client, uint8_t address,
                                  const struct lw_pdu *request, struct lw_exchange *exchange,
                                  struct lw_error *error)
{
    assert(request->count >= 1 && request->count <= LW_PDU_MAX);
    assert(!is_rtu(client) || address <= LW_ADDRESS_MAX);
    begin(exchange, address, request, 1);
    if (!is_allowed(client, request)) {
        return refuse_write(client, exchange, error);
    }
    enum lw_status status = LW_OK;
    bool again = true;
    for (int attempt = 1; again && attempt <= client->attempts; attempt++) {
        begin(exchange, address, request, attempt);
        status = try_once(client, exchange, error);
        again = status == LW_OK && exchange->outcome != LW_ANSWERED &&
                exchange->outcome != LW_EXCEPTION;
    }
    return status;
}

enum lw_status lw_client_wait(struct lw_client *client, double seconds, struct lw_error *error)
{
    int64_t until_ns = lw_client_now_ns(client) + (int64_t)(seconds * 1e9);
    enum lw_status status = LW_OK;
    bool over = false;
    while (status == LW_OK && !over) {
        size_t count;
        bool begun = client->inbox.count > 0;
        int64_t ends_ns = client->quiet_ns + silence_ns(client);
        int64_t next_ns = begun && ends_ns < until_ns ? ends_ns : until_ns;
        status = lw_client_hear(client, next_ns, &count, error);
        over = count == 0 && lw_client_now_ns(client) >= until_ns;
        if (status == LW_OK && begun && count == 0) {
            settle(client);
        }
    }
    return status == LW_OK && client->foreign ? refuse_foreign(client, error) : status;
}

enum lw_status lw_client_set_framing(struct lw_client *client, const struct lw_framing *framing,
                                     struct lw_error *error)
{
    enum { SILENT_CHARS = 8 };
    const struct lw_framing before = client->line->framing;
    enum lw_status status = lw_line_set_framing(client->line, framing, error);
    if (status != LW_OK || lw_framing_same(&before, framing)) {
        return status;
    }
    const int64_t before_ns = lw_framing_chars_ns(&before, SILENT_CHARS),
                  now_ns = lw_framing_chars_ns(framing, SILENT_CHARS);
    return lw_client_wait(client, (double)(before_ns > now_ns ? before_ns : now_ns) / 1e9, error);
}
