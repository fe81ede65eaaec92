// SPDX-License-Identifier: GPL-3.0-or-later
//
// A signing key in a file: an Ed25519 key pair (RFC 8032) whose secret half is sealed with a pass
// phrase (Argon2id, RFC 9106, then XSalsa20-Poly1305; both as libsodium does them). Such a key
// proves that its holder signed, never when: its owner can set any clock.
#ifndef LW_SITE_KEY_H
#define LW_SITE_KEY_H

#include "base/error.h"
#include "base/file.h"

enum {
    LW_KEY_PUBLIC_BYTES = 32,
    LW_KEY_SECRET_BYTES = 64,
    LW_KEY_OWNER = 120,
    LW_PHRASE_LEAST = 10, // characters of a pass phrase
    LW_PHRASE_MOST = 400, // bytes of one, with its end
    LW_FINGERPRINT = 40,  // "3f2a 9c10 ...": eight groups of four hexadecimal digits
};

// An opened key. Plain memory; lw_key_wipe() before it is left.
struct lw_key {
    char owner[LW_KEY_OWNER];
    unsigned char public_key[LW_KEY_PUBLIC_BYTES];
    unsigned char secret_key[LW_KEY_SECRET_BYTES];
};

// Makes a new key and writes it to a new file. LW_USAGE when the file exists, the phrase is shorter
// than LW_PHRASE_LEAST bytes, or the owner is empty; LW_MEMORY when the system does not give the
// 256 MiB that sealing takes.
enum lw_status lw_key_make(const char *path, const char *owner, const char *phrase,
                           struct lw_error *error);
// Reads a key file and opens it. LW_USAGE for a wrong phrase, LW_BAD_FILE for a file that is none.
enum lw_status lw_key_open(const char *path, const char *phrase, struct lw_key *key,
                           struct lw_error *error);
void lw_key_wipe(struct lw_key *key); // NULL is allowed
// The first half of the SHA-256 of the public key, as people compare it.
void lw_key_fingerprint(const unsigned char public_key[LW_KEY_PUBLIC_BYTES],
                        char text[LW_FINGERPRINT]);

#endif
