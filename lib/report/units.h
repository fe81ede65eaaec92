// SPDX-License-Identifier: GPL-3.0-or-later
//
// Measured lengths in the reader's unit: mm, um and inch become one of mm or inch, in findings,
// their sentences and the noise of the readings. 25.4 mm are an inch exactly (international yard
// and pound agreement, 1959). Cables stay in metres and positions in the machine in mm, as the plan
// has them. Private to this room.
#ifndef LW_REPORT_UNITS_H
#define LW_REPORT_UNITS_H

#include "check/noise.h"

// A sentence with each "0.0012 mm" (um, inch) in the other unit, to as many digits as it had; to
// free, NULL when memory is out.
char *lw_units_sentence(const char *sentence, const char *unit);
// All findings of `records` (struct lw_record), but not what people wrote in notes. LW_MEMORY.
enum lw_status lw_units_findings(struct lw_list *records, const char *unit, struct lw_error *error);
// All lengths of a noise result. LW_MEMORY.
enum lw_status lw_units_noise(struct lw_noise_result *result, const char *unit,
                              struct lw_error *error);

#endif
