// SPDX-License-Identifier: GPL-3.0-or-later
//
// The wire's time and what is on it. Transmissions that overlap belong together; when the last of
// them has ended, every actor hears what its own receiver made of it. A character that a receiver
// is still in the middle of then is finished at the wire's next step.
#include "chain/wire_inside.h"
#include "stats/random.h"

#include <assert.h>

static int64_t earlier(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static int64_t later(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

enum lw_status lw_wire_new(int64_t start_ns, int64_t utc_zero_ns, uint64_t seed,
                           struct lw_wire **wire, struct lw_error *error)
{
    struct lw_wire *fresh = calloc(1, sizeof *fresh);
    if (!fresh) {
        return lw_fail(error, LW_MEMORY, "no memory for a virtual wire");
    }
    lw_clock_virtual(&fresh->clock, utc_zero_ns);
    fresh->clock.fixed_ns = start_ns;
    fresh->seed = seed;
    fresh->tail_ns = LW_NEVER;
    *wire = fresh;
    return LW_OK;
}

void lw_wire_free(struct lw_wire *wire)
{
    if (!wire) {
        return;
    }
    lw_wire_free_ports(wire);
    for (size_t i = 0; i < wire->sent_count; i++) {
        free(wire->sent[i]);
    }
    free(wire->sent);
    free(wire->actors);
    free(wire);
}

const struct lw_clock *lw_wire_clock(const struct lw_wire *wire)
{
    return &wire->clock;
}

int64_t lw_wire_now_ns(const struct lw_wire *wire)
{
    return wire->clock.fixed_ns;
}

void lw_wire_medium(struct lw_wire *wire, const struct lw_wire_medium *medium)
{
    wire->medium = *medium;
}

enum lw_status lw_wire_add(struct lw_wire *wire, struct lw_actor *actor, struct lw_error *error)
{
    assert(actor->ops && actor->framing.rate > 0 && actor->drive_v > 0);
    struct lw_actor **more = realloc(wire->actors, (wire->actor_count + 1) * sizeof(*more));
    if (!more) {
        return lw_fail(error, LW_MEMORY, "no memory for another actor on the virtual wire");
    }
    wire->actors = more;
    wire->actors[wire->actor_count++] = actor;
    actor->heard_ns = wire->clock.fixed_ns;
    actor->busy_ns = wire->clock.fixed_ns;
    return LW_OK;
}

void lw_wire_remove(struct lw_wire *wire, struct lw_actor *actor)
{
    for (size_t i = 0; i < wire->actor_count; i++) {
        if (wire->actors[i] == actor) {
            memmove(wire->actors + i, wire->actors + i + 1,
                    (wire->actor_count - i - 1) * sizeof(struct lw_actor *));
            wire->actor_count--;
            return;
        }
    }
}

// The end of the transmissions that overlap with the earliest one that was not heard yet.
static int64_t group_end(const struct lw_wire *wire)
{
    int64_t first = LW_NEVER, end = LW_NEVER;
    for (size_t i = 0; i < wire->sent_count; i++) {
        const struct lw_transmission *sent = wire->sent[i];
        if (!sent->settled && sent->first_ns < first) {
            first = sent->first_ns;
            end = sent->last_ns;
        }
    }
    for (size_t i = 0; i < wire->sent_count; i++) {
        const struct lw_transmission *sent = wire->sent[i];
        if (!sent->settled && sent->first_ns < end && sent->last_ns > end) {
            end = sent->last_ns;
            i = (size_t)-1; // a longer group may reach further ones
        }
    }
    return end;
}

int64_t lw_wire_next(const struct lw_wire *wire)
{
    int64_t next = earlier(group_end(wire), wire->tail_ns);
    for (size_t i = 0; i < wire->actor_count; i++) {
        next = earlier(next, wire->actors[i]->ops->next(wire->actors[i]));
    }
    return next;
}

static struct lw_random chance_of(const struct lw_wire *wire, const struct lw_actor *actor,
                                  const struct lw_transmission *sent)
{
    return (struct lw_random){wire->seed, actor->key, lw_random_word("turned bits") ^ sent->key};
}

static uint64_t chance_number(const struct lw_transmission *sent, uint64_t k)
{
    return (uint64_t)sent->first_ns * (LW_FLIPS_MAX + 1) + k;
}

static void miss_start(const struct lw_wire *wire, const struct lw_actor *actor,
                       struct lw_seen *seen)
{
    const struct lw_wire_medium *medium = &wire->medium;
    const struct lw_transmission *sent = seen->sent;
    double missed = medium->start_missed(medium->user, actor->tap, sent->first_ns);
    if (missed > 0 && lw_random_uniform(chance_of(wire, actor, sent),
                                        chance_number(sent, LW_FLIPS_MAX)) < missed) {
        seen->flips[seen->flip_count++] = 0;
    }
}

// Distances between turned bits are geometric, so that a frame without one costs a single number.
static void turn_bits(const struct lw_wire *wire, const struct lw_actor *actor,
                      struct lw_seen *seen)
{
    const struct lw_wire_medium *medium = &wire->medium;
    const struct lw_transmission *sent = seen->sent;
    double rate =
        medium->bit_error_rate(medium->user, sent->tap, actor->tap, sent->first_ns, &sent->framing);
    double bits = (double)sent->count * lw_framing_bits(&sent->framing);
    double at = -1;
    while (rate > 0 && seen->flip_count < LW_FLIPS_MAX) {
        double u =
            lw_random_uniform(chance_of(wire, actor, sent), chance_number(sent, seen->flip_count));
        at += 1 + floor(log(u) / log1p(-rate));
        if (!(at < bits)) {
            return;
        }
        seen->flips[seen->flip_count++] = (uint32_t)at;
    }
}

// Which bits of the transmission the way to the actor turns over.
static void draw_flips(const struct lw_wire *wire, const struct lw_actor *actor,
                       struct lw_seen *seen)
{
    seen->flip_count = 0;
    if (wire->medium.start_missed) {
        miss_start(wire, actor, seen);
    }
    if (wire->medium.bit_error_rate) {
        turn_bits(wire, actor, seen);
    }
}

static bool echo_now(const struct lw_wire *wire, const struct lw_actor *actor)
{
    return actor->echoes && wire->medium.echoes &&
           wire->medium.echoes(wire->medium.user, wire->clock.fixed_ns);
}

// What is on the wire for this actor between the time up to which it has heard and until_ns.
static size_t in_earshot(const struct lw_wire *wire, const struct lw_actor *actor, int64_t until_ns,
                         struct lw_seen seen[LW_OVERLAPS_MAX])
{
    bool echo = echo_now(wire, actor);
    size_t count = 0;
    for (size_t i = 0; i < wire->sent_count && count < LW_OVERLAPS_MAX; i++) {
        const struct lw_transmission *sent = wire->sent[i];
        bool own = sent->from == actor && !echo;
        if (!own && sent->last_ns > actor->heard_ns && sent->first_ns < until_ns) {
            seen[count].sent = sent;
            draw_flips(wire, actor, &seen[count]);
            count++;
        }
    }
    return count;
}

// The first character that begins at or after `from_ns`; `count` when none does.
static size_t character_from(const struct lw_transmission *sent, int64_t from_ns)
{
    size_t low = 0, high = sent->count;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (sent->first_ns + lw_framing_chars_ns(&sent->framing, middle) >= from_ns) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    return low;
}

// One clean transmission at the actor's framing: bytes pass as bytes.
static void hear_bytes(struct lw_actor *actor, const struct lw_transmission *sent, int64_t until_ns)
{
    size_t first = character_from(sent, actor->heard_ns);
    size_t end = sent->count;
    if (sent->last_ns > until_ns) {
        end = character_from(sent, until_ns + 1) - 1; // the one that until_ns stands in
    }
    if (sent->last_ns <= until_ns) {
        actor->heard_ns = until_ns;
    }
    if (end <= first) {
        return;
    }
    struct lw_sound sound = {
        .bytes = sent->bytes + first,
        .count = end - first,
        .first_ns = sent->first_ns + lw_framing_chars_ns(&sent->framing, first),
        .last_ns = sent->first_ns + lw_framing_chars_ns(&sent->framing, end),
    };
    if (actor->heard_ns < sound.last_ns) {
        actor->heard_ns = sound.last_ns;
    }
    actor->ops->hear(actor, &sound);
}

struct gathered {
    uint8_t bytes[LW_MBAP_MAX];
    struct lw_sound sound;
};

static void hand_over(struct lw_actor *actor, struct gathered *gathered)
{
    if (gathered->sound.count > 0) {
        gathered->sound.bytes = gathered->bytes;
        actor->ops->hear(actor, &gathered->sound);
    }
    gathered->sound = (struct lw_sound){0};
}

static void gather(struct lw_actor *actor, struct gathered *gathered,
                   const struct lw_character *character)
{
    struct lw_sound *sound = &gathered->sound;
    int64_t close_ns = lw_framing_chars_ns(&actor->framing, 1) / 2;
    bool apart = character->first_ns - sound->last_ns > close_ns;
    if (sound->count > 0 && (apart || sound->count == sizeof gathered->bytes)) {
        hand_over(actor, gathered);
    }
    if (sound->count == 0) {
        sound->first_ns = character->first_ns;
    }
    gathered->bytes[sound->count++] = character->byte;
    sound->last_ns = character->last_ns;
    sound->flags |= character->flags;
}

// Overlaps, turned bits, another framing: sample as a UART.
static void hear_levels(struct lw_wire *wire, struct lw_actor *actor, const struct lw_seen *seen,
                        size_t count, int64_t until_ns)
{
    struct gathered gathered = {.sound = {0}};
    struct lw_character character;
    enum lw_uart_found found;
    int64_t from_ns = actor->heard_ns - 1;
    while ((found = lw_uart_next(seen, count, &actor->framing, from_ns, until_ns, &character,
                                 &from_ns)) == LW_UART_CHARACTER) {
        gather(actor, &gathered, &character);
    }
    actor->heard_ns = until_ns;
    if (found == LW_UART_UNFINISHED) {
        actor->heard_ns = character.first_ns;
        wire->tail_ns = earlier(wire->tail_ns, character.last_ns);
    }
    hand_over(actor, &gathered);
}

static void hear_whole(struct lw_actor *actor, const struct lw_transmission *sent, int64_t until_ns)
{
    struct lw_sound sound = {
        .bytes = sent->bytes,
        .count = sent->count,
        .first_ns = sent->first_ns,
        .last_ns = sent->last_ns,
    };
    actor->heard_ns = until_ns;
    actor->ops->hear(actor, &sound);
}

static bool begins_a_character(const struct lw_transmission *sent, int64_t at_ns)
{
    size_t first = character_from(sent, at_ns);
    return sent->first_ns + lw_framing_chars_ns(&sent->framing, first) == at_ns;
}

void lw_wire_hear(struct lw_wire *wire, struct lw_actor *actor, int64_t until_ns)
{
    if (actor->heard_ns >= until_ns) {
        return;
    }
    struct lw_seen seen[LW_OVERLAPS_MAX];
    size_t count = actor->unpowered ? 0 : in_earshot(wire, actor, until_ns, seen);
    if (count == 0) {
        actor->heard_ns = until_ns;
        return;
    }
    const struct lw_transmission *sent = seen[0].sent;
    bool clean =
        count == 1 && seen[0].flip_count == 0 && lw_framing_same(&sent->framing, &actor->framing);
    if (clean && actor->heard_ns <= sent->first_ns && sent->last_ns <= until_ns) {
        hear_whole(actor, sent, until_ns);
    } else if (clean &&
               (actor->heard_ns <= sent->first_ns || begins_a_character(sent, actor->heard_ns))) {
        hear_bytes(actor, sent, until_ns);
    } else {
        hear_levels(wire, actor, seen, count, until_ns);
    }
}

// Drops what all have heard to its end.
static void forget(struct lw_wire *wire)
{
    int64_t heard_ns = LW_NEVER;
    for (size_t i = 0; i < wire->actor_count; i++) {
        heard_ns = earlier(heard_ns, wire->actors[i]->heard_ns);
    }
    size_t kept = 0;
    for (size_t i = 0; i < wire->sent_count; i++) {
        if (wire->sent[i]->settled && wire->sent[i]->last_ns <= heard_ns) {
            free(wire->sent[i]);
        } else {
            wire->sent[kept++] = wire->sent[i];
        }
    }
    wire->sent_count = kept;
}

static void settle(struct lw_wire *wire, int64_t now_ns)
{
    wire->tail_ns = LW_NEVER;
    for (size_t i = 0; i < wire->sent_count; i++) {
        wire->sent[i]->settled = wire->sent[i]->settled || wire->sent[i]->last_ns <= now_ns;
    }
    for (size_t i = 0; i < wire->actor_count; i++) {
        lw_wire_hear(wire, wire->actors[i], now_ns);
    }
    forget(wire);
}

static void step(struct lw_wire *wire, int64_t now_ns)
{
    wire->clock.fixed_ns = later(now_ns, wire->clock.fixed_ns);
    if (earlier(group_end(wire), wire->tail_ns) <= now_ns) {
        settle(wire, now_ns);
    }
    for (size_t i = 0; i < wire->actor_count; i++) {
        struct lw_actor *actor = wire->actors[i];
        if (actor->ops->next(actor) <= now_ns) {
            lw_wire_hear(wire, actor, now_ns); // it may be that there is no silence after all
        }
        if (actor->ops->next(actor) <= now_ns) {
            actor->ops->run(actor, now_ns);
        }
    }
}

void lw_wire_advance(struct lw_wire *wire, int64_t to_ns)
{
    int64_t next;
    while ((next = lw_wire_next(wire)) <= to_ns) {
        step(wire, next);
    }
    wire->clock.fixed_ns = later(to_ns, wire->clock.fixed_ns);
}

static enum lw_status room_for_one(struct lw_wire *wire, struct lw_error *error)
{
    if (wire->sent_count < wire->sent_room) {
        return LW_OK;
    }
    size_t room = wire->sent_room + 8;
    struct lw_transmission **more = realloc(wire->sent, room * sizeof(*more));
    if (!more) {
        return lw_fail(error, LW_MEMORY, "no memory for a transmission on the virtual wire");
    }
    wire->sent = more;
    wire->sent_room = room;
    return LW_OK;
}

// A half-duplex driver switches its receiver off while it sends.
static void deafen(struct lw_wire *wire, struct lw_actor *actor, int64_t end_ns)
{
    lw_wire_hear(wire, actor, wire->clock.fixed_ns);
    if (!echo_now(wire, actor)) {
        actor->heard_ns = later(actor->heard_ns, end_ns);
    }
}

enum lw_status lw_wire_inject(struct lw_wire *wire, struct lw_actor *actor, const uint8_t *bytes,
                              size_t count, int64_t at_ns, int64_t *last_ns, struct lw_error *error)
{
    assert(count > 0 && count <= LW_MBAP_MAX);
    int64_t first_ns = later(later(at_ns, wire->clock.fixed_ns), actor->busy_ns);
    int64_t end_ns = first_ns + lw_framing_chars_ns(&actor->framing, count);
    if (last_ns) {
        *last_ns = end_ns;
    }
    if (actor->unpowered) {
        return LW_OK;
    }
    deafen(wire, actor, end_ns);
    enum lw_status status = room_for_one(wire, error);
    struct lw_transmission *sent = status == LW_OK ? calloc(1, sizeof *sent) : NULL;
    if (!sent) {
        return lw_fail(error, LW_MEMORY, "no memory for a transmission on the virtual wire");
    }
    sent->from = actor;
    sent->tap = actor->tap;
    sent->key = actor->key;
    sent->drive_v = actor->drive_v;
    sent->framing = actor->framing;
    sent->first_ns = first_ns;
    sent->last_ns = end_ns;
    sent->count = count;
    memcpy(sent->bytes, bytes, count);
    wire->sent[wire->sent_count++] = sent;
    actor->busy_ns = end_ns;
    return LW_OK;
}
