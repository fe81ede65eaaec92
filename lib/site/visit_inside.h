// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the files of the visit share among themselves and with nobody else.
#ifndef LW_SITE_VISIT_INSIDE_H
#define LW_SITE_VISIT_INSIDE_H

#include "site/visit.h"

enum { LW_VISIT_NUMBER_MAX = 9999, LW_VISIT_MOST_BYTES = 16 * 1024 * 1024 };

// The number of "0003-scan.json" and the like; 0 for a name that does not begin so.
int lw_visit_number(const char *name);
// True for "0003-scan.json", whose number and check it gives.
bool lw_visit_is_record(const char *name, int *number, char check[64]);

// Takes over what records of the check "visit" changed, as far as they can be read.
enum lw_status lw_visit_apply(struct lw_visit *visit, struct lw_error *error);

// As lw_visit_records(); without `verify` neither digests nor files are looked at.
enum lw_status lw_visit_read_records(const struct lw_visit *visit, bool verify,
                                     struct lw_list *records, int *broken, struct lw_error *error);

#endif
