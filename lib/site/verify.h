// SPDX-License-Identifier: GPL-3.0-or-later
//
// Whether a visit is still what it was: its own chain of digests, the signatures in it, and, where
// there is one, a report that was made from it earlier.
#ifndef LW_SITE_VERIFY_H
#define LW_SITE_VERIFY_H

#include "site/signature.h"

// One thing that is not as it was.
struct lw_change {
    int record; // 0: visit.json, or not about one record
    char what[400];
};
struct lw_verification {
    struct lw_anchor now;      // the visit as it is
    struct lw_list changes;    // of struct lw_change; empty: nothing was changed
    struct lw_list signatures; // of struct lw_signature_state
    size_t records;            // how many there are, those that seal included
};

// `before` is what an earlier report carries; NULL: there is none. Only what the program cannot do
// is an error: a visit that was changed is LW_OK with changes.
enum lw_status lw_visit_verify(const struct lw_visit *visit, const struct lw_anchor *before,
                               struct lw_verification *verification, struct lw_error *error);
void lw_verification_free(struct lw_verification *verification); // NULL is allowed

#endif
