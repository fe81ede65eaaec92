// SPDX-License-Identifier: GPL-3.0-or-later
//
// The virtual wire: a time, the transmissions in flight on one data pair, and the actors that hang
// on it. It never asks a clock. Two cranks turn it: a port's own receive (the time jumps, so an
// hour of bus takes milliseconds), or lw_wire_serve() in step with a real line. Where one
// transmission is on the wire and the listener has its framing, bytes pass as bytes; overlaps and
// other framings take the slow path, where the drivers are superposed and the listener samples as a
// UART does.
#ifndef LW_CHAIN_WIRE_H
#define LW_CHAIN_WIRE_H

#include "line/line.h"

#define LW_NEVER INT64_MAX

// What an actor hears: characters that followed each other closely at its own framing.
struct lw_sound {
    const uint8_t *bytes;
    size_t count;              // at least 1
    int64_t first_ns, last_ns; // first bit of the first character, last bit of the last
    unsigned flags;            // LW_PIECE_*, of any of the characters
};

struct lw_actor;
struct lw_actor_ops {
    // When it next has something to do by itself; LW_NEVER when nothing is due.
    int64_t (*next)(const struct lw_actor *actor);
    // Does what is due. Called when the wire's time is exactly next().
    void (*run)(struct lw_actor *actor, int64_t now_ns);
    // Called when what was on the wire has ended, or earlier for the part heard so far. What an
    // actor sends itself it does not hear.
    void (*hear)(struct lw_actor *actor, const struct lw_sound *sound);
};

// Embedded by every actor as its first member. `tap` says where on the pair it hangs, for the
// errors that depend on the way; 0 is the place of the tester.
struct lw_actor {
    const struct lw_actor_ops *ops;
    struct lw_framing framing; // at which it sends and hears
    size_t tap;
    uint32_t key;
    double drive_v;   // differential voltage of its driver, above 0 (1.5 V is the least allowed)
    bool unpowered;   // neither hears nor sends
    bool echoes;      // hears its own sending while the medium says so
    int64_t heard_ns; // the wire's: up to here it has heard; before now, inside a character
    int64_t busy_ns;  // the wire's: its own sending ends here
};

// How likely a bit on the way from one tap to another is read wrong at a time. NULL function:
// never. 0 to 0.5.
struct lw_wire_medium {
    void *user;
    double (*bit_error_rate)(void *user, size_t from_tap, size_t to_tap, int64_t now_ns,
                             const struct lw_framing *framing);
    // How likely a receiver misses the first start bit, since it does not read the undriven pair as
    // idle; NULL: never.
    double (*start_missed)(void *user, size_t to_tap, int64_t now_ns);
    bool (*echoes)(void *user, int64_t now_ns); // a port hears its own sending; NULL: never
};

struct lw_wire; // opaque

// An empty wire whose clock stands at start_ns, with UTC start_utc_ns at time 0. `seed` is for what
// the copper does by chance. LW_MEMORY.
enum lw_status lw_wire_new(int64_t start_ns, int64_t utc_zero_ns, uint64_t seed,
                           struct lw_wire **wire, struct lw_error *error);
// Frees the wire and the ports still open on it, not the actors: their owner does.
void lw_wire_free(struct lw_wire *wire);

const struct lw_clock *lw_wire_clock(const struct lw_wire *wire);
int64_t lw_wire_now_ns(const struct lw_wire *wire);
void lw_wire_medium(struct lw_wire *wire, const struct lw_wire_medium *medium);

// Adds an actor (borrowed until lw_wire_remove() or lw_wire_free()). LW_MEMORY.
enum lw_status lw_wire_add(struct lw_wire *wire, struct lw_actor *actor, struct lw_error *error);
void lw_wire_remove(struct lw_wire *wire, struct lw_actor *actor);

// Time of the next event of an actor or of the end of what is on the wire; LW_NEVER when all is
// quiet.
int64_t lw_wire_next(const struct lw_wire *wire);

// Lets the time pass until to_ns (not backwards), with all that happens on the way.
void lw_wire_advance(struct lw_wire *wire, int64_t to_ns);

// Puts 1..LW_MBAP_MAX bytes on the wire as the actor's transmission from at_ns on (now or later;
// after its own previous one in any case), at its framing. *last_ns (may be NULL) gets the end of
// the last bit. An unpowered actor's bytes go nowhere. LW_MEMORY.
enum lw_status lw_wire_inject(struct lw_wire *wire, struct lw_actor *actor, const uint8_t *bytes,
                              size_t count, int64_t at_ns, int64_t *last_ns,
                              struct lw_error *error);

// A tester's port: a line on the wire's own clock, RTU, simulated, framed, not paced. Several may
// exist; a listener is a port that never sends. A send advances the wire to its last bit, a receive
// to the first silence after bytes, or the deadline with the characters complete by then. Closing
// it leaves the wire alone. LW_MEMORY.
enum lw_status lw_wire_port(struct lw_wire *wire, const struct lw_framing *framing,
                            const struct lw_cancel *cancel, struct lw_line **line,
                            struct lw_error *error);

struct lw_serve_options {
    struct lw_framing framing;      // of the place where the outside line's bytes enter the wire
    const struct lw_cancel *cancel; // may be NULL
    double gateway_s;               // MBAP: how long a node is waited for; 0: 1 s
    void *user;
    void (*on_request)(void *user, unsigned long count); // after each frame taken in; may be NULL
};

// The paced crank: serves the wire on a real line (pseudo-terminal, socket, port) until it is
// cancelled (LW_CANCELLED) or the line fails or can have no other master (LW_SYSTEM). The wire's
// time follows the outside line's clock; the only waiting is the outside line's receive. On an MBAP
// line requests are queued, one is on the wire at a time, and a silent node gives exception 0x0B
// (MODBUS Application Protocol V1.1b3, 7: gateway target device failed to respond).
enum lw_status lw_wire_serve(struct lw_wire *wire, struct lw_line *outside,
                             const struct lw_serve_options *options, struct lw_error *error);

#endif
