// SPDX-License-Identifier: GPL-3.0-or-later
//
// The writes themselves. Each is tried once and noted before the next goes out, with what stood
// there before; the first that is not taken ends them, since a node that is half set up has to be
// looked at and not pushed on.
#include "check/assign_inside.h"

#include "base/clock.h"
#include "check/ask.h"
#include "modbus/pdu.h"

#include <string.h>

enum { WRITE_REPLY_MS = 1000 }; // memory that keeps without power takes its time

static bool is(const struct lw_assign_write *write, const char *what)
{
    return strcmp(write->what, what) == 0;
}

static enum lw_status read_before(struct lw_assign *assign, struct lw_assign_write *write)
{
    struct lw_exchange exchange;
    struct lw_reply reply;
    const struct lw_pdu request = lw_read_request(LW_READ_HOLDING, write->at, 1);
    if (!is(write, "address") && !is(write, "framing")) {
        return LW_OK;
    }
    enum lw_status status = lw_client_exchange(assign->client, (uint8_t)assign->now.address,
                                               &request, &exchange, assign->error);
    if (status == LW_OK && exchange.outcome == LW_ANSWERED &&
        lw_reply_parse(&request, &exchange.reply, &reply)) {
        write->before = reply.values[0];
    }
    return status;
}

static struct lw_pdu write_request(const struct lw_assign_write *write)
{
    struct lw_pdu pdu = {0};
    struct lw_request request = {.function = (uint8_t)write->function,
                                 .start = (uint16_t)write->at,
                                 .value = (uint16_t)write->value};
    if (request.function == LW_WRITE_REGISTERS) {
        request.count = 1;
        request.value = 0;
        request.values[0] = (uint16_t)write->value;
    }
    (void)lw_request_build(&request, &pdu);
    return pdu;
}

// Where it holds at once, the node answers at its new place from the next request on.
static enum lw_status follow(struct lw_assign *assign, const struct lw_assign_write *write)
{
    const struct lw_assign_place to = assign->undo ? lw_assign_from(assign) : lw_assign_to(assign);
    if (lw_assign_entry(assign)->is->setup->takes_effect != 0) {
        return LW_OK;
    }
    if (is(write, "address")) {
        assign->now.address = to.address;
    }
    if (!is(write, "framing")) {
        return LW_OK;
    }
    assign->now.framing = to.framing;
    return lw_assign_set_framing(assign, &to.framing);
}

static void note(struct lw_assign *assign, struct lw_assign_write *write,
                 const struct lw_exchange *exchange)
{
    char time[LW_TIME_TEXT], framing[LW_FRAMING_TEXT];
    const struct lw_clock *clock = assign->run->clock;
    lw_time_format(lw_clock_utc_ns(clock, lw_clock_now_ns(clock)), 3, time);
    lw_framing_text(&assign->now.framing, framing);
    write->to_address = assign->now.address;
    write->undo = assign->undo;
    write->exception = exchange->outcome == LW_EXCEPTION ? exchange->exception : 0;
    lw_assign_keep(assign, &write->to_framing, framing);
    lw_assign_keep(assign, &write->time, time);
    lw_assign_keep(assign, &write->outcome, lw_outcome_word(exchange->outcome));
}

static enum lw_status write_one(struct lw_assign *assign, struct lw_assign_write *write,
                                enum lw_outcome *outcome)
{
    struct lw_exchange exchange = {.outcome = LW_NOT_SENT};
    const struct lw_pdu request = write_request(write);
    lw_client_attempts(assign->client, 1);
    enum lw_status status = read_before(assign, write);
    if (status == LW_OK) {
        lw_client_reply_s(assign->client, WRITE_REPLY_MS / 1e3);
        status = lw_client_exchange(assign->client, (uint8_t)assign->now.address, &request,
                                    &exchange, assign->error);
        // What was cut off while it was under way may have arrived.
        exchange.outcome = status == LW_OK ? exchange.outcome : LW_NO_ANSWER;
    }
    note(assign, write, &exchange);
    *outcome = exchange.outcome;
    return status;
}

static bool keep_write(struct lw_assign *assign, struct lw_assign_write *from,
                       struct lw_assign_write **kept)
{
    *kept = lw_list_add(&lw_assign_node(assign)->writes, sizeof **kept);
    if (*kept == NULL) {
        assign->failed = true;
        return false;
    }
    **kept = *from;
    *from = (struct lw_assign_write){0};
    return true;
}

// A restart by register may cost its answer.
static bool goes_on(const struct lw_assign_write *write, enum lw_outcome outcome)
{
    return outcome == LW_ANSWERED || (is(write, "restart") && outcome == LW_NO_ANSWER);
}

enum lw_status lw_assign_write_all(struct lw_assign *assign)
{
    const struct lw_assign_place from = lw_assign_from(assign), to = lw_assign_to(assign);
    struct lw_list writes;
    enum lw_outcome outcome = LW_ANSWERED;
    enum lw_status status =
        lw_assign_compose(lw_assign_entry(assign)->is, assign->undo ? &to : &from,
                          assign->undo ? &from : &to, &writes, assign->error);
    if (status == LW_OK) {
        status = lw_assign_set_framing(assign, &assign->now.framing);
    }
    bool going = true;
    for (size_t i = 0; i < writes.count && status == LW_OK && going; i++) {
        struct lw_assign_write *write = NULL;
        if (!keep_write(assign, (struct lw_assign_write *)writes.items + i, &write)) {
            status = lw_fail(assign->error, LW_MEMORY, "no memory for what is written");
            break;
        }
        status = write_one(assign, write, &outcome);
        going = goes_on(write, outcome);
        if (status == LW_OK && going) {
            status = follow(assign, write);
        }
    }
    lw_assign_writes_free(&writes);
    assign->written_ns = lw_clock_now_ns(assign->run->clock);
    return status;
}
