// SPDX-License-Identifier: GPL-3.0-or-later
//
// Whole files, and files written piece by piece. A new file is made under a temporary name in the
// same folder, synced, given its name and the folder synced, so that a laptop that loses its
// battery leaves the old file or the new one.
#include "base/file.h"

#include "base/system.h"

#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <sys/stat.h>
#include <unistd.h>

enum { PIECE = 65536, TEMPORARY_TRIES = 100 };

static void to_hexadecimal(const unsigned char hash[crypto_hash_sha256_BYTES],
                           char digest[LW_DIGEST])
{
    sodium_bin2hex(digest, LW_DIGEST, hash, crypto_hash_sha256_BYTES);
}

void lw_digest(const void *bytes, size_t count, char digest[LW_DIGEST])
{
    unsigned char hash[crypto_hash_sha256_BYTES];
    crypto_hash_sha256(hash, bytes, count);
    to_hexadecimal(hash, digest);
}

void lw_digest_shown(const char *digest, int groups, char *text, size_t size)
{
    size_t at = 0;
    text[0] = '\0';
    for (int i = 0; i < groups && strlen(digest) >= 4U * (unsigned)(i + 1) && at + 5 < size; i++) {
        at += (size_t)snprintf(text + at, size - at, "%s%.4s", i > 0 ? " " : "", digest + 4 * i);
    }
}

ptrdiff_t lw_file_some(FILE *file, void *bytes, size_t size)
{
    int descriptor = fileno(file);
    if (descriptor >= 0) {
        return read(descriptor, bytes, size); // interrupted is a failure here: somebody wants out
    }
    size_t got = fread(bytes, 1, size, file);
    return got == 0 && ferror(file) ? -1 : (ptrdiff_t)got;
}

// Reads until the end of the file or until the text is longer than `most`.
static enum lw_status read_all(int descriptor, const char *path, size_t most, struct lw_text *text,
                               struct lw_error *error)
{
    char safe[LW_PATH_SHOWN];
    char piece[PIECE];
    while (text->length <= most) {
        ssize_t got = lw_system_read(descriptor, piece, sizeof piece);
        if (got < 0) {
            return lw_system_fail(error, errno, "can't read", path);
        }
        if (got == 0) {
            return lw_text_check(text, error);
        }
        lw_text_put(text, piece, (size_t)got);
        if (text->failed) {
            return lw_text_check(text, error);
        }
    }
    return lw_fail(error, LW_BAD_FILE, "'%s' is longer than %zu bytes", lw_path_shown(safe, path),
                   most);
}

enum lw_status lw_file_read(const char *path, size_t most, struct lw_text *text,
                            struct lw_error *error)
{
    lw_text_clear(text);
    lw_text_put(text, "", 0);
    int descriptor = lw_system_open(path, O_RDONLY);
    if (descriptor < 0) {
        return lw_system_fail(error, errno, "can't open", path);
    }
    enum lw_status status = read_all(descriptor, path, most, text, error);
    close(descriptor);
    return status;
}

enum lw_status lw_file_digest(const char *path, char digest[LW_DIGEST], struct lw_error *error)
{
    unsigned char piece[PIECE], hash[crypto_hash_sha256_BYTES];
    crypto_hash_sha256_state state;
    int descriptor = lw_system_open(path, O_RDONLY);
    if (descriptor < 0) {
        return lw_system_fail(error, errno, "can't open", path);
    }
    crypto_hash_sha256_init(&state);
    ssize_t got;
    while ((got = lw_system_read(descriptor, piece, sizeof piece)) > 0) {
        crypto_hash_sha256_update(&state, piece, (unsigned long long)got);
    }
    int reason = errno;
    close(descriptor);
    if (got < 0) {
        return lw_system_fail(error, reason, "can't read", path);
    }
    crypto_hash_sha256_final(&state, hash);
    to_hexadecimal(hash, digest);
    return LW_OK;
}

// Syncs what can be synced: a pipe or a terminal says EINVAL and has nothing to lose.
static bool sync_descriptor(int descriptor)
{
    return lw_system_fsync(descriptor) == 0 || errno == EINVAL || errno == ENOTSUP;
}

static bool sync_folder_of(const char *path)
{
    char folder[LW_PATH];
    if (!lw_path_folder(folder, sizeof folder, path)) {
        errno = ENAMETOOLONG;
        return false;
    }
    int descriptor = lw_system_open(folder, O_RDONLY | O_DIRECTORY);
    if (descriptor < 0) {
        return false;
    }
    bool synced = sync_descriptor(descriptor);
    int reason = errno;
    close(descriptor);
    errno = reason;
    return synced;
}

static bool write_all(int descriptor, const char *bytes, size_t count)
{
    while (count > 0) {
        ssize_t put = lw_system_write(descriptor, bytes, count);
        if (put < 0) {
            return false;
        }
        bytes += put;
        count -= (size_t)put;
    }
    return true;
}

// Opens a new file beside `path` and gives its name.
static int open_temporary(const char *path, char name[LW_PATH])
{
    char folder[LW_PATH];
    for (int i = 0; i < TEMPORARY_TRIES; i++) {
        char own[64];
        lw_print(own, sizeof own, ".linewalk-%ld-%d.tmp", (long)getpid(), i);
        if (!lw_path_folder(folder, sizeof folder, path) ||
            !lw_path_join(name, LW_PATH, folder, own)) {
            errno = ENAMETOOLONG;
            return -1;
        }
        int descriptor = lw_system_open(name, O_WRONLY | O_CREAT | O_EXCL);
        if (descriptor >= 0 || errno != EEXIST) {
            return descriptor;
        }
    }
    return -1;
}

// Writes and syncs a temporary file; on failure it is gone and errno says why.
static bool make_temporary(const char *path, const char *bytes, size_t count, char name[LW_PATH])
{
    int descriptor = open_temporary(path, name);
    if (descriptor < 0) {
        return false;
    }
    bool written = write_all(descriptor, bytes, count) && sync_descriptor(descriptor);
    int reason = errno;
    if (close(descriptor) != 0 && written) {
        written = false;
        reason = errno;
    }
    if (!written) {
        unlink(name);
        errno = reason;
    }
    return written;
}

enum lw_status lw_file_write(const char *path, const char *bytes, size_t count,
                             struct lw_error *error)
{
    char temporary[LW_PATH];
    if (!make_temporary(path, bytes, count, temporary)) {
        return lw_system_fail(error, errno, "can't write", path);
    }
    if (lw_system_rename(temporary, path) != 0) {
        int reason = errno;
        unlink(temporary);
        return lw_system_fail(error, reason, "can't write", path);
    }
    return sync_folder_of(path) ? LW_OK : lw_system_fail(error, errno, "can't sync", path);
}

// Gives the temporary file its name unless that is taken. Where a file system knows no links (a
// memory stick), an empty file of the name is the reservation and is then replaced.
static bool name_new(const char *temporary, const char *path)
{
    if (lw_system_link(temporary, path) == 0) {
        unlink(temporary);
        return true;
    }
    if (errno != EPERM && errno != EOPNOTSUPP && errno != ENOSYS) {
        return false;
    }
    int descriptor = lw_system_open(path, O_WRONLY | O_CREAT | O_EXCL);
    if (descriptor < 0) {
        return false;
    }
    close(descriptor);
    if (lw_system_rename(temporary, path) == 0) {
        return true;
    }
    int reason = errno;
    unlink(path);
    errno = reason;
    return false;
}

enum lw_status lw_file_write_new(const char *path, const char *bytes, size_t count,
                                 struct lw_error *error)
{
    char temporary[LW_PATH], safe[LW_PATH_SHOWN];
    if (!make_temporary(path, bytes, count, temporary)) {
        return lw_system_fail(error, errno, "can't write", path);
    }
    if (!name_new(temporary, path)) {
        int reason = errno;
        unlink(temporary);
        return reason == EEXIST
                   ? lw_fail(error, LW_USAGE, "'%s' exists already", lw_path_shown(safe, path))
                   : lw_system_fail(error, reason, "can't write", path);
    }
    if (!sync_folder_of(path)) {
        int reason = errno;
        unlink(path);
        return lw_system_fail(error, reason, "can't sync", path);
    }
    return LW_OK;
}

struct lw_file {
    int descriptor;
    int broken; // errno of the first failure, after which nothing is written any more
    size_t held;
    crypto_hash_sha256_state state;
    char path[LW_PATH_SHOWN]; // cleaned, for messages
    char buffer[PIECE];
};

enum lw_status lw_file_create(const char *path, struct lw_file **file, struct lw_error *error)
{
    *file = NULL;
    struct lw_file *made = calloc(1, sizeof *made);
    if (made == NULL) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    made->descriptor = lw_system_open(path, O_WRONLY | O_CREAT | O_TRUNC);
    if (made->descriptor < 0) {
        int reason = errno;
        free(made);
        return lw_system_fail(error, reason, "can't create", path);
    }
    lw_path_shown(made->path, path);
    crypto_hash_sha256_init(&made->state);
    *file = made;
    return LW_OK;
}

static enum lw_status fail_broken(const struct lw_file *file, struct lw_error *error)
{
    return lw_system_fail(error, file->broken, "can't write", file->path);
}

enum lw_status lw_file_flush(struct lw_file *file, struct lw_error *error)
{
    if (file->broken == 0 && !write_all(file->descriptor, file->buffer, file->held)) {
        file->broken = errno;
    }
    if (file->broken != 0) {
        return fail_broken(file, error);
    }
    const unsigned char *bytes = (const unsigned char *)file->buffer;
    crypto_hash_sha256_update(&file->state, bytes, file->held);
    file->held = 0;
    return LW_OK;
}

enum lw_status lw_file_append(struct lw_file *file, const void *bytes, size_t count,
                              struct lw_error *error)
{
    const char *from = bytes;
    while (count > 0) {
        size_t room = sizeof file->buffer - file->held;
        size_t taken = count < room ? count : room;
        memcpy(file->buffer + file->held, from, taken);
        file->held += taken;
        from += taken;
        count -= taken;
        if (file->held == sizeof file->buffer) {
            enum lw_status status = lw_file_flush(file, error);
            if (status != LW_OK) {
                file->held = 0;
                return status;
            }
        }
    }
    return file->broken != 0 ? fail_broken(file, error) : LW_OK;
}

enum lw_status lw_file_close(struct lw_file *file, char digest[LW_DIGEST], struct lw_error *error)
{
    unsigned char hash[crypto_hash_sha256_BYTES];
    if (file == NULL) {
        return LW_OK;
    }
    enum lw_status status = lw_file_flush(file, error);
    if (status == LW_OK && !sync_descriptor(file->descriptor)) {
        file->broken = errno;
        status = fail_broken(file, error);
    }
    if (close(file->descriptor) != 0 && status == LW_OK) {
        file->broken = errno;
        status = fail_broken(file, error);
    }
    if (status == LW_OK && digest != NULL) {
        crypto_hash_sha256_final(&file->state, hash);
        to_hexadecimal(hash, digest);
    }
    free(file);
    return status;
}
