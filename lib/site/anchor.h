// SPDX-License-Identifier: GPL-3.0-or-later
//
// What stands for a visit outside its folder: the visit's digest, the fingerprint of the key that
// signed it, and the digest of each of its files. Reports carry it as one line of plain text (in a
// PDF's keywords, in a page's head); printed and signed with ink, it is what a later change has to
// get past.
//
// The visit's digest is the SHA-256 of its last record file that does not seal it (of visit.json
// when there is none). Each record names the digest of the one before, so it stands for all of
// them; signatures and signed papers that come later leave it as it is.
#ifndef LW_SITE_ANCHOR_H
#define LW_SITE_ANCHOR_H

#include "site/key.h"
#include "site/visit.h"

struct lw_anchor {
    char digest[LW_DIGEST];
    char fingerprint[LW_FINGERPRINT]; // empty: not signed by a key
    int number;                       // of the record with that digest; 0: visit.json
    struct lw_list files; // of struct lw_record_file, in order: visit.json, then the records; from
                          // a report a digest may be only its first 16 digits
};

// From the files as they are now. The fingerprint stays empty.
enum lw_status lw_anchor_of_visit(const struct lw_visit *visit, struct lw_anchor *anchor,
                                  struct lw_error *error);
// As a report carries it.
void lw_anchor_text(const struct lw_anchor *anchor, struct lw_text *out);
// Finds it in any bytes that hold that text; false when they do not.
bool lw_anchor_find(const char *bytes, size_t length, struct lw_anchor *anchor);
void lw_anchor_free(struct lw_anchor *anchor); // NULL is allowed

#endif
