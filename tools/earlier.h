// SPDX-License-Identifier: GPL-3.0-or-later
//
// An earlier visit, as far as it is read beside the one that is under way.
#ifndef LW_TOOLS_EARLIER_H
#define LW_TOOLS_EARLIER_H

#include "site/visit.h"

// Opens the visit in a folder and reads its records (of struct lw_record). LW_USAGE when the folder
// is no visit, LW_BAD_FILE when it was changed since.
enum lw_status lw_earlier_open(const char *folder, const struct lw_clock *clock,
                               struct lw_visit *visit, struct lw_list *records,
                               struct lw_error *error);

// The result of the last finished record of a check; *has false when there is none. `result` must
// have been set up by lw_json_init().
enum lw_status lw_earlier_result(const struct lw_list *records, const char *check,
                                 const struct lw_shape *shape, void *result, bool *has,
                                 struct lw_error *error);

#endif
