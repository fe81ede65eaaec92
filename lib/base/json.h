// SPDX-License-Identifier: GPL-3.0-or-later
//
// JSON files as typed structs. Every kind of file is one struct and one table of fields; the table
// reads it (with the JSON pointer of what is wrong), writes it, frees it and gives its JSON Schema,
// so that code, files and documentation cannot drift apart. A strict pre-scan stands before the
// parser: it refuses what the grammar of RFC 8259 refuses, duplicate keys, \u0000, bad UTF-8,
// numbers that overflow a double or take over 60 characters, depth over 32, files over 16 MB and
// objects of over 4096 keys, and says line and column. Numbers are written so that they read back
// to the same double.
#ifndef LW_BASE_JSON_H
#define LW_BASE_JSON_H

#include "base/error.h"
#include "base/list.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

// What a field holds in the struct. Absent and not required gives the default named here unless the
// field's `absent` says otherwise.
enum lw_kind {
    LW_TEXT,    // char *, owned by the struct; absent: NULL
    LW_NUMBER,  // double; absent: NAN, unless `has_default`; null is read as NAN when `nullable`,
                // NAN is written as null when `nullable`, else left out
    LW_INTEGER, // int; absent: `fallback`. With `names`, a word stands for -1, -2, ... in the order
                // of names
    LW_BOOLEAN, // bool; absent: fallback != 0
    LW_CHOICE,  // int, index into `names`; absent: (int)fallback
    LW_OBJECT,  // struct embedded; absent: all its fields as absent
    LW_OPTIONAL, // pointer to a struct, NULL when absent
    LW_LIST,     // struct lw_list of structs of `sub`; absent: empty
    LW_NUMBERS,  // struct lw_list of double; low_items..high_items
    LW_TEXTS,    // struct lw_list of char *
    LW_MAP,      // JSON object of name -> number, as struct lw_list of struct lw_pair
    LW_RAW, // char *: any JSON value kept as its compact text (a record's `result`); absent: NULL
};

struct lw_pair {
    char *name;
    double value;
};

struct lw_shape;

struct lw_field {
    const char *key;
    enum lw_kind kind;
    size_t offset;
    const char *unit; // NULL when the key says it or it has none
    const char *says; // one line for the schema and docs/formats, with the meaning of absence
    bool required;
    bool nullable;    // null is taken as absent and absent is written as null
    bool has_default; // LW_NUMBER: absent is `fallback` instead of NAN
    double fallback;
    bool ranged;    // low..high apply
    bool above_low; // low itself is refused
    double low, high;
    size_t low_items, high_items; // lists; high_items 0 means any number
    const char *const *names;     // LW_CHOICE, LW_INTEGER: words, NULL-terminated
    const struct lw_shape *sub;   // LW_OBJECT, LW_OPTIONAL, LW_LIST
};

// The key and place of a member that is called in the file as in the struct:
// {LW_AT(struct lw_node, address), .kind = LW_INTEGER, .says = "..."}.
#define LW_AT(type, member) .key = #member, .offset = offsetof(type, member)

struct lw_shape {
    const char *name;              // "plan", for the schema
    size_t size;                   // of the struct
    const struct lw_field *fields; // ends with a NULL key
    bool tuple; // stands in the file as an array of the fields in order, not as an object
};

// Reads `length` bytes of JSON into the struct at `object`, whose content before is ignored. On
// failure the struct is left freed and zeroed and `error` says where: line and column for syntax,
// JSON pointer else. Returns LW_OK, LW_BAD_FILE or LW_MEMORY.
enum lw_status lw_json_read(const struct lw_shape *shape, const char *bytes, size_t length,
                            void *object, struct lw_error *error);

// Only the pre-scan: grammar, UTF-8, depth, duplicates, overflow. LW_OK or LW_BAD_FILE.
enum lw_status lw_json_scan(const char *bytes, size_t length, struct lw_error *error);

// The struct as it is when every field is absent (required ones too).
void lw_json_init(const struct lw_shape *shape, void *object);

// Adds the struct as JSON to `out`: keys in table order; when `pretty`, two spaces of indent, short
// lists of plain values on one line, and a line end. What holds no value (NULL, NAN, a negative
// choice, an integer at a fallback outside its range, an empty list that must not be empty, an
// object that is not required and all absent) is
// left out, or written as null when nullable. What was written passes lw_json_scan().
// LW_USAGE when a number that is not nullable is infinite, a text is no valid UTF-8, a raw value no
// JSON, or the whole too large or too deep to be read back. LW_MEMORY. `out` gains nothing then.
enum lw_status lw_json_write(const struct lw_shape *shape, const void *object, bool pretty,
                             struct lw_text *out, struct lw_error *error);

// Frees all that the struct owns and zeroes it. NULL is allowed.
void lw_json_free(const struct lw_shape *shape, void *object);

// Adds the JSON Schema (2020-12) of the shape, closed against unknown keys. `title` is the
// schema's.
enum lw_status lw_json_schema(const struct lw_shape *shape, const char *title, struct lw_text *out,
                              struct lw_error *error);

#endif
