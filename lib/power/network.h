// SPDX-License-Identifier: GPL-3.0-or-later
//
// The linear heart of the ladder: two rails and the machine frame, everything between the rails of
// a tap already made linear. Private to this room, and inline, because Newton's loop goes over the
// chain twice per step and wants to touch its memory no more often than that.
//
// The block-tridiagonal system is eliminated from the far end as a chain of star-mesh
// transformations: what lies beyond a tap is kept as a triangle of conductances between V+, 0 V and
// the frame. Resistances are never inverted and conductances only added, so that a span of 0 ohm, a
// cut and a million taps all keep their digits. The frame is the datum and costs no extra row.
#ifndef LW_POWER_NETWORK_H
#define LW_POWER_NETWORK_H

#include <math.h>
#include <stdbool.h>

// How an eliminated node gets its voltage back: volts + per_other * (other rail) + per_next * (same
// rail one tap nearer to the head). On the way back `volts` becomes the node's voltage.
struct lw_back {
    double volts, per_other, per_next;
};

struct lw_cell {
    double plus_ohm, zero_ohm; // to the tap before; INFINITY: cut (and at the head)
    struct lw_back plus, zero; // plus.per_other: 0 V one tap nearer; zero.per_other: this tap's V+
};

// The chain from a tap outwards, seen from its two rails, and what it feeds into them.
struct lw_triangle {
    double plus_zero_s, zero_frame_s, plus_frame_s;
    double plus_a, zero_a;
};

// A device between the rails: amperes - siemens * volts flow into V+ and out of 0 V.
struct lw_branch {
    double siemens, amperes;
};

// Current that may be left over by rounding at a node that nothing holds.
#define LW_LEFT_OVER_A 1e-9

// Takes a node with `sum_s` to its other two corners away, leaving `ohm` as its only way on.
// *per_ampere is what a current fed into it raises it by. False: not positive definite.
static inline bool lw_node_take(double ohm, double sum_s, double own_a, double *per_ampere,
                                double *per_next)
{
    if (ohm < INFINITY) {
        double pivot = 1.0 + ohm * sum_s;
        *per_next = 1.0 / pivot;
        *per_ampere = ohm * *per_next;
        return pivot > 0.0;
    }
    *per_next = 0.0;
    *per_ampere = sum_s > 0.0 ? 1.0 / sum_s : 0.0;
    return sum_s > 0.0 || (sum_s == 0.0 && fabs(own_a) <= LW_LEFT_OVER_A);
}

static inline bool lw_zero_take(struct lw_cell *cell, struct lw_triangle *t)
{
    double per_ampere;
    double sum_s = t->plus_zero_s + t->zero_frame_s;
    bool fine = lw_node_take(cell->zero_ohm, sum_s, t->zero_a, &per_ampere, &cell->zero.per_next);
    cell->zero.volts = per_ampere * t->zero_a;
    cell->zero.per_other = per_ampere * t->plus_zero_s;
    if (cell->zero.per_next == 0.0 && sum_s == 0.0) {
        cell->zero.per_other = 1.0; // nothing holds it: it lies with V+, no voltage between
    }
    t->plus_a += t->plus_zero_s * cell->zero.volts;
    t->plus_frame_s += t->plus_zero_s * t->zero_frame_s * per_ampere;
    t->zero_a *= cell->zero.per_next;
    t->plus_zero_s *= cell->zero.per_next;
    t->zero_frame_s *= cell->zero.per_next;
    return fine;
}

static inline bool lw_plus_take(struct lw_cell *cell, struct lw_triangle *t)
{
    double per_ampere;
    double sum_s = t->plus_zero_s + t->plus_frame_s;
    bool fine = lw_node_take(cell->plus_ohm, sum_s, t->plus_a, &per_ampere, &cell->plus.per_next);
    cell->plus.volts = per_ampere * t->plus_a;
    cell->plus.per_other = per_ampere * t->plus_zero_s;
    if (cell->plus.per_next == 0.0 && sum_s == 0.0 && cell->zero.per_other == 0.0) {
        cell->plus.volts = cell->zero.volts; // nothing holds it: it lies with 0 V
        cell->plus.per_other = cell->zero.per_next;
    }
    t->zero_a += t->plus_zero_s * cell->plus.volts;
    t->zero_frame_s += t->plus_zero_s * t->plus_frame_s * per_ampere;
    t->plus_a *= cell->plus.per_next;
    t->plus_zero_s *= cell->plus.per_next;
    t->plus_frame_s *= cell->plus.per_next;
    return fine;
}

// Outwards end first: adds a tap's devices and bond to what lies beyond and takes both its nodes
// away. False when the matrix is not positive definite: loads whose current rises with falling
// voltage outweigh the sources.
static inline bool lw_cell_take(struct lw_cell *cell, struct lw_triangle *beyond,
                                struct lw_branch branch, double bond_s)
{
    beyond->plus_zero_s += branch.siemens;
    beyond->zero_frame_s += bond_s;
    beyond->plus_a += branch.amperes;
    beyond->zero_a -= branch.amperes;
    return lw_zero_take(cell, beyond) && lw_plus_take(cell, beyond);
}

// Head first: the tap's voltages (plus.volts, zero.volts) from those of the tap nearer to the head.
static inline void lw_cell_give_back(struct lw_cell *cell, double next_plus_v, double next_zero_v)
{
    cell->plus.volts += cell->plus.per_other * next_zero_v + cell->plus.per_next * next_plus_v;
    cell->zero.volts += cell->zero.per_other * cell->plus.volts + cell->zero.per_next * next_zero_v;
}

#endif
