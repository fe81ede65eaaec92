// SPDX-License-Identifier: GPL-3.0-or-later
//
// Nodes of a plan as people name several of them: "P03, P07-P12".
#ifndef LW_CHECK_TAP_NAMES_H
#define LW_CHECK_TAP_NAMES_H

#include "site/plan.h"

// The nodes whose flag is set (an array of lw_plan_taps(), tap 1 first), in the order of the chain;
// three and more that follow each other become a range. Passive taps between do not end one. What
// does not fit ends with "...". Returns how many nodes there are.
size_t lw_tap_names(const struct lw_plan *plan, const bool *flags, char *text, size_t size);

#endif
