// SPDX-License-Identifier: GPL-3.0-or-later
//
// Which span has more resistance than planned, from what the nodes' own voltmeters say. A node
// voltmeter's error is mostly constant: its own and its kind's offset do not shrink by averaging,
// source volts and the nodes' common draw are known only roughly. So the readings are compared with
// the computed ones by generalised least squares: the covariance holds each meter's own error and
// step on its diagonal, the kind's common error, the source's tolerance and the common draw scale
// as shared terms (a nuisance with a prior is a term of the covariance), and each span's extra
// resistance is tested as one column (Aitken 1936; score test).
//
// On a return visit the same meters' constant errors cancel: give as `volts` the computed voltage
// plus today's reading minus the reading at sign-off, and as node_u_v what the meters drift.
//
// Node voltmeters measure between the rails: whether V+ or 0 V is the bad one they cannot tell. A
// hand meter along one rail can.
//
// Two other explanations compete with a span: one node that draws otherwise than planned, and one
// voltmeter that is off by itself (the test of a single reading, w = (C^-1 d)_i / sqrt((C^-1)_ii),
// after Baarda, "A testing procedure for use in geodetic networks", 1968).
#ifndef LW_POWER_WEAK_SPAN_H
#define LW_POWER_WEAK_SPAN_H

#include "power/ladder.h"

// One per tap. Standard uncertainties in volts.
struct lw_voltmeter {
    double volts;     // mean of what it said; NAN: nothing
    double node_u_v;  // its own constant error
    double kind_u_v;  // constant error of all of its kind
    double step_v;    // smallest step
    double noise_u_v; // of the mean, where readings scatter; 0: none
    int kind;         // equal for meters of one kind; below 0: a hand meter
};

// What is measured besides between two terminals, the second taken as the reference: by a hand
// meter. Its part in per cent is the kind's constant error, volts times the share, with the sign of
// volts.
enum lw_rail { LW_RAIL_PLUS, LW_RAIL_ZERO };
struct lw_probe {
    struct lw_voltmeter meter;
    size_t tap[2];
    enum lw_rail rail[2];
};

struct lw_weak_span_options {
    const double *source_u_v;   // per source: standard uncertainty of its volts
    double draw_u;              // relative standard uncertainty of the nodes' common draw
    double conductor_u;         // relative standard uncertainty of all spans' resistance together
    const double *source_u_ohm; // per source: of its output and lead; NULL: known
    // Above 0: the meters' `volts` are differences, before minus during a known load of this many
    // amperes at the far end (means over off, on, on, off). Constant errors and the nodes' own draw
    // then cancel, and the current flows through every span, so that the tail is seen too.
    double step_a;
    const struct lw_probe *probes; // NULL: none; a load step takes none
    size_t probe_count;
};

// Extra resistance of one span alone, ohm at the planned currents: with the draw unknown, read it
// as a ratio to the plan.
struct lw_span_fit {
    double extra_ohm, u_ohm;     // NAN where no meter can see the span
    double z;                    // extra_ohm / u_ohm at the plan
    double chi2_gain;            // how much better the readings fit with it, above 0 only for extra
    double smallest_visible_ohm; // extra that would be proved 95 times in 100; INFINITY: none
    bool on_zero_v;              // it is the 0 V rail; only where a probe tells the rails apart
};

// What one node would have to draw alone, beyond the common factor, as a share of its planned draw:
// 1 is twice the plan. Compare `chi2_gain` with the spans': the larger explains the readings
// better.
struct lw_draw_fit {
    double extra_share, u_share; // NAN where nothing shows it (no load, a load step)
    double chi2_gain;            // 0 or more, for more and for less than planned
};

// By how much one node's voltmeter would have to be off, beyond what is known of it.
struct lw_meter_fit {
    double offset_v, u_v; // NAN without a reading, and for a load step, where constants cancel
    double chi2_gain;
};

// Span k (index) ends at tap k. What counts as found would be said of at most 5 in 100 healthy
// chains, what counts as proved of 1 in 1000: a fail on somebody's machine has to be worth it.
struct lw_weak_span {
    size_t span_count;
    struct lw_span_fit *fits;
    struct lw_draw_fit *draws;   // per tap
    size_t draw_tap;             // whose draw fits worst
    bool draw_found;             // two-sided 0.1 %, corrected for the number of taps, and a better
                                 // explanation than any span
    struct lw_meter_fit *meters; // per tap
    size_t meter_tap;            // whose voltmeter fits worst
    bool meter_found;            // the same for it; better than any span and any draw
    bool found;                  // one-sided 95 %, corrected for the number of spans looked at
    bool proved;                 // one-sided 99.9 %, corrected
    size_t span;                 // the best one
    size_t low, high;            // spans that the readings cannot tell apart from it, inclusive
    double chi2, dof;            // of the readings against the plan, without any extra
};

// `states` per tap: which loads draw (those that answer, run). At least three readings of meters
// and probes, else LW_USAGE; LW_GARBLED when the ladder has no operating point in these states.
enum lw_status lw_weak_span_find(const struct lw_ladder *ladder, const enum lw_load_state *states,
                                 const struct lw_voltmeter *meters,
                                 const struct lw_weak_span_options *options,
                                 struct lw_weak_span *result, struct lw_error *error);
void lw_weak_span_finish(struct lw_weak_span *result);

#endif
