// SPDX-License-Identifier: GPL-3.0-or-later
//
// Hears which sensor a hand moves. It is given one reading after the other and says which node it
// wants next: first the rest of all is learnt, then every node is held against its own rest. A node
// counts as moved when it leaves that rest by a share of its range that no noise and no drift
// makes; before it is named, all others are looked at while it is still held, and whatever moved
// with it is read once more beside it. One winner with a margin is named; two at once, a slip that
// was over too soon and a shaking of everything are not. Pure: no line, no clock.
#ifndef LW_CHECK_TOUCH_HEAR_H
#define LW_CHECK_TOUCH_HEAR_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

enum { LW_NO_NODE = -1 };

// The winner's deflection in units of its own need, over that of the runner-up.
#define LW_TOUCH_MARGIN 6.0

// How one node is judged; values in its register's unit.
struct lw_hear_node {
    double need;  // smallest deflection that counts, above 0; noise may raise it
    double step;  // its resolution; 0: not known
    double turns; // an encoder's full turn, after which the reading begins anew; 0: none
    bool
        comes_back; // a spring, or the air, brings it back to its rest; false: it stays where it is
};

enum lw_hear_event {
    LW_HEAR_NOTHING,
    LW_HEAR_LEARNT,   // every node's rest is known; those that gave too few readings are silent
    LW_HEAR_RESTLESS, // `node` moved while its rest was to be learnt; it is learnt anew
    LW_HEAR_MOVED,    // `node`, and it alone
    LW_HEAR_TWO,      // `node` and `other` at once; nobody is named
    LW_HEAR_UNCLEAR,  // something moved, too little to be sure which; deflect further and hold
    LW_HEAR_SHORT,    // it was let go before all others had been looked at; hold longer
    LW_HEAR_RETURNED, // `node`, named before, is at rest again
    LW_HEAR_STAYS,    // `node` does not come back; where it is counts as its rest from now on
    LW_HEAR_REST,     // after TWO, UNCLEAR and SHORT: everything is at rest again
};

struct lw_heard_move {
    int node, other;      // indices; LW_NO_NODE: none
    double onset_s, at_s; // the first reading away from rest; the reading that decided
    double moved;         // MOVED: from its rest, with sign. RETURNED, STAYS: the farthest
    double margin;        // MOVED: over the runner-up; INFINITY when nothing else moved
    bool from_home; // it left the rest that was learnt first, not another where it had been put
    // RETURNED: where it came to rest, from where it had been, without the drift that was going on,
    // and the standard uncertainty; NAN when it was let go too shortly to say, or stays where it
    // is.
    double off, off_u;
};

struct lw_hear; // opaque, ours

// `nodes` is copied. LW_USAGE without nodes, LW_MEMORY.
enum lw_status lw_hear_new(const struct lw_hear_node *nodes, size_t count, struct lw_hear **hear,
                           struct lw_error *error);
void lw_hear_free(struct lw_hear *hear); // NULL is allowed

// The node that is expected next is asked more often; LW_NO_NODE: none is.
void lw_hear_expect(struct lw_hear *hear, int node);

// Whose reading is wanted now.
size_t lw_hear_next(const struct lw_hear *hear);

// The reading that came; NAN: none did. Times do not run backwards. `move` is filled for every
// event but NOTHING, LEARNT and REST.
enum lw_hear_event lw_hear_take(struct lw_hear *hear, size_t node, double time_s, double value,
                                struct lw_heard_move *move);

// What is known of a node: its noise at rest (robust standard deviation), what counts as moved, and
// how far another node went with the one that was named last, with the standard uncertainty of
// that; `silent` and NAN where it gave no readings.
struct lw_hear_facts {
    bool silent;
    double rest, noise, need;
    double with_winner, with_winner_u;
    size_t spikes; // single readings far off, with good ones before and behind
};
struct lw_hear_facts lw_hear_facts(const struct lw_hear *hear, size_t node);

// Longest time between two looks at the same node while nothing moves, s.
double lw_hear_cycle_s(const struct lw_hear *hear);

#endif
