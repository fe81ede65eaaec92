// SPDX-License-Identifier: GPL-3.0-or-later
//
// Noise: the spread of each sensor's readings at rest against its limit, and what disturbs it.
#ifndef LW_CHECK_NOISE_H
#define LW_CHECK_NOISE_H

#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

// A stretch of the source test on the time axis of the readings: from_s <= time < to_s.
struct lw_noise_stretch {
    double from_s, to_s;
    bool on;
};
struct lw_noise_options {
    double seconds;  // 0: the longest noise_over_s of the profiles, else 10, and on a long chain
                     // until each node was asked 40 times (600 at most)
    bool decide;     // end as soon as no verdict is undecided that more readings could decide; then
                     // `seconds` is the most, 600 when 0
    double readings; // 0: no limit; a node
    bool *selected;  // per tap; NULL: all
    double limit;    // without a plan (--limit), in `unit`; NAN: none
    const char *unit;
    const char *state; // machine state, kept with the result
    bool allan;        // Allan deviation too
    double at_s;       // measuring: where on the series' time axis this stretch begins; above 0 it
                       // is a further one, and update intervals are not looked for again
    // Judging a source test: the source, and its stretches (struct lw_noise_stretch): four, off,
    // on, on, off; or two, off and on, of two runs. Against the limit are then held the readings
    // with the source on. NULL: no source test.
    const char *source;
    const struct lw_list *stretches;
};

// Where a node's update interval is known from.
enum lw_update_from {
    LW_UPDATE_UNKNOWN,
    LW_UPDATE_PROFILE, // its profile says so
    LW_UPDATE_COUNTER, // its sample counter, against time
    LW_UPDATE_BURST,   // readings asked for faster than they change
};
// What measuring found out about one tap beside its readings; NAN where nothing.
struct lw_noise_tap_facts {
    double update_s;
    int update_from;   // enum lw_update_from: COUNTER or BURST, else UNKNOWN
    double timing_u_s; // r.m.s. of the standard uncertainties of its readings' times
    // Meanwhile: the feed pressure in kPa of an air gauge, the loop current in mA of a loop whose
    // reading is something else.
    double side_n, side_low, side_high;
};
// Of a whole run. Zeroed: nothing is known, and the run was looked at once, at its end.
struct lw_noise_facts {
    struct lw_list taps; // of struct lw_noise_tap_facts, tap 1 first
    int64_t start_ns;    // on the line's clock: time 0 of the readings
    unsigned look;       // the run may have ended at any look; this was the last, from 1
};
void lw_noise_facts_finish(struct lw_noise_facts *facts);

// A tone in the readings, as they are: amplitude is peak, in the node's unit. `left` is the share
// of it that the node's averaging and update and the uncertainty of times have left; amplitude_low
// and amplitude_high bound it before them, NAN where so little is left that nothing can be said.
struct lw_noise_tone {
    double frequency_hz, frequency_u_hz;
    double amplitude, amplitude_u, false_alarm;
    double left, amplitude_low, amplitude_high;
    char *name; // "mains", "mains x3", "family" (of a stronger tone), "vibration", "tone"
    struct lw_list may_be; // of double: other frequencies that would look the same, lowest first
};
enum lw_noise_jumps { LW_NOISE_STEADY, LW_NOISE_STEP, LW_NOISE_TELEGRAPH };
struct lw_noise_node {
    char *node, *place, *unit;
    int tap, address;
    double n, mean; // n: without repeats
    double stdev;   // about a straight drift line, divisor n - 2: what the limit is held against
    double stdev_low95, stdev_high95, robust_stdev, limit;
    double own_stdev;      // without what rounding to steps adds; NAN below the resolution
    bool below_resolution; // the steps hide the noise; more readings do not help
    double drift_per_s, drift_u_per_s, outliers, lag1, effective_n_mean, effective_n_spread,
        effective_n_high, update_ms;
    int update_from;    // enum lw_update_from
    double timing_u_ms; // standard uncertainty of its readings' times; NAN: not known
    double repeats, longest_run, resolution, duration_s;
    double peak_to_peak;   // where the limit is one; NAN else
    double n_to_decide;    // readings at which the spread as it stands would decide
    double times_its_kind; // spread over the median of the others of its profile; NAN: too few
    bool disturbed;        // proved to be more than twice its kind
    double at_range_end;   // share of the readings at or beyond an end of the range
    bool beyond_range;     // some readings beyond it
    int jumps;             // enum lw_noise_jumps
    double jump_step, jump_switches;
    double allan_s, allan_stdev; // the averaging that helps longest, and what it leaves; NAN: not
                                 // asked for
    double mains_left; // share of 50 Hz (or 60 Hz, the less) that averaging and update leave
    bool mains_hidden; // the times of the readings cannot tell mains from a slow wave
    double count_jumps, count_flutter; // of an encoder: see noise_kind.c; NAN else
    double loop_failed; // share of readings outside what NAMUR NE 43 lets a live loop carry
    double loop_guard;  // share between its measuring and its failing bands
    double pressure_low_kpa, pressure_high_kpa;
    struct lw_list tones;      // of struct lw_noise_tone, strongest first
    struct lw_list not_judged; // of char *: what could not be, and why
    char *cause; // "quiet", "mains", "tone", "vibration", "drift", "stuck", "spikes", "loose
                 // contact", "step", "saturated", "loop failed", "counts lost", "unexplained",
                 // "no_data"
    int verdict; // enum lw_verdict of the spread against its limit
    struct lw_list trace_time_s, trace_value; // at most 400 points of double, for the report
    double shift, shift_u, shift_p;           // source test: how much higher with the source on
    double ratio, ratio_low95, ratio_high95, ratio_p; // noise with the source on over off
    char *response; // to the source: "none", "steady", "alternating", "both"; NULL: not tested
};
// What one node has of a disturbance that more than one node may share.
struct lw_noise_heard {
    char *node;
    int tap;
    double size, size_u, phase_rad; // phase of a tone at the middle of the run; NAN else
};
enum lw_noise_pattern { LW_NOISE_UNCLEAR, LW_NOISE_COMMON, LW_NOISE_NEAR };
// One disturbance over all nodes of one profile.
struct lw_noise_along {
    char *kind; // the profile
    char *what; // "tone", "steps", "shift", "spread"
    double frequency_hz;
    int pattern;             // enum lw_noise_pattern
    double in_step;          // share of the nodes whose phase agrees, or is opposite; NAN: no tone
    char *strongest;         // a node, where one is proved to have the most; else NULL
    double times_next;       // its size over that of the next
    char *nearest;           // the node whose surroundings hold the source, by positions; else NULL
    double confidence;       // that they do
    struct lw_list place_mm; // the mean of where it may be, three doubles; empty: not said
    struct lw_list nodes;    // of struct lw_noise_heard, by tap
};
struct lw_noise_result {
    char *unit; // when all nodes share one, else NULL
    char *state;
    double seconds;
    double looks;             // how often the run was looked at, the last time at its end
    struct lw_list nodes;     // of struct lw_noise_node
    struct lw_list along;     // of struct lw_noise_along
    char *source;             // that was switched; NULL: none
    struct lw_list stretches; // of struct lw_noise_stretch
};
extern const struct lw_shape lw_noise_shape;
extern const struct lw_shape *const lw_noise_node_shape; // of struct lw_noise_node

// Fills the series with readings (in registers' units); poll order and intervals are dithered from
// run->seed. `facts` is zeroed first; what it holds is right after a failure too.
enum lw_status lw_noise_measure(const struct lw_run *run, struct lw_client *client,
                                const struct lw_plan *plan, const struct lw_noise_options *options,
                                struct lw_series *series, struct lw_noise_facts *facts,
                                struct lw_error *error);
// Pure; `plan` may be NULL (then options->limit applies), `facts` too. Results in the limit's
// unit.
enum lw_status lw_noise_judge(const struct lw_plan *plan, const struct lw_noise_options *options,
                              const struct lw_series *series, const struct lw_noise_facts *facts,
                              struct lw_noise_result *result, struct lw_rule *rule,
                              struct lw_error *error);
void lw_noise_findings(const struct lw_noise_result *result, struct lw_findings *findings);

// What the readings could not show, as sentences (char *) added to `notes`. LW_MEMORY.
enum lw_status lw_noise_notes(const struct lw_noise_result *result, struct lw_list *notes,
                              struct lw_error *error);
void lw_noise_notes_free(struct lw_list *notes);

// How many of these readings' verdicts are undecided at this look (from 1) and could be decided by
// more readings.
enum lw_status lw_noise_open(const struct lw_plan *plan, const struct lw_noise_options *options,
                             const struct lw_series *series, const struct lw_noise_facts *facts,
                             size_t *open, struct lw_error *error);

#endif
