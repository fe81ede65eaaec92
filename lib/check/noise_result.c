// SPDX-License-Identifier: GPL-3.0-or-later
//
// The JSON shape of what the noise check says.
#include "check/noise_inside.h"

static const char *const verdict_words[] = {"pass",      "not_tested", "attention",
                                            "undecided", "fail",       NULL};
static const char *const update_words[] = {"unknown", "profile", "counter", "burst", NULL};
static const char *const jump_words[] = {"none", "step", "telegraph", NULL};
static const char *const pattern_words[] = {"unclear", "common", "near", NULL};

#define NUMBER_OF(type, member, sentence)                                                          \
    {                                                                                              \
        LW_AT(type, member), .kind = LW_NUMBER, .nullable = true, .says = sentence                 \
    }
#define TEXT_OF(type, member, sentence)                                                            \
    {                                                                                              \
        LW_AT(type, member), .kind = LW_TEXT, .nullable = true, .says = sentence                   \
    }
#define NUMBER(member, sentence) NUMBER_OF(OF, member, sentence)
#define TEXT(member, sentence)   TEXT_OF(OF, member, sentence)

#define OF struct lw_noise_tone
static const struct lw_field tone_fields[] = {
    NUMBER(frequency_hz, "of the tone, as it appears"),
    NUMBER(frequency_u_hz, "its standard uncertainty"),
    NUMBER(amplitude, "peak, in `unit`, in the readings"),
    NUMBER(amplitude_u, "standard uncertainty of the amplitude, in `unit`"),
    NUMBER(false_alarm, "probability that noise alone gives as much"),
    NUMBER(left, "share of its amplitude that averaging, update and times known so well leave"),
    NUMBER(amplitude_low,
           "lower bound of the amplitude before them, in `unit`; null: nothing left"),
    NUMBER(amplitude_high, "upper bound, as that"),
    TEXT(name, "mains, mains x2 ..., family (of a stronger one), vibration, tone"),
    {LW_AT(OF, may_be), .kind = LW_NUMBERS, .unit = "Hz",
     .says = "frequencies that would look the same; the true one may be any of them"},
    {0},
};
static const struct lw_shape tone_shape = {
    .name = "noise_tone", .size = sizeof(OF), .fields = tone_fields};
#undef OF

#define OF struct lw_noise_heard
static const struct lw_field heard_fields[] = {
    TEXT(node, "name"),
    {LW_AT(OF, tap), .kind = LW_INTEGER, .says = "place on the chain"},
    NUMBER(size, "of the disturbance there, in the node's unit"),
    NUMBER(size_u, "its standard uncertainty"),
    NUMBER(phase_rad, "of a tone, in the middle of the run"),
    {0},
};
static const struct lw_shape heard_shape = {
    .name = "noise_heard", .size = sizeof(OF), .fields = heard_fields};
#undef OF

#define OF struct lw_noise_along
static const struct lw_field along_fields[] = {
    TEXT(kind, "profile of the nodes that are compared"),
    TEXT(what, "tone, steps, shift (source test) or spread"),
    NUMBER(frequency_hz, "of a tone"),
    {LW_AT(OF, pattern), .kind = LW_CHOICE, .names = pattern_words,
     .says = "common: alike at all; near: strong at one place; unclear"},
    NUMBER(in_step, "share of the other nodes whose phase agrees or is opposite"),
    TEXT(strongest, "the node that is proved to have the most; null: none is"),
    NUMBER(times_next, "its size over that of the next"),
    TEXT(nearest, "the node nearest to the source, by positions; null: the data do not say"),
    NUMBER(confidence, "probability that the source is nearest to the likeliest node"),
    {LW_AT(OF, place_mm), .kind = LW_NUMBERS, .unit = "mm",
     .says = "mean of the places that explain the sizes; empty: not said"},
    {LW_AT(OF, nodes), .kind = LW_LIST, .sub = &heard_shape, .says = "by tap"},
    {0},
};
static const struct lw_shape along_shape = {
    .name = "noise_along", .size = sizeof(OF), .fields = along_fields};
#undef OF
const struct lw_shape *const lw_noise_along_shape = &along_shape;

#define OF struct lw_noise_stretch
static const struct lw_field stretch_fields[] = {
    NUMBER(from_s, "on the time axis of the readings"),
    NUMBER(to_s, "as that"),
    {LW_AT(OF, on), .kind = LW_BOOLEAN, .says = "the source was on"},
    {0},
};
static const struct lw_shape stretch_shape = {
    .name = "noise_stretch", .size = sizeof(OF), .fields = stretch_fields};
#undef OF

#define OF struct lw_noise_node
static const struct lw_field node_fields[] = {
    {LW_AT(OF, node), .kind = LW_TEXT, .required = true, .says = "name"},
    {LW_AT(OF, place), .kind = LW_TEXT, .says = "where it sits in the machine"},
    {LW_AT(OF, tap), .kind = LW_INTEGER, .says = "place on the chain; 0: none"},
    {LW_AT(OF, address), .kind = LW_INTEGER, .says = "address; 0: none"},
    {LW_AT(OF, unit), .kind = LW_TEXT, .says = "of all values of this node"},
    {LW_AT(OF, n), .kind = LW_NUMBER, .says = "readings"},
    NUMBER(mean, "mean"),
    NUMBER(stdev, "standard deviation about a straight drift line; the limit is held against it"),
    NUMBER(stdev_low95, "one-sided 95 % lower bound"),
    NUMBER(stdev_high95, "one-sided 95 % upper bound; null: none"),
    NUMBER(robust_stdev, "1.4826 times the median absolute deviation"),
    NUMBER(limit, "the limit; null: none"),
    NUMBER(own_stdev, "without what rounding to steps adds; null: below the resolution"),
    {LW_AT(OF, below_resolution), .kind = LW_BOOLEAN,
     .says = "the steps hide the noise; more readings do not help"},
    NUMBER(peak_to_peak, "where the limit is one of peak to peak"),
    NUMBER(drift_per_s, "slope"),
    NUMBER(drift_u_per_s, "its standard uncertainty"),
    NUMBER(outliers, "readings far from their neighbours"),
    NUMBER(lag1, "autocorrelation of neighbouring readings, without drift"),
    NUMBER(effective_n_mean, "independent readings that these are worth for the mean"),
    NUMBER(effective_n_spread, "independent readings that these are worth for the spread"),
    NUMBER(effective_n_high,
           "the same for the upper bound of the spread, should their noise be slow"),
    NUMBER(update_ms, "the node's own update interval"),
    {LW_AT(OF, update_from), .kind = LW_CHOICE, .names = update_words,
     .says = "where that is known from"},
    NUMBER(timing_u_ms, "standard uncertainty of the readings' times"),
    NUMBER(repeats, "further readings that only repeated the one before, left out"),
    NUMBER(longest_run, "equal readings in a row"),
    NUMBER(resolution, "smallest step"),
    NUMBER(duration_s, "first reading to last, seconds"),
    NUMBER(n_to_decide, "readings at which the spread as it stands would decide"),
    NUMBER(times_its_kind, "spread over the median of the others of its profile"),
    {LW_AT(OF, disturbed), .kind = LW_BOOLEAN,
     .says = "spread proved to be more than twice that of its kind"},
    NUMBER(at_range_end, "share of the readings at or beyond an end of the range"),
    {LW_AT(OF, beyond_range), .kind = LW_BOOLEAN, .says = "some readings are beyond the range"},
    {LW_AT(OF, jumps), .kind = LW_CHOICE, .names = jump_words,
     .says = "changes between two levels: once, or to and fro"},
    NUMBER(jump_step, "between the levels"),
    NUMBER(jump_switches, "changes of level"),
    NUMBER(allan_s, "averaging over so long leaves least; null: not asked for"),
    NUMBER(allan_stdev, "Allan deviation there"),
    NUMBER(mains_left, "share of 50 Hz (or 60 Hz, the less) that averaging and update leave"),
    {LW_AT(OF, mains_hidden), .kind = LW_BOOLEAN,
     .says = "the readings' times cannot tell mains from a slow wave"},
    NUMBER(count_jumps, "encoder: changes of place by more than one count that stayed"),
    NUMBER(count_flutter, "encoder: turns of direction"),
    NUMBER(loop_failed, "4-20 mA: share at or outside 3.6 and 21 mA, NAMUR NE 43"),
    NUMBER(loop_guard, "4-20 mA: share between these and 3.8 to 20.5 mA"),
    NUMBER(pressure_low_kpa, "air gauge: lowest feed pressure meanwhile"),
    NUMBER(pressure_high_kpa, "air gauge: highest"),
    {LW_AT(OF, tones), .kind = LW_LIST, .sub = &tone_shape, .says = "tones found, strongest first"},
    {LW_AT(OF, not_judged), .kind = LW_TEXTS, .says = "what could not be judged, and why"},
    {LW_AT(OF, cause), .kind = LW_TEXT,
     .says = "quiet, mains, tone, vibration, drift, stuck, spikes, loose contact, step, "
             "saturated, loop failed, counts lost, unexplained or no_data"},
    {LW_AT(OF, verdict), .kind = LW_CHOICE, .names = verdict_words, .says = "spread against limit"},
    {LW_AT(OF, trace_time_s), .kind = LW_NUMBERS,
     .says = "at most 400 readings for a picture: their times"},
    {LW_AT(OF, trace_value), .kind = LW_NUMBERS, .says = "and their values"},
    NUMBER(shift, "source test: how much higher with the source on"),
    NUMBER(shift_u, "its standard uncertainty"),
    NUMBER(shift_p, "probability of as large a shift from nothing"),
    NUMBER(ratio, "noise with the source on over off"),
    NUMBER(ratio_low95, "one-sided 95 % lower bound"),
    NUMBER(ratio_high95, "one-sided 95 % upper bound"),
    NUMBER(ratio_p, "probability of as large a ratio from nothing"),
    TEXT(response, "to the source: none, steady, alternating or both; null: not tested"),
    {0},
};
#undef OF
static const struct lw_shape node_shape = {
    .name = "noise_node", .size = sizeof(struct lw_noise_node), .fields = node_fields};
const struct lw_shape *const lw_noise_node_shape = &node_shape;

#define OF struct lw_noise_result
static const struct lw_field noise_fields[] = {
    TEXT(unit, "of all nodes, when they share one"),
    TEXT(state, "state of the machine meanwhile"),
    {LW_AT(OF, seconds), .kind = LW_NUMBER, .says = "first reading to last"},
    {LW_AT(OF, looks), .kind = LW_NUMBER,
     .says = "how often the readings were looked at while they came in, the last time at the end"},
    {LW_AT(OF, nodes), .kind = LW_LIST, .sub = &node_shape, .says = "by tap"},
    {LW_AT(OF, along), .kind = LW_LIST, .sub = &along_shape,
     .says = "what several nodes share, largest tone first"},
    TEXT(source, "the source that was switched off, on, on, off; null: none"),
    {LW_AT(OF, stretches), .kind = LW_LIST, .sub = &stretch_shape,
     .says = "when it was off and on"},
    {0},
};
#undef OF
const struct lw_shape lw_noise_shape = {
    .name = "noise", .size = sizeof(struct lw_noise_result), .fields = noise_fields};
