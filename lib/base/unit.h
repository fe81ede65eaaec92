// SPDX-License-Identifier: GPL-3.0-or-later
//
// The units that registers, limits and reports speak, with exact factors. A reading may come in mm
// and its limit in um: results are in the limit's unit, raw data in the register's.
#ifndef LW_BASE_UNIT_H
#define LW_BASE_UNIT_H

#include <stdbool.h>

// True when `name` is a unit of the table ("mm", "um", "inch", "mA", "A", "mV", "V", "ohm", "W",
// "kPa", "bar", "degC", "Hz", "ms", "s", "count", "deg", "1", "%").
bool lw_unit_known(const char *name);

// Factor that turns a value in `from` into `to`; false when they are of different quantities or
// unknown. degC converts only to itself. Exact where the definition is (1 inch = 25.4 mm).
bool lw_unit_factor(const char *from, const char *to, double *factor);

// The unit for people ("µm", "°C", "Ω") where `utf8`, else plain ASCII ("um", "degC", "ohm").
// Unknown ones as they are.
const char *lw_unit_shown(const char *name, bool utf8);

#endif
