// SPDX-License-Identifier: GPL-3.0-or-later
//
// The strict pre-scan. The parser behind it takes duplicate keys, `01`, raw control bytes and bad
// UTF-8, and cuts a text at \u0000; here a file that is not exactly RFC 8259 is refused before it
// gets there, with the line and column where an editor will find the fault. The keys of all open
// objects lie on one stack; a closing object sorts its own to find a duplicate.
#include "base/json_inside.h"

#include "base/number.h"
#include "base/utf8.h"

struct key {
    const char *name; // set when the object closes and the names do not move any more
    size_t name_at, name_length;
    size_t at; // in the file
};

struct scan {
    const char *bytes;
    size_t length, at;
    struct lw_text names; // decoded names of the keys on the stack
    struct lw_list keys;  // struct key
    struct lw_error *error;
};

static void find_place(const char *bytes, size_t at, size_t *line, size_t *column)
{
    *line = 1;
    *column = 1;
    for (size_t i = 0; i < at; i++) {
        if (bytes[i] == '\n') {
            (*line)++;
            *column = 1;
        } else if (((unsigned char)bytes[i] & 0xc0) != 0x80) {
            (*column)++;
        }
    }
}

static enum lw_status fail_at(struct scan *scan, size_t at, const char *says)
{
    size_t line, column;
    find_place(scan->bytes, at, &line, &column);
    return lw_fail(scan->error, LW_BAD_FILE, "line %zu, column %zu: %s", line, column, says);
}

static enum lw_status fail_here(struct scan *scan, const char *expected)
{
    char says[120], safe[16];
    if (scan->at >= scan->length) {
        lw_print(says, sizeof says, "the file ends where %s should follow", expected);
        return fail_at(scan, scan->length, says);
    }
    uint32_t code;
    size_t taken = lw_utf8_next(scan->bytes + scan->at, scan->length - scan->at, &code);
    lw_text_clean(safe, sizeof safe, scan->bytes + scan->at, taken == 0 ? 1 : taken);
    lw_print(says, sizeof says, "'%s' where %s should stand", safe, expected);
    return fail_at(scan, scan->at, says);
}

static char peek(const struct scan *scan)
{
    return scan->at < scan->length ? scan->bytes[scan->at] : '\0';
}

static void skip_space(struct scan *scan)
{
    while (scan->at < scan->length && memchr(" \t\n\r", scan->bytes[scan->at], 4) != NULL) {
        scan->at++;
    }
}

static bool take(struct scan *scan, char mark)
{
    if (scan->at < scan->length && scan->bytes[scan->at] == mark) {
        scan->at++;
        return true;
    }
    return false;
}

// Four hexadecimal digits at `at`, or -1.
static int hex4(const struct scan *scan, size_t at)
{
    int value = 0;
    for (size_t i = at; i < at + 4; i++) {
        char digit = i < scan->length ? scan->bytes[i] : '\0';
        if (digit >= '0' && digit <= '9') {
            value = value * 16 + (digit - '0');
        } else if ((digit | 0x20) >= 'a' && (digit | 0x20) <= 'f') {
            value = value * 16 + ((digit | 0x20) - 'a' + 10);
        } else {
            return -1;
        }
    }
    return value;
}

// The character of a \u escape whose digits start at scan->at; a surrogate pair is two escapes.
static enum lw_status scan_unicode(struct scan *scan, size_t start, uint32_t *code)
{
    int first = hex4(scan, scan->at);
    if (first < 0) {
        return fail_at(scan, start, "\\u without four hexadecimal digits");
    }
    if (first == 0) {
        return fail_at(scan, start, "\\u0000 in a text");
    }
    scan->at += 4;
    *code = (uint32_t)first;
    if (first < 0xd800 || first > 0xdfff) {
        return LW_OK;
    }
    bool paired = first < 0xdc00 && scan->at + 6 <= scan->length &&
                  memcmp(scan->bytes + scan->at, "\\u", 2) == 0;
    int second = paired ? hex4(scan, scan->at + 2) : -1;
    if (second < 0xdc00 || second > 0xdfff) {
        return fail_at(scan, start, "half a surrogate pair");
    }
    scan->at += 6;
    *code = 0x10000 + (((uint32_t)first & 0x3ff) << 10) + ((uint32_t)second & 0x3ff);
    return LW_OK;
}

static enum lw_status scan_escape(struct scan *scan, uint32_t *code)
{
    static const char letters[] = "\"\\/bfnrt";
    static const char marks[] = "\"\\/\b\f\n\r\t";
    size_t start = scan->at++;
    char letter = peek(scan);
    scan->at += scan->at < scan->length;
    if (letter == 'u') {
        return scan_unicode(scan, start, code);
    }
    const char *found = letter == '\0' ? NULL : strchr(letters, letter);
    if (found == NULL) {
        return fail_at(scan, start, "unknown escape in a text");
    }
    *code = (unsigned char)marks[found - letters];
    return LW_OK;
}

static enum lw_status scan_character(struct scan *scan, uint32_t *code)
{
    if (scan->at >= scan->length) {
        return fail_here(scan, "the end of a text");
    }
    if (scan->bytes[scan->at] == '\\') {
        return scan_escape(scan, code);
    }
    size_t taken = lw_utf8_next(scan->bytes + scan->at, scan->length - scan->at, code);
    if (taken == 0) {
        return fail_at(scan, scan->at, "no valid UTF-8");
    }
    if (*code < 0x20) {
        return fail_at(scan, scan->at, "control byte in a text: write it as an escape");
    }
    scan->at += taken;
    return LW_OK;
}

// A text whose opening quote stands at scan->at; its characters go to `name` unless that is NULL.
static enum lw_status scan_text(struct scan *scan, struct lw_text *name)
{
    scan->at++;
    while (!take(scan, '"')) {
        uint32_t code = 0;
        enum lw_status status = scan_character(scan, &code);
        if (status != LW_OK) {
            return status;
        }
        if (name != NULL) {
            char bytes[4];
            lw_text_put(name, bytes, lw_utf8_encode(code, bytes));
        }
    }
    return LW_OK;
}

static enum lw_status scan_number(struct scan *scan)
{
    const char *start = scan->bytes + scan->at;
    size_t span = lw_number_span(start, scan->length - scan->at);
    if (span == 0) {
        return fail_at(scan, scan->at, "badly written number");
    }
    if (span > LW_NUMBER_LONGEST) {
        return fail_at(scan, scan->at, "number of more than 60 characters");
    }
    if (isinf(lw_number_value(start, span))) {
        return fail_at(scan, scan->at, "number too large");
    }
    scan->at += span;
    return LW_OK;
}

static enum lw_status scan_word(struct scan *scan)
{
    static const char *const words[] = {"true", "false", "null"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        size_t length = strlen(words[i]);
        if (scan->length - scan->at >= length &&
            memcmp(scan->bytes + scan->at, words[i], length) == 0) {
            scan->at += length;
            return LW_OK;
        }
    }
    return fail_here(scan, "a value");
}

static enum lw_status scan_value(struct scan *scan, int depth);

static enum lw_status scan_list(struct scan *scan, int depth)
{
    scan->at++;
    skip_space(scan);
    if (take(scan, ']')) {
        return LW_OK;
    }
    for (;;) {
        enum lw_status status = scan_value(scan, depth);
        if (status != LW_OK) {
            return status;
        }
        if (take(scan, ']')) {
            return LW_OK;
        }
        if (!take(scan, ',')) {
            return fail_here(scan, "',' or ']'");
        }
    }
}

static enum lw_status scan_key(struct scan *scan)
{
    if (peek(scan) != '"') {
        return fail_here(scan, "a key in double quotes");
    }
    struct key *key = lw_list_add(&scan->keys, sizeof *key);
    if (key == NULL) {
        return lw_json_no_memory(scan->error);
    }
    key->at = scan->at;
    key->name_at = scan->names.length;
    enum lw_status status = scan_text(scan, &scan->names);
    key->name_length = scan->names.length - key->name_at;
    if (status == LW_OK && scan->names.failed) {
        return lw_json_no_memory(scan->error);
    }
    return status;
}

static enum lw_status scan_member(struct scan *scan, int depth)
{
    enum lw_status status = scan_key(scan);
    if (status != LW_OK) {
        return status;
    }
    skip_space(scan);
    if (!take(scan, ':')) {
        return fail_here(scan, "':'");
    }
    return scan_value(scan, depth);
}

static int compare_names(const struct key *a, const struct key *b)
{
    size_t shorter = a->name_length < b->name_length ? a->name_length : b->name_length;
    int order = shorter == 0 ? 0 : memcmp(a->name, b->name, shorter);
    return order != 0 ? order
                      : (a->name_length > b->name_length) - (a->name_length < b->name_length);
}

static int compare_keys(const void *left, const void *right)
{
    const struct key *a = left, *b = right;
    int order = compare_names(a, b);
    return order != 0 ? order : (a->at > b->at) - (a->at < b->at);
}

static enum lw_status fail_duplicate(struct scan *scan, const struct key *key)
{
    char safe[64], says[120];
    lw_text_clean(safe, sizeof safe, key->name, key->name_length);
    lw_print(says, sizeof says, "key '%s' for the second time", safe);
    return fail_at(scan, key->at, says);
}

// Looks at the keys from `first` on, the closing object's, and takes them off the stack.
static enum lw_status close_object(struct scan *scan, size_t first)
{
    size_t count = scan->keys.count - first;
    struct key *keys = (struct key *)scan->keys.items + first;
    const struct key *twice = NULL;
    for (size_t i = 0; i < count; i++) {
        keys[i].name = scan->names.bytes + keys[i].name_at;
    }
    size_t names_length = keys[0].name_at;
    qsort(keys, count, sizeof *keys, compare_keys);
    for (size_t i = 1; i < count; i++) {
        if (compare_names(&keys[i - 1], &keys[i]) == 0 && (!twice || keys[i].at < twice->at)) {
            twice = &keys[i];
        }
    }
    if (twice != NULL) {
        return fail_duplicate(scan, twice);
    }
    scan->keys.count = first;
    scan->names.length = names_length;
    return LW_OK;
}

static enum lw_status scan_object(struct scan *scan, int depth)
{
    size_t first = scan->keys.count;
    scan->at++;
    skip_space(scan);
    if (take(scan, '}')) {
        return LW_OK;
    }
    for (;;) {
        skip_space(scan);
        if (scan->keys.count - first == LW_JSON_MOST_KEYS) {
            return fail_at(scan, scan->at, "object with more than 4096 keys");
        }
        enum lw_status status = scan_member(scan, depth);
        if (status != LW_OK) {
            return status;
        }
        if (take(scan, '}')) {
            return close_object(scan, first);
        }
        if (!take(scan, ',')) {
            return fail_here(scan, "',' or '}'");
        }
    }
}

static enum lw_status scan_bare_value(struct scan *scan, int depth)
{
    char first = peek(scan);
    if ((first == '{' || first == '[') && depth == LW_JSON_MOST_DEPTH) {
        return fail_at(scan, scan->at, "nested deeper than 32");
    }
    switch (first) {
    case '{':
        return scan_object(scan, depth + 1);
    case '[':
        return scan_list(scan, depth + 1);
    case '"':
        return scan_text(scan, NULL);
    default:
        return first == '-' || (first >= '0' && first <= '9') ? scan_number(scan) : scan_word(scan);
    }
}

// A value with the white space around it.
static enum lw_status scan_value(struct scan *scan, int depth)
{
    skip_space(scan);
    enum lw_status status = scan_bare_value(scan, depth);
    skip_space(scan);
    return status;
}

enum lw_status lw_json_scan(const char *bytes, size_t length, struct lw_error *error)
{
    struct scan scan = {.bytes = bytes, .length = length, .error = error};
    if (length > LW_JSON_MOST_BYTES) {
        return lw_fail(error, LW_BAD_FILE, "larger than 16 MB");
    }
    if (length >= 3 && memcmp(bytes, "\xef\xbb\xbf", 3) == 0) {
        return fail_at(&scan, 0, "byte order mark: save the file as UTF-8 without it");
    }
    enum lw_status status = scan_value(&scan, 0);
    if (status == LW_OK && scan.at < length) {
        status = fail_here(&scan, "the end of the file");
    }
    lw_text_finish(&scan.names);
    free(scan.keys.items);
    return status;
}
