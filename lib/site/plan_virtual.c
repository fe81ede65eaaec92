// SPDX-License-Identifier: GPL-3.0-or-later
//
// The table of the keys of a plan's `virtual` part: how a virtual chain is to behave. Which keys
// belong to which kind of fault stands in plan_faults.c.
#include "site/fields.h"
#include "site/plan.h"
#include "site/plan_inside.h"

#include <assert.h>

static const char *const end_words[] = {"head", "tail", NULL};
static const char *const rail_words[] = {"both", "v_plus", "zero_v", NULL};
static const char *const fault_words[] = {
    "weak_span",          "dead_node",        "double_address",
    "missing_terminator", "lost_bias",        "overloaded_supply",
    "wrong_framing",      "unplugged_sensor", "stuck_reading",
    "magnet_near",        "late_replies",     "echoing_adapter",
    "foreign_controller", "swapped_places",   "hiccup",
    "noisy_span",         "new_node",         NULL};

const char *lw_fault_word(enum lw_fault_kind kind)
{
    assert(kind >= LW_FAULT_WEAK_SPAN && kind <= LW_FAULT_NEW_NODE);
    return fault_words[kind];
}

#define OF struct lw_virtual_noise
static const struct lw_field noise_fields[] = {
    FIELD(
        LW_NUMBER, "white", white,
        "white noise, one standard deviation, in each node's metrology.unit; absent: the profile's "
        "repeatability_1s",
        FROM(0)),
    FIELD(
        LW_NUMBER, "flicker", flicker,
        "1/f noise, one standard deviation over a decade, in each node's metrology.unit; absent: 0",
        FROM(0)),
    FIELD(LW_NUMBER, "mains_hz", mains_hz, "frequency of the mains, Hz; absent: 50", ABOVE(0)),
    FIELD(LW_NUMBER, "mains", mains,
          "peak amplitude of the mains in each reading, in each node's metrology.unit; absent: 0",
          FROM(0)),
    FIELD(LW_NUMBER, "drift_per_min", drift_per_min,
          "drift in a minute, in each node's metrology.unit; absent: 0", OPTIONAL),
    {0}};
#undef OF
static const struct lw_shape noise_shape =
    SHAPE("virtual_noise", struct lw_virtual_noise, noise_fields);

#define OF struct lw_fault
static const struct lw_field fault_fields[] = {
    FIELD(LW_CHOICE, "kind", kind, "what is wrong", REQUIRED, WORDS(fault_words)),
    FIELD(LW_INTEGER, "span", span, "the span, by the tap where it ends; absent: none", ABSENT(0),
          RANGE(1, LW_PLAN_TAPS_MAX)),
    FIELD(LW_INTEGER, "tap", tap, "the tap; absent: none", ABSENT(0), RANGE(1, LW_PLAN_TAPS_MAX)),
    FIELD(LW_INTEGER, "at", at, "the tap, or head or tail; absent: none", ABSENT(0),
          WORDS(end_words), RANGE(1, LW_PLAN_TAPS_MAX)),
    FIELD(LW_INTEGER, "address", address, "the address it takes; absent: none", ABSENT(0),
          RANGE(1, 247)),
    FIELD(LW_NUMBER, "extra_ohm", extra_ohm, "resistance added to the rail, ohm; absent: none",
          ABOVE(0)),
    FIELD(LW_CHOICE, "rail", rail, "which rail; absent: both", WORDS(rail_words)),
    FIELD(LW_TEXT, "supply", supply, "the supply's name; absent: none", OPTIONAL),
    FIELD(LW_NUMBER, "extra_a", extra_a, "current drawn from it beside the chain, A; absent: none",
          ABOVE(0)),
    FIELD(LW_TEXT, "framing", framing, "the framing it has instead; absent: none", OPTIONAL),
    FIELD(LW_NUMBER, "field", field,
          "peak amplitude of the alternating disturbance, in the node's metrology.unit; absent: 0",
          FROM(0)),
    FIELD(LW_NUMBER, "steady", steady, "steady offset, in the node's metrology.unit; absent: 0",
          OPTIONAL),
    FIELD(LW_NUMBER, "reach_taps", reach_taps,
          "number of taps over which the disturbance falls to 1/e; absent: 1", ABOVE(0)),
    FIELD(LW_NUMBER, "late_ms", late_ms, "how much later it answers, ms; absent: none", ABOVE(0)),
    FIELD(LW_NUMBER, "share", share, "share of its replies that are late; absent: 1", RANGE(0, 1)),
    FIELD(LW_NUMBER, "cycle_ms", cycle_ms, "cycle of the foreign controller, ms; absent: 500",
          ABOVE(0)),
    FIELD(LW_NUMBERS, "addresses", addresses, "addresses it asks; absent: all of the plan",
          OPTIONAL),
    FIELD(LW_NUMBERS, "taps", taps, "the two taps whose nodes are swapped; absent: none",
          ITEMS(2, 2)),
    FIELD(LW_NUMBER, "bit_error_rate", bit_error_rate, "bits read wrong across the span, a ratio",
          RANGE(0, 0.5)),
    FIELD(LW_NUMBER, "from_s", from_s, "when it begins, s on the chain's time; absent: 0", FROM(0),
          DEFAULT(0)),
    FIELD(LW_NUMBER, "to_s", to_s, "when it ends, s on the chain's time; absent: never", NULLABLE,
          ABOVE(0)),
    {0}};
#undef OF
static const struct lw_shape fault_shape = SHAPE("fault", struct lw_fault, fault_fields);

#define OF struct lw_hand
static const struct lw_field hand_fields[] = {
    FIELD(LW_TEXT, "node", node, "the node whose sensor is deflected", REQUIRED),
    FIELD(LW_NUMBER, "by", by, "how far from its rest, in the node's metrology.unit", REQUIRED),
    FIELD(LW_NUMBER, "off", off,
          "where it comes to rest afterwards, from its rest before, each time; absent: 0",
          DEFAULT(0)),
    FIELD(LW_NUMBER, "at_s", at_s,
          "when it begins, s on the chain's time; absent: when the one before has ended", FROM(0)),
    FIELD(LW_NUMBER, "over_s", over_s, "time of the way there and of the way back, s; absent: 0.3",
          DEFAULT(0.3), FROM(0)),
    FIELD(LW_NUMBER, "hold_s", hold_s, "how long it is held, s; absent: 3", DEFAULT(3), FROM(0)),
    FIELD(LW_NUMBER, "pause_s", pause_s, "rest after it, s; absent: 1.5", DEFAULT(1.5), FROM(0)),
    FIELD(LW_INTEGER, "times", times, "how often; absent: 3", ABSENT(3), RANGE(1, 100)),
    {0}};
#undef OF
static const struct lw_shape hand_shape = SHAPE("hand", struct lw_hand, hand_fields);

#define OF struct lw_virtual
static const struct lw_field virtual_fields[] = {
    FIELD(LW_INTEGER, "seed", seed, "number that all chance comes from; absent: 1", ABSENT(1),
          RANGE(0, 2147483647)),
    FIELD(LW_TEXT, "starts_at", starts_at,
          "its date and time at 0 s; absent: the visit's opened, for a served chain "
          "now, else 2026-01-01",
          OPTIONAL),
    FIELD(LW_OBJECT, "noise", noise, "noise of all readings; absent: from the profiles",
          SUB(noise_shape)),
    FIELD(LW_LIST, "faults", faults, "what is wrong with it; absent: nothing", SUB(fault_shape)),
    FIELD(LW_LIST, "hand", hand, "a hand that deflects sensors, one after the other; absent: none",
          SUB(hand_shape)),
    {0}};
#undef OF
const struct lw_shape lw_virtual_shape = SHAPE("virtual", struct lw_virtual, virtual_fields);
