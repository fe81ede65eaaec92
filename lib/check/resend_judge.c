// SPDX-License-Identifier: GPL-3.0-or-later
//
// The comparing part of resend, pair by pair. Each pair is one recorded request with what came of
// it then and what came of it now, so errors are compared as paired counts (McNemar 1947): only
// pairs that went wrong on one side alone say anything about a change of the line.
#include "check/resend.h"

#include "base/text.h"
#include "base/unit.h"
#include "modbus/identity.h"
#include "modbus/pdu.h"
#include "site/registers.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NODES = 256, FEWEST_TIMES = 10 };

// A host's scheduler and a USB frame alone move a reply by this much (common practice).
static const double HOST_MS = 1.0;

// An answer closer to its request than this was handed over in one lump with it: what the recording
// says of its time is the adapter's, not the node's.
static const double LUMP_MS = 0.1;

struct sent_to {
    struct lw_resend_node node; // node.node, profile and tolerance are filled at the first pair
    bool known;
    const struct lw_profile *profile;
    struct lw_list then_ms, now_ms; // of double
    double then_u_ms, now_u_ms;     // largest
    double lumps;                   // answers without a time of their own, on either side
    double only_then, only_now;     // pairs with an error on one side alone
};

struct lw_resend_judge {
    const struct lw_plan *plan;
    double tolerance;
    struct sent_to to[NODES];
};

enum lw_status lw_resend_judge_new(const struct lw_plan *plan, double tolerance,
                                   struct lw_resend_judge **judge, struct lw_error *error)
{
    *judge = calloc(1, sizeof **judge);
    if (*judge == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory to compare answers");
    }
    (*judge)->plan = plan;
    (*judge)->tolerance = tolerance;
    return LW_OK;
}

static void free_node(struct lw_resend_node *node)
{
    struct lw_resend_change *changes = node->identity.items;
    for (size_t i = 0; i < node->identity.count; i++) {
        free(changes[i].what);
        free(changes[i].then);
        free(changes[i].now);
    }
    free(node->identity.items);
    free(node->node);
    free(node->unit);
}

void lw_resend_judge_free(struct lw_resend_judge *judge)
{
    for (int i = 0; judge != NULL && i < NODES; i++) {
        free_node(&judge->to[i].node);
        free(judge->to[i].then_ms.items);
        free(judge->to[i].now_ms.items);
    }
    free(judge);
}

// What the noise limit allows between two readings at rest.
static double tolerance_by_plan(const struct lw_plan *plan, const struct lw_profile *profile,
                                size_t tap)
{
    double limit = lw_plan_limits(plan, tap).noise_limit;
    return profile->metrology.noise_is == 0 ? 6 * limit : limit;
}

static void meet_node(struct lw_resend_judge *judge, struct sent_to *to, uint8_t address)
{
    size_t tap = 0;
    const struct lw_chain_entry *entry =
        judge->plan != NULL ? lw_plan_by_address(judge->plan, address, &tap) : NULL;
    to->known = true;
    to->node = (struct lw_resend_node){.address = address,
                                       .tap = (int)tap,
                                       .status_then = NAN,
                                       .status_now = NAN,
                                       .tolerance = NAN,
                                       .largest_difference = NAN,
                                       .reply_then_ms = NAN,
                                       .reply_now_ms = NAN};
    if (entry == NULL) {
        return;
    }
    to->profile = entry->is;
    to->node.node = lw_duplicate(entry->node);
    const struct lw_register *reading = lw_profile_register(to->profile, LW_ROLE_READING);
    if (reading != NULL) {
        const char *unit = to->profile->metrology.unit;
        to->node.unit = lw_duplicate(unit != NULL ? unit : reading->unit);
        to->node.tolerance = isfinite(judge->tolerance)
                                 ? judge->tolerance
                                 : tolerance_by_plan(judge->plan, to->profile, tap);
    }
}

static bool is_answer(const struct lw_exchange *exchange)
{
    return exchange->outcome == LW_ANSWERED || exchange->outcome == LW_EXCEPTION;
}

static bool changed(struct lw_resend_node *node, const char *what, const char *then,
                    const char *now)
{
    struct lw_resend_change *changes = node->identity.items;
    for (size_t i = 0; i < node->identity.count; i++) {
        if (strcmp(changes[i].what, what) == 0) {
            return true;
        }
    }
    struct lw_resend_change *change = lw_list_add(&node->identity, sizeof *change);
    if (change == NULL) {
        return false;
    }
    *change = (struct lw_resend_change){
        .what = lw_duplicate(what), .then = lw_duplicate(then), .now = lw_duplicate(now)};
    return change->what != NULL && change->then != NULL && change->now != NULL;
}

static const char *object_word(uint8_t id, char word[24])
{
    static const char *const words[] = {"vendor name", "product code", "firmware revision",
                                        "vendor URL",  "product name", "model name",
                                        "application"};
    if (id < sizeof words / sizeof *words) {
        return words[id];
    }
    lw_print(word, 24, "object 0x%02X", id);
    return word;
}

// Objects that came on both sides: a longer text may push others into the next part.
static bool compare_objects(struct lw_resend_node *node, const struct lw_identity *then,
                            const struct lw_identity *now)
{
    for (size_t i = 0; i < then->count; i++) {
        size_t then_length = 0, now_length = 0;
        char word[24], then_text[LW_VALUE_TEXT], now_text[LW_VALUE_TEXT];
        uint8_t id = then->objects[i].id;
        const uint8_t *then_bytes = lw_identity_get(then, id, &then_length);
        const uint8_t *now_bytes = lw_identity_get(now, id, &now_length);
        if (now_bytes == NULL ||
            (then_length == now_length && memcmp(then_bytes, now_bytes, then_length) == 0)) {
            continue;
        }
        lw_text_clean(then_text, sizeof then_text, (const char *)then_bytes, then_length);
        lw_text_clean(now_text, sizeof now_text, (const char *)now_bytes, now_length);
        if (!changed(node, object_word(id, word), then_text, now_text)) {
            return false;
        }
    }
    return true;
}

static bool compare_identity(struct lw_resend_node *node, const struct lw_exchange *then,
                             const struct lw_exchange *now)
{
    struct lw_identity identity_then = {0}, identity_now = {0};
    if (lw_identity_add(&identity_then, &then->request, &then->reply) == LW_IDENTITY_BROKEN ||
        lw_identity_add(&identity_now, &now->request, &now->reply) == LW_IDENTITY_BROKEN) {
        return true;
    }
    return compare_objects(node, &identity_then, &identity_now);
}

static bool compare_server_id(struct lw_resend_node *node, const struct lw_exchange *then,
                              const struct lw_exchange *now)
{
    char then_text[LW_VALUE_TEXT], now_text[LW_VALUE_TEXT];
    const struct lw_pdu *a = &then->reply, *b = &now->reply;
    if (a->count == b->count && memcmp(a->bytes, b->bytes, a->count) == 0) {
        return true;
    }
    lw_text_clean(then_text, sizeof then_text, (const char *)a->bytes + 2, a->count - 2);
    lw_text_clean(now_text, sizeof now_text, (const char *)b->bytes + 2, b->count - 2);
    return changed(node, "server id", then_text, now_text);
}

static void compare_reading(struct sent_to *to, const struct lw_register *reg, double then,
                            double now)
{
    struct lw_resend_node *node = &to->node;
    double factor = 1;
    if (reg->unit != NULL && node->unit != NULL && strcmp(reg->unit, node->unit) != 0 &&
        !lw_unit_factor(reg->unit, node->unit, &factor)) {
        return;
    }
    double difference = fabs(now - then) * factor;
    node->values++;
    node->values_outside += difference > node->tolerance;
    node->largest_difference = fmax(node->largest_difference, difference);
}

static bool names_the_node(int role)
{
    return role == LW_ROLE_SERIAL || role == LW_ROLE_SENSOR_SERIAL || role == LW_ROLE_FIRMWARE ||
           role == LW_ROLE_CALIBRATED_ON || role == LW_ROLE_CALIBRATION_DUE;
}

static bool compare_register(struct sent_to *to, const struct lw_register *reg,
                             const struct lw_value *then, const struct lw_value *now)
{
    if (names_the_node(reg->role)) {
        return strcmp(then->text, now->text) == 0 ||
               changed(&to->node, lw_role_word((enum lw_role)reg->role), then->text, now->text);
    }
    if (reg->role == LW_ROLE_READING) {
        compare_reading(to, reg, then->number, now->number);
    } else if (reg->role == LW_ROLE_STATUS && then->number != now->number) {
        to->node.status_then = then->number;
        to->node.status_now = now->number;
    }
    return true;
}

static bool compare_registers(struct sent_to *to, const struct lw_exchange *then,
                              const struct lw_exchange *now)
{
    struct lw_request request;
    if (to->profile == NULL || lw_request_parse(&then->request, &request) != 0) {
        return true;
    }
    const struct lw_block block = {request.function, request.start, request.count};
    const struct lw_register *regs = to->profile->registers.items;
    for (size_t i = 0; i < to->profile->registers.count; i++) {
        struct lw_value value_then, value_now;
        if (regs[i].role != LW_ROLE_NONE &&
            lw_register_decode(&regs[i], &block, &then->reply, &value_then, NULL) == LW_OK &&
            lw_register_decode(&regs[i], &block, &now->reply, &value_now, NULL) == LW_OK &&
            !compare_register(to, &regs[i], &value_then, &value_now)) {
            return false;
        }
    }
    return true;
}

static bool compare_answers(struct sent_to *to, const struct lw_exchange *then,
                            const struct lw_exchange *now)
{
    uint8_t function = then->request.bytes[0];
    if (function == LW_ENCAPSULATED) {
        return compare_identity(&to->node, then, now);
    }
    if (function == LW_REPORT_ID) {
        return compare_server_id(&to->node, then, now);
    }
    bool reads = function >= LW_READ_COILS && function <= LW_READ_INPUT_REGISTERS;
    return !reads || compare_registers(to, then, now);
}

static bool keep_time(struct sent_to *to, struct lw_list *times_ms, double *u_ms,
                      const struct lw_exchange *exchange)
{
    if (!is_answer(exchange) || exchange->reply_first_ns < 0 || exchange->sent_last_ns < 0) {
        return true;
    }
    double reply_ms = (double)(exchange->reply_first_ns - exchange->sent_last_ns) / 1e6;
    if (reply_ms < LUMP_MS) {
        to->lumps++;
        return true;
    }
    double *ms = lw_list_add(times_ms, sizeof *ms);
    if (ms == NULL) {
        return false;
    }
    *ms = reply_ms;
    *u_ms = fmax(*u_ms, (double)exchange->timing_u_ns / 1e6);
    return true;
}

static void count_outcomes(struct sent_to *to, const struct lw_exchange *then,
                           const struct lw_exchange *now)
{
    bool good_then = is_answer(then), good_now = is_answer(now);
    to->node.sent++;
    to->node.answered_then += good_then;
    to->node.answered_now += good_now;
    to->only_then += !good_then && good_now;
    to->only_now += good_then && !good_now;
    if (good_then && good_now) {
        to->node.refusals_changed +=
            then->outcome != now->outcome ||
            (then->outcome == LW_EXCEPTION && then->exception != now->exception);
    }
}

enum lw_status lw_resend_judge_take(struct lw_resend_judge *judge, const struct lw_exchange *then,
                                    const struct lw_exchange *now, struct lw_error *error)
{
    assert(then->request.count > 0);
    struct sent_to *to = &judge->to[then->address];
    if (!to->known) {
        meet_node(judge, to, then->address);
    }
    count_outcomes(to, then, now);
    bool kept = keep_time(to, &to->then_ms, &to->then_u_ms, then) &&
                keep_time(to, &to->now_ms, &to->now_u_ms, now);
    if (kept && then->outcome == LW_ANSWERED && now->outcome == LW_ANSWERED) {
        kept = compare_answers(to, then, now);
    }
    return kept ? LW_OK : lw_fail(error, LW_MEMORY, "no memory to compare answers");
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double quantile(const struct lw_list *sorted, double share)
{
    const double *values = sorted->items;
    return sorted->count > 0 ? values[(size_t)(share * (double)(sorted->count - 1) + 0.5)] : NAN;
}

static void judge_times(struct sent_to *to)
{
    struct lw_resend_node *node = &to->node;
    if (to->then_ms.count > 0) {
        qsort(to->then_ms.items, to->then_ms.count, sizeof(double), by_value);
    }
    if (to->now_ms.count > 0) {
        qsort(to->now_ms.items, to->now_ms.count, sizeof(double), by_value);
    }
    node->reply_then_ms = quantile(&to->then_ms, 0.5);
    node->reply_now_ms = quantile(&to->now_ms, 0.5);
    if (to->then_ms.count < FEWEST_TIMES || to->now_ms.count < FEWEST_TIMES ||
        10 * to->lumps > to->node.sent) {
        return;
    }
    double unsure_ms = HOST_MS + 2 * (to->then_u_ms + to->now_u_ms);
    node->slower = quantile(&to->now_ms, 0.1) > quantile(&to->then_ms, 0.9) + unsure_ms;
    node->faster = quantile(&to->now_ms, 0.9) < quantile(&to->then_ms, 0.1) - unsure_ms;
}

// Upper tail of the binomial distribution with probability 1/2, term by term from the logarithm.
static double half_tail(double least, double n)
{
    double p = 0;
    for (double k = least; k <= n; k++) {
        p += exp(lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1) - n * log(2));
    }
    return fmin(p, 1);
}

// Nodes that do not answer at all any more are a finding of their own and say nothing of the line.
static void judge_errors(struct lw_resend_judge *judge, struct lw_resend_result *result)
{
    double only_then = 0, only_now = 0;
    for (int i = 0; i < NODES; i++) {
        const struct sent_to *to = &judge->to[i];
        result->errors_then += to->node.sent - to->node.answered_then;
        result->errors_now += to->node.sent - to->node.answered_now;
        if (to->known && to->node.answered_now > 0) {
            only_then += to->only_then;
            only_now += to->only_now;
        }
    }
    result->more_errors_p = half_tail(only_now, only_now + only_then);
}

enum lw_status lw_resend_judge_result(struct lw_resend_judge *judge,
                                      struct lw_resend_result *result, struct lw_error *error)
{
    judge_errors(judge, result);
    for (int i = 0; i < NODES; i++) {
        struct sent_to *to = &judge->to[i];
        if (!to->known) {
            continue;
        }
        struct lw_resend_node *node = lw_list_add(&result->nodes, sizeof *node);
        if (node == NULL) {
            return lw_fail(error, LW_MEMORY, "no memory to compare answers");
        }
        judge_times(to);
        *node = to->node;
        to->node = (struct lw_resend_node){0}; // its texts are the result's now
        to->known = false;
    }
    return LW_OK;
}
