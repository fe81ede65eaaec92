// SPDX-License-Identifier: GPL-3.0-or-later
//
// The supply's result on a terminal.
#ifndef LW_TOOLS_SUPPLY_PRINT_H
#define LW_TOOLS_SUPPLY_PRINT_H

#include "check/supply.h"

// The voltage along the chain with a bar for each tap, the figures, the supplies and what they
// carry.
void lw_print_supply(const struct lw_supply_result *result);
void lw_print_supply_cautions(void);

#endif
