// SPDX-License-Identifier: GPL-3.0-or-later
//
// One elimination from the far end to the head and one substitution back.
#include "power/network.h"

// Current that may be left over by rounding at a node that nothing holds.
static const double left_over_a = 1e-9;

// The chain beyond a tap, seen from its two rails: a triangle and what is fed in.
struct triangle {
    double plus_zero_s, zero_frame_s, plus_frame_s;
    double plus_a, zero_a;
};

// Takes a node with `sum_s` to its other two corners away, leaving `ohm` as its only way on.
static bool take_away(double ohm, double sum_s, struct lw_back *back, bool *floats)
{
    *floats = false;
    if (!isinf(ohm)) {
        double pivot = 1.0 + ohm * sum_s;
        back->from_next = 1.0 / pivot;
        back->from_own = ohm * back->from_next;
        return pivot > 0.0;
    }
    back->from_next = 0.0;
    if (sum_s > 0.0) {
        back->from_own = 1.0 / sum_s;
        return true;
    }
    back->from_own = 0.0;
    *floats = true;
    return sum_s == 0.0 && fabs(back->own_a) <= left_over_a;
}

static bool take_zero_away(struct lw_cell *cell, struct triangle *t)
{
    cell->zero.own_a = t->zero_a;
    cell->zero.cross_s = t->plus_zero_s;
    if (!take_away(cell->zero_ohm, t->plus_zero_s + t->zero_frame_s, &cell->zero,
                   &cell->zero_floats)) {
        return false;
    }
    t->plus_a += t->zero_a * t->plus_zero_s * cell->zero.from_own;
    t->plus_frame_s += t->plus_zero_s * t->zero_frame_s * cell->zero.from_own;
    t->zero_a *= cell->zero.from_next;
    t->plus_zero_s *= cell->zero.from_next;
    t->zero_frame_s *= cell->zero.from_next;
    return true;
}

static bool take_plus_away(struct lw_cell *cell, struct triangle *t)
{
    cell->plus.own_a = t->plus_a;
    cell->plus.cross_s = t->plus_zero_s;
    if (!take_away(cell->plus_ohm, t->plus_zero_s + t->plus_frame_s, &cell->plus,
                   &cell->plus_floats)) {
        return false;
    }
    t->zero_a += t->plus_a * t->plus_zero_s * cell->plus.from_own;
    t->zero_frame_s += t->plus_zero_s * t->plus_frame_s * cell->plus.from_own;
    t->plus_a *= cell->plus.from_next;
    t->plus_zero_s *= cell->plus.from_next;
    t->plus_frame_s *= cell->plus.from_next;
    return true;
}

static double volts_back(const struct lw_back *back, double other_v, double next_v)
{
    return back->from_own * (back->own_a + back->cross_s * other_v) + back->from_next * next_v;
}

static void substitute(struct lw_cell *cell, double next_plus_v, double next_zero_v)
{
    cell->plus_v = volts_back(&cell->plus, next_zero_v, next_plus_v);
    cell->zero_v = volts_back(&cell->zero, cell->plus_v, next_zero_v);
    if (cell->zero_floats) {
        cell->zero_v = cell->plus_v;
    } else if (cell->plus_floats && cell->zero.cross_s == 0.0) {
        cell->plus_v = cell->zero_v;
    }
}

bool lw_network_solve(struct lw_cell *cells, size_t count)
{
    struct triangle beyond = {0};
    for (size_t i = count; i-- > 0;) {
        beyond.plus_zero_s += cells[i].siemens;
        beyond.zero_frame_s += cells[i].bond_s;
        beyond.plus_a += cells[i].amperes;
        beyond.zero_a -= cells[i].amperes;
        if (!take_zero_away(&cells[i], &beyond) || !take_plus_away(&cells[i], &beyond)) {
            return false;
        }
    }
    double plus_v = 0.0;
    double zero_v = 0.0;
    for (size_t i = 0; i < count; i++) {
        substitute(&cells[i], plus_v, zero_v);
        plus_v = cells[i].plus_v;
        zero_v = cells[i].zero_v;
    }
    return true;
}
