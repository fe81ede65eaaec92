// SPDX-License-Identifier: GPL-3.0-or-later
//
// The kinds of file of this room, as one list: schemas, documentation and tests walk it.
#ifndef LW_SITE_SHAPES_H
#define LW_SITE_SHAPES_H

#include "base/json.h"

struct lw_site_shape {
    const char *name;  // "plan"
    const char *title; // "linewalk plan, version 1"
    const struct lw_shape *shape;
};
extern const struct lw_site_shape lw_site_shapes[]; // ends with a NULL name

#endif
