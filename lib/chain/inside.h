// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the parts of a virtual chain know of each other: the rails, the nodes with their sensors,
// the copper and a foreign controller. Internal to lib/chain. Taps count from 0 here, as in
// lib/power; numbers without a unit in their name are in the profile's metrology.unit.
#ifndef LW_CHAIN_INSIDE_H
#define LW_CHAIN_INSIDE_H

#include "chain/chain.h"
#include "chain/framer.h"
#include "chain/wire_inside.h"
#include "modbus/identity.h"
#include "modbus/pdu.h"
#include "stats/random.h"

// What random numbers are for. New ones at the end: the order is part of "same seed, same bytes".
enum lw_purpose {
    LW_FOR_REST = 1,
    LW_FOR_PHASE,
    LW_FOR_WHITE,
    LW_FOR_FLICKER,
    LW_FOR_MAINS,
    LW_FOR_OFFSET,
    LW_FOR_GAIN,
    LW_FOR_METER_NOISE,
    LW_FOR_LATENCY,
    LW_FOR_LATE,
    LW_FOR_STARVED,
    LW_FOR_RESTART,
    LW_FOR_SERIAL,
    LW_FOR_DATES,
    LW_FOR_DRIVE,
    LW_FOR_TEMPERATURE,
    LW_FOR_THRESHOLD,
    LW_FOR_IDLE,
};

enum { LW_OCTAVES = 17, LW_COUNTERS = 8, LW_COILS_MAX = 64 };

// The measuring side of a node.
struct lw_sensor {
    const struct lw_profile *profile;
    const struct lw_virtual_noise *noise; // NULL: by the profile
    uint64_t seed;
    uint32_t key;
    int64_t update_ns, averaging_ns, phase_ns;
    double rest, white, flicker, mains, mains_hz, drift_per_min;
    double octave[LW_OCTAVES]; // the 1/f processes as they stand
    uint64_t octave_steps;
    int64_t octave_ns;
    // by the faults of the moment
    bool unplugged, stuck;
    int64_t stuck_ns;
    double field, steady;
};

struct lw_measured {
    double value; // what the node reports, before its register rounds it
    bool over_range;
    uint64_t updates; // since time 0
};

void lw_sensor_init(struct lw_sensor *sensor, const struct lw_profile *profile,
                    const struct lw_virtual_noise *noise, uint64_t seed, uint32_t key);
// `deflection` is what a hand has made of the rest value.
struct lw_measured lw_sensor_measure(struct lw_sensor *sensor, double deflection, int64_t now_ns);

// A node on the wire.
struct lw_node {
    struct lw_actor actor; // first
    struct lw_chain *chain;
    size_t tap;
    const struct lw_chain_entry *entry;
    const struct lw_profile *profile; // NULL: a passive tap
    uint32_t key;                     // of its name: who it is on the chain
    uint32_t module_key;              // of its serial: whose errors it has
    struct lw_sensor sensor;
    struct lw_identity *identity; // NULL: it has none
    // by the faults of the moment
    uint8_t address;
    bool dead;
    double late_ms, late_share;
    bool was_unplugged, stale_identity;
    // power
    int64_t booted_ns; // its processor runs since
    int64_t ready_ns;  // it answers from here on
    unsigned restarts;
    double lowest_v;
    // bus
    struct lw_framer heard;
    int64_t answer_ns; // LW_NEVER: nothing to answer
    size_t answer_count;
    uint8_t answer[LW_RTU_MAX];
    uint64_t frames; // that were for it
    uint16_t counters[LW_COUNTERS];
    uint16_t events;
    size_t log_count;
    uint8_t log[LW_EVENTS_MAX]; // newest first
    uint8_t coils[LW_COILS_MAX / 8];
    // setup
    size_t unlocked;   // how much of the unlocking sequence was written
    size_t restarting; // how much of the restarting sequence was written
    int set_address, saved_address, own_address;
    struct lw_framing set_framing, saved_framing, own_framing;
    bool restarts_itself; // once it has answered
};

enum lw_status lw_node_init(struct lw_node *node, struct lw_chain *chain, size_t tap,
                            struct lw_error *error);
void lw_node_finish(struct lw_node *node);
// Its processor starts or stops.
void lw_node_power(struct lw_node *node, bool running, int64_t now_ns);
// It answers at another address of its own, or speaks at another framing, from now on.
void lw_node_readdress(struct lw_node *node, int address);
void lw_node_reframe(struct lw_node *node, const struct lw_framing *framing);
double lw_node_meter_v(struct lw_node *node, double volts, int64_t now_ns);
double lw_node_meter_offset_v(const struct lw_node *node, double volts);

// node_answers.c: what a node replies to a request; count 0: nothing.
void lw_node_reply(struct lw_node *node, const struct lw_pdu *request, int64_t now_ns,
                   struct lw_pdu *reply);
// node_registers.c: the register image. 0 or an exception code.
uint8_t lw_node_read(struct lw_node *node, const struct lw_request *request, int64_t now_ns,
                     struct lw_reply *reply);
uint8_t lw_node_write(struct lw_node *node, const struct lw_request *request);
uint8_t lw_node_status_bits(struct lw_node *node, int64_t now_ns);

// The supply as it goes on in time.
struct lw_rails {
    struct lw_actor actor; // first; on the wire only for its time
    struct lw_chain *chain;
    struct lw_ladder ladder; // the plan's
    struct lw_ladder now;    // with the faults of the moment
    struct lw_point point;
    int64_t *restart_ns; // per tap: when an off node tries again; LW_NEVER: not
    int64_t *retry_ns;   // per source: when one that went off by itself tries again
    int64_t *on_from_ns; // per source: as its switch has it; LW_NEVER: off
    bool *held;          // per source: a fault or its switch keeps it off
    int64_t edge_ns;     // when the next fault comes or goes
    int64_t next_ns;
};

enum lw_status lw_rails_init(struct lw_rails *rails, struct lw_chain *chain,
                             struct lw_error *error);
enum lw_status lw_rails_settle(struct lw_rails *rails, struct lw_error *error);
void lw_rails_finish(struct lw_rails *rails);
void lw_rails_plug(struct lw_rails *rails, double amperes);
void lw_rails_switch(struct lw_rails *rails, size_t source, bool on);
double lw_rails_volts(const struct lw_rails *rails, size_t tap);
bool lw_rails_running(const struct lw_rails *rails, size_t tap);

// faults.c
int64_t lw_fault_edge_ns(double seconds); // of from_s or to_s; LW_NEVER: not in this life
bool lw_fault_now(const struct lw_fault *fault, int64_t now_ns);
int64_t lw_faults_next_edge(const struct lw_chain *chain, int64_t now_ns);
void lw_faults_on_nodes(struct lw_chain *chain, int64_t now_ns);
void lw_faults_on_ladder(const struct lw_chain *chain, int64_t now_ns,
                         const struct lw_ladder *plain, struct lw_ladder *ladder);
bool lw_faults_hold_source(const struct lw_chain *chain, size_t source, int64_t now_ns);
int64_t lw_hiccup_off_ns(const struct lw_chain *chain, size_t source);
// Where a node is as its maker delivers it, if it is that new: NULL for one that was set up before.
const struct lw_fault *lw_fault_new(const struct lw_chain *chain, size_t tap);
size_t lw_fault_count(const struct lw_chain *chain);
const struct lw_fault *lw_fault_of(const struct lw_chain *chain, size_t index);

// A master that nobody told us of.
struct lw_foreign {
    struct lw_actor actor; // first
    struct lw_chain *chain;
    const struct lw_fault *fault;
    int64_t next_ns, cycle_ns;
    size_t asked;
};
void lw_foreign_init(struct lw_foreign *foreign, struct lw_chain *chain,
                     const struct lw_fault *fault);

// copper.c: bit errors by the physics of the pair.
struct lw_copper {
    double *position_m;         // per tap, from the head; [0] is the head, [tap_count + 1] the end
    double end_ohm[2];          // what terminates head and tail now
    bool noisy;                 // some span is
    int judged_rate;            // for which `rings` holds; 0: none
    bool rings;                 // waves can make errors at that rate
    bool idle_is_sure, echoing; // by the faults of the moment
    double idle_v;              // differential voltage of the undriven pair
};
enum lw_status lw_copper_init(struct lw_chain *chain, struct lw_error *error);
void lw_copper_faults(struct lw_chain *chain, int64_t now_ns);
void lw_copper_finish(struct lw_chain *chain);

struct lw_move {
    size_t tap;
    int64_t at_ns, over_ns;
    double value;
};

// The frame that a node took last, so that the next one need not check the same bytes again.
struct lw_last_frame {
    size_t count;
    uint8_t bytes[LW_RTU_MAX];
    bool whole;
    uint8_t address;
    struct lw_pdu pdu;
};

struct lw_chain {
    const struct lw_plan *plan;
    const struct lw_cancel *cancel;
    uint64_t seed;
    int64_t utc_zero_ns;
    struct lw_wire *wire;
    struct lw_rails rails;
    struct lw_copper copper;
    size_t tap_count;
    struct lw_node *nodes; // one per tap, passive ones too
    size_t foreign_count;
    struct lw_foreign *foreigners;
    struct lw_last_frame last_frame;
    struct lw_list moves; // of struct lw_move, in the order of their times
};

// hand.c: the plan's scripted hand as moves, and what they make of a sensor's rest.
enum lw_status lw_hand_moves(struct lw_chain *chain, struct lw_error *error);
double lw_chain_deflection(const struct lw_chain *chain, const struct lw_node *node,
                           int64_t now_ns);

#endif
