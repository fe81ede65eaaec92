// SPDX-License-Identifier: GPL-3.0-or-later
//
// The talking part of the restart check: rounds of polls over all nodes, whatever the switches do.
// A silent node costs its time-out in every round, so the round is the resolution of all times; it
// is known for each first answer from the poll before it.
#include "check/restart.h"

#include "base/text.h"
#include "check/ask.h"
#include "modbus/pdu.h"

enum { ROUNDS_BEFORE = 5 };

// A round takes at least so long: quick enough for a supply that tries again every second.
static const double round_s = 0.1;

static const uint32_t poll_roles =
    LW_ROLE_BIT(LW_ROLE_READING) | LW_ROLE_BIT(LW_ROLE_STATUS) | LW_ROLE_BIT(LW_ROLE_UPTIME_S) |
    LW_ROLE_BIT(LW_ROLE_RESTART_COUNT) | LW_ROLE_BIT(LW_ROLE_SUPPLY_MIN_V);
static const uint32_t who_roles = LW_ROLE_BIT(LW_ROLE_SERIAL) | LW_ROLE_BIT(LW_ROLE_SENSOR_SERIAL) |
                                  LW_ROLE_BIT(LW_ROLE_FIRMWARE);

void lw_restart_log_finish(struct lw_restart_log *log)
{
    struct lw_restart_identity *identities = log->identities.items;
    for (size_t i = 0; i < log->identities.count; i++) {
        free(identities[i].text);
    }
    free(log->identities.items);
    free(log->polls.items);
    free(log->turns.items);
    free(log->counts);
    *log = (struct lw_restart_log){0};
}

const char *lw_restart_order_word(enum lw_restart_order order)
{
    static const char *const words[] = {"together", "forward", "backward"};
    return words[order];
}

enum lw_restart_order lw_restart_order_of(int cycle, bool one_switch)
{
    return one_switch ? LW_RESTART_TOGETHER : (enum lw_restart_order)((cycle - 1) % 3);
}

static double seconds(const struct lw_restart *restart, int64_t at_ns)
{
    return (double)(at_ns - restart->log->start_ns) / 1e9;
}

static double now_s(const struct lw_restart *restart)
{
    return seconds(restart, lw_clock_now_ns(restart->run->clock));
}

static bool takes_part(const struct lw_restart *restart, size_t tap)
{
    const bool *selected = restart->options->selected;
    return lw_plan_tap(restart->plan, tap)->node != NULL && (selected == NULL || selected[tap - 1]);
}

// How many messages it has counted on the bus since it started (MODBUS Application Protocol
// V1.1b3, 6.8.1, sub-function 0B); NAN: it does not tell.
static enum lw_status ask_messages(const struct lw_restart *restart, uint8_t address,
                                   double *messages, struct lw_error *error)
{
    const struct lw_request ask = {
        .function = LW_DIAGNOSTICS, .sub = LW_COUNT_BUS_MESSAGES, .count = 1};
    struct lw_pdu request;
    struct lw_exchange exchange;
    struct lw_reply reply;
    *messages = NAN;
    lw_request_build(&ask, &request);
    enum lw_status status =
        lw_client_exchange(restart->client, address, &request, &exchange, error);
    if (status == LW_OK && exchange.outcome == LW_ANSWERED &&
        lw_reply_parse(&exchange.request, &exchange.reply, &reply) && reply.count == 1) {
        *messages = reply.values[0];
    }
    return status == LW_OK ? lw_ask_settle(restart->client, &exchange, error) : status;
}

static double number(const struct lw_node_values *values, enum lw_role role)
{
    return values->have[role] ? values->value[role].number : (double)NAN;
}

// A reading, unless the node itself says that it is none.
static double good_reading(const struct lw_chain_entry *entry, const struct lw_node_values *values)
{
    unsigned bad = lw_status_mask(entry->is, LW_BIT_SENSOR_OPEN) |
                   lw_status_mask(entry->is, LW_BIT_OVER_RANGE);
    bool is_bad =
        values->have[LW_ROLE_STATUS] && ((unsigned)values->value[LW_ROLE_STATUS].number & bad) != 0;
    return is_bad ? (double)NAN : number(values, LW_ROLE_READING);
}

static void tell_reading(const struct lw_restart *restart, const struct lw_chain_entry *entry,
                         const struct lw_node_values *values, double time_s)
{
    if (restart->run->reading != NULL && values->have[LW_ROLE_READING]) {
        const struct lw_reading reading = {.time_s = time_s,
                                           .node = entry->node,
                                           .unit = values->value[LW_ROLE_READING].unit,
                                           .value = values->value[LW_ROLE_READING].number};
        restart->run->reading(restart->run->user, &reading);
    }
}

static enum lw_status poll(const struct lw_restart *restart, size_t tap, bool *answered,
                           struct lw_error *error)
{
    const struct lw_chain_entry *entry = lw_plan_tap(restart->plan, tap);
    struct lw_node_values values;
    double messages = NAN;
    enum lw_status status = lw_ask_roles(restart->client, entry->is, (uint8_t)entry->address,
                                         poll_roles, &values, error);
    *answered = values.answered + values.exceptions > 0;
    if (status == LW_OK && *answered && restart->log->counts[tap - 1]) {
        status = ask_messages(restart, (uint8_t)entry->address, &messages, error);
    }
    if (status != LW_OK) {
        return status;
    }
    struct lw_restart_poll *poll = lw_list_add(&restart->log->polls, sizeof *poll);
    if (poll == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a poll");
    }
    *poll = (struct lw_restart_poll){
        .time_s = seconds(restart, values.last.sent_last_ns),
        .tap = (int)tap,
        .answered = *answered,
        .uptime_s = number(&values, LW_ROLE_UPTIME_S),
        .restarts = number(&values, LW_ROLE_RESTART_COUNT),
        .messages = messages,
        .lowest_v = number(&values, LW_ROLE_SUPPLY_MIN_V),
        .reading = good_reading(entry, &values),
        .status = values.have[LW_ROLE_STATUS] ? (int)values.value[LW_ROLE_STATUS].number : -1,
    };
    tell_reading(restart, entry, &values, poll->time_s);
    return LW_OK;
}

// One poll of each node; *there counts the answers, and `seen` is set for who gave one.
static enum lw_status poll_round(const struct lw_restart *restart, bool *seen, size_t *there,
                                 size_t *new_ones, struct lw_error *error)
{
    double from_s = now_s(restart);
    enum lw_status status = LW_OK;
    *there = *new_ones = 0;
    for (size_t tap = 1; tap <= lw_plan_taps(restart->plan) && status == LW_OK; tap++) {
        bool answered = false;
        if (takes_part(restart, tap)) {
            status = poll(restart, tap, &answered, error);
        }
        *there += answered;
        *new_ones += answered && !seen[tap - 1];
        seen[tap - 1] = seen[tap - 1] || answered;
    }
    double rest_s = from_s + round_s - now_s(restart);
    return status == LW_OK && rest_s > 0 ? lw_client_wait(restart->client, rest_s, error) : status;
}

static size_t count_nodes(const struct lw_restart *restart)
{
    size_t count = 0;
    for (size_t tap = 1; tap <= lw_plan_taps(restart->plan); tap++) {
        count += takes_part(restart, tap);
    }
    return count;
}

static char *text_of(const struct lw_node_values *values, const struct lw_identity *identity)
{
    static const struct {
        enum lw_role role;
        const char *says;
    } parts[] = {{LW_ROLE_SERIAL, "serial"},
                 {LW_ROLE_SENSOR_SERIAL, "sensor"},
                 {LW_ROLE_FIRMWARE, "firmware"}};
    struct lw_text text = {0};
    char *code = lw_identity_text(identity, LW_PRODUCT_CODE);
    char *revision = lw_identity_text(identity, LW_REVISION);
    lw_text_add(&text, "%s%s%s", code != NULL ? code : "", revision != NULL ? " " : "",
                revision != NULL ? revision : "");
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        if (values->have[parts[i].role]) {
            lw_text_add(&text, "%s%s %s", text.length > 0 ? ", " : "", parts[i].says,
                        values->value[parts[i].role].text);
        }
    }
    char *copy = text.failed ? NULL : lw_duplicate(text.bytes != NULL ? text.bytes : "");
    free(code);
    free(revision);
    lw_text_finish(&text);
    return copy;
}

static enum lw_status identify_node(const struct lw_restart *restart, size_t tap, int cycle,
                                    struct lw_error *error)
{
    const struct lw_chain_entry *entry = lw_plan_tap(restart->plan, tap);
    const struct lw_profile_identity *declared = &entry->is->identity;
    struct lw_node_values values;
    struct lw_identity identity = {0};
    enum lw_status status = lw_ask_roles(restart->client, entry->is, (uint8_t)entry->address,
                                         who_roles, &values, error);
    bool whole = status == LW_OK && values.answered == values.asked;
    if (whole && (declared->vendor != NULL || declared->product_code != NULL)) {
        status = lw_ask_identity(restart->client, (uint8_t)entry->address, LW_IDENTITY_BASIC,
                                 &identity, error);
        whole = identity.count > 0;
    }
    if (status != LW_OK || !whole) {
        return status;
    }
    struct lw_restart_identity *place = lw_list_add(&restart->log->identities, sizeof *place);
    if (place == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for an identity");
    }
    *place = (struct lw_restart_identity){
        .tap = (int)tap, .cycle = cycle, .text = text_of(&values, &identity)};
    return place->text != NULL ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for an identity");
}

enum lw_status lw_restart_identify(const struct lw_restart *restart, int cycle,
                                   struct lw_error *error)
{
    enum lw_status status = LW_OK;
    size_t taps = lw_plan_taps(restart->plan);
    lw_client_attempts(restart->client, 2);
    for (size_t tap = 1; tap <= taps && status == LW_OK; tap++) {
        lw_run_progress(restart->run, "identities", (double)tap - 1, (double)taps, "nodes", NAN);
        if (takes_part(restart, tap)) {
            status = identify_node(restart, tap, cycle, error);
        }
    }
    lw_client_attempts(restart->client, 1);
    return status;
}

// Nodes whose profile has neither uptime nor a count of restarts may have the counters of 08, which
// begin anew at a start; a gentle run does not try.
static enum lw_status find_counters(const struct lw_restart *restart, const bool *seen,
                                    struct lw_error *error)
{
    enum lw_status status = LW_OK;
    for (size_t tap = 1; tap <= lw_plan_taps(restart->plan) && status == LW_OK; tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(restart->plan, tap);
        double messages = NAN;
        if (!takes_part(restart, tap) || !seen[tap - 1] || restart->options->gentle ||
            lw_profile_register(entry->is, LW_ROLE_UPTIME_S) != NULL ||
            lw_profile_register(entry->is, LW_ROLE_RESTART_COUNT) != NULL) {
            continue;
        }
        status = ask_messages(restart, (uint8_t)entry->address, &messages, error);
        restart->log->counts[tap - 1] = isfinite(messages);
    }
    return status;
}

enum lw_status lw_restart_before(const struct lw_restart *restart, struct lw_error *error)
{
    size_t there = 0, new_ones = 0;
    restart->log->start_ns = lw_clock_now_ns(restart->run->clock);
    restart->log->counts = calloc(lw_plan_taps(restart->plan) + 1, sizeof(bool));
    bool *seen = calloc(lw_plan_taps(restart->plan) + 1, sizeof *seen);
    enum lw_status status = restart->log->counts != NULL && seen != NULL
                                ? LW_OK
                                : lw_fail(error, LW_MEMORY, "no memory for the nodes");
    lw_client_attempts(restart->client, 1);
    lw_client_reply_s(restart->client, lw_slowest_reply_s(restart->plan));
    for (int i = 0; i < ROUNDS_BEFORE && status == LW_OK; i++) {
        lw_run_progress(restart->run, "before", i, ROUNDS_BEFORE, "rounds", NAN);
        status = poll_round(restart, seen, &there, &new_ones, error);
    }
    if (status == LW_OK) {
        status = find_counters(restart, seen, error);
    }
    if (status == LW_OK) {
        status = lw_restart_identify(restart, 0, error);
    }
    free(seen);
    return status;
}

enum lw_status lw_restart_turned(const struct lw_restart *restart, int cycle,
                                 enum lw_restart_order order, int supply, bool on,
                                 struct lw_error *error)
{
    struct lw_restart_turn *turn = lw_list_add(&restart->log->turns, sizeof *turn);
    if (turn == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a turn");
    }
    *turn = (struct lw_restart_turn){
        .time_s = now_s(restart), .cycle = cycle, .order = (int)order, .supply = supply, .on = on};
    return LW_OK;
}

// Who has answered since the last time that everything was switched off.
static void seen_since_off(const struct lw_restart *restart, bool *seen)
{
    const struct lw_restart_turn *turns = restart->log->turns.items;
    const struct lw_restart_poll *polls = restart->log->polls.items;
    double on_s = INFINITY;
    for (size_t i = restart->log->turns.count; i-- > 0 && turns[i].on;) {
        on_s = turns[i].time_s;
    }
    for (size_t i = restart->log->polls.count; i-- > 0 && polls[i].time_s >= on_s;) {
        seen[polls[i].tap - 1] = seen[polls[i].tap - 1] || polls[i].answered;
    }
}

static double lasts_s(const struct lw_restart *restart, enum lw_restart_phase phase)
{
    const struct lw_restart_options *options = restart->options;
    const double all[] = {options->off_s, options->quiet_s, options->watch_s, options->warm_up_s};
    return all[phase];
}

static const char *phase_word(enum lw_restart_phase phase)
{
    static const char *const words[] = {"off", "coming on", "watching", "warming up"};
    return words[phase];
}

enum lw_status lw_restart_watch(const struct lw_restart *restart, enum lw_restart_phase phase,
                                struct lw_error *error)
{
    size_t nodes = count_nodes(restart), there = 0, new_ones = 0;
    double from_s = now_s(restart), last_s = lasts_s(restart, phase);
    bool comes = phase == LW_RESTART_ON || phase == LW_RESTART_WATCH;
    enum lw_status status = LW_OK;
    bool *seen = calloc(lw_plan_taps(restart->plan) + 1, sizeof *seen);
    if (seen == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for the nodes");
    }
    seen_since_off(restart, seen);
    while (status == LW_OK && now_s(restart) - from_s < last_s) {
        lw_run_progress(restart->run, phase_word(phase), (double)there, (double)nodes, "nodes",
                        last_s - (now_s(restart) - from_s));
        status = poll_round(restart, seen, &there, &new_ones, error);
        if (comes && new_ones > 0) {
            from_s = now_s(restart);
        }
        if (phase == LW_RESTART_ON && there == nodes) {
            break;
        }
    }
    free(seen);
    return status;
}
