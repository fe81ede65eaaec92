// SPDX-License-Identifier: GPL-3.0-or-later
//
// A virtual chain: a plan's nodes, supplies and faults as actors on a virtual wire, behaving as
// copper does. Electrical faults act through their physics; docs/method/virtual-chain.md has the
// table. Random numbers are keyed by seed, node and purpose: the same plan, seed and start give the
// same bytes, and a node added or polled more often does not change what the others say.
#ifndef LW_CHAIN_CHAIN_H
#define LW_CHAIN_CHAIN_H

#include "chain/wire.h"
#include "site/plan.h"

struct lw_chain; // opaque

struct lw_chain_options {
    double start_s; // where on the chain's own time axis to begin, >= 0: faults and drift know it
    // UTC at time 0 (not at start_s) when the plan's virtual.starts_at does not say, with
    // utc_given; else 2026-01-01T00:00:00Z.
    bool utc_given;
    int64_t start_utc_ns;
    bool seed_given; // else the plan's virtual.seed, else 1
    uint64_t seed;
    const struct lw_cancel *cancel; // for the ports; may be NULL
};

// Builds the chain of a loaded plan (borrowed, must outlive the chain). The supply is settled at
// start_s as after a cold start with the faults of that moment. A plan without `virtual` has no
// faults and noise by its profiles. options NULL: all defaults. LW_BAD_FILE when the supplies make
// no sense (a tap without a path), LW_MEMORY.
enum lw_status lw_chain_new(const struct lw_plan *plan, const struct lw_chain_options *options,
                            struct lw_chain **chain, struct lw_error *error);
// Frees the chain, its wire and all ports still open on it. NULL is allowed.
void lw_chain_free(struct lw_chain *chain);

struct lw_wire *lw_chain_wire(struct lw_chain *chain);

// A line at the plan's tester place. framing NULL: the plan's. See lw_wire_port().
enum lw_status lw_chain_port(struct lw_chain *chain, const struct lw_framing *framing,
                             struct lw_line **line, struct lw_error *error);

// Seconds on the chain's time axis: start_s and what has passed since. The next process goes on
// from here.
double lw_chain_now_s(const struct lw_chain *chain);

// Switches a supply of the plan (counted from 0) off or on, as a hand at its switch does, now; on
// again it gives voltage after its start delay.
void lw_chain_switch(struct lw_chain *chain, size_t supply, bool on);

// What is really so, for tests and studies; no check may use these. `tap` from 1.
double lw_chain_true_volts(struct lw_chain *chain, size_t tap);    // between the rails, now
bool lw_chain_true_running(struct lw_chain *chain, size_t tap);    // its processor runs, now
double lw_chain_true_rest(struct lw_chain *chain, size_t tap);     // of its sensor, untouched
double lw_chain_true_offset_v(struct lw_chain *chain, size_t tap); // its voltmeter's constant error

// A scripted hand for the touch walk and the masters: from at_s on the sensor at `tap` reads
// `value` (metrology.unit) instead of its rest value; the move takes `over_s`. The hand of a plan's
// virtual part makes such moves of its own. LW_USAGE where no sensor is, LW_MEMORY.
enum lw_status lw_chain_move(struct lw_chain *chain, size_t tap, double at_s, double over_s,
                             double value, struct lw_error *error);

// Plugs a load of constant current in behind the last tap, from now on: `amperes` above 0; 0 takes
// it off.
void lw_chain_plug(struct lw_chain *chain, double amperes);

#endif
