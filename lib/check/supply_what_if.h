// SPDX-License-Identifier: GPL-3.0-or-later
//
// What if: changes to a loaded plan that somebody asks about before touching a cable. Each changes
// the plan in memory only; its file stays as it is. LW_USAGE says what is wrong with the asking,
// LW_MEMORY.
#ifndef LW_CHECK_SUPPLY_WHAT_IF_H
#define LW_CHECK_SUPPLY_WHAT_IF_H

#include "site/plan.h"

// "N" or "N:PROFILE": N (1..200) nodes more at the tail, each behind a span as span_default has it;
// of the last node's profile unless that of another node is named. They are called +1, +2, ...
enum lw_status lw_what_if_add(struct lw_plan *plan, const char *asked, struct lw_error *error);

// "TAP" or "TAP:SUPPLY": one supply more at a tap (its number or its node's name), like the named
// one or the plan's first, V+ cut before it so that no two supplies stand on one rail.
enum lw_status lw_what_if_feed(struct lw_plan *plan, const char *asked, struct lw_error *error);

// The chain's air at `ambient_c` degrees Celsius (-60..100); the cabinet's moves by as much.
enum lw_status lw_what_if_ambient(struct lw_plan *plan, double ambient_c, struct lw_error *error);

// "P03,P07-P12": these nodes are taken off; their taps stay as joints.
enum lw_status lw_what_if_without(struct lw_plan *plan, const char *nodes, struct lw_error *error);

#endif
