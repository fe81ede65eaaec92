// SPDX-License-Identifier: GPL-3.0-or-later
//
// The JSON shape of what the touch walk says.
#include "check/touch_inside.h"

static const char *const state_words[] = {"untouched", "right",   "elsewhere",
                                          "no_answer", "skipped", NULL};
static const char *const sign_words[] = {"unknown", "right", "reversed", "not_planned", NULL};
static const char *const moved_words[] = {"unknown", "positive", "negative", NULL};

#define NUMBER(member, sentence)                                                                   \
    {                                                                                              \
        LW_AT(OF, member), .kind = LW_NUMBER, .nullable = true, .says = sentence                   \
    }
#define TEXT(member, sentence)                                                                     \
    {                                                                                              \
        LW_AT(OF, member), .kind = LW_TEXT, .nullable = true, .says = sentence                     \
    }
#define INTEGER(member, sentence)                                                                  \
    {                                                                                              \
        LW_AT(OF, member), .kind = LW_INTEGER, .says = sentence                                    \
    }

#define OF struct lw_touch_coupled
static const struct lw_field coupled_fields[] = {
    TEXT(node, "the neighbour"),
    TEXT(unit, "of its readings"),
    INTEGER(tap, "place on the chain"),
    NUMBER(moved, "mean from its rest while the other was held"),
    NUMBER(moved_u, "standard uncertainty of that"),
    NUMBER(share, "of the deflection, where both have one unit"),
    {0},
};
static const struct lw_shape coupled_shape = {
    .name = "touch_coupled", .size = sizeof(OF), .fields = coupled_fields};
#undef OF

#define OF struct lw_touch_node
static const struct lw_field node_fields[] = {
    {LW_AT(OF, node), .kind = LW_TEXT, .required = true, .says = "planned at this place"},
    TEXT(place, "where that is in the machine"),
    TEXT(unit, "of all values of this node"),
    TEXT(reason, "why it was left out"),
    TEXT(answered_by, "the node that answered at this place; null: none"),
    INTEGER(tap, "place on the chain"),
    INTEGER(address, "address"),
    {LW_AT(OF, state), .kind = LW_CHOICE, .names = state_words,
     .says = "right: its own node answered, it alone; elsewhere: another one did; no_answer: none "
             "did"},
    INTEGER(touches, "deflections that were let go again"),
    INTEGER(order, "the how-manieth place of the walk; 0: not done"),
    {LW_AT(OF, sign), .kind = LW_CHOICE, .names = sign_words, .says = "against the plan's `moves`"},
    {LW_AT(OF, moved_to), .kind = LW_CHOICE, .names = moved_words,
     .says = "the way it first moved"},
    NUMBER(need, "deflection that counted as one"),
    NUMBER(noise, "robust standard deviation at rest"),
    NUMBER(deflection, "the farthest, with sign"),
    NUMBER(travel, "planned; null: the plan says none"),
    {LW_AT(OF, returns), .kind = LW_NUMBERS,
     .says = "rest after each deflection less that before the first"},
    NUMBER(return_u, "the largest standard uncertainty of these"),
    NUMBER(return_limit, "null: not judged"),
    {LW_AT(OF, stayed), .kind = LW_BOOLEAN, .says = "it did not come back at all"},
    NUMBER(margin, "over the runner-up, the least; null: nothing else moved"),
    NUMBER(answered_s, "from the first reading away from rest to the answer, the longest"),
    INTEGER(refused, "two at once, unclear or too short, while this place was asked for"),
    INTEGER(spikes, "single readings far off"),
    {LW_AT(OF, coupled), .kind = LW_LIST, .sub = &coupled_shape,
     .says = "neighbours that moved with it"},
    NUMBER(volts, "its supply at rest"),
    NUMBER(volts_least, "and the lowest during the walk"),
    TEXT(volts_least_at, "the node that was touched then"),
    INTEGER(polls, "times it was asked during the walk"),
    INTEGER(unanswered, "of these without an answer"),
    INTEGER(damaged, "of these with a damaged answer"),
    {LW_AT(OF, trace_time_s), .kind = LW_NUMBERS,
     .says = "at most 400 readings while the walk was at this place: their times"},
    {LW_AT(OF, trace_value), .kind = LW_NUMBERS, .says = "and their values"},
    {0},
};
static const struct lw_shape node_shape = {
    .name = "touch_node", .size = sizeof(OF), .fields = node_fields};
#undef OF
const struct lw_shape *const lw_touch_node_shape = &node_shape;

#define OF struct lw_touch_result
static const struct lw_field touch_fields[] = {
    {LW_AT(OF, any_order), .kind = LW_BOOLEAN,
     .says = "the person chose the order and compared each name with the place touched"},
    INTEGER(returns_wanted, "deflections asked for at each place"),
    TEXT(drives_off_said_by, "who made sure that the drives are off and locked out"),
    NUMBER(cycle_s, "longest round over all nodes at rest"),
    NUMBER(seconds, "first reading to last"),
    {LW_AT(OF, nodes), .kind = LW_LIST, .sub = &node_shape, .says = "by tap"},
    {0},
};
const struct lw_shape lw_touch_shape = {
    .name = "touch", .size = sizeof(OF), .fields = touch_fields};
#undef OF
