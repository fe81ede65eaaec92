// SPDX-License-Identifier: GPL-3.0-or-later
//
// Short forms for the field tables of this room. A table defines OF as its struct first:
// FIELD(kind, key, member, says, what else holds). What else holds is REQUIRED, OPTIONAL, or
// any of the others, separated by commas.
#ifndef LW_SITE_FIELDS_H
#define LW_SITE_FIELDS_H

#include "base/json.h"

#include <math.h>
#include <stddef.h>

#define FIELD(kind_, key_, member_, says_, ...)                                                    \
    {                                                                                              \
        .key = key_, .kind = kind_, .offset = offsetof(OF, member_), .says = says_, __VA_ARGS__    \
    }
#define SHAPE(name_, type_, fields_)                                                               \
    {                                                                                              \
        .name = name_, .size = sizeof(type_), .fields = fields_                                    \
    }

#define OPTIONAL           .required = false
#define REQUIRED           .required = true
#define NULLABLE           .nullable = true
#define DEFAULT(value_)    .has_default = true, .fallback = value_ // numbers
#define ABSENT(value_)     .fallback = value_                      // integers, choices, booleans
#define ABOVE(low_)        .ranged = true, .above_low = true, .low = low_, .high = INFINITY
#define FROM(low_)         .ranged = true, .low = low_, .high = INFINITY
#define RANGE(low_, high_) .ranged = true, .low = low_, .high = high_
#define ITEMS(low_, high_) .low_items = low_, .high_items = high_
#define WORDS(names_)      .names = names_
#define SUB(shape_)        .sub = &shape_

#endif
