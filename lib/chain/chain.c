// SPDX-License-Identifier: GPL-3.0-or-later
//
// Puts a plan's chain together: wire, copper, nodes, rails and what the faults add, and settles the
// supply at the start.
#include "chain/chain.h"

#include "chain/inside.h"

#include <assert.h>

static const char default_start[] = "2026-01-01T00:00:00Z";

static enum lw_status utc_zero(const struct lw_plan *plan, const struct lw_chain_options *options,
                               int64_t *utc_ns, struct lw_error *error)
{
    const char *at = plan->simulated ? plan->simulated->starts_at : NULL;
    if (!at && options->utc_given) {
        *utc_ns = options->start_utc_ns;
        return LW_OK;
    }
    if (lw_time_parse(at ? at : default_start, utc_ns) != 0) {
        return lw_fail(error, LW_BAD_FILE, "/virtual/starts_at: is no date");
    }
    return LW_OK;
}

static enum lw_status add_nodes(struct lw_chain *chain, struct lw_error *error)
{
    chain->nodes = calloc(chain->tap_count + 1, sizeof *chain->nodes);
    enum lw_status status = LW_OK;
    if (!chain->nodes) {
        return lw_fail(error, LW_MEMORY, "no memory for the nodes of a virtual chain");
    }
    for (size_t i = 0; i < chain->tap_count && status == LW_OK; i++) {
        status = lw_node_init(&chain->nodes[i], chain, i, error);
        if (status == LW_OK && chain->nodes[i].profile) {
            status = lw_wire_add(chain->wire, &chain->nodes[i].actor, error);
        }
    }
    return status;
}

static enum lw_status add_foreigners(struct lw_chain *chain, struct lw_error *error)
{
    chain->foreigners = calloc(lw_fault_count(chain) + 1, sizeof *chain->foreigners);
    enum lw_status status = LW_OK;
    if (!chain->foreigners) {
        return lw_fail(error, LW_MEMORY, "no memory for a virtual controller");
    }
    for (size_t i = 0; i < lw_fault_count(chain) && status == LW_OK; i++) {
        const struct lw_fault *fault = lw_fault_of(chain, i);
        if (fault->kind == LW_FAULT_FOREIGN_CONTROLLER) {
            struct lw_foreign *foreign = &chain->foreigners[chain->foreign_count++];
            lw_foreign_init(foreign, chain, fault);
            status = lw_wire_add(chain->wire, &foreign->actor, error);
        }
    }
    return status;
}

// The rails come first among the actors, so that a node that goes dark at an instant does not
// answer at it.
static enum lw_status put_together(struct lw_chain *chain, struct lw_error *error)
{
    enum lw_status status = lw_rails_init(&chain->rails, chain, error);
    if (status == LW_OK) {
        status = lw_wire_add(chain->wire, &chain->rails.actor, error);
    }
    if (status == LW_OK) {
        status = add_nodes(chain, error);
    }
    if (status == LW_OK) {
        status = lw_copper_init(chain, error);
    }
    if (status == LW_OK) {
        status = lw_rails_settle(&chain->rails, error);
    }
    if (status == LW_OK) {
        status = lw_hand_moves(chain, error);
    }
    return status == LW_OK ? add_foreigners(chain, error) : status;
}

enum lw_status lw_chain_new(const struct lw_plan *plan, const struct lw_chain_options *options,
                            struct lw_chain **chain, struct lw_error *error)
{
    struct lw_chain_options none = {0};
    options = options ? options : &none;
    assert(options->start_s >= 0);
    struct lw_chain *fresh = calloc(1, sizeof *fresh);
    if (!fresh) {
        return lw_fail(error, LW_MEMORY, "no memory for a virtual chain");
    }
    fresh->plan = plan;
    fresh->cancel = options->cancel;
    fresh->tap_count = plan->chain.count;
    fresh->seed = plan->simulated ? (uint64_t)plan->simulated->seed : 1;
    fresh->seed = options->seed_given ? options->seed : fresh->seed;
    enum lw_status status = utc_zero(plan, options, &fresh->utc_zero_ns, error);
    if (status == LW_OK) {
        int64_t start_ns = (int64_t)llround(options->start_s * 1e9);
        status = lw_wire_new(start_ns, fresh->utc_zero_ns, fresh->seed, &fresh->wire, error);
    }
    if (status == LW_OK) {
        status = put_together(fresh, error);
    }
    if (status != LW_OK) {
        lw_chain_free(fresh);
        return status;
    }
    *chain = fresh;
    return LW_OK;
}

void lw_chain_free(struct lw_chain *chain)
{
    if (!chain) {
        return;
    }
    lw_wire_free(chain->wire);
    for (size_t i = 0; chain->nodes && i < chain->tap_count; i++) {
        lw_node_finish(&chain->nodes[i]);
    }
    lw_rails_finish(&chain->rails);
    lw_copper_finish(chain);
    free(chain->moves.items);
    free(chain->nodes);
    free(chain->foreigners);
    free(chain);
}

struct lw_wire *lw_chain_wire(struct lw_chain *chain)
{
    return chain->wire;
}

enum lw_status lw_chain_port(struct lw_chain *chain, const struct lw_framing *framing,
                             struct lw_line **line, struct lw_error *error)
{
    const struct lw_framing *use = framing ? framing : &chain->plan->framing;
    return lw_wire_port(chain->wire, use, chain->cancel, line, error);
}

double lw_chain_now_s(const struct lw_chain *chain)
{
    return (double)lw_wire_now_ns(chain->wire) / 1e9;
}

void lw_chain_switch(struct lw_chain *chain, size_t supply, bool on)
{
    assert(supply < chain->plan->supplies.count);
    lw_rails_switch(&chain->rails, supply, on);
}

double lw_chain_true_volts(struct lw_chain *chain, size_t tap)
{
    assert(tap >= 1 && tap <= chain->tap_count);
    return lw_rails_volts(&chain->rails, tap - 1);
}

bool lw_chain_true_running(struct lw_chain *chain, size_t tap)
{
    assert(tap >= 1 && tap <= chain->tap_count);
    return lw_rails_running(&chain->rails, tap - 1);
}

double lw_chain_true_offset_v(struct lw_chain *chain, size_t tap)
{
    assert(tap >= 1 && tap <= chain->tap_count && chain->nodes[tap - 1].profile);
    return lw_node_meter_offset_v(&chain->nodes[tap - 1], lw_chain_true_volts(chain, tap));
}

void lw_chain_plug(struct lw_chain *chain, double amperes)
{
    lw_rails_plug(&chain->rails, amperes);
}
