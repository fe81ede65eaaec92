// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the files of the noise check share among themselves.
#ifndef LW_CHECK_NOISE_INSIDE_H
#define LW_CHECK_NOISE_INSIDE_H

#include "check/noise.h"
#include "site/registers.h"
#include "stats/spread.h"

// Measuring: one sensor of the run.
struct lw_noise_sensor {
    size_t tap;
    const struct lw_chain_entry *entry;
    const struct lw_register *reg;
    struct lw_block block;
    double taken;
    int silences;
    double count_at_s[3], count[3]; // its sample counter, as far as read
    size_t counts;
    double timing_squares;
    struct lw_noise_tap_facts facts;
};

struct lw_noise_sampling {
    const struct lw_run *run;
    struct lw_client *client;
    const struct lw_noise_options *options;
    struct lw_series *series;
    struct lw_noise_facts *facts;
    struct lw_error *error;
    struct lw_noise_sensor *sensors;
    size_t count;
    int64_t start_ns;
    uint64_t drawn, rounds;
    double exchange_s; // of the last exchange
};

// Polls a sensor that has no sample counter so fast that it repeats itself, if it can.
enum lw_status lw_noise_burst(struct lw_noise_sampling *sampling, struct lw_noise_sensor *sensor);
// Reads the sample counter when the k-th reading of it is due: 0 at the start, 1 soon after, 2 at
// the end.
enum lw_status lw_noise_count(struct lw_noise_sampling *sampling, struct lw_noise_sensor *sensor,
                              size_t k);
// Reads an air gauge's feed pressure, a loop's current.
enum lw_status lw_noise_side(struct lw_noise_sampling *sampling, struct lw_noise_sensor *sensor);
// Hands out what was found, per tap.
enum lw_status lw_noise_keep_facts(struct lw_noise_sampling *sampling, size_t taps);

// Judging: all nodes of a series.
struct lw_noise_judging {
    const struct lw_plan *plan;
    const struct lw_noise_options *options;
    const struct lw_series *series;
    const struct lw_noise_facts *facts; // may be NULL
    struct lw_noise_result *result;
    unsigned together;   // nodes
    unsigned at_look;    // what is given as `together` where decisions share their 5 %
    double from_s, to_s; // of the readings that count now
    double *time_s, *value;
    struct lw_error *error;
};
// One node of them: its readings in the limit's unit, without repeats, in judging's arrays.
struct lw_noise_case {
    size_t tap;                             // 0: none
    const struct lw_profile *profile;       // NULL: none
    const struct lw_noise_tap_facts *facts; // NULL: none
    size_t n;
    double update_s; // NAN: not known
    struct lw_spread spread;
    bool stuck;
};

// Gathers the readings of the series' node at `index`; what is not a matter of readings goes into
// `node`, which is initialised first.
enum lw_status lw_noise_gather(struct lw_noise_judging *judging, int index,
                               struct lw_noise_case *one, struct lw_noise_node *node);
// Median-like helper: sorts ascending.
int lw_noise_ascending(const void *a, const void *b);
// A reason why something is not judged. LW_MEMORY.
enum lw_status lw_noise_not_judged(const struct lw_noise_judging *judging,
                                   struct lw_noise_node *node, const char *why);

// Tones: finds them, names them, corrects them.
enum lw_status lw_noise_tones(const struct lw_noise_judging *judging,
                              const struct lw_noise_case *one, struct lw_noise_node *node);
// What is particular to a kind of device: range ends, loops, encoders, air gauges.
enum lw_status lw_noise_kind(const struct lw_noise_judging *judging,
                             const struct lw_noise_case *one, struct lw_noise_node *node);
// The word for what the readings show, from all the rest.
const char *lw_noise_cause(const struct lw_noise_node *node, bool stuck);
// Over all nodes, each of them judged: what they share.
enum lw_status lw_noise_along_chain(struct lw_noise_judging *judging);
// Fills what the sizes heard at nodes of one kind say: the pattern, the strongest and, where the
// plan gives positions, the place.
enum lw_status lw_noise_locate(const struct lw_plan *plan, unsigned together,
                               struct lw_noise_along *along, struct lw_error *error);
extern const struct lw_shape *const lw_noise_along_shape; // of struct lw_noise_along
// The source test, when there is one, into nodes that have been judged.
enum lw_status lw_noise_source(struct lw_noise_judging *judging);

#endif
