// SPDX-License-Identifier: GPL-3.0-or-later
//
// Resistance of copper conductors per kilometre, by the ways a cable is bought: metric size, AWG
// number, or the ohms of its data sheet. Sources: IEC 60228 (maximum resistance of a class at
// 20 C), IEC 60028 (annealed copper, 1/58 ohm mm2/m at 20 C), ASTM B258 (AWG diameters), and
// 0.00393 per kelvin at 20 C (the handbook value for annealed copper).
#ifndef LW_POWER_CONDUCTOR_H
#define LW_POWER_CONDUCTOR_H

#include "base/error.h"

#include <stdbool.h>

#define LW_COPPER_OHM_MM2_PER_M (1.0 / 58.0) // IEC 60028
#define LW_COPPER_PER_KELVIN    0.00393
// Bunched strands against the solid wire of the same nominal size; our choice, after IEC 60228's
// 39.0 ohm/km (0.5 mm2, class 5) against 34.5 ohm/km of the plain copper.
#define LW_STRANDED_FACTOR 1.13

enum lw_conductor_kind { LW_CONDUCTOR_AREA, LW_CONDUCTOR_AWG, LW_CONDUCTOR_OHM_PER_KM };

// Which end of the tolerance: verdicts take the maximum; nominal copper is the least a conductor
// of that size can have.
enum lw_conductor_end { LW_CONDUCTOR_MAXIMUM, LW_CONDUCTOR_NOMINAL };

struct lw_conductor {
    enum lw_conductor_kind kind;
    double value;   // mm2, AWG number (0000 is -3) or ohm per km at 20 C
    bool class_1_2; // LW_CONDUCTOR_AREA: solid or coarse stranded, else class 5 and 6 (flexible)
    bool tinned;    // LW_CONDUCTOR_AREA: tinned strands
    bool stranded;  // LW_CONDUCTOR_AWG: solid x LW_STRANDED_FACTOR
    int parallel;   // conductors side by side, 1 or more
};

// Ohms per kilometre of one conductor at 20 C, parallel ones not counted. *from_table (may be NULL)
// is false when IEC 60228's table as kept here (0.5 to 2.5 mm2) lacks the size and the maximum is
// LW_STRANDED_FACTOR times nominal, which a report must say. LW_CONDUCTOR_OHM_PER_KM has one end
// only. LW_BAD_FILE: size not above 0, AWG outside -3..40 or no whole number.
enum lw_status lw_conductor_ohm_per_km(const struct lw_conductor *conductor,
                                       enum lw_conductor_end end, double *ohm_per_km,
                                       bool *from_table, struct lw_error *error);

// Ohms of `length_m` (one way, >= 0), at `conductor_c` degrees Celsius (-60..200), `parallel`
// counted. LW_BAD_FILE as above, and for lengths, temperatures and counts out of range.
enum lw_status lw_conductor_ohm(const struct lw_conductor *conductor, enum lw_conductor_end end,
                                double length_m, double conductor_c, double *ohm,
                                struct lw_error *error);

// Diameter of a solid AWG wire in mm: 0.127 x 92^((36 - n) / 39).
double lw_awg_diameter_mm(double awg);

#endif
