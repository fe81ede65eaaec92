// SPDX-License-Identifier: GPL-3.0-or-later
//
// The states follow each other as they do for a listening person: at rest, something moved, is it
// still there, does anything else move, which of them is it, let go, at rest again.
#include "check/touch_hear.h"

#include "check/touch_rest.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    LEARN = 12,     // readings before a rest is known
    PATIENCE = 3,   // unanswered while learning: silent
    SELDOM = 10,    // a silent node is asked in every tenth round
    FAVOUR = 3,     // the expected node's share of the polls: one in three
    LOOK_BACK = 12, // in a sweep: is the first one still held?
    DUEL = 3,       // readings of each candidate
    CANDIDATES = 6, // more than so many at once: everything shakes
    DUELS = 4,      // a hand that still moves is waited for
};
static const double least_share = 0.25, // of the need: less is no candidate
    back_share = 0.5,                   // of the need: below it is back
    candidate_share = 0.05,             // of the strongest: is read once more beside it
    steady_share = 0.35,                // a held hand's readings lie within this share
    learn_s = 2,                        // a rest takes at least so long to learn
    settle_s = 1.5, stay_s = 20,        // a return is waited for
    still_s = 3;                        // and what stays where it is put has to be still

enum state { LEARNING, LISTENING, CONFIRMING, SWEEPING, DUELLING, HELD, SETTLING, CLEARING };

struct lw_hear {
    struct lw_ear *nodes;
    size_t count;
    enum state state;
    size_t at, rounds, polls;
    int expected, candidate, winner;
    int beside; // the other node that moved at its last look
    size_t misses, duels, candidates[CANDIDATES], candidate_count, duel_at;
    double onset_s, state_s, first_s, farthest;
    double last_round_s, cycle_s;
    bool told_rest; // CLEARING began with an event that wants LW_HEAR_REST
    struct lw_heard_move last;
};

enum lw_status lw_hear_new(const struct lw_hear_node *nodes, size_t count, struct lw_hear **hear,
                           struct lw_error *error)
{
    *hear = NULL;
    if (count == 0) {
        return lw_fail(error, LW_USAGE, "there is no sensor to be touched");
    }
    struct lw_hear *own = calloc(1, sizeof *own);
    struct lw_ear *all = calloc(count, sizeof *all);
    if (own == NULL || all == NULL) {
        free(own);
        free(all);
        return lw_fail(error, LW_MEMORY, "no memory for %zu sensors", count);
    }
    for (size_t i = 0; i < count; i++) {
        assert(nodes[i].need > 0);
        all[i] = (struct lw_ear){.is = nodes[i], .rest = NAN, .noise = NAN, .need = nodes[i].need};
    }
    *own = (struct lw_hear){.nodes = all,
                            .count = count,
                            .expected = LW_NO_NODE,
                            .candidate = LW_NO_NODE,
                            .winner = LW_NO_NODE,
                            .first_s = NAN,
                            .cycle_s = NAN,
                            .last_round_s = NAN};
    *hear = own;
    return LW_OK;
}

void lw_hear_free(struct lw_hear *hear)
{
    if (hear != NULL) {
        free(hear->nodes);
        free(hear);
    }
}

void lw_hear_expect(struct lw_hear *hear, int node)
{
    hear->expected = node;
}

static bool asked_now(const struct lw_hear *hear, size_t i)
{
    return !hear->nodes[i].silent || hear->rounds % SELDOM == 0;
}

// The next in the round that is to be asked.
static size_t in_round(const struct lw_hear *hear)
{
    for (size_t k = 0; k < hear->count; k++) {
        size_t i = (hear->at + k) % hear->count;
        if (asked_now(hear, i)) {
            return i;
        }
    }
    return hear->at;
}

static size_t next_unswept(const struct lw_hear *hear)
{
    for (size_t k = 0; k < hear->count; k++) {
        size_t i = (hear->at + k) % hear->count;
        if (!hear->nodes[i].swept && !hear->nodes[i].silent) {
            return i;
        }
    }
    return hear->count;
}

size_t lw_hear_next(const struct lw_hear *hear)
{
    bool favours = hear->expected >= 0 && hear->count > FAVOUR &&
                   !hear->nodes[hear->expected].silent && hear->polls % FAVOUR == 0;
    switch (hear->state) {
    case LISTENING:
        return favours ? (size_t)hear->expected : in_round(hear);
    case CONFIRMING:
        return (size_t)hear->candidate;
    case SWEEPING:
        return hear->polls % LOOK_BACK == 0 ? (size_t)hear->candidate : next_unswept(hear);
    case DUELLING:
        return hear->candidates[hear->duel_at % hear->candidate_count];
    case HELD:
    case SETTLING:
        return hear->polls % 2 == 0 ? (size_t)hear->winner : in_round(hear);
    case LEARNING:
    case CLEARING:
        break;
    }
    return in_round(hear);
}

static void go(struct lw_hear *hear, enum state state, double time_s)
{
    hear->state = state;
    hear->state_s = time_s;
    hear->misses = 0;
    hear->beside = LW_NO_NODE;
    hear->told_rest = false;
}

static bool learnt(const struct lw_ear *node)
{
    return node->silent || node->ringed >= LEARN;
}

// Something was moved during the learning: what has to leave its rest by `need` did so.
static int restless(const struct lw_hear *hear)
{
    for (size_t i = 0; i < hear->count; i++) {
        const struct lw_ear *node = &hear->nodes[i];
        if (!node->silent && lw_ear_width(node) >= node->is.need) {
            return (int)i;
        }
    }
    return LW_NO_NODE;
}

static enum lw_hear_event learn(struct lw_hear *hear, struct lw_ear *node, double time_s,
                                double value, struct lw_heard_move *move)
{
    if (isnan(value)) {
        node->silent = node->ringed == 0 && node->unanswered >= PATIENCE;
    } else {
        node->silent = false;
        lw_ear_add(node, value);
    }
    for (size_t i = 0; i < hear->count; i++) {
        if (!learnt(&hear->nodes[i])) {
            return LW_HEAR_NOTHING;
        }
    }
    if (time_s - hear->state_s < learn_s) {
        return LW_HEAR_NOTHING;
    }
    int moving = restless(hear);
    if (moving >= 0) {
        hear->nodes[moving].ringed = 0;
        hear->state_s = time_s;
        *move = (struct lw_heard_move){.node = moving, .other = LW_NO_NODE, .at_s = time_s};
        return LW_HEAR_RESTLESS;
    }
    for (size_t i = 0; i < hear->count; i++) {
        if (!hear->nodes[i].silent) {
            lw_ear_know_rest(&hear->nodes[i]);
            hear->nodes[i].home = hear->nodes[i].learnt_rest = hear->nodes[i].rest;
            hear->nodes[i].learnt_s = time_s;
        }
    }
    go(hear, LISTENING, time_s);
    return LW_HEAR_LEARNT;
}

static void start_sweep(struct lw_hear *hear, double time_s)
{
    go(hear, SWEEPING, time_s);
    for (size_t i = 0; i < hear->count; i++) {
        struct lw_ear *node = &hear->nodes[i];
        node->swept = (int)i == hear->candidate;
        node->with_sum = 0;
        node->with_count = 0;
    }
    hear->polls = 1; // the candidate was read just now
}

static void suspect(struct lw_hear *hear, size_t i, double time_s)
{
    hear->candidate = (int)i;
    hear->onset_s = time_s;
    hear->winner = LW_NO_NODE;
    go(hear, CONFIRMING, time_s);
}

static enum lw_hear_event listen(struct lw_hear *hear, size_t i, double time_s, double value)
{
    struct lw_ear *node = &hear->nodes[i];
    if (isnan(node->rest)) { // it was silent when rests were learnt
        lw_ear_add(node, value);
        if (node->ringed >= LEARN && lw_ear_width(node) < node->is.need) {
            lw_ear_know_rest(node);
            node->home = node->learnt_rest = node->rest;
            node->learnt_s = time_s;
        }
        return LW_HEAR_NOTHING;
    }
    if (lw_ear_score(node) >= 1) {
        suspect(hear, i, time_s);
        return LW_HEAR_NOTHING;
    }
    lw_ear_follow(node, value);
    return LW_HEAR_NOTHING;
}

// A second reading in a row away from rest is no spike.
static enum lw_hear_event confirm(struct lw_hear *hear, struct lw_ear *node, double time_s)
{
    if (lw_ear_score(node) >= 1) {
        start_sweep(hear, time_s);
        return LW_HEAR_NOTHING;
    }
    node->spikes++;
    go(hear, LISTENING, time_s);
    return LW_HEAR_NOTHING;
}

static enum lw_hear_event give_up(struct lw_hear *hear, enum lw_hear_event event, int node,
                                  int other, double time_s, struct lw_heard_move *move)
{
    *move = (struct lw_heard_move){
        .node = node, .other = other, .onset_s = hear->onset_s, .at_s = time_s};
    go(hear, CLEARING, time_s);
    hear->told_rest = true;
    for (size_t i = 0; i < hear->count; i++) {
        lw_ear_begin_still(&hear->nodes[i], time_s);
    }
    return event;
}

static void add_candidates(struct lw_hear *hear, double least)
{
    hear->candidate_count = 0;
    for (size_t i = 0; i < hear->count; i++) {
        struct lw_ear *node = &hear->nodes[i];
        if (lw_ear_score(node) >= least && hear->candidate_count < CANDIDATES) {
            hear->candidates[hear->candidate_count++] = i;
        }
        node->duels = 0;
        node->duel_sum = 0;
        node->duel_low = INFINITY;
        node->duel_high = -INFINITY;
    }
    hear->duel_at = 0;
}

static double strongest(const struct lw_hear *hear, size_t *at)
{
    double most = 0;
    for (size_t i = 0; i < hear->count; i++) {
        if (lw_ear_score(&hear->nodes[i]) > most) {
            most = lw_ear_score(&hear->nodes[i]);
            *at = i;
        }
    }
    return most;
}

static size_t count_above(const struct lw_hear *hear, double least)
{
    size_t count = 0;
    for (size_t i = 0; i < hear->count; i++) {
        count += lw_ear_score(&hear->nodes[i]) >= least;
    }
    return count;
}

static enum lw_hear_event start_duel(struct lw_hear *hear, double time_s,
                                     struct lw_heard_move *move)
{
    size_t top = 0;
    double most = strongest(hear, &top);
    double least = fmax(candidate_share * most, least_share);
    if (count_above(hear, least) > CANDIDATES) {
        return give_up(hear, LW_HEAR_UNCLEAR, (int)top, LW_NO_NODE, time_s, move);
    }
    add_candidates(hear, least);
    go(hear, DUELLING, time_s);
    return LW_HEAR_NOTHING;
}

static enum lw_hear_event sweep(struct lw_hear *hear, size_t i, double time_s,
                                struct lw_heard_move *move)
{
    struct lw_ear *node = &hear->nodes[i];
    if ((int)i == hear->candidate) {
        return lw_ear_score(node) < back_share
                   ? give_up(hear, LW_HEAR_SHORT, (int)i, LW_NO_NODE, time_s, move)
                   : LW_HEAR_NOTHING;
    }
    node->swept = true;
    node->with_sum += node->from_rest;
    node->with_count++;
    if (next_unswept(hear) < hear->count) {
        return LW_HEAR_NOTHING;
    }
    hear->duels = 0;
    return start_duel(hear, time_s, move);
}

static double duel_score(const struct lw_hear *hear, size_t k)
{
    const struct lw_ear *node = &hear->nodes[hear->candidates[k]];
    return node->duels > 0 ? fabs(node->duel_sum / (double)node->duels) / node->need : 0;
}

static void rank(const struct lw_hear *hear, size_t *first, int *second)
{
    *first = 0;
    *second = LW_NO_NODE;
    for (size_t k = 1; k < hear->candidate_count; k++) {
        if (duel_score(hear, k) > duel_score(hear, *first)) {
            *first = k;
        }
    }
    for (size_t k = 0; k < hear->candidate_count; k++) {
        if (k != *first &&
            (*second < 0 || duel_score(hear, k) > duel_score(hear, (size_t)*second))) {
            *second = (int)k;
        }
    }
}

static enum lw_hear_event name_winner(struct lw_hear *hear, size_t winner, double margin,
                                      double time_s, struct lw_heard_move *move)
{
    const struct lw_ear *node = &hear->nodes[winner];
    hear->winner = (int)winner;
    hear->farthest = node->duel_sum / (double)node->duels;
    *move = (struct lw_heard_move){.node = (int)winner,
                                   .other = LW_NO_NODE,
                                   .onset_s = hear->onset_s,
                                   .at_s = time_s,
                                   .moved = hear->farthest,
                                   .margin = margin,
                                   .from_home = fabs(lw_ear_away(node, node->home)) < node->need};
    hear->last = *move;
    lw_ear_begin_still(&hear->nodes[winner], time_s);
    go(hear, HELD, time_s);
    return LW_HEAR_MOVED;
}

// A hand that still moves makes the order of the readings decide; it is waited for.
static bool is_steady(const struct lw_ear *node)
{
    double width = node->duel_high - node->duel_low;
    double mean = fabs(node->duel_sum / (double)node->duels);
    return width <= steady_share * mean + 6 * node->noise;
}

static enum lw_hear_event decide(struct lw_hear *hear, double time_s, struct lw_heard_move *move)
{
    size_t first;
    int second;
    rank(hear, &first, &second);
    size_t winner = hear->candidates[first];
    int other = second >= 0 ? (int)hear->candidates[second] : LW_NO_NODE;
    double most = duel_score(hear, first),
           next = second >= 0 ? duel_score(hear, (size_t)second) : 0;
    if (most < back_share) {
        return give_up(hear, LW_HEAR_SHORT, (int)winner, LW_NO_NODE, time_s, move);
    }
    if (!is_steady(&hear->nodes[winner])) {
        return ++hear->duels < DUELS
                   ? start_duel(hear, time_s, move)
                   : give_up(hear, LW_HEAR_UNCLEAR, (int)winner, other, time_s, move);
    }
    if (most >= 1 && most >= LW_TOUCH_MARGIN * next) {
        return name_winner(hear, winner, next > 0 ? most / next : INFINITY, time_s, move);
    }
    return give_up(hear, most >= 1 && next >= 1 ? LW_HEAR_TWO : LW_HEAR_UNCLEAR, (int)winner, other,
                   time_s, move);
}

static enum lw_hear_event duel(struct lw_hear *hear, struct lw_ear *node, double time_s,
                               struct lw_heard_move *move)
{
    node->duels++;
    node->duel_sum += node->from_rest;
    node->duel_low = fmin(node->duel_low, node->from_rest);
    node->duel_high = fmax(node->duel_high, node->from_rest);
    hear->duel_at++;
    return hear->duel_at < DUEL * hear->candidate_count ? LW_HEAR_NOTHING
                                                        : decide(hear, time_s, move);
}

static enum lw_hear_event stays(struct lw_hear *hear, enum lw_hear_event event, double time_s,
                                struct lw_heard_move *move)
{
    struct lw_ear *node = &hear->nodes[hear->winner];
    *move = hear->last;
    move->at_s = time_s;
    move->moved = hear->farthest;
    move->off = move->off_u = NAN;
    lw_ear_rest_here(node);
    go(hear, LISTENING, time_s);
    return event;
}

// Twice in a row away from rest, and not as a neighbour that goes with the winner.
static bool moves_too(struct lw_hear *hear, size_t i)
{
    const struct lw_ear *node = &hear->nodes[i], *winner = &hear->nodes[hear->winner];
    bool moves =
        lw_ear_score(node) >= 1 && lw_ear_score(node) * LW_TOUCH_MARGIN > lw_ear_score(winner);
    if (!moves) {
        hear->beside = hear->beside == (int)i ? LW_NO_NODE : hear->beside;
        return false;
    }
    bool twice = hear->beside == (int)i;
    hear->beside = (int)i;
    return twice;
}

// While a winner is held, another one that moves is not named: one at a time.
static enum lw_hear_event beside(struct lw_hear *hear, size_t i, double time_s,
                                 struct lw_heard_move *move)
{
    struct lw_ear *node = &hear->nodes[i];
    node->with_sum += node->from_rest;
    node->with_count++;
    return moves_too(hear, i) ? give_up(hear, LW_HEAR_TWO, hear->winner, (int)i, time_s, move)
                              : LW_HEAR_NOTHING;
}

static void start_settling(struct lw_hear *hear, double time_s)
{
    go(hear, SETTLING, time_s);
    hear->nodes[hear->winner].settled_count = 0;
}

static enum lw_hear_event hold(struct lw_hear *hear, size_t i, double time_s,
                               struct lw_heard_move *move)
{
    struct lw_ear *node = &hear->nodes[i];
    if ((int)i != hear->winner) {
        return beside(hear, i, time_s, move);
    }
    if (fabs(node->from_rest) > fabs(hear->farthest)) {
        hear->farthest = node->from_rest;
    }
    double unmoved_s = lw_ear_still_s(node, time_s);
    if (lw_ear_score(node) < back_share) {
        start_settling(hear, time_s);
        return LW_HEAR_NOTHING;
    }
    if (!node->is.comes_back && unmoved_s > still_s) {
        return stays(hear, LW_HEAR_RETURNED, time_s, move);
    }
    return unmoved_s > stay_s ? stays(hear, LW_HEAR_STAYS, time_s, move) : LW_HEAR_NOTHING;
}

static enum lw_hear_event returned(struct lw_hear *hear, double time_s, struct lw_heard_move *move)
{
    struct lw_ear *node = &hear->nodes[hear->winner];
    *move = hear->last;
    move->at_s = time_s;
    move->moved = hear->farthest;
    lw_ear_judge_off(node, hear->onset_s, time_s, move);
    if (node->settled_count >= 3) {
        lw_ear_rest_settled(node);
    }
    go(hear, LISTENING, time_s);
    return LW_HEAR_RETURNED;
}

static enum lw_hear_event settle(struct lw_hear *hear, size_t i, double time_s,
                                 struct lw_heard_move *move)
{
    struct lw_ear *node = &hear->nodes[i];
    if ((int)i != hear->winner) {
        if (moves_too(hear, i)) {
            enum lw_hear_event event = returned(hear, time_s, move);
            suspect(hear, i, time_s);
            return event;
        }
        return LW_HEAR_NOTHING;
    }
    if (lw_ear_score(node) >= 1) { // deflected again before it had settled
        enum lw_hear_event event = returned(hear, time_s, move);
        suspect(hear, i, time_s);
        return event;
    }
    lw_ear_settle(node);
    return lw_ear_has_settled(node) || time_s - hear->state_s > settle_s
               ? returned(hear, time_s, move)
               : LW_HEAR_NOTHING;
}

// After a refusal: until everything is at rest. What does not come back gets a new rest.
static enum lw_hear_event clear(struct lw_hear *hear, size_t i, double time_s)
{
    struct lw_ear *node = &hear->nodes[i];
    double patience_s = node->is.comes_back ? stay_s : still_s;
    if (lw_ear_score(node) >= back_share && lw_ear_still_s(node, time_s) > patience_s) {
        lw_ear_rest_here(node);
    }
    hear->misses = lw_ear_score(node) >= back_share ? 0 : hear->misses + 1;
    if (hear->misses < hear->count) {
        return LW_HEAR_NOTHING;
    }
    bool told = hear->told_rest;
    go(hear, LISTENING, time_s);
    return told ? LW_HEAR_REST : LW_HEAR_NOTHING;
}

static void count_round(struct lw_hear *hear, size_t i, double time_s)
{
    hear->polls++;
    if (i != in_round(hear)) {
        return;
    }
    hear->at = i + 1;
    if (hear->at < hear->count) {
        return;
    }
    hear->at = 0;
    hear->rounds++;
    if (!isnan(hear->last_round_s) && (hear->state == LISTENING || hear->state == LEARNING)) {
        double took_s = time_s - hear->last_round_s;
        hear->cycle_s = isnan(hear->cycle_s) ? took_s : fmax(0.9 * hear->cycle_s, took_s);
    }
    hear->last_round_s = time_s;
}

// A node that does not answer is passed over, so that it never holds up the others.
static enum lw_hear_event take_nothing(struct lw_hear *hear, size_t i, double time_s,
                                       struct lw_heard_move *move)
{
    struct lw_ear *node = &hear->nodes[i];
    switch (hear->state) {
    case LEARNING:
        return learn(hear, node, time_s, NAN, move);
    case CONFIRMING:
        if (++hear->misses > PATIENCE) {
            go(hear, LISTENING, time_s);
        }
        return LW_HEAR_NOTHING;
    case SWEEPING:
        // Unanswered twice: it cannot be excluded that it moves; but it cannot be named either.
        node->swept = node->unanswered > 1 && (int)i != hear->candidate;
        return next_unswept(hear) < hear->count ? LW_HEAR_NOTHING : start_duel(hear, time_s, move);
    case DUELLING:
        hear->duel_at++;
        return hear->duel_at < DUEL * hear->candidate_count ? LW_HEAR_NOTHING
                                                            : decide(hear, time_s, move);
    case LISTENING:
    case HELD:
    case SETTLING:
    case CLEARING:
        break;
    }
    return LW_HEAR_NOTHING;
}

static enum lw_hear_event take_value(struct lw_hear *hear, size_t i, double time_s, double value,
                                     struct lw_heard_move *move)
{
    struct lw_ear *node = &hear->nodes[i];
    switch (hear->state) {
    case LEARNING:
        return learn(hear, node, time_s, value, move);
    case LISTENING:
        return listen(hear, i, time_s, value);
    case CONFIRMING:
        return confirm(hear, node, time_s);
    case SWEEPING:
        return sweep(hear, i, time_s, move);
    case DUELLING:
        return duel(hear, node, time_s, move);
    case HELD:
        return hold(hear, i, time_s, move);
    case SETTLING:
        return settle(hear, i, time_s, move);
    case CLEARING:
        break;
    }
    return clear(hear, i, time_s);
}

enum lw_hear_event lw_hear_take(struct lw_hear *hear, size_t i, double time_s, double value,
                                struct lw_heard_move *move)
{
    struct lw_ear *node = &hear->nodes[i];
    if (isnan(hear->first_s)) {
        hear->first_s = hear->state_s = time_s;
    }
    count_round(hear, i, time_s);
    if (isnan(value)) {
        node->unanswered++;
        return take_nothing(hear, i, time_s, move);
    }
    node->unanswered = 0;
    node->silent = false;
    node->value = value;
    node->at_s = time_s;
    node->from_rest = isnan(node->rest) ? 0 : lw_ear_away(node, value);
    return take_value(hear, i, time_s, value, move);
}

struct lw_hear_facts lw_hear_facts(const struct lw_hear *hear, size_t i)
{
    const struct lw_ear *node = &hear->nodes[i];
    double n = (double)node->with_count;
    return (struct lw_hear_facts){
        .silent = node->silent || isnan(node->rest),
        .rest = node->rest,
        .noise = node->noise,
        .need = node->need,
        .with_winner = n > 0 ? node->with_sum / n : (double)NAN,
        .with_winner_u = n > 0 ? node->noise * sqrt(1 / n + 1.0 / LW_EAR_RING) : (double)NAN,
        .spikes = node->spikes,
    };
}

double lw_hear_cycle_s(const struct lw_hear *hear)
{
    return hear->cycle_s;
}
