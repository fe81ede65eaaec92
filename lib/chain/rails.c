// SPDX-License-Identifier: GPL-3.0-or-later
//
// The supply as it goes on in time. The physics are lib/power's, the same as the supply check's;
// this adds only when things happen: a fault comes or goes, a node that went off tries again after
// its supervisor's delay. Solved only then, so a quiet chain costs nothing.
#include "chain/inside.h"

#include <assert.h>

// Reset supervisors of small processors hold 100 to 200 ms (from memory).
static const int64_t restart_least_ns = 100000000, restart_spread_ns = 60000000;
static const double default_start_up_ms = 200;
static const double up_before_s = 60; // the chain was switched on a minute before time 0

static int64_t rails_next(const struct lw_actor *actor)
{
    const struct lw_rails *rails = (const struct lw_rails *)actor;
    return rails->next_ns;
}

double lw_rails_volts(const struct lw_rails *rails, size_t tap)
{
    return rails->point.plus_v[tap] - rails->point.zero_v[tap];
}

bool lw_rails_running(const struct lw_rails *rails, size_t tap)
{
    if (rails->chain->nodes[tap].dead) {
        return false;
    }
    if (rails->ladder.taps[tap].load.kind == LW_LOAD_NONE) {
        return true; // it lives on something that the plan does not tell of
    }
    return rails->point.load_state[tap] == LW_LOAD_RUNNING;
}

static void plan_next(struct lw_rails *rails)
{
    rails->next_ns = rails->edge_ns;
    for (size_t i = 0; i < rails->chain->tap_count; i++) {
        if (rails->restart_ns[i] < rails->next_ns) {
            rails->next_ns = rails->restart_ns[i];
        }
    }
    for (size_t s = 0; s < rails->ladder.source_count; s++) {
        if (rails->retry_ns[s] < rails->next_ns) {
            rails->next_ns = rails->retry_ns[s];
        }
    }
}

static int64_t restart_delay_ns(const struct lw_node *node)
{
    struct lw_random key = {node->chain->seed, node->key, LW_FOR_RESTART};
    double u = lw_random_uniform(key, node->restarts);
    return restart_least_ns + (int64_t)(u * (double)restart_spread_ns);
}

// Tells the nodes whose processor started or stopped, and notes their lowest voltage.
static void tell_nodes(struct lw_rails *rails, int64_t now_ns)
{
    for (size_t i = 0; i < rails->chain->tap_count; i++) {
        struct lw_node *node = &rails->chain->nodes[i];
        bool runs = lw_rails_running(rails, i);
        if (node->profile && runs == node->actor.unpowered) {
            lw_node_power(node, runs, now_ns);
        }
        if (node->profile && lw_rails_volts(rails, i) < node->lowest_v) {
            node->lowest_v = lw_rails_volts(rails, i);
        }
        bool off = rails->point.load_state[i] == LW_LOAD_OFF &&
                   rails->now.taps[i].load.kind != LW_LOAD_NONE;
        if (off && rails->restart_ns[i] == LW_NEVER) {
            rails->restart_ns[i] = now_ns + restart_delay_ns(node);
        }
    }
}

// One that went off by its own protection tries again after its pause, if it is of that kind.
static void plan_retries(struct lw_rails *rails, int64_t now_ns)
{
    for (size_t s = 0; s < rails->ladder.source_count; s++) {
        bool off = rails->point.source_mode[s] == LW_SOURCE_OFF && !rails->held[s];
        if (off && rails->ladder.sources[s].past_limit == LW_HICCUP &&
            rails->retry_ns[s] == LW_NEVER) {
            rails->retry_ns[s] = now_ns + lw_hiccup_off_ns(rails->chain, s);
        }
    }
}

// Steps until no node changes its state any more. A ladder that the plan's check took is always
// solvable in some state, so a failing step leaves the voltages as they were.
static void solve(struct lw_rails *rails, int64_t now_ns)
{
    bool changed = true;
    size_t rounds = 2 * rails->ladder.tap_count + 2;
    while (changed && rounds-- > 0) {
        if (lw_ladder_step(&rails->now, &rails->point, &changed, NULL) != LW_OK) {
            break;
        }
    }
    plan_retries(rails, now_ns);
    tell_nodes(rails, now_ns);
}

// A supply that a fault or its switch holds off is off, and comes back when it lets go.
static void hold_sources(struct lw_rails *rails, int64_t now_ns)
{
    for (size_t s = 0; s < rails->ladder.source_count; s++) {
        bool held = lw_faults_hold_source(rails->chain, s, now_ns) || now_ns < rails->on_from_ns[s];
        if (held || rails->held[s]) {
            rails->point.source_mode[s] = held ? LW_SOURCE_OFF : LW_SOURCE_VOLTAGE;
        }
        rails->held[s] = held;
    }
}

static void take_faults(struct lw_rails *rails, int64_t now_ns)
{
    lw_faults_on_nodes(rails->chain, now_ns);
    lw_copper_faults(rails->chain, now_ns);
    lw_faults_on_ladder(rails->chain, now_ns, &rails->ladder, &rails->now);
    for (size_t i = 0; i < rails->chain->tap_count; i++) {
        if (rails->chain->nodes[i].dead) {
            rails->point.load_state[i] = LW_LOAD_OFF;
        }
    }
    hold_sources(rails, now_ns);
    rails->edge_ns = lw_faults_next_edge(rails->chain, now_ns);
    for (size_t s = 0; s < rails->ladder.source_count; s++) {
        if (rails->on_from_ns[s] > now_ns && rails->on_from_ns[s] < rails->edge_ns) {
            rails->edge_ns = rails->on_from_ns[s];
        }
    }
}

void lw_rails_switch(struct lw_rails *rails, size_t source, bool on)
{
    const struct lw_supply *supply =
        (const struct lw_supply *)rails->chain->plan->supplies.items + source;
    double delay_ms = isnan(supply->start_delay_ms) ? 0 : supply->start_delay_ms;
    int64_t now_ns = lw_wire_now_ns(rails->chain->wire);
    rails->on_from_ns[source] = on ? now_ns + (int64_t)(delay_ms * 1e6) : LW_NEVER;
    rails->edge_ns = rails->next_ns = now_ns; // the wire takes it up with its next step
}

static void rails_run(struct lw_actor *actor, int64_t now_ns)
{
    struct lw_rails *rails = (struct lw_rails *)actor;
    if (rails->edge_ns <= now_ns) {
        take_faults(rails, now_ns);
    }
    for (size_t i = 0; i < rails->chain->tap_count; i++) {
        if (rails->restart_ns[i] <= now_ns) {
            rails->restart_ns[i] = LW_NEVER;
            rails->point.load_state[i] = LW_LOAD_WAITING;
        }
    }
    for (size_t s = 0; s < rails->ladder.source_count; s++) {
        if (rails->retry_ns[s] <= now_ns) {
            rails->retry_ns[s] = LW_NEVER;
            rails->point.source_mode[s] = LW_SOURCE_VOLTAGE;
        }
    }
    solve(rails, now_ns);
    plan_next(rails);
}

static void rails_hear(struct lw_actor *actor, const struct lw_sound *sound)
{
    (void)actor;
    (void)sound;
}

static const struct lw_actor_ops rails_actor = {rails_next, rails_run, rails_hear};

static enum lw_status copy_ladder(const struct lw_ladder *from, struct lw_ladder *to,
                                  struct lw_error *error)
{
    *to = *from;
    to->taps = calloc(from->tap_count + 1, sizeof(struct lw_tap));
    to->sources = calloc(from->source_count + 1, sizeof(struct lw_source));
    to->bonds = calloc(from->bond_count + 1, sizeof(struct lw_bond));
    if (!to->taps || !to->sources || !to->bonds) {
        return lw_fail(error, LW_MEMORY, "no memory for the supply of a virtual chain");
    }
    memcpy(to->taps, from->taps, from->tap_count * sizeof(struct lw_tap));
    memcpy(to->sources, from->sources, from->source_count * sizeof(struct lw_source));
    if (from->bond_count > 0) {
        memcpy(to->bonds, from->bonds, from->bond_count * sizeof(struct lw_bond));
    }
    return LW_OK;
}

// One tap more behind the last, without a span: where somebody may plug a known load in.
static enum lw_status add_plug(struct lw_ladder *ladder, struct lw_error *error)
{
    struct lw_tap *taps = realloc(ladder->taps, (ladder->tap_count + 1) * sizeof *taps);
    if (!taps) {
        return lw_fail(error, LW_MEMORY, "no memory for the supply of a virtual chain");
    }
    ladder->taps = taps;
    ladder->taps[ladder->tap_count++] = (struct lw_tap){0};
    return LW_OK;
}

void lw_rails_plug(struct lw_rails *rails, double amperes)
{
    size_t plug = rails->chain->tap_count;
    rails->ladder.taps[plug].load =
        (struct lw_load){.kind = amperes > 0 ? LW_LOAD_CURRENT : LW_LOAD_NONE, .value = amperes};
    rails->point.load_state[plug] = amperes > 0 ? LW_LOAD_RUNNING : LW_LOAD_OFF;
    rails->edge_ns = rails->next_ns = lw_wire_now_ns(rails->chain->wire);
}

static enum lw_status make_ladder(struct lw_rails *rails, struct lw_error *error)
{
    enum lw_status status =
        lw_plan_ladder(rails->chain->plan, LW_LADDER_NOMINAL, &rails->ladder, error);
    if (status == LW_OK) {
        status = lw_ladder_check(&rails->ladder, error);
    }
    if (status == LW_OK) {
        status = add_plug(&rails->ladder, error);
    }
    if (status == LW_OK) {
        status = copy_ladder(&rails->ladder, &rails->now, error);
    }
    return status == LW_OK ? lw_point_init(&rails->ladder, &rails->point, error) : status;
}

static int64_t *timers(size_t count)
{
    int64_t *times_ns = calloc(count + 1, sizeof(int64_t));
    for (size_t i = 0; times_ns && i < count; i++) {
        times_ns[i] = LW_NEVER;
    }
    return times_ns;
}

static enum lw_status make_timers(struct lw_rails *rails, struct lw_error *error)
{
    rails->restart_ns = timers(rails->chain->tap_count);
    rails->retry_ns = timers(rails->ladder.source_count);
    rails->on_from_ns = calloc(rails->ladder.source_count + 1, sizeof(int64_t));
    rails->held = calloc(rails->ladder.source_count + 1, sizeof(bool));
    if (!rails->restart_ns || !rails->retry_ns || !rails->on_from_ns || !rails->held) {
        return lw_fail(error, LW_MEMORY, "no memory for the supply of a virtual chain");
    }
    return LW_OK;
}

enum lw_status lw_rails_init(struct lw_rails *rails, struct lw_chain *chain, struct lw_error *error)
{
    rails->chain = chain;
    rails->actor = (struct lw_actor){
        .ops = &rails_actor, .framing = chain->plan->framing, .drive_v = 2, .unpowered = true};
    enum lw_status status = make_ladder(rails, error);
    return status == LW_OK ? make_timers(rails, error) : status;
}

static double start_up_ms(const struct lw_node *node)
{
    double ms = node->profile->electrical.start_up_ms;
    return isnan(ms) ? default_start_up_ms : ms;
}

// The nodes that run at the start have run since a minute before time 0.
static void date_the_boots(struct lw_rails *rails)
{
    for (size_t i = 0; i < rails->chain->tap_count; i++) {
        struct lw_node *node = &rails->chain->nodes[i];
        if (node->profile && !node->actor.unpowered) {
            node->booted_ns = (int64_t)((start_up_ms(node) * 1e-3 - up_before_s) * 1e9);
            node->ready_ns = node->booted_ns;
            node->restarts = 0;
        }
    }
}

enum lw_status lw_rails_settle(struct lw_rails *rails, struct lw_error *error)
{
    int64_t now_ns = lw_wire_now_ns(rails->chain->wire);
    take_faults(rails, now_ns);
    struct lw_ladder_path path = {0};
    enum lw_status status = lw_ladder_cold(&rails->now, &path, error);
    if (status == LW_OK) {
        memcpy(rails->point.load_state, path.point.load_state,
               rails->ladder.tap_count * sizeof(enum lw_load_state));
        solve(rails, now_ns);
        date_the_boots(rails);
        plan_next(rails);
    }
    lw_ladder_path_finish(&path);
    return status;
}

void lw_rails_finish(struct lw_rails *rails)
{
    free(rails->restart_ns);
    free(rails->retry_ns);
    free(rails->on_from_ns);
    free(rails->held);
    free(rails->now.taps);
    free(rails->now.sources);
    free(rails->now.bonds);
    lw_point_finish(&rails->point);
    lw_ladder_free(&rails->ladder);
}
