// SPDX-License-Identifier: GPL-3.0-or-later
//
// What wire, port and serve share. Internal to lib/chain.
#ifndef LW_CHAIN_WIRE_INSIDE_H
#define LW_CHAIN_WIRE_INSIDE_H

#include "chain/uart.h"
#include "chain/wire.h"

enum { LW_OVERLAPS_MAX = 8 }; // transmissions at a time that a receiver tells apart

struct lw_port; // a tester's port, in port.c

struct lw_wire {
    struct lw_clock clock; // its fixed_ns is the wire's time
    uint64_t seed;
    struct lw_wire_medium medium;
    size_t actor_count;
    struct lw_actor **actors;
    size_t sent_count, sent_room;
    struct lw_transmission **sent; // in flight, or not yet heard to the end by all
    int64_t tail_ns;               // a receiver's unfinished character ends here
    struct lw_port *ports;
    uint32_t ports_made;
};

// Lets the actor hear what was on the wire for it up to until_ns (not after now).
void lw_wire_hear(struct lw_wire *wire, struct lw_actor *actor, int64_t until_ns);

void lw_wire_free_ports(struct lw_wire *wire);

#endif
