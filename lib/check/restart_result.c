// SPDX-License-Identifier: GPL-3.0-or-later
//
// The shape of what a restart says, and the sections of a plan.
#include "base/text.h"
#include "check/restart.h"

#include <string.h>

static const char *const order_words[] = {"together", "forward", "backward", NULL};

static const struct lw_field came_fields[] = {
    {LW_AT(struct lw_restart_came, cycle), .kind = LW_INTEGER, .required = true,
     .says = "which cycle, from 1"},
    {LW_AT(struct lw_restart_came, away), .kind = LW_BOOLEAN, .says = "it never answered"},
    {LW_AT(struct lw_restart_came, still_on), .kind = LW_BOOLEAN,
     .says = "it went on answering while it should have been off"},
    {LW_AT(struct lw_restart_came, lost), .kind = LW_BOOLEAN,
     .says = "it answered and was silent in the end"},
    {LW_AT(struct lw_restart_came, first_answer_s), .kind = LW_NUMBER, .nullable = true,
     .says = "from the turn of the switch before it to its first answer, s"},
    {LW_AT(struct lw_restart_came, resolution_s), .kind = LW_NUMBER, .nullable = true,
     .says = "the first answer may have come so much earlier, s: the poll before was so long ago"},
    {LW_AT(struct lw_restart_came, again), .kind = LW_INTEGER,
     .says = "restarts and drop-outs beyond the one start that was asked for"},
    {LW_AT(struct lw_restart_came, proved), .kind = LW_BOOLEAN,
     .says = "at least one of them by the node's own uptime or counters"},
    {0},
};
static const struct lw_shape came_shape = {
    .name = "restart_came", .size = sizeof(struct lw_restart_came), .fields = came_fields};

static const struct lw_field node_fields[] = {
    {LW_AT(struct lw_restart_node, tap), .kind = LW_INTEGER, .required = true,
     .says = "place on the chain from 1"},
    {LW_AT(struct lw_restart_node, address), .kind = LW_INTEGER, .required = true,
     .says = "address of the node"},
    {LW_AT(struct lw_restart_node, node), .kind = LW_TEXT, .required = true,
     .says = "name in the plan"},
    {LW_AT(struct lw_restart_node, before), .kind = LW_BOOLEAN,
     .says = "it answered before the first cycle"},
    {LW_AT(struct lw_restart_node, cycles), .kind = LW_LIST, .sub = &came_shape,
     .says = "what it did in each cycle"},
    {LW_AT(struct lw_restart_node, stale_before), .kind = LW_BOOLEAN,
     .says = "its status said before that its identity is stale"},
    {LW_AT(struct lw_restart_node, stale_after), .kind = LW_BOOLEAN,
     .says = "its status says so in the end"},
    {LW_AT(struct lw_restart_node, identity_before), .kind = LW_TEXT,
     .says = "who it said it was, when that changed"},
    {LW_AT(struct lw_restart_node, identity_after), .kind = LW_TEXT,
     .says = "who it says it is now, when that changed"},
    {LW_AT(struct lw_restart_node, lowest_v), .kind = LW_NUMBER, .nullable = true,
     .says = "its lowest supply since it started, by its own voltmeter, volts"},
    {LW_AT(struct lw_restart_node, unit), .kind = LW_TEXT, .says = "of the readings"},
    {LW_AT(struct lw_restart_node, reading_before), .kind = LW_NUMBER, .nullable = true,
     .says = "before the first cycle, a mean of five"},
    {LW_AT(struct lw_restart_node, reading_first), .kind = LW_NUMBER, .nullable = true,
     .says = "the first one of the last cycle"},
    {LW_AT(struct lw_restart_node, reading_last), .kind = LW_NUMBER, .nullable = true,
     .says = "in the end, a mean of five"},
    {LW_AT(struct lw_restart_node, drift_per_min), .kind = LW_NUMBER, .nullable = true,
     .says = "slope of the readings after the last cycle, in `unit` per minute"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "restart_node", .size = sizeof(struct lw_restart_node), .fields = node_fields};

static const struct lw_field cycle_fields[] = {
    {LW_AT(struct lw_restart_cycle, cycle), .kind = LW_INTEGER, .required = true, .says = "from 1"},
    {LW_AT(struct lw_restart_cycle, order), .kind = LW_CHOICE, .names = order_words,
     .required = true, .says = "in which order the sections came on"},
    {LW_AT(struct lw_restart_cycle, off_s), .kind = LW_NUMBER,
     .says = "from off to the first section on, s"},
    {LW_AT(struct lw_restart_cycle, watched_s), .kind = LW_NUMBER,
     .says = "from then to the cycle's end, s"},
    {LW_AT(struct lw_restart_cycle, came), .kind = LW_INTEGER, .says = "nodes that came"},
    {LW_AT(struct lw_restart_cycle, away), .kind = LW_INTEGER, .says = "nodes that stayed away"},
    {LW_AT(struct lw_restart_cycle, again), .kind = LW_INTEGER,
     .says = "nodes that restarted or dropped out again"},
    {0},
};
static const struct lw_shape cycle_shape = {
    .name = "restart_cycle", .size = sizeof(struct lw_restart_cycle), .fields = cycle_fields};

static const struct lw_field restart_fields[] = {
    {LW_AT(struct lw_restart_result, made_sure_by), .kind = LW_TEXT,
     .says = "who made sure that the drives are off and locked out"},
    {LW_AT(struct lw_restart_result, cycles_asked), .kind = LW_INTEGER,
     .says = "how many cycles were to be done"},
    {LW_AT(struct lw_restart_result, hand_s), .kind = LW_NUMBER,
     .says = "how well hand and key met when a switch was turned, s"},
    {LW_AT(struct lw_restart_result, elapsed_s), .kind = LW_NUMBER, .says = "the whole, s"},
    {LW_AT(struct lw_restart_result, cycles), .kind = LW_LIST, .sub = &cycle_shape,
     .says = "those that were done"},
    {LW_AT(struct lw_restart_result, nodes), .kind = LW_LIST, .sub = &node_shape, .says = "by tap"},
    {0},
};
const struct lw_shape lw_restart_shape = {
    .name = "restart", .size = sizeof(struct lw_restart_result), .fields = restart_fields};

static const struct lw_supply *supply_at(const struct lw_plan *plan, size_t i)
{
    return (const struct lw_supply *)plan->supplies.items + i;
}

void lw_restart_supplies(const struct lw_plan *plan, size_t section, char *text, size_t size)
{
    text[0] = '\0';
    size_t *sections = calloc(lw_plan_taps(plan) + 1, sizeof *sections);
    if (sections == NULL) {
        return;
    }
    lw_plan_sections(plan, sections);
    for (size_t i = 0; i < plan->supplies.count; i++) {
        int tap = supply_at(plan, i)->feeds_tap;
        size_t length = strlen(text);
        bool on_chain = tap >= 1 && (size_t)tap <= lw_plan_taps(plan);
        if (on_chain && sections[tap - 1] == section) {
            lw_copy(text + length, size - length, length > 0 ? ", " : "");
            lw_copy(text + strlen(text), size - strlen(text), supply_at(plan, i)->name);
        }
    }
    free(sections);
}
