// SPDX-License-Identifier: GPL-3.0-or-later
//
// Files: whole or not at all. The only place in the library's floor that talks to the file system,
// so that a port to another operating system is a matter of this room, the lines and the terminal.
// Every call that can fail here can be made to fail in a test: lw_file_fail_after() counts down
// over the system calls.
#ifndef LW_BASE_FILE_H
#define LW_BASE_FILE_H

#include "base/error.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

enum { LW_PATH = 1024, LW_DIGEST = 65 };

// Reads at most `most` bytes; a longer file is LW_BAD_FILE. `text` is cleared first; NUL bytes are
// kept (use length).
enum lw_status lw_file_read(const char *path, size_t most, struct lw_text *text,
                            struct lw_error *error);

// Writes through a temporary file beside `path`: write, fsync, rename, fsync of the folder. On
// failure the temporary file is gone and the name holds what it held before; only when the folder's
// fsync fails it may hold the new content, whole.
enum lw_status lw_file_write(const char *path, const char *bytes, size_t count,
                             struct lw_error *error);

// The same without replacing: LW_USAGE when the path exists already. On failure nothing new stands
// there.
enum lw_status lw_file_write_new(const char *path, const char *bytes, size_t count,
                                 struct lw_error *error);

// What a file or pipe has to read now, at least one byte; 0 at its end, -1 and errno on failure.
// Past the stream's own buffer, so that nobody may have read from it before; a stream without a
// descriptor (fmemopen) is read through its buffer.
ptrdiff_t lw_file_some(FILE *file, void *bytes, size_t size);

// A file that is written piece by piece (captures, readings) and digested at its close. Opaque,
// ours. An existing file is emptied. After a failed write every later call says the same failure.
struct lw_file;
enum lw_status lw_file_create(const char *path, struct lw_file **file, struct lw_error *error);
enum lw_status lw_file_append(struct lw_file *file, const void *bytes, size_t count,
                              struct lw_error *error);
enum lw_status lw_file_flush(struct lw_file *file, struct lw_error *error); // buffers to the kernel
// Flushes, fsyncs, closes and frees, and gives the SHA-256 of the content in hexadecimal when
// digest is not NULL. Frees in any case. NULL is allowed.
enum lw_status lw_file_close(struct lw_file *file, char digest[LW_DIGEST], struct lw_error *error);

// SHA-256 in lower-case hexadecimal.
void lw_digest(const void *bytes, size_t count, char digest[LW_DIGEST]);
// The beginning of a digest as people compare it: so many groups of four digits, blanks between.
void lw_digest_shown(const char *digest, int groups, char *text, size_t size);
enum lw_status lw_file_digest(const char *path, char digest[LW_DIGEST], struct lw_error *error);

bool lw_file_exists(const char *path);
bool lw_folder_exists(const char *path);
enum lw_status lw_folder_make(const char *path,
                              struct lw_error *error); // with parents; existing is fine

// Names in a folder, sorted, without "." and "..", as struct lw_list of char * in `names` (free
// with lw_names_free).
struct lw_list;
enum lw_status lw_folder_names(const char *path, struct lw_list *names, struct lw_error *error);
void lw_names_free(struct lw_list *names);

// Joins with one '/'; an absolute `name` stands alone. False when it does not fit.
bool lw_path_join(char *to, size_t size, const char *folder, const char *name);
// The folder part of a path ("." when it has none).
bool lw_path_folder(char *to, size_t size, const char *path);

// An exclusive advisory lock on a file that exists. Waits at most wait_s (real time), then
// LW_SYSTEM "is in use".
struct lw_lock {
    int descriptor; // -1 when not held
};
enum lw_status lw_lock_take(const char *path, double wait_s, struct lw_lock *lock,
                            struct lw_error *error);
void lw_lock_release(struct lw_lock *lock);

// Tests: counted from now, the n-th (from 0) open, read, write, fsync, rename, link or mkdir in
// this room and all after it fail with `errno_value`; negative n turns it off.
void lw_file_fail_after(int64_t n, int errno_value);

#endif
