// SPDX-License-Identifier: GPL-3.0-or-later
//
// The table of units. A factor is kept as a fraction of whole numbers, so that a conversion is one
// correctly rounded division: mm to um is 1000, not 1000.0000000000001.
#include "base/unit.h"

#include <stddef.h>
#include <string.h>

struct unit {
    const char *name;
    const char *quantity;
    double over, under; // one of it is over/under of the quantity's base unit
    const char *shown;  // in UTF-8; NULL when it is the name
};

static const struct unit units[] = {
    {"m", "length", 1, 1, NULL},
    {"mm", "length", 1, 1e3, NULL},
    {"um", "length", 1, 1e6, "µm"},
    {"nm", "length", 1, 1e9, NULL},
    {"inch", "length", 254, 1e4, NULL}, // 25.4 mm exactly (international yard and pound, 1959)
    {"A", "current", 1, 1, NULL},
    {"mA", "current", 1, 1e3, NULL},
    {"uA", "current", 1, 1e6, "µA"},
    {"V", "voltage", 1, 1, NULL},
    {"mV", "voltage", 1, 1e3, NULL},
    {"kohm", "resistance", 1e3, 1, "kΩ"},
    {"ohm", "resistance", 1, 1, "Ω"},
    {"mohm", "resistance", 1, 1e3, "mΩ"},
    {"Mohm", "resistance", 1e6, 1, "MΩ"},
    {"W", "power", 1, 1, NULL},
    {"mW", "power", 1, 1e3, NULL},
    {"Pa", "pressure", 1, 1, NULL},
    {"hPa", "pressure", 1e2, 1, NULL},
    {"kPa", "pressure", 1e3, 1, NULL},
    {"MPa", "pressure", 1e6, 1, NULL},
    {"mbar", "pressure", 1e2, 1, NULL},
    {"bar", "pressure", 1e5, 1, NULL},
    {"degC", "temperature", 1, 1, "°C"},
    {"Hz", "frequency", 1, 1, NULL},
    {"kHz", "frequency", 1e3, 1, NULL},
    {"us", "time", 1, 1e6, "µs"},
    {"ms", "time", 1, 1e3, NULL},
    {"s", "time", 1, 1, NULL},
    {"min", "time", 60, 1, NULL},
    {"h", "time", 3600, 1, NULL},
    {"deg", "angle", 1, 1, "°"},
    {"count", "count", 1, 1, NULL},
    {"1", "ratio", 1, 1, NULL},
    {"%", "ratio", 1, 1e2, NULL},
    {"ppm", "ratio", 1, 1e6, NULL},
};

static const struct unit *find(const char *name)
{
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strcmp(units[i].name, name) == 0) {
            return &units[i];
        }
    }
    return NULL;
}

bool lw_unit_known(const char *name)
{
    return find(name) != NULL;
}

bool lw_unit_factor(const char *from, const char *to, double *factor)
{
    const struct unit *source = find(from);
    const struct unit *target = find(to);
    if (source == NULL || target == NULL || strcmp(source->quantity, target->quantity) != 0) {
        return false;
    }
    *factor = (source->over * target->under) / (source->under * target->over);
    return true;
}

const char *lw_unit_shown(const char *name, bool utf8)
{
    const struct unit *unit = find(name);
    return utf8 && unit != NULL && unit->shown != NULL ? unit->shown : name;
}
