// SPDX-License-Identifier: GPL-3.0-or-later
//
// Key files. The seed alone is sealed, since the pair follows from it; the file names the cost of
// its pass phrase, so that a later program can ask more of new keys and still open this one.
#include "site/key.h"

#include "site/fields.h"
#include "site/semantic.h"

#include <assert.h>
#include <sodium.h>
#include <string.h>

enum { KEY_FILE_MOST = 64 * 1024, SEALED = crypto_sign_SEEDBYTES + crypto_secretbox_MACBYTES };

_Static_assert(LW_KEY_PUBLIC_BYTES == crypto_sign_PUBLICKEYBYTES, "as libsodium has it");
_Static_assert(LW_KEY_SECRET_BYTES == crypto_sign_SECRETKEYBYTES, "as libsodium has it");

struct key_file {
    char *format, *owner, *public_key;
    int operations, memory_bytes;
    char *salt, *nonce, *sealed_seed;
};

#define OF struct key_file
static const struct lw_field key_fields[] = {
    FIELD(LW_TEXT, "format", format, "linewalk/key/1", REQUIRED),
    FIELD(LW_TEXT, "owner", owner, "whose key it is", REQUIRED),
    FIELD(LW_TEXT, "public_key", public_key, "Ed25519, hexadecimal", REQUIRED),
    FIELD(LW_INTEGER, "operations", operations, "Argon2id passes", REQUIRED, RANGE(1, 100)),
    FIELD(LW_INTEGER, "memory_bytes", memory_bytes, "Argon2id memory", REQUIRED,
          RANGE(8192, 1 << 30)),
    FIELD(LW_TEXT, "salt", salt, "of the pass phrase, hexadecimal", REQUIRED),
    FIELD(LW_TEXT, "nonce", nonce, "of the seal, hexadecimal", REQUIRED),
    FIELD(LW_TEXT, "sealed_seed", sealed_seed, "the secret half, sealed, hexadecimal", REQUIRED),
    {0}};
#undef OF
static const struct lw_shape key_shape = SHAPE("key", struct key_file, key_fields);

static char *hex_of(const unsigned char *bytes, size_t count)
{
    char text[2 * 128 + 1];
    assert(count <= 128);
    return lw_duplicate(sodium_bin2hex(text, sizeof text, bytes, count));
}

static bool from_hex(unsigned char *bytes, size_t count, const char *hex)
{
    size_t got = 0;
    const char *end = NULL;
    return sodium_hex2bin(bytes, count, hex, strlen(hex), NULL, &got, &end) == 0 && got == count &&
           *end == '\0';
}

static enum lw_status no_memory(struct lw_error *error)
{
    return lw_fail(error, LW_MEMORY, "the pass phrase takes more memory than there is");
}

static enum lw_status start(struct lw_error *error)
{
    return sodium_init() < 0 ? lw_fail(error, LW_SYSTEM, "libsodium does not start") : LW_OK;
}

static enum lw_status seal(const unsigned char *seed, const char *phrase, struct key_file *file,
                           struct lw_error *error)
{
    unsigned char salt[crypto_pwhash_SALTBYTES], nonce[crypto_secretbox_NONCEBYTES];
    unsigned char lock[crypto_secretbox_KEYBYTES], sealed[SEALED];
    randombytes_buf(salt, sizeof salt);
    randombytes_buf(nonce, sizeof nonce);
    file->operations = crypto_pwhash_OPSLIMIT_MODERATE;
    file->memory_bytes = crypto_pwhash_MEMLIMIT_MODERATE;
    if (crypto_pwhash(lock, sizeof lock, phrase, strlen(phrase), salt, file->operations,
                      file->memory_bytes, crypto_pwhash_ALG_ARGON2ID13) != 0) {
        return no_memory(error);
    }
    crypto_secretbox_easy(sealed, seed, crypto_sign_SEEDBYTES, nonce, lock);
    sodium_memzero(lock, sizeof lock);
    file->salt = hex_of(salt, sizeof salt);
    file->nonce = hex_of(nonce, sizeof nonce);
    file->sealed_seed = hex_of(sealed, sizeof sealed);
    return LW_OK;
}

static enum lw_status fill(const char *owner, const char *phrase, struct key_file *file,
                           struct lw_error *error)
{
    unsigned char seed[crypto_sign_SEEDBYTES];
    struct lw_key key;
    randombytes_buf(seed, sizeof seed);
    crypto_sign_seed_keypair(key.public_key, key.secret_key, seed);
    file->format = lw_duplicate("linewalk/key/1");
    file->owner = lw_duplicate(owner);
    file->public_key = hex_of(key.public_key, sizeof key.public_key);
    enum lw_status status = seal(seed, phrase, file, error);
    sodium_memzero(seed, sizeof seed);
    lw_key_wipe(&key);
    return status;
}

enum lw_status lw_key_make(const char *path, const char *owner, const char *phrase,
                           struct lw_error *error)
{
    assert(path && owner && phrase);
    char clean[LW_KEY_OWNER];
    struct key_file file = {0};
    struct lw_text text = {0};
    if (lw_file_exists(path)) {
        char word[LW_SITE_WORD];
        return lw_fail(error, LW_USAGE, "'%s' is there already", lw_site_word(word, path));
    }
    if (lw_text_clean(clean, sizeof clean, owner, strlen(owner)) == 0) {
        return lw_fail(error, LW_USAGE, "whose key is it to be?");
    }
    if (strlen(phrase) < LW_PHRASE_LEAST) {
        return lw_fail(error, LW_USAGE, "a pass phrase has at least %d characters",
                       LW_PHRASE_LEAST);
    }
    enum lw_status status = start(error);
    if (status == LW_OK) {
        status = fill(clean, phrase, &file, error);
    }
    if (status == LW_OK) {
        status = lw_json_write(&key_shape, &file, true, &text, error);
    }
    if (status == LW_OK) {
        status = lw_file_write_new(path, text.bytes, text.length, error);
    }
    lw_text_finish(&text);
    lw_json_free(&key_shape, &file);
    return status;
}

static enum lw_status unseal(const struct key_file *file, const char *phrase, unsigned char *seed,
                             struct lw_error *error)
{
    unsigned char salt[crypto_pwhash_SALTBYTES], nonce[crypto_secretbox_NONCEBYTES];
    unsigned char lock[crypto_secretbox_KEYBYTES], sealed[SEALED];
    if (!from_hex(salt, sizeof salt, file->salt) || !from_hex(nonce, sizeof nonce, file->nonce) ||
        !from_hex(sealed, sizeof sealed, file->sealed_seed)) {
        return lw_fail(error, LW_BAD_FILE, "salt, nonce or seal is damaged");
    }
    if (crypto_pwhash(lock, sizeof lock, phrase, strlen(phrase), salt, file->operations,
                      file->memory_bytes, crypto_pwhash_ALG_ARGON2ID13) != 0) {
        return no_memory(error);
    }
    bool open = crypto_secretbox_open_easy(seed, sealed, sizeof sealed, nonce, lock) == 0;
    sodium_memzero(lock, sizeof lock);
    return open ? LW_OK : lw_fail(error, LW_USAGE, "wrong pass phrase, or the file was changed");
}

static enum lw_status open_file(const struct key_file *file, const char *phrase, struct lw_key *key,
                                struct lw_error *error)
{
    unsigned char seed[crypto_sign_SEEDBYTES] = {0}, named[LW_KEY_PUBLIC_BYTES];
    enum lw_status status = lw_site_format(file->format, "linewalk/key/1", error);
    if (status == LW_OK) {
        status = start(error);
    }
    if (status == LW_OK) {
        status = unseal(file, phrase, seed, error);
    }
    if (status == LW_OK) {
        crypto_sign_seed_keypair(key->public_key, key->secret_key, seed);
        lw_text_clean(key->owner, sizeof key->owner, file->owner, strlen(file->owner));
        bool same = from_hex(named, sizeof named, file->public_key) &&
                    sodium_memcmp(named, key->public_key, sizeof named) == 0;
        status = same ? LW_OK : lw_fail(error, LW_BAD_FILE, "its public and secret halves differ");
    }
    sodium_memzero(seed, sizeof seed);
    return status;
}

enum lw_status lw_key_open(const char *path, const char *phrase, struct lw_key *key,
                           struct lw_error *error)
{
    assert(path && phrase && key);
    struct key_file file = {0};
    struct lw_text text = {0};
    *key = (struct lw_key){0};
    enum lw_status status = lw_file_read(path, KEY_FILE_MOST, &text, error);
    if (status == LW_OK) {
        const char *bytes = text.bytes ? text.bytes : "";
        status = lw_json_read(&key_shape, bytes, text.length, &file, error);
    }
    if (status == LW_OK) {
        status = open_file(&file, phrase, key, error);
        lw_json_free(&key_shape, &file);
    }
    if (status != LW_OK) {
        lw_key_wipe(key);
    }
    lw_text_finish(&text);
    return lw_site_within(status, "key", path, error);
}

void lw_key_wipe(struct lw_key *key)
{
    if (key) {
        sodium_memzero(key, sizeof *key);
    }
}

void lw_key_fingerprint(const unsigned char public_key[LW_KEY_PUBLIC_BYTES],
                        char text[LW_FINGERPRINT])
{
    char digest[LW_DIGEST];
    lw_digest(public_key, LW_KEY_PUBLIC_BYTES, digest);
    lw_digest_shown(digest, 8, text, LW_FINGERPRINT);
}
