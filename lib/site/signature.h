// SPDX-License-Identifier: GPL-3.0-or-later
//
// The result of a record of the check "signature": an Ed25519 signature (RFC 8032) over the
// visit's digest, the digest of every file that it stands for, the record before the signature,
// the signer's name and the time that the signer's clock showed.
//
// It proves that who holds the key signed exactly these files. It proves no time and, unless the
// key's fingerprint is known from elsewhere, no person: both come from ink on paper that carries
// the digest.
#ifndef LW_SITE_SIGNATURE_H
#define LW_SITE_SIGNATURE_H

#include "site/anchor.h"

struct lw_signature {
    char *digest;         // the visit's
    struct lw_list files; // of struct lw_record_file, whole digests
    char *after;          // digest of the file before this record: its previous_sha256
    char *owner, *signed_at;
    char *public_key, *fingerprint, *signature; // hexadecimal
    char *proves;                               // what it proves, for who reads the file alone
};
extern const struct lw_shape lw_signature_shape;

// Signs a visit whose lock is held (lw_visit_begin for the signature's number): `records` and
// `broken` as lw_visit_records() gave them. LW_USAGE for a visit that is simulated, has no records,
// or does not fit together. Free with lw_json_free(&lw_signature_shape, ...).
enum lw_status lw_signature_make(const struct lw_visit *visit, const struct lw_list *records,
                                 int broken, const struct lw_key *key, const char *signed_at,
                                 struct lw_signature *signature, struct lw_error *error);
// Whether the visit may be signed, by ink or by key; LW_USAGE with the reason.
enum lw_status lw_visit_signable(const struct lw_list *records, int broken, struct lw_error *error);

// One signature, looked at.
struct lw_signature_state {
    int record;
    bool good;     // the signature fits its key and what it names, and that is the visit as it is
    char why[200]; // not good: why
    char owner[LW_KEY_OWNER], signed_at[64], fingerprint[LW_FINGERPRINT];
};
// Looks at the signature of a record of the check "signature" against the visit as it is now.
// LW_OK with the answer in `state`; LW_MEMORY.
enum lw_status lw_signature_look(const struct lw_record *record, const struct lw_anchor *now,
                                 struct lw_signature_state *state, struct lw_error *error);

#endif
