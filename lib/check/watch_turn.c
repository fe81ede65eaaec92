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

// Before the silent end of the chain, the last node that has answered since that end fell silent;
// `silent` gets the first silent one after it. False when the end answers.
static bool bounds_of_break(const struct lw_live *live, long *answers, size_t *silent)
{
    const struct live_node *end = &live->nodes[live->count - 1];
    if (!live->has_far_end || live->count < 3 || !missed(live, live->count - 1)) {
        return false;
    }
    *answers = (long)live->count - 2;
    while (*answers >= 0 && live->nodes[*answers].answered_ns <= end->silent_ns) {
        (*answers)--;
    }
    *silent = (size_t)(*answers + 1);
    while (!missed(live, *silent)) {
        (*silent)++;
    }
    return true;
}

// Halves what is not known between the two; when nothing is left, the first silent one is asked
// again, to be sure.
static size_t halving_turn(const struct lw_live *live)
{
    long answers;
    size_t silent;
    if (!bounds_of_break(live, &answers, &silent)) {
        return SIZE_MAX;
    }
    if ((long)silent - answers < 2) {
        return live->nodes[silent].misses == 1 ? silent : SIZE_MAX;
    }
    return (size_t)(answers + ((long)silent - answers) / 2);
}

// One silence may be chance: it is asked again, before anybody else; when it is none, the far end
// tells whether it is alone. Behind a break that is under way they would be many; there halving
// looks for the first of them.
void live_follow_silence(struct lw_live *live, size_t index)
{
    long answers;
    size_t silent, end = live->count - 1;
    unsigned misses = live->nodes[index].misses;
    bool alone = index == end || !bounds_of_break(live, &answers, &silent) || index < silent;
    if (misses == 1 && alone) {
        live->again = index;
    } else if (misses == 2 && live->has_far_end && !missed(live, end)) {
        live->again = end;
    }
}

size_t live_find_break(const struct lw_live *live)
{
    long answers;
    size_t silent;
    if (live->sweeping || !bounds_of_break(live, &answers, &silent) ||
        silent != (size_t)(answers + 1) || silent + 2 > live->count) {
        return SIZE_MAX;
    }
    bool sure = live->nodes[live->count - 1].misses > 1 && live->nodes[silent].misses > 1;
    return sure ? silent : SIZE_MAX;
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
