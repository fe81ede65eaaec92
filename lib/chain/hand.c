// SPDX-License-Identifier: GPL-3.0-or-later
//
// A scripted hand: where it has moved a sensor to. Moves are kept in the order of their times, so
// that those to come need not be looked at.
#include "chain/inside.h"

#include <assert.h>

enum lw_status lw_chain_move(struct lw_chain *chain, size_t tap, double at_s, double over_s,
                             double value, struct lw_error *error)
{
    if (tap < 1 || tap > chain->tap_count || !chain->nodes[tap - 1].profile) {
        return lw_fail(error, LW_USAGE, "no sensor hangs at tap %zu", tap);
    }
    if (!lw_list_add(&chain->moves, sizeof(struct lw_move))) {
        return lw_fail(error, LW_MEMORY, "no memory for a scripted hand");
    }
    struct lw_move move = {tap - 1, llround(at_s * 1e9), llround(over_s * 1e9), value};
    struct lw_move *moves = chain->moves.items;
    size_t at = chain->moves.count - 1;
    for (; at > 0 && moves[at - 1].at_ns > move.at_ns; at--) {
        moves[at] = moves[at - 1];
    }
    moves[at] = move;
    return LW_OK;
}

double lw_chain_true_rest(struct lw_chain *chain, size_t tap)
{
    assert(tap >= 1 && tap <= chain->tap_count && chain->nodes[tap - 1].profile);
    return chain->nodes[tap - 1].sensor.rest;
}

static double moved(const struct lw_move *move, double from, int64_t at_ns)
{
    if (at_ns >= move->at_ns + move->over_ns) {
        return move->value;
    }
    double done = (double)(at_ns - move->at_ns) / (double)move->over_ns;
    return from + done * (move->value - from);
}

double lw_chain_deflection(const struct lw_chain *chain, const struct lw_node *node, int64_t now_ns)
{
    double value = node->sensor.rest;
    const struct lw_move *moves = chain->moves.items, *last = NULL;
    for (size_t i = 0; i < chain->moves.count && moves[i].at_ns <= now_ns; i++) {
        if (moves[i].tap == node->tap) {
            value = last ? moved(last, value, moves[i].at_ns) : value;
            last = &moves[i];
        }
    }
    return last ? moved(last, value, now_ns) : value;
}

// One deflection after the other; returns when the last has ended.
static enum lw_status deflect(struct lw_chain *chain, const struct lw_hand *hand, size_t tap,
                              double *at_s, struct lw_error *error)
{
    double rest = chain->nodes[tap - 1].sensor.rest;
    enum lw_status status = LW_OK;
    for (int k = 0; k < hand->times && status == LW_OK; k++) {
        double back_s = *at_s + hand->over_s + hand->hold_s;
        status = lw_chain_move(chain, tap, *at_s, hand->over_s, rest + hand->by, error);
        if (status == LW_OK) {
            status = lw_chain_move(chain, tap, back_s, hand->over_s, rest + hand->off, error);
        }
        *at_s = back_s + hand->over_s + hand->pause_s;
    }
    return status;
}

enum lw_status lw_hand_moves(struct lw_chain *chain, struct lw_error *error)
{
    const struct lw_virtual *virtually = chain->plan->simulated;
    enum lw_status status = LW_OK;
    double at_s = 0;
    for (size_t i = 0; virtually && i < virtually->hand.count && status == LW_OK; i++) {
        const struct lw_hand *hand = (const struct lw_hand *)virtually->hand.items + i;
        size_t tap = 0;
        const struct lw_chain_entry *entry = lw_plan_by_name(chain->plan, hand->node, &tap);
        assert(entry);
        at_s = isnan(hand->at_s) ? at_s : hand->at_s;
        status = entry->is ? deflect(chain, hand, tap, &at_s, error) : LW_OK;
    }
    return status;
}
