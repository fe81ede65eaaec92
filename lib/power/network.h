// SPDX-License-Identifier: GPL-3.0-or-later
//
// The linear heart of the ladder: two rails and the machine frame, everything between the rails of
// a tap already made linear. Private to this room.
//
// The block-tridiagonal system is eliminated from the far end as a chain of star-mesh
// transformations: what lies beyond a tap is kept as a triangle of conductances between V+, 0 V and
// the frame. Resistances are never inverted and conductances only added, so that a span of 0 ohm, a
// cut and a million taps all keep their digits. The frame is the datum and costs no extra row.
#ifndef LW_POWER_NETWORK_H
#define LW_POWER_NETWORK_H

#include <stdbool.h>
#include <stddef.h>

// What an eliminated node needs to get its voltage back: volts = from_own * (own_a + cross_s *
// other) + from_next * next.
struct lw_back {
    double from_own, from_next, own_a, cross_s;
};

struct lw_cell {
    double plus_ohm, zero_ohm; // to the tap before; INFINITY: cut (and at the head)
    double bond_s;             // 0 V to frame
    double siemens, amperes;   // between the rails: amperes - siemens * volts flow into V+
    struct lw_back plus, zero;
    bool plus_floats, zero_floats;
    double plus_v, zero_v; // solution, against the frame or any point of a floating section
};

// Solves for plus_v and zero_v. False when the matrix is not positive definite: loads whose current
// rises with falling voltage outweigh the sources.
bool lw_network_solve(struct lw_cell *cells, size_t count);

#endif
