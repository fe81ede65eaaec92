// SPDX-License-Identifier: GPL-3.0-or-later
//
// A plan: what should be there. The chain tap by tap, the conductors and supplies that feed it, the
// limits it must meet, and, for a virtual chain, how it is to behave. JSON ("linewalk/plan/1") with
// profiles beside it.
#ifndef LW_SITE_PLAN_H
#define LW_SITE_PLAN_H

#include "base/json.h"
#include "line/line.h"
#include "power/derating.h"
#include "power/ladder.h"
#include "site/profile.h"

#include <stdbool.h>
#include <stddef.h>

enum { LW_TAP_HEAD = -1, LW_TAP_TAIL = -2 }; // the words of an `at`

struct lw_plan_site {
    char *customer, *machine, *location, *job;
};

struct lw_termination {
    int at; // tap, LW_TAP_HEAD or LW_TAP_TAIL
    double ohm;
};

struct lw_bias {
    int at;
    double supply_v, pull_up_ohm, pull_down_ohm;
};

struct lw_plan_line {
    char *framing; // text; parsed into lw_plan.framing
    double wanted_cycle_ms, length_m, longest_stub_m;
    struct lw_list terminations; // of struct lw_termination
    struct lw_bias *bias;
    int tester_at;                               // tap, LW_TAP_HEAD (default) or LW_TAP_TAIL
    int direction;                               // enum lw_direction; the adapter by default
    int direction_before_ms, direction_after_ms; // 0 by default
};

struct lw_controller_read {
    char *nodes; // "P01-P04"
    int function, at, count, word_order;
};
struct lw_controller {
    double timeout_ms, cycle_ms;
    struct lw_list reads; // of struct lw_controller_read
};

struct lw_conductor_spec {
    double area_mm2;
    int awg; // -100 when absent
    bool stranded;
    bool tinned;
    double ohm_per_km;
    int parallel; // 1 by default
};

struct lw_lead {
    double length_m;
    struct lw_conductor_spec conductor;
    int joints;
    double joint_ohm;
};

struct lw_supply {
    char *name, *order_code;
    double nominal_v, tolerance_pct, output_ohm, limit_a;
    int past_limit; // enum lw_past_limit
    double fold_back_a, hiccup_off_s;
    int reverse;             // enum lw_reverse
    struct lw_list derating; // of struct lw_derating_point
    struct lw_lead *lead;
    int feeds_tap;   // 1-based
    int cuts_before; // 0 none, 1 v_plus, 2 both
    double measured_v, measured_a, start_delay_ms, boost_a, boost_s;
};

// Every number NAN or -1 where the file leaves it to span_default.
struct lw_span_spec {
    double length_m, length_tolerance_pct;
    struct lw_conductor_spec *conductor, *v_plus, *zero_v;
    int joints; // -1 when absent
    double joint_ohm, joint_ohm_max, rated_a, conductor_c;
};

// A path from 0 V at a tap to the machine frame.
struct lw_zero_v_bond {
    int at;     // tap, LW_TAP_HEAD or LW_TAP_TAIL
    double ohm; // 0.01 by default
    char *what; // "end clamp"
};

struct lw_limits {
    double margin_v, supply_load_pct, error_rate, bursts_per_h, reply_ms, noise_limit,
        first_answer_s;
};

struct lw_chain_entry {
    char *node;    // NULL for a passive tap
    char *profile; // its name
    int passive;   // -1 none, 0 joint, 1 repeater, 2 isolator
    int address;   // 1..247
    char *serial, *sensor_serial, *firmware, *place;
    int moves; // 0 unknown, 1 positive, 2 negative
    double travel;
    struct lw_list position_mm; // three doubles or empty
    struct lw_span_spec *span;
    struct lw_limits *limits;
    // filled by lw_plan_load():
    const struct lw_profile *is; // NULL for a passive tap
};

struct lw_term {
    double factor;
    char *node;
};
struct lw_combination {
    char *name, *unit;
    struct lw_list terms; // of struct lw_term, tuples
    double tolerance;
};

struct lw_virtual_noise {
    double white, flicker, mains_hz, mains, drift_per_min; // NAN: from the profile's repeatability
};

enum lw_fault_kind {
    LW_FAULT_WEAK_SPAN,
    LW_FAULT_DEAD_NODE,
    LW_FAULT_DOUBLE_ADDRESS,
    LW_FAULT_MISSING_TERMINATOR,
    LW_FAULT_LOST_BIAS,
    LW_FAULT_OVERLOADED_SUPPLY,
    LW_FAULT_WRONG_FRAMING,
    LW_FAULT_UNPLUGGED_SENSOR,
    LW_FAULT_STUCK_READING,
    LW_FAULT_MAGNET_NEAR,
    LW_FAULT_LATE_REPLIES,
    LW_FAULT_ECHOING_ADAPTER,
    LW_FAULT_FOREIGN_CONTROLLER,
    LW_FAULT_SWAPPED_PLACES,
    LW_FAULT_HICCUP,
    LW_FAULT_NOISY_SPAN,
    LW_FAULT_NEW_NODE, // the node is plugged from from_s to to_s, as its maker delivers it
};

const char *lw_fault_word(enum lw_fault_kind kind); // "weak_span", as in the file

// How a kind of fault takes one of the keys that not all kinds have, lw_fault_keys (ends with
// NULL).
enum lw_fault_use { LW_FAULT_KEY_NONE, LW_FAULT_KEY_MAY, LW_FAULT_KEY_NEEDS };
extern const char *const lw_fault_keys[];
enum lw_fault_use lw_fault_use(enum lw_fault_kind kind, size_t key);

// Keys that a kind does not use must be absent; lw_fault_use() says which uses which.
struct lw_fault {
    int kind;                   // enum lw_fault_kind
    int span, tap, at, address; // 1-based; 0 when absent
    double extra_ohm, extra_a, field, steady, reach_taps, late_ms, share, cycle_ms, bit_error_rate;
    int rail; // 0 both (default), 1 v_plus, 2 zero_v
    char *supply, *framing;
    struct lw_list addresses, taps; // of double
    double from_s, to_s;            // 0 and INFINITY by default
};

// A scripted hand at one sensor, in the node's metrology.unit. Later ones begin where the one
// before ended, unless at_s says when.
struct lw_hand {
    char *node;
    double by, off; // from its rest: while held, and where it comes to rest each time (0)
    double at_s, over_s, hold_s, pause_s; // NAN: after the one before; 0.3, 3, 1.5 by default
    int times;                            // 3 by default
};

struct lw_virtual {
    int seed;
    char *starts_at; // RFC 3339, may be NULL
    struct lw_virtual_noise noise;
    struct lw_list faults; // of struct lw_fault
    struct lw_list hand;   // of struct lw_hand
};

struct lw_plan {
    char *format, *revision, *made_by, *made_on, *drawing;
    struct lw_plan_site site;
    struct lw_plan_line line;
    struct lw_controller *controller;
    double ambient_c, cabinet_c; // 20 and ambient_c by default
    struct lw_list supplies;     // of struct lw_supply
    struct lw_span_spec span_default;
    struct lw_list zero_v_bonds;    // of struct lw_zero_v_bond
    struct lw_list chain;           // of struct lw_chain_entry, tap 1 first
    struct lw_list combinations;    // of struct lw_combination
    struct lw_list required_checks; // of char *; default scan roster link supply noise
    struct lw_limits limits;
    struct lw_virtual *simulated; // "virtual"
    // filled by lw_plan_load():
    struct lw_framing framing;
    struct lw_list profiles; // of struct lw_profile, all that the folder had and the chain names
};

extern const struct lw_shape lw_plan_shape;
extern const struct lw_shape lw_chain_entry_shape;           // one entry of `chain`
extern const struct lw_shape *const lw_plan_supply_shape;    // of struct lw_supply
extern const struct lw_shape *const lw_plan_conductor_shape; // of struct lw_conductor_spec

// Where a file that took part came from, for the record's inputs.
struct lw_input {
    char path[1024];
    char digest[65];
};
struct lw_inputs {
    struct lw_input *items;
    size_t count;
};

// Reads the plan at `path` and its profiles (profiles_folder; NULL: "profiles" beside the plan,
// else `installed`, which may be NULL too), joins them and checks what the table cannot: unique
// node names and addresses, known profiles, taps that exist, faults with the keys of their kind,
// spans of known resistance. `inputs` (may be NULL) gets every file that took part. LW_BAD_FILE
// names the file and the JSON pointer.
enum lw_status lw_plan_load(const char *path, const char *profiles_folder, const char *installed,
                            struct lw_plan *plan, struct lw_inputs *inputs, struct lw_error *error);
void lw_plan_free(struct lw_plan *plan);
// Adds a copy of `input`. LW_MEMORY.
enum lw_status lw_inputs_take(struct lw_inputs *inputs, const struct lw_input *input,
                              struct lw_error *error);
void lw_inputs_free(struct lw_inputs *inputs);

// All profiles (struct lw_profile) of a folder's *.json files, in the order of the files' names.
// `inputs` as above. LW_BAD_FILE when one cannot be read or two have one name.
enum lw_status lw_profiles_load(const char *folder, struct lw_list *profiles,
                                struct lw_inputs *inputs, struct lw_error *error);
void lw_profiles_free(struct lw_list *profiles);

// The revision after this one: "7" to "8", "A" to "B", "2.09" to "2.10", "draft" to "draft.1"; NULL
// to "1".
void lw_plan_next_revision(const char *revision, char *next, size_t size);

size_t lw_plan_taps(const struct lw_plan *plan);  // chain.count
size_t lw_plan_nodes(const struct lw_plan *plan); // taps with a node
const struct lw_chain_entry *lw_plan_tap(const struct lw_plan *plan,
                                         size_t tap); // 1-based, NULL past the end
// Sections of the chain: V+ is cut before the first tap of each. `sections` gets the number of each
// tap's section, from 0 (an array of lw_plan_taps()). Returns how many there are.
size_t lw_plan_sections(const struct lw_plan *plan, size_t *sections);
const struct lw_chain_entry *lw_plan_by_name(const struct lw_plan *plan, const char *node,
                                             size_t *tap);
const struct lw_chain_entry *lw_plan_by_address(const struct lw_plan *plan, int address,
                                                size_t *tap);
const struct lw_fault *lw_plan_fault(const struct lw_plan *plan, size_t index);
size_t lw_plan_at(const struct lw_plan *plan, int at); // tap number of an `at`

// Limits that apply to a tap: the entry's own, else the plan's, else the profile's (noise_limit,
// reply_ms from its slowest_reply_ms), else the built-in default (margin_v 1, supply_load_pct 80,
// error_rate 1e-3; the rest NAN = not judged). noise_limit in the profile's unit. Tap 0: what holds
// for the whole chain.
struct lw_limits lw_plan_limits(const struct lw_plan *plan, size_t tap);

// "P03,P07-P12" (by place in the chain), "3,7-12" as addresses, or both together, into a flag per
// tap (array of lw_plan_taps()); passive taps are never selected. Both NULL: all nodes. LW_USAGE
// for a name or an address that the plan does not have, and for ranges that run backwards.
enum lw_status lw_plan_select(const struct lw_plan *plan, const char *nodes, const char *addresses,
                              bool *selected, struct lw_error *error);

// "3,7-12" without a plan: a flag per address, 1 to 247. LW_USAGE says what is wrong with the list.
enum lw_status lw_addresses_parse(const char *list, bool addresses[256], struct lw_error *error);

// Which end of the tolerance a ladder is built from.
enum lw_ladder_end {
    LW_LADDER_VERDICT, // class 5 maximum conductors, nominal supply, typical load: what verdicts
                       // use
    LW_LADDER_NOMINAL, // nominal copper, nominal supply, typical load: the other end
    LW_LADDER_BEST,    // nominal copper 10 K cooler, shortest lengths, highest supply, typical load
    LW_LADDER_WORST,   // maximum conductors 10 K warmer, longest lengths, worst joints, lowest
                       // supply, highest load
};
// The plan's chain as a ladder (caller frees with lw_ladder_free). Derating at cabinet_c is applied
// to the limits. A profile without a load gives LW_LOAD_NONE: a check says so rather than pass it.
// start_v absent is minimum_v, else drop_out_v; drop_out_v absent is 0; start_up_a absent is what
// the load draws at start_v.
enum lw_status lw_plan_ladder(const struct lw_plan *plan, enum lw_ladder_end end,
                              struct lw_ladder *ladder, struct lw_error *error);
void lw_ladder_free(struct lw_ladder *ladder);
// Resistance of span k (1-based) on the V+ and 0 V rail, without through_ohm.
enum lw_status lw_plan_span_ohm(const struct lw_plan *plan, size_t span, enum lw_ladder_end end,
                                double *plus_ohm, double *zero_ohm, struct lw_error *error);
// The same with another conductor on both rails; what else the span has stays. *length_m is how
// much of it takes, one way.
enum lw_status lw_plan_span_ohm_with(const struct lw_plan *plan, size_t span,
                                     enum lw_ladder_end end,
                                     const struct lw_conductor_spec *conductor, double *plus_ohm,
                                     double *zero_ohm, double *length_m, struct lw_error *error);

#endif
