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

// How an eliminated node gets its voltage back from the rails one tap nearer to the head: volts +
// per_plus * V+ + per_zero * 0 V.
struct lw_back {
    double volts, per_plus, per_zero;
};

struct lw_cell {
    double plus_ohm, zero_ohm; // to the tap before; INFINITY: cut (and at the head)
    struct lw_back plus, zero;
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

// Whether nothing is fed into a node that nothing holds; rounding leaves a trifle of what met
// there.
static inline bool lw_is_balanced(double own_a, double met_a)
{
    return fabs(own_a) <= 1e-9 * (1.0 + fabs(met_a));
}

// Takes a node with `sum_s` to its other two corners away, leaving `ohm` as its only way on.
// *per_ampere is what a current fed into it raises it by. False: not positive definite.
static inline bool lw_node_take(double ohm, double sum_s, double *per_ampere, double *per_next)
{
    if (ohm < INFINITY) {
        double pivot = 1.0 + ohm * sum_s;
        *per_next = 1.0 / pivot;
        *per_ampere = ohm * *per_next;
        return pivot > 0.0;
    }
    *per_next = 0.0;
    *per_ampere = sum_s > 0.0 ? 1.0 / sum_s : 0.0;
    return sum_s >= 0.0;
}

// Leaves `zero` in terms of this tap's own V+ (per_plus) and the next tap's 0 V.
static inline bool lw_zero_take(double ohm, struct lw_triangle *t, struct lw_back *zero)
{
    double per_ampere;
    double sum_s = t->plus_zero_s + t->zero_frame_s;
    bool floats = isinf(ohm) && sum_s == 0.0;
    bool fine = lw_node_take(ohm, sum_s, &per_ampere, &zero->per_zero) &&
                (!floats || lw_is_balanced(t->zero_a, 0.0));
    zero->volts = per_ampere * t->zero_a;
    // A node that nothing holds lies with V+: no voltage between.
    zero->per_plus = floats ? 1.0 : per_ampere * t->plus_zero_s;
    t->plus_a += t->plus_zero_s * zero->volts;
    t->plus_frame_s += t->plus_zero_s * t->zero_frame_s * per_ampere;
    t->zero_a *= zero->per_zero;
    t->plus_zero_s *= zero->per_zero;
    t->zero_frame_s *= zero->per_zero;
    return fine;
}

// `met_a` is the current that met at the node while it was summed up.
static inline bool lw_plus_take(double ohm, double met_a, struct lw_triangle *t,
                                const struct lw_back *zero, struct lw_back *plus)
{
    double per_ampere;
    double sum_s = t->plus_zero_s + t->plus_frame_s;
    bool floats = isinf(ohm) && sum_s == 0.0;
    bool fine = lw_node_take(ohm, sum_s, &per_ampere, &plus->per_plus) &&
                (!floats || lw_is_balanced(t->plus_a, met_a));
    plus->volts = per_ampere * t->plus_a;
    plus->per_zero = per_ampere * t->plus_zero_s;
    if (floats && zero->per_plus == 0.0) {
        plus->volts = zero->volts; // nothing holds it: it lies with 0 V
        plus->per_zero = zero->per_zero;
    }
    t->zero_a += t->plus_zero_s * plus->volts;
    t->zero_frame_s += t->plus_zero_s * t->plus_frame_s * per_ampere;
    t->plus_a *= plus->per_plus;
    t->plus_zero_s *= plus->per_plus;
    t->plus_frame_s *= plus->per_plus;
    return fine;
}

static inline bool lw_nodes_take(struct lw_cell *cell, struct lw_triangle *t)
{
    double met_a = t->plus_a;
    if (!lw_zero_take(cell->zero_ohm, t, &cell->zero) ||
        !lw_plus_take(cell->plus_ohm, met_a, t, &cell->zero, &cell->plus)) {
        return false;
    }
    cell->zero.volts += cell->zero.per_plus * cell->plus.volts;
    cell->zero.per_zero += cell->zero.per_plus * cell->plus.per_zero;
    cell->zero.per_plus *= cell->plus.per_plus;
    return true;
}

// Without a way to the frame both rails of a span carry the same current: plus_zero_s * (V+ - 0 V)
// - plus_a, in the next tap's voltages. So both nodes go with one pivot.
static inline bool lw_pair_take(struct lw_cell *cell, struct lw_triangle *t)
{
    double pivot = 1.0 + (cell->plus_ohm + cell->zero_ohm) * t->plus_zero_s;
    double kept = 1.0 / pivot;
    t->plus_zero_s *= kept;
    t->plus_a *= kept;
    t->zero_a = -t->plus_a;
    double plus_share = cell->plus_ohm * t->plus_zero_s;
    double zero_share = cell->zero_ohm * t->plus_zero_s;
    cell->plus = (struct lw_back){cell->plus_ohm * t->plus_a, 1.0 - plus_share, plus_share};
    cell->zero = (struct lw_back){-cell->zero_ohm * t->plus_a, zero_share, 1.0 - zero_share};
    return pivot > 0.0;
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
    bool is_pair = beyond->zero_frame_s == 0.0 && beyond->plus_frame_s == 0.0 &&
                   cell->plus_ohm < INFINITY && cell->zero_ohm < INFINITY;
    return is_pair ? lw_pair_take(cell, beyond) : lw_nodes_take(cell, beyond);
}

// Head first: turns the voltages of the tap nearer to the head into this tap's. Before the head,
// both are 0.
static inline void lw_cell_step_out(const struct lw_cell *cell, double *plus_v, double *zero_v)
{
    double next_plus_v = *plus_v;
    double next_zero_v = *zero_v;
    *plus_v =
        cell->plus.volts + cell->plus.per_plus * next_plus_v + cell->plus.per_zero * next_zero_v;
    *zero_v =
        cell->zero.volts + cell->zero.per_plus * next_plus_v + cell->zero.per_zero * next_zero_v;
}

#endif
