// SPDX-License-Identifier: GPL-3.0-or-later
//
// Noise: the spread of each sensor's readings at rest against its limit, and what disturbs it.
#ifndef LW_CHECK_NOISE_H
#define LW_CHECK_NOISE_H

#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

struct lw_noise_options {
    double seconds;  // 0: the longest noise_over_s of the profiles, else 10
    double readings; // 0: no limit; a node
    bool *selected;  // per tap; NULL: all
    double limit;    // without a plan (--limit), in `unit`; NAN: none
    const char *unit;
    const char *state; // machine state, kept with the result
};
struct lw_noise_tone {
    double frequency_hz, amplitude, amplitude_u, false_alarm;
};
struct lw_noise_node {
    char *node, *place, *unit;
    int tap, address;
    double n, mean;
    double stdev; // about a straight drift line, divisor n - 2: what the limit is held against
    double stdev_low95, stdev_high95, robust_stdev, limit;
    double drift_per_s, drift_u_per_s, outliers, lag1, effective_n_mean, effective_n_spread,
        update_ms;
    double repeats, longest_run, resolution, duration_s;
    double peak_to_peak;   // where the limit is one; NAN else
    double n_to_decide;    // readings at which the spread as it stands would decide
    double times_its_kind; // spread over the median of the others of its profile; NAN: too few
    bool disturbed;        // proved to be more than twice its kind
    struct lw_list tones;  // of struct lw_noise_tone
    char *cause;           // "quiet", "mains", "drift", "stuck", "spikes", "unexplained", "no_data"
    int verdict;           // enum lw_verdict of the spread against its limit
    struct lw_list trace_time_s, trace_value; // at most 400 points of double, for the report
};
struct lw_noise_result {
    char *unit; // when all nodes share one, else NULL
    char *state;
    double seconds;
    struct lw_list nodes; // of struct lw_noise_node
};
extern const struct lw_shape lw_noise_shape;
extern const struct lw_shape *const lw_noise_node_shape; // of struct lw_noise_node

// Fills the series with readings (in registers' units); poll order and intervals are dithered from
// run->seed.
enum lw_status lw_noise_measure(const struct lw_run *run, struct lw_client *client,
                                const struct lw_plan *plan, const struct lw_noise_options *options,
                                struct lw_series *series, struct lw_error *error);
// Pure; `plan` may be NULL (then options->limit applies). Results in the limit's unit.
enum lw_status lw_noise_judge(const struct lw_plan *plan, const struct lw_noise_options *options,
                              const struct lw_series *series, struct lw_noise_result *result,
                              struct lw_rule *rule, struct lw_error *error);
void lw_noise_findings(const struct lw_noise_result *result, struct lw_findings *findings);

#endif
