// SPDX-License-Identifier: GPL-3.0-or-later
//
// The supply along a chain as a ladder of two rails: V+ and 0 V, both with the resistance of every
// span, a load between them at every tap, supplies at some. Pure: numbers in, numbers out.
// Everything in volts, amperes, ohms, watts.
//
// Taps count from 0 here (the plan's tap 1 is index 0). Span k ends at tap k; span 0 carries
// nothing.
#ifndef LW_POWER_LADDER_H
#define LW_POWER_LADDER_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

enum lw_load_kind { LW_LOAD_NONE, LW_LOAD_POWER, LW_LOAD_CURRENT, LW_LOAD_RESISTOR };

// A node as the rails see it. `value` is watts, amperes or ohms when running.
struct lw_load {
    enum lw_load_kind kind;
    double value;
    double drop_out_v; // draws from here upwards once running; below it a running node goes off
    double start_v;    // a waiting node starts running at this voltage
    double start_up_a; // drawn while waiting, from drop_out_v upwards
};

struct lw_tap {
    double span_plus_ohm,
        span_zero_ohm;       // span that ends here, with its tap's own through resistance; >= 0
    bool cut_plus, cut_zero; // that span's rail is open
    struct lw_load load;
};

enum lw_past_limit { LW_CONSTANT_CURRENT, LW_FOLD_BACK, LW_HICCUP, LW_LATCH_OFF };
enum lw_reverse { LW_REVERSE_BLOCKS, LW_REVERSE_SINKS, LW_REVERSE_TRIPS };

struct lw_source {
    size_t tap;
    double volts;              // open-circuit
    double plus_ohm, zero_ohm; // output and lead on V+; lead on 0 V; their sum above 0
    double limit_a;            // INFINITY: none
    enum lw_past_limit past_limit;
    double fold_back_a; // current into a short, LW_FOLD_BACK
    enum lw_reverse reverse;
};

// A conductive path from the 0 V rail at a tap to the machine frame; two or more put the frame
// parallel to 0 V.
struct lw_bond {
    size_t tap;
    double ohm;
};

struct lw_ladder {
    size_t tap_count;
    struct lw_tap *taps;
    size_t source_count;
    struct lw_source *sources;
    size_t bond_count;
    struct lw_bond *bonds;
};

enum lw_load_state { LW_LOAD_OFF, LW_LOAD_WAITING, LW_LOAD_RUNNING };
enum lw_source_mode {
    LW_SOURCE_VOLTAGE,  // behind its resistance
    LW_SOURCE_LIMITED,  // constant current at its limit
    LW_SOURCE_BLOCKING, // another source is higher; no current
    LW_SOURCE_OFF,      // latched off, or in a hiccup's pause
};

// One solution. Arrays have tap_count or source_count entries and belong to the point;
// lw_point_init / lw_point_finish.
struct lw_point {
    bool exists; // false: no operating point for the asked states; the voltages are then the last
                 // ones that solved
    double load_factor; // 1 when it exists; else the largest common multiplier of the loads that
                        // solves
    double *plus_v;     // rail voltages against the first source's 0 V terminal (its section's own
                        // first source's)
    double *zero_v;
    double *load_a;      // into each load
    double *span_plus_a; // along the span, positive away from the head
    double *span_zero_a; // returning, positive towards the head
    enum lw_load_state *load_state;
    double *source_a;
    enum lw_source_mode *source_mode;
    unsigned iterations; // Newton steps
    bool unsettled;      // the search for the waiting nodes that hang at their step gave up: one of
                         // them is some millivolts off it
};

// Whether two sources stand on one stretch of both rails, no cut between: *one and *other (the
// lower index first). Unless they are made for paralleling, one can feed back into the other.
bool lw_ladder_paralleled(const struct lw_ladder *ladder, size_t *one, size_t *other);

enum lw_status lw_point_init(const struct lw_ladder *ladder, struct lw_point *point,
                             struct lw_error *error);
void lw_point_finish(struct lw_point *point);

// Checks that every tap has a path to a source on both rails and that the numbers make sense.
// LW_BAD_FILE says which tap (counted from 1, as the plan does).
enum lw_status lw_ladder_check(const struct lw_ladder *ladder, struct lw_error *error);

// Solves with the load states as given in point->load_state. Newton on the block-tridiagonal system
// from the no-load profile, where the voltages fall monotonically: a matrix that is no longer
// positive definite, or a step that raises the loads, means that there is no operating point.
// Waiting nodes draw start_up_a from drop_out_v upwards; one that cannot hold itself there hangs at
// drop_out_v and draws what is left. Source modes are found by re-checking, but a source that is
// LW_SOURCE_OFF on entry stays off: latched, or in its pause, which is the caller's to end.
// LW_OK whether or not a point exists, LW_MEMORY; LW_GARBLED never happens on a ladder that
// lw_ladder_check() takes.
enum lw_status lw_ladder_solve(const struct lw_ladder *ladder, struct lw_point *point,
                               struct lw_error *error);

// What becomes of the chain by a stated path.
struct lw_ladder_path {
    bool all_on;        // nobody was shed (running) or left waiting (cold)
    bool all_on_exists; // the all-on state has an operating point
    double load_factor; // that all-on state carries
    size_t shed_count;
    size_t *shed;         // taps, in the order they went off; owned
    bool *resets_in_turn; // per tap: it went off and would see start_v again; owned
    bool *trapped;        // per tap, cold: waiting for ever; owned
    struct lw_point point;
};
void lw_ladder_path_finish(struct lw_ladder_path *path);

// Running: all on, then the one with the largest deficit under its drop-out voltage off (tie:
// highest tap), solve again. Without an operating point the node with the lowest voltage at the
// last load factor that solved goes off.
enum lw_status lw_ladder_running(const struct lw_ladder *ladder, struct lw_ladder_path *path,
                                 struct lw_error *error);

// Cold: all waiting, drawing start-up current above drop-out; running when the voltage holds at
// start_v; all such at once, to a fixed point.
enum lw_status lw_ladder_cold(const struct lw_ladder *ladder, struct lw_ladder_path *path,
                              struct lw_error *error);

// After a dip: what runs (as lw_ladder_running says) while every source's voltage falls to
// `to_share` (0..1) of itself for a moment. Nodes that fall under drop-out go off and wait; when
// the voltage is back they start again beside those that stayed on, and nodes that this pulls under
// their drop-out are shed.
enum lw_status lw_ladder_after_dip(const struct lw_ladder *ladder, double to_share,
                                   struct lw_ladder_path *path, struct lw_error *error);

// One step of the virtual chain's supply from the states in point->load_state: nodes under drop-out
// go off, waiting nodes at start_v run (by the same two rules), and the result is solved. *changed
// says whether a state moved.
enum lw_status lw_ladder_step(const struct lw_ladder *ladder, struct lw_point *point, bool *changed,
                              struct lw_error *error);

#endif
