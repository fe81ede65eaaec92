// SPDX-License-Identifier: GPL-3.0-or-later
//
// Pointers for messages, and how JSON text looks when we write it.
#include "base/json_inside.h"

#include "base/number.h"
#include "base/utf8.h"

#include <stdarg.h>

enum { POINTER = 200, KEY_SHOWN = 64, LINE_MOST = 72 };

static void put_key(char *pointer, size_t size, const char *key)
{
    char safe[KEY_SHOWN];
    lw_text_clean(safe, sizeof safe, key, strlen(key));
    size_t at = strlen(pointer);
    for (const char *from = safe; *from != '\0' && at + 3 < size; from++) {
        if (*from == '~' || *from == '/') {
            pointer[at++] = '~';
            pointer[at++] = *from == '~' ? '0' : '1';
        } else {
            pointer[at++] = *from;
        }
    }
    pointer[at] = '\0';
    pointer[lw_utf8_whole(pointer, at)] = '\0';
}

static void put_place(const struct lw_json_place *place, char *pointer, size_t size)
{
    if (place == NULL || (place->outer == NULL && place->key == NULL)) {
        return;
    }
    put_place(place->outer, pointer, size);
    size_t at = strlen(pointer);
    if (place->key == NULL) {
        lw_print(pointer + at, size - at, "/%zu", place->index);
    } else if (lw_copy(pointer + at, size - at, "/")) {
        put_key(pointer, size, place->key);
    }
}

enum lw_status lw_json_fail(const struct lw_json_place *place, struct lw_error *error,
                            enum lw_status status, const char *format, ...)
{
    char pointer[POINTER] = "";
    char says[LW_ERROR_SAYS];
    put_place(place, pointer, sizeof pointer);
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(says, sizeof says, format, arguments);
    va_end(arguments);
    if (length >= (int)sizeof says) {
        says[lw_utf8_whole(says, sizeof says - 1)] = '\0';
    }
    return lw_fail(error, status, "%s: %s", pointer[0] == '\0' ? "top level" : pointer, says);
}

enum lw_status lw_json_no_memory(struct lw_error *error)
{
    return lw_fail(error, LW_MEMORY, "out of memory");
}

void lw_json_words(const char *const *words, char *to, size_t size)
{
    to[0] = '\0';
    for (size_t i = 0; words[i] != NULL; i++) {
        size_t at = strlen(to);
        lw_print(to + at, size - at, "%s%s", i == 0 ? "" : ", ", words[i]);
    }
}

static void put_escaped(struct lw_text *out, uint32_t code)
{
    static const char marks[] = "\b\t\n\f\r\"\\";
    static const char letters[] = "btnfr\"\\";
    const char *mark = code < 0x80 ? strchr(marks, (int)code) : NULL;
    if (mark != NULL) {
        lw_text_add(out, "\\%c", letters[mark - marks]);
    } else {
        lw_text_add(out, "\\u%04x", (unsigned)code);
    }
}

void lw_json_put_text(struct lw_text *out, const char *utf8)
{
    size_t count = strlen(utf8);
    size_t plain = 0; // bytes before `plain` that need no escape are put in one go
    lw_text_put(out, "\"", 1);
    for (size_t at = 0; at < count;) {
        uint32_t code = 0;
        size_t taken = lw_utf8_next(utf8 + at, count - at, &code);
        taken = taken == 0 ? 1 : taken;
        if (lw_utf8_control(code) || code == '"' || code == '\\') {
            lw_text_put(out, utf8 + plain, at - plain);
            put_escaped(out, code);
            plain = at + taken;
        }
        at += taken;
    }
    lw_text_put(out, utf8 + plain, count - plain);
    lw_text_put(out, "\"", 1);
}

void lw_json_put_number(struct lw_text *out, double value)
{
    char text[LW_NUMBER_TEXT];
    lw_number_exact(value, text);
    lw_text_put(out, text, strlen(text));
}

// The end of the text or other token that starts at `at`.
static size_t token_end(const char *compact, size_t at, size_t length)
{
    if (compact[at] != '"') {
        return at + 1;
    }
    for (at++; at < length && compact[at] != '"'; at++) {
        at += compact[at] == '\\';
    }
    return at + 1;
}

// Length of the list at the start when it holds no object and is short, else 0.
static size_t short_list(const char *compact, size_t length)
{
    int depth = 0;
    for (size_t at = 0; at < length && at < LINE_MOST;) {
        if (compact[at] == '{') {
            return 0;
        }
        depth += (compact[at] == '[') - (compact[at] == ']');
        at = token_end(compact, at, length);
        if (depth == 0) {
            return at;
        }
    }
    return 0;
}

static void put_one_line(struct lw_text *out, const char *compact, size_t length)
{
    for (size_t at = 0; at < length;) {
        size_t end = token_end(compact, at, length);
        lw_text_put(out, compact + at, end - at);
        if (compact[at] == ',') {
            lw_text_put(out, " ", 1);
        }
        at = end;
    }
}

static void put_line_end(struct lw_text *out, size_t depth)
{
    lw_text_put(out, "\n", 1);
    for (size_t i = 0; i < depth; i++) {
        lw_text_put(out, "  ", 2);
    }
}

static bool opens(char mark)
{
    return mark == '{' || mark == '[';
}

static bool closes(char mark)
{
    return mark == '}' || mark == ']';
}

// Adds the token at..end and the white space that belongs around it.
static void put_token(struct lw_text *out, const char *compact, size_t at, size_t end,
                      size_t *depth)
{
    bool empty = at > 0 && opens(compact[at - 1]);
    if (closes(compact[at])) {
        (*depth)--;
        if (!empty) {
            put_line_end(out, *depth);
        }
    } else if (empty) {
        put_line_end(out, *depth);
    }
    lw_text_put(out, compact + at, end - at);
    if (opens(compact[at])) {
        (*depth)++;
    } else if (compact[at] == ',') {
        put_line_end(out, *depth);
    } else if (compact[at] == ':') {
        lw_text_put(out, " ", 1);
    }
}

void lw_json_put_pretty(struct lw_text *out, const char *compact, size_t length)
{
    size_t depth = 0;
    for (size_t at = 0; at < length;) {
        size_t line = compact[at] == '[' ? short_list(compact + at, length - at) : 0;
        if (line > 0) {
            if (at > 0 && opens(compact[at - 1])) {
                put_line_end(out, depth);
            }
            put_one_line(out, compact + at, line);
            at += line;
            continue;
        }
        size_t end = token_end(compact, at, length);
        put_token(out, compact, at, end, &depth);
        at = end;
    }
}
