// SPDX-License-Identifier: GPL-3.0-or-later
//
// QR codes as display lists, for both renderers. Private to this room.
#ifndef LW_REPORT_QR_H
#define LW_REPORT_QR_H

#include "base/error.h"
#include "report/chart.h"

// Side of one module: a telephone's camera reads half of that (common practice).
#define LW_QR_MODULE_MM 0.6

// The code of a text with the quiet zone around it, of error correction level M (15 %), as small as
// the text allows. LW_USAGE when no code holds it.
enum lw_status lw_qr(const char *text, struct lw_display_list *list, struct lw_error *error);
// The code that stands beside signatures: "LINEWALK SHA-256 " and the digest in capitals.
enum lw_status lw_qr_of_digest(const char *digest, struct lw_display_list *list,
                               struct lw_error *error);

#endif
