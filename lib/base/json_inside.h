// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the files of the JSON room share among themselves and with nobody else: the place in a
// document, and the printing of texts and numbers.
#ifndef LW_BASE_JSON_INSIDE_H
#define LW_BASE_JSON_INSIDE_H

#include "base/json.h"

#include <stdint.h>

// The limits of the pre-scan; the depth also bounds every recursion behind it.
enum {
    LW_JSON_MOST_BYTES = 16 * 1024 * 1024,
    LW_JSON_MOST_DEPTH = 32,
    LW_JSON_MOST_KEYS = 4096,
};

// A step into a document, kept on the stack of whoever walks it. A key of NULL means the index.
struct lw_json_place {
    const struct lw_json_place *outer; // NULL at the top
    const char *key;
    size_t index;
};

// lw_fail() with the place's JSON pointer (RFC 6901) and ": " before the sentence; "top level"
// stands for the empty pointer.
enum lw_status lw_json_fail(const struct lw_json_place *place, struct lw_error *error,
                            enum lw_status status, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

enum lw_status lw_json_no_memory(struct lw_error *error);

// The words of a choice as "a, b, c", cut when they do not fit.
void lw_json_words(const char *const *words, char *to, size_t size);

// Adds a quoted JSON text. Control characters of every kind are escaped, so that a JSON file shown
// on a terminal is as harmless as cleaned text. `utf8` must be valid.
void lw_json_put_text(struct lw_text *out, const char *utf8);
void lw_json_put_number(struct lw_text *out, double value); // finite

// Adds valid compact JSON with two spaces of indent; short lists of plain values stay on one line.
void lw_json_put_pretty(struct lw_text *out, const char *compact, size_t length);

static inline void *lw_json_member(const void *object, const struct lw_field *field)
{
    return (char *)(uintptr_t)object + field->offset;
}

#endif
