// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of resend: each recorded read goes out as long after the one before it as it did
// then. A line that is slower now shifts what follows instead of being hurried, since to catch up
// would ask faster than anybody ever did.
#include "check/resend.h"

#include "check/ask.h"
#include "modbus/pdu.h"

struct resending {
    const struct lw_run *run;
    struct lw_client *client;
    const struct lw_plan *plan;
    const struct lw_resend_options *options;
    struct lw_resend_judge *judge;
    struct lw_resend_result *result;
    int64_t then_ns, now_ns; // when the request before was sent; -1: none was
    struct lw_error *error;
};

static bool is_write(uint8_t function)
{
    return function == LW_WRITE_COIL || function == LW_WRITE_REGISTER ||
           function == LW_WRITE_COILS || function == LW_WRITE_REGISTERS;
}

static bool is_selected(const struct lw_plan *plan, const struct lw_resend_options *options,
                        uint8_t address)
{
    size_t tap = 0;
    if (plan != NULL && options->selected != NULL) {
        return lw_plan_by_address(plan, address, &tap) != NULL && options->selected[tap - 1];
    }
    bool any = false;
    for (size_t i = 0; i < sizeof options->addresses / sizeof *options->addresses; i++) {
        any = any || options->addresses[i];
    }
    return !any || options->addresses[address];
}

static bool reads_what_clears(const struct lw_plan *plan, const struct lw_exchange *exchange)
{
    struct lw_request request;
    size_t tap = 0;
    const struct lw_chain_entry *entry =
        plan != NULL ? lw_plan_by_address(plan, exchange->address, &tap) : NULL;
    if (entry == NULL || lw_request_parse(&exchange->request, &request) != 0) {
        return false;
    }
    const struct lw_register *regs = entry->is->registers.items;
    for (size_t i = 0; i < entry->is->registers.count; i++) {
        size_t first = (size_t)regs[i].at, behind = first + lw_register_words(&regs[i]);
        if (regs[i].clears_on_read && regs[i].function == request.function &&
            first < (size_t)request.start + request.count && request.start < behind) {
            return true;
        }
    }
    return false;
}

enum lw_resend_fate lw_resend_fate(const struct lw_plan *plan,
                                   const struct lw_resend_options *options,
                                   const struct lw_exchange *exchange)
{
    if (exchange->request.count == 0 || exchange->outcome == LW_NOT_SENT ||
        !is_selected(plan, options, exchange->address)) {
        return LW_RESEND_OTHER;
    }
    if (exchange->address == 0) {
        return LW_RESEND_FORBIDDEN;
    }
    if (is_write(exchange->request.bytes[0])) {
        return options->allow_writes ? LW_RESEND_SENT : LW_RESEND_WRITE;
    }
    if (!lw_client_reads_only(&exchange->request)) {
        return LW_RESEND_FORBIDDEN;
    }
    return reads_what_clears(plan, exchange) ? LW_RESEND_CLEARS : LW_RESEND_SENT;
}

static void count_fate(struct lw_resend_result *counts, const struct lw_exchange *exchange,
                       enum lw_resend_fate fate)
{
    counts->sent += fate == LW_RESEND_SENT;
    counts->writes_sent += fate == LW_RESEND_SENT && is_write(exchange->request.bytes[0]);
    counts->writes_left_out += fate == LW_RESEND_WRITE;
    counts->forbidden += fate == LW_RESEND_FORBIDDEN;
    counts->clears_left_out += fate == LW_RESEND_CLEARS;
    counts->others_left_out += fate == LW_RESEND_OTHER;
}

void lw_resend_plan(const struct lw_plan *plan, const struct lw_resend_options *options,
                    const struct lw_exchange *exchanges, size_t count,
                    struct lw_resend_result *counts)
{
    for (size_t i = 0; i < count; i++) {
        count_fate(counts, &exchanges[i], lw_resend_fate(plan, options, &exchanges[i]));
    }
}

// How long after the request before it this one went out on the recording.
static int64_t pause_ns(const struct resending *resending, const struct lw_exchange *then)
{
    double longest_s =
        resending->options->longest_pause_s > 0 ? resending->options->longest_pause_s : 2;
    int64_t longest_ns = (int64_t)(longest_s * 1e9);
    if (resending->then_ns < 0 || then->sent_first_ns < resending->then_ns) {
        return 0;
    }
    int64_t pause_ns = then->sent_first_ns - resending->then_ns;
    return pause_ns < longest_ns ? pause_ns : longest_ns;
}

static enum lw_status keep_rhythm(struct resending *resending, const struct lw_exchange *then)
{
    if (resending->now_ns < 0) {
        return LW_OK;
    }
    int64_t due_ns = resending->now_ns + pause_ns(resending, then);
    double wait_s = (double)(due_ns - lw_clock_now_ns(resending->run->clock)) / 1e9;
    if (wait_s <= 0) {
        resending->result->behind_s -= wait_s;
        return LW_OK;
    }
    return lw_client_wait(resending->client, wait_s, resending->error);
}

static enum lw_status resend_one(struct resending *resending, const struct lw_exchange *then)
{
    struct lw_exchange now;
    enum lw_status status = keep_rhythm(resending, then);
    if (status == LW_OK) {
        status = lw_client_exchange(resending->client, then->address, &then->request, &now,
                                    resending->error);
    }
    if (status != LW_OK) {
        return status;
    }
    count_fate(resending->result, then, LW_RESEND_SENT);
    resending->then_ns = then->sent_first_ns;
    resending->now_ns =
        now.sent_first_ns >= 0 ? now.sent_first_ns : lw_clock_now_ns(resending->run->clock);
    return lw_resend_judge_take(resending->judge, then, &now, resending->error);
}

// Twice the slowest reply that is planned or came then, and no less than what a node without a
// profile is given: one that has become slower is slow, not silent.
static double waiting_s(const struct lw_plan *plan, const struct lw_exchange *exchanges,
                        size_t count)
{
    double longest_s = 0;
    for (size_t i = 0; i < count; i++) {
        if (exchanges[i].reply_first_ns >= 0 && exchanges[i].sent_last_ns >= 0) {
            double reply_s =
                (double)(exchanges[i].reply_first_ns - exchanges[i].sent_last_ns) / 1e9;
            longest_s = fmax(longest_s, reply_s);
        }
    }
    return fmax(lw_slowest_reply_s(NULL), 2 * fmax(lw_slowest_reply_s(plan), longest_s));
}

static enum lw_status resend_all(struct resending *resending, const struct lw_exchange *exchanges,
                                 size_t count)
{
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < count && status == LW_OK; i++) {
        enum lw_resend_fate fate =
            lw_resend_fate(resending->plan, resending->options, &exchanges[i]);
        if (fate == LW_RESEND_SENT) {
            status = resend_one(resending, &exchanges[i]);
        } else {
            count_fate(resending->result, &exchanges[i], fate);
        }
        if (lw_run_cancelled(resending->run)) {
            status = lw_fail(resending->error, LW_CANCELLED, "interrupted");
        }
        lw_run_progress(resending->run, "requests", (double)(i + 1), (double)count, "requests",
                        NAN);
    }
    return status;
}

enum lw_status lw_resend_measure(const struct lw_run *run, struct lw_client *client,
                                 const struct lw_plan *plan,
                                 const struct lw_resend_options *options,
                                 const struct lw_exchange *exchanges, size_t count,
                                 struct lw_resend_result *result, struct lw_error *error)
{
    struct resending resending = {.run = run,
                                  .client = client,
                                  .plan = plan,
                                  .options = options,
                                  .result = result,
                                  .then_ns = -1,
                                  .now_ns = -1,
                                  .error = error};
    *result = (struct lw_resend_result){.more_errors_p = NAN};
    enum lw_status status = lw_resend_judge_new(plan, options->tolerance, &resending.judge, error);
    if (status != LW_OK) {
        return status;
    }
    int64_t start_ns = lw_clock_now_ns(run->clock);
    lw_client_reply_s(client, waiting_s(plan, exchanges, count));
    status = resend_all(&resending, exchanges, count);
    result->elapsed_s = (double)(lw_clock_now_ns(run->clock) - start_ns) / 1e9;
    struct lw_error own = {0};
    enum lw_status judged = lw_resend_judge_result(resending.judge, result, &own);
    lw_resend_judge_free(resending.judge);
    if (status == LW_OK && judged != LW_OK) {
        *error = own;
        status = judged;
    }
    return status;
}
