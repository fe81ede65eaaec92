// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking step of the watch.
#include "check/watch_inside.h"

#include <math.h>

// One try, since a miss is what is looked for; and no longer than the slowest node may take, since
// every silent one costs that.
static void prepare(struct lw_live *live, struct lw_client *client)
{
    lw_client_attempts(client, 1);
    lw_client_reply_s(client, fmax(lw_slowest_reply_s(live->plan) * 2, 0.05));
    live->prepared = true;
}

static void hand_on(const struct lw_live *live, const struct live_node *node,
                    const struct lw_node_values *values, const struct lw_run *run)
{
    if (run->reading == NULL || !values->have[LW_ROLE_READING]) {
        return;
    }
    const struct lw_reading reading = {
        .time_s = live_seconds(live, values->last.reply_first_ns),
        .timing_u_s = (double)values->last.timing_u_ns / 1e9,
        .node = node->shown.entry->node,
        .unit = node->shown.unit,
        .value = values->value[LW_ROLE_READING].number,
    };
    run->reading(run->user, &reading);
}

// What has no profile is asked for one register: any answer is presence.
static enum lw_status ask(struct lw_live *live, size_t index, struct lw_client *client,
                          struct lw_node_values *values, struct lw_error *error)
{
    const struct lw_chain_entry *entry = live->nodes[index].shown.entry;
    if (lw_profile_register(entry->is, LW_ROLE_READING) != NULL) {
        return lw_ask_roles(client, entry->is, (uint8_t)entry->address, lw_live_roles(live, index),
                            values, error);
    }
    struct lw_pdu request = lw_block_request(&(struct lw_block){.function = 3, .count = 1});
    return lw_client_exchange(client, (uint8_t)entry->address, &request, &values->last, error);
}

enum lw_status lw_live_step(struct lw_live *live, const struct lw_run *run,
                            struct lw_client *client, struct lw_error *error)
{
    struct lw_node_values values = {0};
    if (!live->prepared) {
        prepare(live, client);
    }
    size_t index = lw_live_next(live);
    enum lw_status status = ask(live, index, client, &values, error);
    if (status == LW_OK) {
        lw_live_take(live, index, &values, lw_clock_now_ns(lw_client_line(client)->clock));
        hand_on(live, &live->nodes[index], &values, run);
    }
    return status;
}
