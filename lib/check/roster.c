// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of the roster: each planned node is asked who it is and what its registers say;
// nodes that stay silent are looked for at the other framings that their profile knows, which no
// other node can be disturbed by, since nothing valid arrives at it.
#include "check/roster.h"

#include "check/ask.h"
#include "modbus/identity.h"
#include "modbus/pdu.h"

enum { OTHER_FRAMING_REPLY_MS = 300 };

static const uint32_t roster_roles =
    LW_ROLE_BIT(LW_ROLE_SERIAL) | LW_ROLE_BIT(LW_ROLE_SENSOR_SERIAL) |
    LW_ROLE_BIT(LW_ROLE_FIRMWARE) | LW_ROLE_BIT(LW_ROLE_CALIBRATED_ON) |
    LW_ROLE_BIT(LW_ROLE_CALIBRATION_DUE) | LW_ROLE_BIT(LW_ROLE_STATUS) |
    LW_ROLE_BIT(LW_ROLE_SUPPLY_V) | LW_ROLE_BIT(LW_ROLE_TEMPERATURE) |
    LW_ROLE_BIT(LW_ROLE_UPTIME_S);

struct roster {
    const struct lw_run *run;
    struct lw_client *client;
    const struct lw_plan *plan;
    const struct lw_roster_options *options;
    struct lw_roster_result *result;
    struct lw_error *error;
};

static char *value_text(const struct lw_node_values *values, enum lw_role role)
{
    return values->have[role] ? lw_duplicate(values->value[role].text) : NULL;
}

static double value_number(const struct lw_node_values *values, enum lw_role role)
{
    return values->have[role] ? values->value[role].number : NAN;
}

static char *value_date(const struct lw_node_values *values, enum lw_role role)
{
    if (!values->have[role] || values->value[role].number <= 0) {
        return NULL;
    }
    char text[LW_TIME_TEXT];
    lw_time_format((int64_t)values->value[role].number * 86400 * INT64_C(1000000000), 0, text);
    text[10] = '\0';
    return lw_duplicate(text);
}

static void keep_values(struct lw_roster_node *node, const struct lw_node_values *values)
{
    node->serial = value_text(values, LW_ROLE_SERIAL);
    node->sensor_serial = value_text(values, LW_ROLE_SENSOR_SERIAL);
    if (node->revision == NULL) {
        node->revision = value_text(values, LW_ROLE_FIRMWARE);
    }
    node->calibrated_on = value_date(values, LW_ROLE_CALIBRATED_ON);
    node->calibration_due = value_date(values, LW_ROLE_CALIBRATION_DUE);
    node->status = values->have[LW_ROLE_STATUS] ? (int)values->value[LW_ROLE_STATUS].number : -1;
    node->supply_v = value_number(values, LW_ROLE_SUPPLY_V);
    node->temperature_c = value_number(values, LW_ROLE_TEMPERATURE);
    node->uptime_s = value_number(values, LW_ROLE_UPTIME_S);
}

static bool same(const char *a, const char *b)
{
    return a != NULL && b != NULL && strcmp(a, b) == 0;
}

static bool kind_differs(const struct lw_profile_identity *planned,
                         const struct lw_roster_node *node)
{
    bool other_vendor =
        planned->vendor != NULL && node->vendor != NULL && !same(planned->vendor, node->vendor);
    bool other_code = planned->product_code != NULL && node->product_code != NULL &&
                      !same(planned->product_code, node->product_code);
    return other_vendor || other_code;
}

static bool serial_of_another(const struct lw_plan *plan, const struct lw_chain_entry *here,
                              const char *serial)
{
    for (size_t tap = 1; serial != NULL && tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        if (entry != here && same(entry->serial, serial)) {
            return true;
        }
    }
    return false;
}

// What the answers add up to. Damage in two answers of one node, while it says its identity
// cleanly, is the mark of two nodes that differ only in serial and reading.
static enum lw_roster_state state_of(const struct roster *roster,
                                     const struct lw_chain_entry *entry,
                                     const struct lw_roster_node *node,
                                     const struct lw_node_values *values, bool identified)
{
    if (values->damaged >= 2 && values->answered < values->damaged) {
        return LW_ROSTER_DOUBLED;
    }
    if (!identified && values->answered == 0) {
        bool anything = values->damaged > 0 || values->exceptions > 0;
        return anything ? LW_ROSTER_UNREADABLE : LW_ROSTER_MISSING;
    }
    if (serial_of_another(roster->plan, entry, node->serial)) {
        return LW_ROSTER_SWAPPED;
    }
    if (kind_differs(&entry->is->identity, node)) {
        return LW_ROSTER_WRONG_KIND;
    }
    return values->answered == 0 ? LW_ROSTER_UNREADABLE : LW_ROSTER_PRESENT;
}

static void keep_identity(struct lw_roster_node *node, const struct lw_identity *identity,
                          struct lw_roster_result *result)
{
    node->vendor = lw_identity_text(identity, LW_VENDOR_NAME);
    node->product_code = lw_identity_text(identity, LW_PRODUCT_CODE);
    node->revision = lw_identity_text(identity, LW_REVISION);
    char *marker = lw_identity_text(identity, LW_PRIVATE_OBJECTS);
    result->simulated = result->simulated || (marker != NULL && strstr(marker, "SIMULATED"));
    free(marker);
}

// Damaged answers are asked for again, twice: one flipped bit on the line is no doubled node.
static enum lw_status read_values(struct roster *roster, const struct lw_profile *profile,
                                  int address, struct lw_node_values *values)
{
    enum lw_status status = lw_ask_roles(roster->client, profile, (uint8_t)address, roster_roles,
                                         values, roster->error);
    for (int again = 0; again < 2 && status == LW_OK && values->damaged > 0; again++) {
        struct lw_node_values next;
        status = lw_ask_roles(roster->client, profile, (uint8_t)address, roster_roles, &next,
                              roster->error);
        if (next.damaged == 0) {
            *values = next;
            break;
        }
        next.damaged += values->damaged;
        *values = next;
    }
    return status;
}

static enum lw_status ask_planned(struct roster *roster, size_t tap, struct lw_roster_node *node)
{
    const struct lw_chain_entry *entry = lw_plan_tap(roster->plan, tap);
    struct lw_node_values values;
    enum lw_status status = read_values(roster, entry->is, entry->address, &values);
    bool there = values.answered + values.exceptions + values.damaged > 0;
    bool declares = entry->is->identity.vendor != NULL || entry->is->identity.product_code != NULL;
    struct lw_identity identity = {0};
    if (status == LW_OK && (there || values.asked == 0) && (declares || !roster->options->gentle)) {
        status = lw_ask_identity(roster->client, (uint8_t)entry->address,
                                 roster->options->gentle ? LW_IDENTITY_BASIC : LW_IDENTITY_EXTENDED,
                                 &identity, roster->error);
        keep_identity(node, &identity, roster->result);
    }
    keep_values(node, &values);
    node->state = state_of(roster, entry, node, &values, identity.count > 0);
    return status;
}

static struct lw_roster_node *add_node(struct roster *roster)
{
    struct lw_roster_node *node = lw_list_add(&roster->result->nodes, sizeof *node);
    if (node == NULL) {
        lw_fail(roster->error, LW_MEMORY, "no memory for a node");
        return NULL;
    }
    node->status = -1;
    node->supply_v = node->temperature_c = node->uptime_s = NAN;
    return node;
}

static enum lw_status planned_nodes(struct roster *roster)
{
    size_t taps = lw_plan_taps(roster->plan);
    for (size_t tap = 1; tap <= taps; tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(roster->plan, tap);
        if (entry->node == NULL ||
            (roster->options->selected != NULL && !roster->options->selected[tap - 1])) {
            continue;
        }
        struct lw_roster_node *node = add_node(roster);
        if (node == NULL) {
            return LW_MEMORY;
        }
        node->tap = (int)tap;
        node->node = lw_duplicate(entry->node);
        node->place = lw_duplicate(entry->place);
        node->profile = lw_duplicate(entry->profile);
        node->planned_serial = lw_duplicate(entry->serial);
        node->address = entry->address;
        node->state = LW_ROSTER_MISSING;
        roster->result->planned++;
        lw_run_progress(roster->run, "nodes", (double)tap - 1, (double)taps, "nodes", NAN);
        enum lw_status status = ask_planned(roster, tap, node);
        roster->result->present += node->state == LW_ROSTER_PRESENT;
        if (status != LW_OK) {
            return status;
        }
    }
    return LW_OK;
}

static enum lw_status unplanned_nodes(struct roster *roster)
{
    for (int address = 1; address <= LW_ADDRESS_MAX; address++) {
        if (!roster->options->addresses[address] ||
            (roster->plan != NULL && lw_plan_by_address(roster->plan, address, NULL) != NULL)) {
            continue;
        }
        struct lw_roster_node *node = add_node(roster);
        if (node == NULL) {
            return LW_MEMORY;
        }
        node->address = address;
        node->state = LW_ROSTER_UNPLANNED;
        struct lw_identity identity = {0};
        enum lw_status status = LW_OK;
        if (!roster->options->gentle) {
            status = lw_ask_identity(roster->client, (uint8_t)address, LW_IDENTITY_EXTENDED,
                                     &identity, roster->error);
        }
        keep_identity(node, &identity, roster->result);
        const struct lw_profile *kind =
            roster->plan != NULL ? lw_roster_kind(&roster->plan->profiles, node) : NULL;
        if (status == LW_OK && kind != NULL) {
            struct lw_node_values values;
            status = read_values(roster, kind, address, &values);
            keep_values(node, &values);
        }
        if (status != LW_OK) {
            return status;
        }
    }
    return LW_OK;
}

static bool knows_framing(const struct lw_profile *profile, const char *framing)
{
    const struct lw_setup *setup = profile->setup;
    if (setup == NULL) {
        return false;
    }
    const struct lw_pair *pairs = setup->framing.values.items;
    for (size_t i = 0; i < setup->framing.values.count; i++) {
        if (same(pairs[i].name, framing)) {
            return true;
        }
    }
    return same(setup->factory_framing, framing);
}

// The distinct framings that missing nodes' profiles know, other than the line's own.
static size_t other_framings(const struct roster *roster, const char *own, const char **framings,
                             size_t most)
{
    size_t count = 0;
    const struct lw_roster_node *nodes = roster->result->nodes.items;
    for (size_t i = 0; i < roster->result->nodes.count; i++) {
        const struct lw_chain_entry *entry = lw_plan_tap(roster->plan, (size_t)nodes[i].tap);
        if (nodes[i].state != LW_ROSTER_MISSING || entry == NULL || entry->is->setup == NULL) {
            continue;
        }
        const struct lw_pair *pairs = entry->is->setup->framing.values.items;
        for (size_t k = 0; k <= entry->is->setup->framing.values.count; k++) {
            const char *text = k < entry->is->setup->framing.values.count
                                   ? pairs[k].name
                                   : entry->is->setup->factory_framing;
            bool known = text == NULL || same(text, own);
            for (size_t j = 0; j < count; j++) {
                known = known || same(text, framings[j]);
            }
            if (!known && count < most) {
                framings[count++] = text;
            }
        }
    }
    return count;
}

static enum lw_status ask_missing_at(struct roster *roster, const char *framing)
{
    const struct lw_pdu request = lw_read_request(LW_READ_HOLDING, 0, 1);
    struct lw_roster_node *nodes = roster->result->nodes.items;
    for (size_t i = 0; i < roster->result->nodes.count; i++) {
        const struct lw_chain_entry *entry = lw_plan_tap(roster->plan, (size_t)nodes[i].tap);
        if (nodes[i].state != LW_ROSTER_MISSING || entry == NULL ||
            !knows_framing(entry->is, framing)) {
            continue;
        }
        struct lw_exchange exchange;
        enum lw_status status = lw_client_exchange(roster->client, (uint8_t)nodes[i].address,
                                                   &request, &exchange, roster->error);
        if (status != LW_OK) {
            return status;
        }
        if (exchange.outcome == LW_ANSWERED || exchange.outcome == LW_EXCEPTION) {
            nodes[i].state = LW_ROSTER_WRONG_FRAMING;
            nodes[i].framing = lw_duplicate(framing);
        }
    }
    return LW_OK;
}

static enum lw_status look_at_other_framings(struct roster *roster)
{
    struct lw_line *line = lw_client_line(roster->client);
    if (!line->framed || line->adu != LW_ADU_RTU || roster->plan == NULL) {
        return LW_OK;
    }
    const char *framings[16];
    char own[LW_FRAMING_TEXT];
    const struct lw_framing own_framing = line->framing;
    lw_framing_text(&own_framing, own);
    size_t count = other_framings(roster, own, framings, sizeof framings / sizeof framings[0]);
    enum lw_status status = LW_OK;
    lw_client_reply_s(roster->client, OTHER_FRAMING_REPLY_MS / 1e3);
    for (size_t i = 0; i < count && status == LW_OK; i++) {
        struct lw_framing framing;
        if (lw_framing_parse(framings[i], &framing, NULL) != LW_OK) {
            continue;
        }
        status = lw_client_set_framing(roster->client, &framing, roster->error);
        if (status == LW_OK) {
            status = ask_missing_at(roster, framings[i]);
        }
    }
    if (count > 0) {
        enum lw_status back = lw_client_set_framing(roster->client, &own_framing, NULL);
        status = status == LW_OK ? back : status;
    }
    return status;
}

enum lw_status lw_roster_measure(const struct lw_run *run, struct lw_client *client,
                                 const struct lw_plan *plan,
                                 const struct lw_roster_options *options,
                                 struct lw_roster_result *result, struct lw_error *error)
{
    struct roster roster = {.run = run,
                            .client = client,
                            .plan = plan,
                            .options = options,
                            .result = result,
                            .error = error};
    lw_json_init(&lw_roster_shape, result);
    result->planned = result->present = 0;
    lw_client_attempts(client, 2);
    lw_client_reply_s(client, fmax(lw_slowest_reply_s(plan) * 2, 0.2));
    enum lw_status status = plan != NULL ? planned_nodes(&roster) : LW_OK;
    if (status == LW_OK) {
        status = unplanned_nodes(&roster);
    }
    return status == LW_OK ? look_at_other_framings(&roster) : status;
}
