// SPDX-License-Identifier: GPL-3.0-or-later
//
// Captures as the checks' input. Only exchanges whose request was heard count: of a reply alone
// nobody knows which registers it holds, and of a request that nobody heard not that it was asked.
#include "from_capture.h"

#include "base/text.h"
#include "cli/feed.h"
#include "modbus/pdu.h"
#include "site/registers.h"

#include <stdio.h>

struct taking {
    struct lw_session *session;
    struct lw_link_judge *judge;
    struct lw_series *series;
    uint64_t taken;
    enum lw_status status;
    struct lw_error *error;
};

bool lw_is_capture(const char *path)
{
    static const uint8_t magics[][4] = {
        {0x0a, 0x0d, 0x0d, 0x0a}, // pcapng, a section in either byte order
        {0xd4, 0xc3, 0xb2, 0xa1}, {0xa1, 0xb2, 0xc3, 0xd4}, // pcap, microseconds
        {0x4d, 0x3c, 0xb2, 0xa1}, {0xa1, 0xb2, 0x3c, 0x4d}, // pcap, nanoseconds
    };
    uint8_t head[4] = {0};
    bool found = false;
    FILE *file = fopen(path, "rb");
    if (file == NULL) {
        return false;
    }
    size_t count = fread(head, 1, sizeof head, file);
    fclose(file);
    for (size_t i = 0; i < sizeof magics / sizeof *magics; i++) {
        found = found || (count == sizeof head && memcmp(head, magics[i], sizeof head) == 0);
    }
    return found;
}

static void judge_exchange(void *context, const struct lw_exchange *exchange)
{
    struct taking *taking = context;
    if (exchange->request.count > 0 && exchange->address != 0 &&
        lw_session_wants(taking->session, exchange->address)) {
        lw_link_judge_take(taking->judge, exchange);
        taking->taken++;
    }
}

// The block that a request for registers or bits asked for.
static bool block_of(const struct lw_pdu *request, struct lw_block *block)
{
    struct lw_request asked;
    bool reads = request->count > 0 && request->bytes[0] <= LW_READ_INPUT_REGISTERS &&
                 lw_request_parse(request, &asked) == 0;
    if (reads) {
        *block = (struct lw_block){asked.function, asked.start, asked.count};
    }
    return reads;
}

static void take_reading(void *context, const struct lw_exchange *exchange)
{
    struct taking *taking = context;
    struct lw_block block;
    struct lw_value value;
    if (taking->status != LW_OK || exchange->outcome != LW_ANSWERED ||
        exchange->reply_first_ns < 0 || !block_of(&exchange->request, &block) ||
        !lw_session_wants(taking->session, exchange->address)) {
        return;
    }
    const struct lw_chain_entry *entry =
        lw_plan_by_address(&taking->session->plan, exchange->address, NULL);
    if (entry == NULL || entry->is == NULL) {
        return;
    }
    const struct lw_register *reg = lw_profile_register(entry->is, LW_ROLE_READING);
    if (reg == NULL || reg->function != block.function ||
        lw_register_decode(reg, &block, &exchange->reply, &value, NULL) != LW_OK) {
        return;
    }
    const struct lw_reading reading = {
        .time_s = (double)exchange->reply_first_ns / 1e9,
        .timing_u_s = (double)exchange->timing_u_ns / 1e9,
        .node = entry->node,
        .unit = reg->unit,
        .value = value.number,
    };
    taking->status = lw_series_add(taking->series, &reading, taking->error);
    taking->taken++;
}

static enum lw_status feed(struct taking *taking, const char *path,
                           void (*sink)(void *, const struct lw_exchange *))
{
    struct lw_framing framing;
    const char *named = taking->session->cli->settings.framing;
    struct lw_fed fed;
    struct lw_feed from = {.kind = LW_FEED_CAPTURE,
                           .path = path,
                           .cancel = lw_cli_cancel(),
                           .sinks = {.context = taking, .exchange = sink}};
    if (named != NULL) {
        enum lw_status status = lw_framing_parse(named, &framing, taking->error);
        if (status != LW_OK) {
            return status;
        }
        from.framing = &framing;
    }
    enum lw_status status = lw_feed_run(&from, &fed, taking->error);
    taking->session->step->of_simulated = fed.simulated;
    if (fed.cut) {
        lw_cli_say(taking->session->cli, "'%s' is cut off: read up to its last whole block", path);
    }
    return status == LW_OK ? taking->status : status;
}

enum lw_status lw_link_from_capture(struct lw_session *session, const char *path,
                                    struct lw_link_result *result, struct lw_error *error)
{
    struct taking taking = {.session = session, .error = error};
    const struct lw_plan *plan = session->has_plan ? &session->plan : NULL;
    enum lw_status status = lw_link_judge_new(plan, &taking.judge, error);
    if (status == LW_OK) {
        status = feed(&taking, path, judge_exchange);
    }
    if (status == LW_OK && taking.taken == 0) {
        status = lw_fail(error, LW_USAGE, "no exchange with these nodes is in that capture");
    }
    if (status == LW_OK) {
        status = lw_link_judge_result(taking.judge, result, error);
    }
    lw_link_judge_free(taking.judge);
    return status;
}

enum lw_status lw_series_from_capture(struct lw_session *session, const char *path,
                                      struct lw_series *series, struct lw_error *error)
{
    struct taking taking = {.session = session, .series = series, .error = error};
    if (!session->has_plan) {
        return lw_fail(error, LW_USAGE,
                       "which registers are readings is in the plan: name it "
                       "with --plan");
    }
    enum lw_status status = feed(&taking, path, take_reading);
    return status == LW_OK && taking.taken == 0
               ? lw_fail(error, LW_USAGE, "no reading of these nodes is in that capture")
               : status;
}
