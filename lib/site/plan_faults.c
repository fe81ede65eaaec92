// SPDX-License-Identifier: GPL-3.0-or-later
//
// Which keys a kind of fault needs and which it may have, as one table, and the rest that a plan's
// field table cannot say about its virtual part.
#include "site/plan_inside.h"

#include "site/semantic.h"

#include <assert.h>
#include <math.h>

enum {
    KEY_SPAN = 1,
    KEY_TAP = 1 << 1,
    KEY_AT = 1 << 2,
    KEY_ADDRESS = 1 << 3,
    KEY_EXTRA_OHM = 1 << 4,
    KEY_RAIL = 1 << 5,
    KEY_SUPPLY = 1 << 6,
    KEY_EXTRA_A = 1 << 7,
    KEY_FRAMING = 1 << 8,
    KEY_FIELD = 1 << 9,
    KEY_STEADY = 1 << 10,
    KEY_REACH = 1 << 11,
    KEY_LATE = 1 << 12,
    KEY_SHARE = 1 << 13,
    KEY_CYCLE = 1 << 14,
    KEY_ADDRESSES = 1 << 15,
    KEY_TAPS = 1 << 16,
    KEY_BIT_ERRORS = 1 << 17,
    KEY_COUNT = 18,
};

const char *const lw_fault_keys[KEY_COUNT + 1] = {
    "span",    "tap",     "at",       "address",   "extra_ohm", "rail",
    "supply",  "extra_a", "framing",  "field",     "steady",    "reach_taps",
    "late_ms", "share",   "cycle_ms", "addresses", "taps",      "bit_error_rate"};

struct uses {
    unsigned needs, may;
};

static const struct uses uses[] = {
    [LW_FAULT_WEAK_SPAN] = {KEY_SPAN | KEY_EXTRA_OHM, KEY_RAIL},
    [LW_FAULT_DEAD_NODE] = {KEY_TAP, 0},
    [LW_FAULT_DOUBLE_ADDRESS] = {KEY_TAP | KEY_ADDRESS, 0},
    [LW_FAULT_MISSING_TERMINATOR] = {KEY_AT, 0},
    [LW_FAULT_LOST_BIAS] = {0, 0},
    [LW_FAULT_OVERLOADED_SUPPLY] = {KEY_SUPPLY | KEY_EXTRA_A, 0},
    [LW_FAULT_WRONG_FRAMING] = {KEY_TAP | KEY_FRAMING, 0},
    [LW_FAULT_UNPLUGGED_SENSOR] = {KEY_TAP, 0},
    [LW_FAULT_STUCK_READING] = {KEY_TAP, 0},
    [LW_FAULT_MAGNET_NEAR] = {KEY_TAP, KEY_FIELD | KEY_STEADY | KEY_REACH},
    [LW_FAULT_LATE_REPLIES] = {KEY_TAP | KEY_LATE, KEY_SHARE},
    [LW_FAULT_ECHOING_ADAPTER] = {0, 0},
    [LW_FAULT_FOREIGN_CONTROLLER] = {0, KEY_FRAMING | KEY_CYCLE | KEY_ADDRESSES},
    [LW_FAULT_SWAPPED_PLACES] = {KEY_TAPS, 0},
    [LW_FAULT_HICCUP] = {KEY_SUPPLY, 0},
    [LW_FAULT_NOISY_SPAN] = {KEY_SPAN | KEY_BIT_ERRORS, 0},
    [LW_FAULT_NEW_NODE] = {KEY_TAP, KEY_ADDRESS | KEY_FRAMING},
};

enum lw_fault_use lw_fault_use(enum lw_fault_kind kind, size_t key)
{
    assert(key < KEY_COUNT);
    return uses[kind].needs & 1U << key ? LW_FAULT_KEY_NEEDS
           : uses[kind].may & 1U << key ? LW_FAULT_KEY_MAY
                                        : LW_FAULT_KEY_NONE;
}

static unsigned keys_given(const struct lw_fault *fault)
{
    const bool given[KEY_COUNT] = {
        fault->span != 0,           fault->tap != 0,          fault->at != 0,
        fault->address != 0,        !isnan(fault->extra_ohm), fault->rail != 0,
        fault->supply != NULL,      !isnan(fault->extra_a),   fault->framing != NULL,
        !isnan(fault->field),       !isnan(fault->steady),    !isnan(fault->reach_taps),
        !isnan(fault->late_ms),     !isnan(fault->share),     !isnan(fault->cycle_ms),
        fault->addresses.count > 0, fault->taps.count > 0,    !isnan(fault->bit_error_rate)};
    unsigned keys = 0;
    for (unsigned i = 0; i < KEY_COUNT; i++) {
        keys |= given[i] ? 1U << i : 0;
    }
    return keys;
}

static enum lw_status keys_check(const struct lw_fault *fault, size_t i, struct lw_error *error)
{
    const struct uses *keys = &uses[fault->kind];
    unsigned given = keys_given(fault);
    for (unsigned k = 0; k < KEY_COUNT; k++) {
        unsigned key = 1U << k;
        if ((keys->needs & key) && !(given & key)) {
            return lw_fail(error, LW_BAD_FILE, "/virtual/faults/%zu/%s: missing, a '%s' needs it",
                           i, lw_fault_keys[k], lw_fault_word((enum lw_fault_kind)fault->kind));
        }
        if ((given & key) && !((keys->needs | keys->may) & key)) {
            return lw_fail(error, LW_BAD_FILE, "/virtual/faults/%zu/%s: a '%s' has none", i,
                           lw_fault_keys[k], lw_fault_word((enum lw_fault_kind)fault->kind));
        }
    }
    return LW_OK;
}

static enum lw_status node_tap_check(const struct lw_plan *plan, int tap, const char *pointer,
                                     struct lw_error *error)
{
    enum lw_status status = lw_plan_check_tap(plan, tap, pointer, error);
    if (status == LW_OK && tap > 0 && !lw_plan_tap(plan, (size_t)tap)->node) {
        return lw_fail(error, LW_BAD_FILE, "%s: tap %d has no node", pointer, tap);
    }
    return status;
}

static enum lw_status taps_check(const struct lw_plan *plan, const struct lw_fault *fault, size_t i,
                                 struct lw_error *error)
{
    char pointer[80];
    const double *taps = fault->taps.items;
    enum lw_status status = LW_OK;
    for (size_t k = 0; status == LW_OK && k < fault->taps.count; k++) {
        lw_print(pointer, sizeof pointer, "/virtual/faults/%zu/taps/%zu", i, k);
        if (!(taps[k] >= 1 && taps[k] <= LW_PLAN_TAPS_MAX) || taps[k] != floor(taps[k])) {
            return lw_fail(error, LW_BAD_FILE, "%s: must be the number of a tap", pointer);
        }
        status = node_tap_check(plan, (int)taps[k], pointer, error);
    }
    if (status == LW_OK && fault->taps.count == 2 && taps[0] == taps[1]) {
        return lw_fail(error, LW_BAD_FILE, "/virtual/faults/%zu/taps: the two are the same", i);
    }
    return status;
}

static enum lw_status places_check(const struct lw_plan *plan, const struct lw_fault *fault,
                                   size_t i, struct lw_error *error)
{
    char pointer[80];
    lw_print(pointer, sizeof pointer, "/virtual/faults/%zu/span", i);
    enum lw_status status = lw_plan_check_tap(plan, fault->span, pointer, error);
    if (status == LW_OK) {
        lw_print(pointer, sizeof pointer, "/virtual/faults/%zu/at", i);
        status = lw_plan_check_tap(plan, fault->at, pointer, error);
    }
    if (status == LW_OK && fault->tap > 0) {
        lw_print(pointer, sizeof pointer, "/virtual/faults/%zu/tap", i);
        status = node_tap_check(plan, fault->tap, pointer, error);
    }
    return status == LW_OK ? taps_check(plan, fault, i, error) : status;
}

static enum lw_status supply_check(const struct lw_plan *plan, const struct lw_fault *fault,
                                   size_t i, struct lw_error *error)
{
    const struct lw_supply *supplies = plan->supplies.items;
    char word[LW_SITE_WORD];
    for (size_t k = 0; fault->supply && k < plan->supplies.count; k++) {
        if (strcmp(supplies[k].name, fault->supply) == 0) {
            return LW_OK;
        }
    }
    return fault->supply
               ? lw_fail(error, LW_BAD_FILE, "/virtual/faults/%zu/supply: there is no supply '%s'",
                         i, lw_site_word(word, fault->supply))
               : LW_OK;
}

static enum lw_status values_check(const struct lw_fault *fault, size_t i, struct lw_error *error)
{
    char pointer[80];
    const double *addresses = fault->addresses.items;
    for (size_t k = 0; k < fault->addresses.count; k++) {
        if (!(addresses[k] >= 1 && addresses[k] <= 247) || addresses[k] != floor(addresses[k])) {
            return lw_fail(error, LW_BAD_FILE,
                           "/virtual/faults/%zu/addresses/%zu: must be an address of 1 to 247", i,
                           k);
        }
    }
    if (fault->to_s <= fault->from_s) {
        return lw_fail(error, LW_BAD_FILE, "/virtual/faults/%zu/to_s: %g is not after from_s, %g",
                       i, fault->to_s, fault->from_s);
    }
    lw_print(pointer, sizeof pointer, "/virtual/faults/%zu/framing", i);
    return lw_site_framing(fault->framing, pointer, error);
}

static enum lw_status fault_check(const struct lw_plan *plan, size_t i, struct lw_error *error)
{
    const struct lw_fault *fault = lw_plan_fault(plan, i);
    enum lw_status status = keys_check(fault, i, error);
    if (status == LW_OK) {
        status = places_check(plan, fault, i, error);
    }
    if (status == LW_OK) {
        status = supply_check(plan, fault, i, error);
    }
    return status == LW_OK ? values_check(fault, i, error) : status;
}

static enum lw_status hand_check(const struct lw_plan *plan, struct lw_error *error)
{
    const struct lw_hand *hand = plan->simulated->hand.items;
    for (size_t i = 0; i < plan->simulated->hand.count; i++) {
        if (lw_plan_by_name(plan, hand[i].node, NULL) == NULL) {
            return lw_fail(error, LW_BAD_FILE, "/virtual/hand/%zu/node: there is no node '%s'", i,
                           hand[i].node);
        }
    }
    return LW_OK;
}

enum lw_status lw_plan_check_virtual(const struct lw_plan *plan, struct lw_error *error)
{
    if (!plan->simulated) {
        return LW_OK;
    }
    enum lw_status status = lw_site_time(plan->simulated->starts_at, "/virtual/starts_at", error);
    for (size_t i = 0; status == LW_OK && i < plan->simulated->faults.count; i++) {
        status = fault_check(plan, i, error);
    }
    return status == LW_OK ? hand_check(plan, error) : status;
}
