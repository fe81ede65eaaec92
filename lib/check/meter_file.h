// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a hand meter has shown, as a file: rows of terminals and a value, with what its maker says
// of its accuracy. docs/formats/README.md has the format.
#ifndef LW_CHECK_METER_FILE_H
#define LW_CHECK_METER_FILE_H

#include "site/plan.h"

enum lw_terminal {
    LW_TERMINAL_V_PLUS,
    LW_TERMINAL_ZERO_V,
    LW_TERMINAL_D1,
    LW_TERMINAL_D0,
    LW_TERMINAL_FRAME,
    LW_TERMINAL_SHIELD,
    LW_TERMINAL_NONE, // of a current: through the other one
};
enum lw_meter_quantity { LW_METER_VOLTS, LW_METER_AMPS, LW_METER_OHMS, LW_METER_QUANTITIES };

struct lw_meter_end {
    enum lw_terminal terminal;
    size_t tap; // from 1; 0: at a supply
};
struct lw_meter_value {
    struct lw_meter_end from, to;
    size_t supply; // index, where a tap is 0
    enum lw_meter_quantity quantity;
    double value; // V, A or ohm; INFINITY: open
};
struct lw_meter_file {
    char instrument[80]; // empty: not named
    // The maker's limits, half widths: a share of the value and a fixed part in V, A or ohm.
    double share[LW_METER_QUANTITIES], fixed[LW_METER_QUANTITIES];
    struct lw_list values; // of struct lw_meter_value
};

// What is taken of an instrument whose file does not say: 1 % and 0.02 V, 0.02 A, 0.2 ohm, a plain
// hand meter (common practice).
#define LW_METER_SHARE 0.01

// Reads `# instrument: TEXT`, `# accuracy: P % + X UNIT` (one for each quantity) and rows of
// `tap,from,to,value,unit`. A tap is a node's name, its number, or a supply's name. LW_BAD_FILE
// with the line number; `name` is for messages. LW_MEMORY. Finish what was read.
enum lw_status lw_meter_file_read(const char *bytes, size_t length, const char *name,
                                  const struct lw_plan *plan, struct lw_meter_file *file,
                                  struct lw_error *error);
void lw_meter_file_finish(struct lw_meter_file *file);

// Standard uncertainties: the limits taken as even (JCGM 100:2008, 4.3.7). The part that all values
// of the instrument have in common, and the value's own.
double lw_meter_common_u(const struct lw_meter_file *file, const struct lw_meter_value *value);
double lw_meter_own_u(const struct lw_meter_file *file, const struct lw_meter_value *value);

#endif
