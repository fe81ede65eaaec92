// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a plan's faults do to the nodes and to the ladder. Each acts on the thing itself, a
// resistance, a framing, a field, and what follows is physics; docs/method/virtual-chain.md has the
// table.
#include "chain/inside.h"

#include <assert.h>

static const double default_hiccup_off_s = 1.0, hiccup_on_s = 0.3;

size_t lw_fault_count(const struct lw_chain *chain)
{
    return chain->plan->simulated ? chain->plan->simulated->faults.count : 0;
}

const struct lw_fault *lw_fault_of(const struct lw_chain *chain, size_t index)
{
    return (const struct lw_fault *)chain->plan->simulated->faults.items + index;
}

int64_t lw_fault_edge_ns(double seconds)
{
    return seconds < 9e9 ? (int64_t)llround(seconds * 1e9) : LW_NEVER;
}

bool lw_fault_now(const struct lw_fault *fault, int64_t now_ns)
{
    return now_ns >= lw_fault_edge_ns(fault->from_s) && now_ns < lw_fault_edge_ns(fault->to_s);
}

static const struct lw_supply *supply_named(const struct lw_chain *chain, const char *name,
                                            size_t *index)
{
    const struct lw_list *supplies = &chain->plan->supplies;
    for (size_t i = 0; i < supplies->count; i++) {
        const struct lw_supply *supply = (const struct lw_supply *)supplies->items + i;
        if (!name || (supply->name && strcmp(supply->name, name) == 0)) {
            *index = i;
            return supply;
        }
    }
    return NULL;
}

int64_t lw_hiccup_off_ns(const struct lw_chain *chain, size_t source)
{
    const struct lw_supply *supply = (const struct lw_supply *)chain->plan->supplies.items + source;
    double off_s = supply->hiccup_off_s > 0 ? supply->hiccup_off_s : default_hiccup_off_s;
    return (int64_t)(off_s * 1e9);
}

static int64_t hiccup_off_ns(const struct lw_chain *chain, const struct lw_fault *fault)
{
    size_t source = 0;
    bool found = supply_named(chain, fault->supply, &source) != NULL;
    return found ? lw_hiccup_off_ns(chain, source) : (int64_t)(default_hiccup_off_s * 1e9);
}

// A supply in hiccup is off first, then tries for a moment, and so on.
static int64_t hiccup_edge(const struct lw_chain *chain, const struct lw_fault *fault,
                           int64_t now_ns, bool *off)
{
    int64_t off_ns = hiccup_off_ns(chain, fault);
    int64_t period_ns = off_ns + (int64_t)(hiccup_on_s * 1e9);
    int64_t phase_ns = (now_ns - lw_fault_edge_ns(fault->from_s)) % period_ns;
    *off = phase_ns < off_ns;
    return now_ns - phase_ns + (*off ? off_ns : period_ns);
}

int64_t lw_faults_next_edge(const struct lw_chain *chain, int64_t now_ns)
{
    int64_t next = LW_NEVER;
    for (size_t i = 0; i < lw_fault_count(chain); i++) {
        const struct lw_fault *fault = lw_fault_of(chain, i);
        int64_t edges[3] = {lw_fault_edge_ns(fault->from_s), lw_fault_edge_ns(fault->to_s),
                            LW_NEVER};
        bool off;
        if (fault->kind == LW_FAULT_HICCUP && lw_fault_now(fault, now_ns)) {
            edges[2] = hiccup_edge(chain, fault, now_ns, &off);
        }
        for (size_t k = 0; k < 3; k++) {
            next = edges[k] > now_ns && edges[k] < next ? edges[k] : next;
        }
    }
    return next;
}

static struct lw_node *node_at(struct lw_chain *chain, int tap)
{
    bool exists = tap >= 1 && (size_t)tap <= chain->tap_count;
    return exists && chain->nodes[tap - 1].profile ? &chain->nodes[tap - 1] : NULL;
}

static void as_planned(struct lw_node *node)
{
    node->address = (uint8_t)node->own_address;
    node->dead = false;
    node->late_ms = 0;
    node->late_share = 0;
    node->actor.framing = node->own_framing;
    node->was_unplugged = node->sensor.unplugged;
    node->sensor.unplugged = false;
    node->sensor.stuck = false;
    node->sensor.field = 0;
    node->sensor.steady = 0;
}

// The disturbance falls to 1/e over reach_taps. Inductive probes see it whole; the cables
// of current loops and the electronics of air gauges a tenth; encoders count on.
static void magnet(struct lw_chain *chain, const struct lw_fault *fault)
{
    double reach = fault->reach_taps > 0 ? fault->reach_taps : 1;
    for (size_t i = 0; i < chain->tap_count; i++) {
        struct lw_node *node = &chain->nodes[i];
        double away = fabs((double)i + 1 - fault->tap);
        if (!node->profile || node->profile->kind == LW_ENCODER) {
            continue;
        }
        double share = (node->profile->kind == LW_DISPLACEMENT ? 1 : 0.1) * exp(-away / reach);
        node->sensor.field += isnan(fault->field) ? 0 : share * fault->field;
        node->sensor.steady += isnan(fault->steady) ? 0 : share * fault->steady;
    }
}

// The modules of two places were addressed crosswise; with more than two, round in a circle.
static void swap_places(struct lw_chain *chain, const struct lw_fault *fault)
{
    const double *taps = fault->taps.items;
    for (size_t i = 0; i < fault->taps.count; i++) {
        struct lw_node *node = node_at(chain, (int)taps[i]);
        struct lw_node *other = node_at(chain, (int)taps[(i + 1) % fault->taps.count]);
        if (node && other) {
            node->address = (uint8_t)other->own_address;
        }
    }
}

static void one_node(struct lw_node *node, const struct lw_fault *fault)
{
    struct lw_framing framing;
    switch ((enum lw_fault_kind)fault->kind) {
    case LW_FAULT_DEAD_NODE:
        node->dead = true;
        break;
    case LW_FAULT_DOUBLE_ADDRESS:
        node->address = (uint8_t)fault->address;
        break;
    case LW_FAULT_WRONG_FRAMING:
        if (lw_framing_parse(fault->framing, &framing, NULL) == LW_OK) {
            node->actor.framing = framing;
        }
        break;
    case LW_FAULT_UNPLUGGED_SENSOR:
        node->sensor.unplugged = true;
        break;
    case LW_FAULT_STUCK_READING:
        node->sensor.stuck = true;
        node->sensor.stuck_ns = lw_fault_edge_ns(fault->from_s);
        break;
    case LW_FAULT_LATE_REPLIES:
        node->late_ms = isnan(fault->late_ms) ? 0 : fault->late_ms;
        node->late_share = isnan(fault->share) ? 1 : fault->share;
        break;
    case LW_FAULT_WEAK_SPAN:
    case LW_FAULT_MISSING_TERMINATOR:
    case LW_FAULT_LOST_BIAS:
    case LW_FAULT_OVERLOADED_SUPPLY:
    case LW_FAULT_MAGNET_NEAR:
    case LW_FAULT_ECHOING_ADAPTER:
    case LW_FAULT_FOREIGN_CONTROLLER:
    case LW_FAULT_SWAPPED_PLACES:
    case LW_FAULT_HICCUP:
    case LW_FAULT_NOISY_SPAN:
    case LW_FAULT_NEW_NODE:
        break;
    }
}

const struct lw_fault *lw_fault_new(const struct lw_chain *chain, size_t tap)
{
    for (size_t i = 0; i < lw_fault_count(chain); i++) {
        const struct lw_fault *fault = lw_fault_of(chain, i);
        if (fault->kind == LW_FAULT_NEW_NODE && fault->tap == (int)tap) {
            return fault;
        }
    }
    return NULL;
}

void lw_faults_on_nodes(struct lw_chain *chain, int64_t now_ns)
{
    for (size_t i = 0; i < chain->tap_count; i++) {
        if (chain->nodes[i].profile) {
            as_planned(&chain->nodes[i]);
        }
    }
    for (size_t i = 0; i < lw_fault_count(chain); i++) {
        const struct lw_fault *fault = lw_fault_of(chain, i);
        struct lw_node *node = node_at(chain, fault->tap);
        if (!lw_fault_now(fault, now_ns)) {
            if (node && fault->kind == LW_FAULT_NEW_NODE) {
                node->dead = true; // not plugged
            }
            continue;
        }
        if (fault->kind == LW_FAULT_MAGNET_NEAR) {
            magnet(chain, fault);
        } else if (fault->kind == LW_FAULT_SWAPPED_PLACES) {
            swap_places(chain, fault);
        } else if (node) {
            one_node(node, fault);
        }
    }
    for (size_t i = 0; i < chain->tap_count; i++) { // plugged in again while the power was on
        struct lw_node *node = &chain->nodes[i];
        node->stale_identity |= node->was_unplugged && !node->sensor.unplugged;
    }
}

static void weak_span(const struct lw_fault *fault, struct lw_ladder *ladder)
{
    if (fault->span < 1 || (size_t)fault->span > ladder->tap_count || isnan(fault->extra_ohm)) {
        return;
    }
    struct lw_tap *tap = &ladder->taps[fault->span - 1];
    tap->span_plus_ohm += fault->rail == 2 ? 0 : fault->extra_ohm;
    tap->span_zero_ohm += fault->rail == 1 ? 0 : fault->extra_ohm;
}

// Something else hangs at the supply's own terminals and takes its share.
static void overload(const struct lw_chain *chain, const struct lw_fault *fault,
                     struct lw_ladder *ladder)
{
    size_t index = 0;
    const struct lw_supply *supply = supply_named(chain, fault->supply, &index);
    if (!supply || index >= ladder->source_count || isnan(fault->extra_a)) {
        return;
    }
    struct lw_source *source = &ladder->sources[index];
    source->volts -= fault->extra_a * (isnan(supply->output_ohm) ? 0 : supply->output_ohm);
    source->limit_a = fmax(source->limit_a - fault->extra_a, 1e-3);
}

bool lw_faults_hold_source(const struct lw_chain *chain, size_t source, int64_t now_ns)
{
    for (size_t i = 0; i < lw_fault_count(chain); i++) {
        const struct lw_fault *fault = lw_fault_of(chain, i);
        size_t named = 0;
        bool off = false;
        if (fault->kind == LW_FAULT_HICCUP && lw_fault_now(fault, now_ns) &&
            supply_named(chain, fault->supply, &named) && named == source) {
            hiccup_edge(chain, fault, now_ns, &off);
        }
        if (off) {
            return true;
        }
    }
    return false;
}

void lw_faults_on_ladder(const struct lw_chain *chain, int64_t now_ns,
                         const struct lw_ladder *plain, struct lw_ladder *ladder)
{
    memcpy(ladder->taps, plain->taps, plain->tap_count * sizeof(struct lw_tap));
    memcpy(ladder->sources, plain->sources, plain->source_count * sizeof(struct lw_source));
    for (size_t i = 0; i < chain->tap_count; i++) {
        if (chain->nodes[i].dead) {
            ladder->taps[i].load.kind = LW_LOAD_NONE;
        }
    }
    for (size_t i = 0; i < lw_fault_count(chain); i++) {
        const struct lw_fault *fault = lw_fault_of(chain, i);
        if (!lw_fault_now(fault, now_ns)) {
            continue;
        }
        if (fault->kind == LW_FAULT_WEAK_SPAN) {
            weak_span(fault, ladder);
        } else if (fault->kind == LW_FAULT_OVERLOADED_SUPPLY) {
            overload(chain, fault, ladder);
        }
    }
}
