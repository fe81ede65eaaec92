// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of the touch walk: one block read after the other, whichever the ears want next,
// until there is something to ask. The readings go to the run's sink, as those of any check.
#include "check/touch.h"

#include "check/ask.h"

static enum lw_status read_one(const struct lw_run *run, struct lw_client *client,
                               const struct lw_plan *plan, struct lw_touch *touch, int64_t start_ns,
                               struct lw_touch_word *word, struct lw_error *error)
{
    uint32_t roles;
    size_t tap = lw_touch_next(touch, &roles);
    const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
    struct lw_node_values values;
    enum lw_status status =
        lw_ask_roles(client, entry->is, (uint8_t)entry->address, roles, &values, error);
    if (status != LW_OK) {
        return status;
    }
    bool has = values.have[LW_ROLE_READING];
    int64_t at_ns = has ? values.last.reply_first_ns : lw_clock_now_ns(run->clock);
    struct lw_reading reading = {.time_s = (double)(at_ns - start_ns) / 1e9,
                                 .timing_u_s = (double)values.last.timing_u_ns / 1e9,
                                 .node = entry->node,
                                 .unit = values.value[LW_ROLE_READING].unit,
                                 .value = has ? values.value[LW_ROLE_READING].number : (double)NAN};
    if (has && run->reading != NULL) {
        run->reading(run->user, &reading);
    }
    double volts =
        values.have[LW_ROLE_SUPPLY_V] ? values.value[LW_ROLE_SUPPLY_V].number : (double)NAN;
    return lw_touch_take(touch, tap, reading.time_s, reading.value, volts, values.damaged > 0, word,
                         error);
}

enum lw_status lw_touch_listen(const struct lw_run *run, struct lw_client *client,
                               const struct lw_plan *plan, struct lw_touch *touch,
                               const struct lw_touch_ears *ears, struct lw_error *error)
{
    struct lw_question question;
    enum lw_status status = LW_OK;
    lw_client_attempts(client, 1);
    lw_client_reply_s(client, fmax(lw_slowest_reply_s(plan) * 2, 0.05));
    while (status == LW_OK && lw_dialog_next(lw_touch_dialog(touch), &question) == LW_DIALOG_ACT) {
        struct lw_touch_word word = {0};
        status = read_one(run, client, plan, touch, ears->start_ns, &word, error);
        if (word.text[0] != '\0') {
            ears->say(ears->user, &word);
        }
        if (ears->typed != NULL && ears->typed(ears->user)) {
            lw_touch_pause(touch);
        }
    }
    return status;
}
