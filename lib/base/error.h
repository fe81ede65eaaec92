// SPDX-License-Identifier: GPL-3.0-or-later
//
// How every call in linewalk says that it could not do what was asked. A call returns a status,
// which tells who has to act, and fills a record that the caller owns, which tells what happened.
// The library never prints and never exits: a tool decides whether a failure is worth a line on a
// terminal, a finding in a record or another try.
#ifndef LW_BASE_ERROR_H
#define LW_BASE_ERROR_H

#include <stddef.h>

// Who has to act. A silent or garbled node is an outcome of an exchange inside the checks; as a
// status these three are what a call returns that had promised one value.
enum lw_status {
    LW_OK = 0,
    LW_USAGE,     // the caller asked for something that makes no sense
    LW_SYSTEM,    // the operating system refused: file, port, socket, disk
    LW_MEMORY,    // no memory
    LW_SILENCE,   // no answer from the device
    LW_GARBLED,   // an answer that cannot be trusted, or a number that could not be computed
    LW_REFUSED,   // the device answered with an exception, or the read-only guard said no
    LW_BAD_FILE,  // a file's content is wrong
    LW_CANCELLED, // the user interrupted
};

enum { LW_ERROR_SAYS = 320, LW_ERROR_CONTEXT = 240 };

// Owned by the caller, plain memory, nothing to free. Start with `struct lw_error error = {0};`.
struct lw_error {
    enum lw_status status;
    char context[LW_ERROR_CONTEXT]; // where: "plan 'cell4.json'"; may be empty
    char says[LW_ERROR_SAYS];       // what: "/chain/3/span/length_m: must be above 0, is -1"
};

// Fills `error` (which may be NULL) with status and sentence, clears its context, and returns the
// status, so that `return lw_fail(error, LW_SYSTEM, ...)` is the whole of a failing path. Text that
// came from outside must have gone through lw_text_clean() first. Lower case, subject in single
// quotes, reason after a colon, no full stop.
enum lw_status lw_fail(struct lw_error *error, enum lw_status status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

// lw_fail() with strerror(errno_value) behind the sentence, as "sentence: reason".
enum lw_status lw_fail_errno(struct lw_error *error, int errno_value, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

// Puts a place in front of what is already said: "plan 'a.json'" before "/chain: ...". Contexts
// nest outwards; one that does not fit is cut, never overflown. Returns error's status; when error
// is NULL, which knows none, LW_SYSTEM, so that a failure never looks like success.
enum lw_status lw_error_within(struct lw_error *error, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

// Writes "context: says" (or only says) into `text`, always NUL-terminated. Returns text.
const char *lw_error_text(const struct lw_error *error, char *text, size_t size);

// The status as one lower-case word, for tests and records ("bad_file").
const char *lw_status_word(enum lw_status status);

#endif
