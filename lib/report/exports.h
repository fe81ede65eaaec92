// SPDX-License-Identifier: GPL-3.0-or-later
//
// Lists for other programs, as CSV (RFC 4180, UTF-8): what stands on the machine, what goes on
// labels, what belongs in the cupboard. English heads in every language, since programs read them.
#ifndef LW_REPORT_EXPORTS_H
#define LW_REPORT_EXPORTS_H

#include "check/roster.h"
#include "site/plan.h"

// One row a tap with a node: where it is, what was planned, what was read. `roster` NULL: nothing
// was read, and those fields are empty. Unplanned nodes come last, without a tap.
void lw_export_nodes(const struct lw_plan *plan, const struct lw_roster_result *roster,
                     struct lw_text *out);
// One row a node: name, place, address, serial (as read, else as planned), machine.
void lw_export_labels(const struct lw_plan *plan, const struct lw_roster_result *roster,
                      struct lw_text *out);
// One row for each kind of node and of supply in the plan: what to order, how many are in use,
// where.
void lw_export_parts(const struct lw_plan *plan, struct lw_text *out);

#endif
