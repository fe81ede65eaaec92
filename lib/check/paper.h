// SPDX-License-Identifier: GPL-3.0-or-later
//
// The result of a record of the check "paper": a signed report brought back as a scan.
#ifndef LW_CHECK_PAPER_H
#define LW_CHECK_PAPER_H

#include "base/json.h"

struct lw_paper {
    char *file, *sha256; // the scan, as it lies in the visit
    char *digest;        // the visit's when it was brought back
    char *shown;         // of the digest on the paper, what a person read off; NULL: nobody did
};
extern const struct lw_shape lw_paper_shape;

#endif
