// SPDX-License-Identifier: GPL-3.0-or-later
//
// The kinds of file of this room.
#include "site/shapes.h"

#include "site/plan.h"
#include "site/profile.h"
#include "site/record.h"
#include "site/visit.h"

const struct lw_site_shape lw_site_shapes[] = {
    {"profile", "linewalk profile: what one kind of device is", &lw_profile_shape},
    {"plan", "linewalk plan: what should be there", &lw_plan_shape},
    {"visit", "linewalk visit: what was known at its opening", &lw_visit_shape},
    {"record", "linewalk record: one command's result in a visit", &lw_record_shape},
    {0}};
