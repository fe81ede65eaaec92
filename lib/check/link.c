// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of the link check: rounds over all nodes, each asked once for its reading, no
// retries, so that every error is seen as it came.
#include "check/link.h"

#include "check/ask.h"
#include "modbus/pdu.h"

// A node that stays silent from the start costs its whole time-out in each round; after a few
// silences it is asked in every tenth round only.
enum { PATIENCE = 5, SELDOM = 10 };

struct target {
    int address;
    struct lw_pdu request;
    bool answered;
    int silences;
};

struct polls {
    const struct lw_run *run;
    struct lw_client *client;
    const struct lw_link_options *options;
    struct lw_link_judge *judge;
    struct target targets[256];
    size_t count, rounds;
    struct lw_error *error;
};

static struct lw_pdu reading_request(const struct lw_profile *profile)
{
    struct lw_block blocks[LW_BLOCKS_MAX];
    if (profile != NULL && lw_registers_plan(profile, LW_ROLE_BIT(LW_ROLE_READING), blocks) > 0) {
        return lw_block_request(&blocks[0]);
    }
    return lw_read_request(LW_READ_HOLDING, 0, 1);
}

static void planned_targets(struct polls *polls, const struct lw_plan *plan)
{
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        bool selected = polls->options->selected == NULL || polls->options->selected[tap - 1];
        if (entry->node != NULL && selected) {
            polls->targets[polls->count++] =
                (struct target){.address = entry->address, .request = reading_request(entry->is)};
        }
    }
}

static void given_targets(struct polls *polls)
{
    for (int address = 1; address <= LW_ADDRESS_MAX; address++) {
        if (polls->options->addresses[address]) {
            polls->targets[polls->count++] =
                (struct target){.address = address, .request = reading_request(NULL)};
        }
    }
}

static enum lw_status poll_target(struct polls *polls, struct target *target)
{
    struct lw_exchange exchange;
    enum lw_status status = lw_client_exchange(polls->client, (uint8_t)target->address,
                                               &target->request, &exchange, polls->error);
    if (status == LW_OK) {
        bool silent = exchange.outcome == LW_NO_ANSWER;
        target->answered = target->answered || !silent;
        target->silences += silent;
        lw_link_judge_take(polls->judge, &exchange);
    }
    return status;
}

static enum lw_status one_round(struct polls *polls)
{
    bool all = polls->rounds++ % SELDOM == 0;
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < polls->count && status == LW_OK; i++) {
        struct target *target = &polls->targets[i];
        if (all || target->answered || target->silences < PATIENCE) {
            status = poll_target(polls, target);
        }
    }
    return status;
}

static enum lw_status all_rounds(struct polls *polls)
{
    const struct lw_clock *clock = lw_client_line(polls->client)->clock;
    double most_s = polls->options->seconds > 0  ? polls->options->seconds
                    : polls->options->most_s > 0 ? polls->options->most_s
                                                 : 600;
    int64_t start_ns = lw_clock_now_ns(clock);
    double elapsed_s = 0;
    enum lw_status status = LW_OK;
    while (status == LW_OK && elapsed_s < most_s) {
        status = one_round(polls);
        elapsed_s = (double)(lw_clock_now_ns(clock) - start_ns) / 1e9;
        lw_run_progress(polls->run, "polls", elapsed_s, most_s, "s", most_s - elapsed_s);
        if (polls->options->seconds <= 0 && lw_link_judge_decided(polls->judge)) {
            break;
        }
    }
    return status;
}

enum lw_status lw_link_measure(const struct lw_run *run, struct lw_client *client,
                               const struct lw_plan *plan, const struct lw_link_options *options,
                               struct lw_link_result *result, struct lw_error *error)
{
    struct polls polls = {.run = run, .client = client, .options = options, .error = error};
    lw_json_init(&lw_link_shape, result);
    enum lw_status status = lw_link_judge_new(plan, &polls.judge, error);
    if (status != LW_OK) {
        return status;
    }
    lw_client_attempts(client, 1);
    lw_client_reply_s(client, fmax(lw_slowest_reply_s(plan) * 2, 0.05));
    if (plan != NULL) {
        planned_targets(&polls, plan);
    } else {
        given_targets(&polls);
    }
    status = polls.count > 0 ? all_rounds(&polls) : LW_OK;
    enum lw_status judged =
        lw_link_judge_result(polls.judge, result, status == LW_OK ? error : NULL);
    lw_link_judge_free(polls.judge);
    return status == LW_OK ? judged : status;
}
