// SPDX-License-Identifier: GPL-3.0-or-later
//
// Whose turn it is. A plain round over 200 nodes takes seconds, and a silent node costs its whole
// time-out; so the round steps along the chain in strides, the far end stands for all spans before
// it, and the silent ones share one turn in eight.
#include "check/watch_inside.h"

enum { TURNS = 8, HAND_REACH = 2 };

static bool missed(const struct lw_live *live, size_t index)
{
    return live->nodes[index].misses > 0;
}

// What lies behind a break is taken for silent without asking each of it.
bool live_is_silent(const struct lw_live *live, size_t index)
{
    return missed(live, index) || index >= live->break_from;
}

// The next in the round that answers, or was not asked yet; SIZE_MAX when all are silent.
static size_t next_in_round(struct lw_live *live)
{
    for (size_t i = 0; i < live->count; i++) {
        live->round = (live->round + live->stride) % live->count;
        if (!live_is_silent(live, live->round)) {
            return live->round;
        }
    }
    return SIZE_MAX;
}

static size_t first_silent(const struct lw_live *live)
{
    for (size_t i = 0; i < live->count; i++) {
        if (live_is_silent(live, i)) {
            return i;
        }
    }
    return SIZE_MAX;
}

static size_t next_silent(const struct lw_live *live, size_t *from)
{
    for (size_t i = 0; i < live->count; i++) {
        *from = (*from + 1) % live->count;
        if (live_is_silent(live, *from)) {
            return *from;
        }
    }
    return SIZE_MAX;
}

// What was cut off by a break comes back from the near end on: its first node gets every other of
// these turns.
static size_t silent_turn(struct lw_live *live)
{
    return live->turn / TURNS % 2 == 0 ? first_silent(live) : next_silent(live, &live->silent_turn);
}

static size_t hands_turn(struct lw_live *live)
{
    size_t from = live->hands > HAND_REACH ? live->hands - HAND_REACH : 0;
    size_t to = live->hands + HAND_REACH < live->count ? live->hands + HAND_REACH : live->count - 1;
    return live->hands == SIZE_MAX ? SIZE_MAX : from + live->hands_turn++ % (to - from + 1);
}

// Where a break can be that the silence of the chain's end speaks for. A node that was silent when
// another one behind it still answered speaks neither for nor against.
struct bounds {
    long answers;   // the last node that has answered since the end fell silent; -1: none
    size_t silent;  // the first one after it whose silence can come from the break
    size_t between; // one of those in between that may answer, in their middle; SIZE_MAX: none
    size_t witness; // one between `silent` and the end that has to be asked yet; SIZE_MAX: none
};

static int64_t last_answer_ns(const struct lw_live *live, size_t from)
{
    int64_t last_ns = -1;
    for (size_t i = from; i < live->count; i++) {
        last_ns = live->nodes[i].answered_ns > last_ns ? live->nodes[i].answered_ns : last_ns;
    }
    return last_ns;
}

static size_t find_witness(const struct lw_live *live, size_t silent, int64_t before_ns)
{
    size_t end = live->count - 1;
    for (size_t i = (silent + end) / 2 + 1; i < end; i++) {
        if (!missed(live, i)) {
            return i;
        }
        if (live->nodes[i].silent_ns >= before_ns) {
            return SIZE_MAX;
        }
    }
    return SIZE_MAX;
}

static bool find_bounds(const struct lw_live *live, struct bounds *bounds)
{
    size_t end = live->count - 1, may_answer[LW_ADDRESS_MAX + 1], count = 0;
    if (!live->has_far_end || live->count < 3 || !missed(live, end)) {
        return false;
    }
    bounds->answers = (long)end - 1;
    while (bounds->answers >= 0 &&
           live->nodes[bounds->answers].answered_ns <= live->nodes[end].silent_ns) {
        bounds->answers--;
    }
    bounds->silent = (size_t)(bounds->answers + 1);
    int64_t before_ns = last_answer_ns(live, bounds->silent);
    while (bounds->silent < end &&
           (!missed(live, bounds->silent) || live->nodes[bounds->silent].silent_ns < before_ns)) {
        if (!missed(live, bounds->silent)) {
            may_answer[count++] = bounds->silent;
        }
        bounds->silent++;
    }
    bounds->between = count > 0 ? may_answer[count / 2] : SIZE_MAX;
    bounds->witness = find_witness(live, bounds->silent, before_ns);
    return true;
}

// Halves what is not known between the two; when nothing is left, the first silent one and one
// behind it are asked, to be sure.
static size_t halving_turn(const struct lw_live *live)
{
    struct bounds bounds;
    if (!find_bounds(live, &bounds)) {
        return SIZE_MAX;
    }
    if (bounds.between != SIZE_MAX || bounds.silent + 1 == live->count) {
        return bounds.between;
    }
    return live->nodes[bounds.silent].misses == 1 ? bounds.silent : bounds.witness;
}

// One silence may be chance: it is asked again, before anybody else; when it is none, the far end
// tells whether it is alone. Behind a break that is under way they would be many; there halving
// looks for the first of them.
void live_follow_silence(struct lw_live *live, size_t index)
{
    struct bounds bounds;
    size_t end = live->count - 1;
    unsigned misses = live->nodes[index].misses;
    bool alone = index == end || !find_bounds(live, &bounds) || index < bounds.silent;
    if (misses == 1 && alone) {
        live->again = index;
    } else if (misses == 2 && live->has_far_end && !missed(live, end)) {
        live->again = end;
    }
}

size_t live_find_break(const struct lw_live *live)
{
    struct bounds bounds;
    size_t end = live->count - 1;
    if (live->sweeping || !find_bounds(live, &bounds) || bounds.between != SIZE_MAX ||
        bounds.witness != SIZE_MAX || bounds.silent == end) {
        return SIZE_MAX;
    }
    bool sure = live->nodes[end].misses > 1 && live->nodes[bounds.silent].misses > 1;
    return sure ? bounds.silent : SIZE_MAX;
}

static size_t asked_again(struct lw_live *live)
{
    size_t again = live->again;
    live->again = SIZE_MAX;
    return again;
}

static size_t sweep_turn(struct lw_live *live)
{
    size_t next = live->sweeping ? next_silent(live, &live->sweep) : SIZE_MAX;
    live->sweeping = next != SIZE_MAX;
    return next;
}

static size_t special_turn(struct lw_live *live)
{
    size_t end = live->count - 1;
    switch (live->turn % TURNS) {
    case 0:
        return live->has_far_end && !live_is_silent(live, end) ? end : SIZE_MAX;
    case 4:
        return silent_turn(live);
    case 2:
    case 6:
        return hands_turn(live);
    default:
        return SIZE_MAX;
    }
}

size_t lw_live_next(struct lw_live *live)
{
    size_t next = asked_again(live);
    if (next == SIZE_MAX) {
        next = sweep_turn(live);
    }
    if (next == SIZE_MAX) {
        next = halving_turn(live);
    }
    if (next == SIZE_MAX) {
        live->turn++;
        next = special_turn(live);
    }
    if (next == SIZE_MAX) {
        next = next_in_round(live);
    }
    return next != SIZE_MAX ? next : next_silent(live, &live->silent_turn);
}

void lw_live_hands(struct lw_live *live, size_t index)
{
    live->hands = index < live->count ? index : SIZE_MAX;
}

size_t lw_live_hands_at(const struct lw_live *live)
{
    return live->hands;
}
