// SPDX-License-Identifier: GPL-3.0-or-later
//
// Signing and looking at signatures. What is signed is a short text, one fact a line, so that
// anybody can rebuild it with common tools.
#include "site/signature.h"

#include "site/fields.h"

#include <assert.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#define OF struct lw_record_file
static const struct lw_field file_fields[] = {
    FIELD(LW_TEXT, "name", name, "the file, relative to the visit's folder", REQUIRED),
    FIELD(LW_TEXT, "sha256", sha256, "SHA-256 of its bytes", REQUIRED),
    {0}};
#undef OF
static const struct lw_shape file_shape = SHAPE("signed_file", struct lw_record_file, file_fields);

#define OF struct lw_signature
static const struct lw_field signature_fields[] = {
    FIELD(LW_TEXT, "digest", digest, "the visit's digest: of the last record that is signed",
          REQUIRED),
    FIELD(LW_LIST, "files", files, "all files that are signed", REQUIRED, SUB(file_shape)),
    FIELD(LW_TEXT, "after", after, "SHA-256 of the record file before this one", REQUIRED),
    FIELD(LW_TEXT, "owner", owner, "who signed, as the key names its owner", REQUIRED),
    FIELD(LW_TEXT, "signed_at", signed_at, "when, by the signer's own clock; no proof of time",
          REQUIRED),
    FIELD(LW_TEXT, "public_key", public_key, "Ed25519 (RFC 8032), hexadecimal", REQUIRED),
    FIELD(LW_TEXT, "fingerprint", fingerprint, "first half of the public key's SHA-256", REQUIRED),
    FIELD(LW_TEXT, "signature", signature, "Ed25519, hexadecimal", REQUIRED),
    FIELD(LW_TEXT, "proves", proves, "what that proves and what not", OPTIONAL),
    {0}};
#undef OF
const struct lw_shape lw_signature_shape =
    SHAPE("signature", struct lw_signature, signature_fields);

enum lw_status lw_visit_signable(const struct lw_list *records, int broken, struct lw_error *error)
{
    const struct lw_record *items = records->items;
    if (broken > 0) {
        return lw_fail(error, LW_USAGE,
                       "the records do not fit together from record %d on: cannot be signed",
                       broken);
    }
    size_t judged = 0;
    for (size_t i = 0; i < records->count; i++) {
        if (items[i].line && items[i].line->simulated) {
            return lw_fail(error, LW_USAGE,
                           "record %d was made on a simulated line: cannot be signed",
                           items[i].number);
        }
        judged += !lw_visit_seals(items[i].check);
    }
    return judged > 0 ? LW_OK : lw_fail(error, LW_USAGE, "the visit has no records to sign");
}

// What is signed.
static void message_of(const struct lw_signature *signature, struct lw_text *text)
{
    lw_text_add(text, "linewalk signature 1\ndigest %s\nafter %s\nowner %s\nsigned %s\n",
                signature->digest, signature->after, signature->owner, signature->signed_at);
    const struct lw_record_file *files = signature->files.items;
    for (size_t i = 0; i < signature->files.count; i++) {
        lw_text_add(text, "file %s %s\n", files[i].name, files[i].sha256);
    }
}

static char *hex_of(const unsigned char *bytes, size_t count)
{
    char text[2 * crypto_sign_BYTES + 1];
    assert(count <= crypto_sign_BYTES);
    return lw_duplicate(sodium_bin2hex(text, sizeof text, bytes, count));
}

static bool from_hex(unsigned char *bytes, size_t count, const char *hex)
{
    size_t got = 0;
    const char *end = NULL;
    return sodium_hex2bin(bytes, count, hex, strlen(hex), NULL, &got, &end) == 0 && got == count &&
           *end == '\0';
}

static enum lw_status sign(struct lw_signature *signature, const struct lw_key *key,
                           struct lw_error *error)
{
    unsigned char bytes[crypto_sign_BYTES];
    char fingerprint[LW_FINGERPRINT];
    struct lw_text message = {0};
    message_of(signature, &message);
    enum lw_status status = lw_text_check(&message, error);
    if (status == LW_OK) {
        crypto_sign_detached(bytes, NULL, (const unsigned char *)message.bytes, message.length,
                             key->secret_key);
        lw_key_fingerprint(key->public_key, fingerprint);
        signature->signature = hex_of(bytes, sizeof bytes);
        signature->public_key = hex_of(key->public_key, sizeof key->public_key);
        signature->fingerprint = lw_duplicate(fingerprint);
    }
    lw_text_finish(&message);
    return status;
}

enum lw_status lw_signature_make(const struct lw_visit *visit, const struct lw_list *records,
                                 int broken, const struct lw_key *key, const char *signed_at,
                                 struct lw_signature *signature, struct lw_error *error)
{
    assert(visit && records && key && signed_at && signature);
    assert(visit->number > 0);
    struct lw_anchor anchor = {0};
    *signature = (struct lw_signature){0};
    enum lw_status status = lw_visit_signable(records, broken, error);
    if (status == LW_OK) {
        status = lw_anchor_of_visit(visit, &anchor, error);
    }
    if (status == LW_OK) {
        signature->digest = lw_duplicate(anchor.digest);
        signature->files = anchor.files; // taken over
        signature->after = lw_duplicate(visit->previous_digest);
        signature->owner = lw_duplicate(key->owner);
        signature->signed_at = lw_duplicate(signed_at);
        signature->proves =
            lw_duplicate("the holder of this key signed these files; not when, and not who that is "
                         "unless the fingerprint is known from elsewhere. The digest on paper that "
                         "was signed with ink is what proves both");
        status = sign(signature, key, error);
    }
    if (status != LW_OK) {
        lw_json_free(&lw_signature_shape, signature);
    }
    return status;
}

static bool is_plain(const char *text)
{
    for (; *text; text++) {
        if ((unsigned char)*text < ' ') {
            return false;
        }
    }
    return true;
}

static bool fits_key(const struct lw_signature *signature, unsigned char *public_key)
{
    unsigned char bytes[crypto_sign_BYTES];
    struct lw_text message = {0};
    // A line end within a fact would let two different facts be one text.
    bool plain = is_plain(signature->owner) && is_plain(signature->signed_at) &&
                 is_plain(signature->digest) && is_plain(signature->after);
    message_of(signature, &message);
    bool fits = plain && !message.failed &&
                from_hex(public_key, LW_KEY_PUBLIC_BYTES, signature->public_key) &&
                from_hex(bytes, sizeof bytes, signature->signature) &&
                crypto_sign_verify_detached(bytes, (const unsigned char *)message.bytes,
                                            message.length, public_key) == 0;
    lw_text_finish(&message);
    return fits;
}

static bool same_files(const struct lw_list *a, const struct lw_list *b)
{
    const struct lw_record_file *first = a->items, *second = b->items;
    bool same = a->count == b->count;
    for (size_t i = 0; same && i < a->count; i++) {
        same = strcmp(first[i].name, second[i].name) == 0 &&
               strcmp(first[i].sha256, second[i].sha256) == 0;
    }
    return same;
}

static void look_at(const struct lw_signature *signature, const struct lw_record *record,
                    const struct lw_anchor *now, struct lw_signature_state *state)
{
    unsigned char public_key[LW_KEY_PUBLIC_BYTES] = {0};
    lw_text_clean(state->owner, sizeof state->owner, signature->owner, strlen(signature->owner));
    lw_text_clean(state->signed_at, sizeof state->signed_at, signature->signed_at,
                  strlen(signature->signed_at));
    if (!fits_key(signature, public_key)) {
        lw_copy(state->why, sizeof state->why,
                "the signature does not fit its key: the record or the key in it was changed");
        return;
    }
    lw_key_fingerprint(public_key, state->fingerprint);
    if (strcmp(signature->digest, now->digest) != 0 ||
        !same_files(&signature->files, &now->files)) {
        lw_copy(state->why, sizeof state->why,
                "what was signed is not what is here now: files were changed, removed or added");
    } else if (!record->previous_sha256 || strcmp(signature->after, record->previous_sha256) != 0) {
        lw_copy(state->why, sizeof state->why,
                "the record was moved: it was signed after another one");
    } else {
        state->good = true;
    }
}

enum lw_status lw_signature_look(const struct lw_record *record, const struct lw_anchor *now,
                                 struct lw_signature_state *state, struct lw_error *error)
{
    assert(record && now && state);
    struct lw_signature signature;
    *state = (struct lw_signature_state){.record = record->number};
    const char *json = record->result ? record->result : "";
    struct lw_error why;
    enum lw_status status = lw_json_read(&lw_signature_shape, json, strlen(json), &signature, &why);
    if (status == LW_MEMORY) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    if (status != LW_OK) {
        lw_copy(state->why, sizeof state->why, "the record does not hold a signature");
        return LW_OK;
    }
    look_at(&signature, record, now, state);
    lw_json_free(&lw_signature_shape, &signature);
    return LW_OK;
}
