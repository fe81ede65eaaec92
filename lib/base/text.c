// SPDX-License-Identifier: GPL-3.0-or-later
//
// Growing text, bounded copies, and the cleaning of text from outside.
#include "base/text.h"

#include "base/utf8.h"

#include <stdarg.h>
#include <stdint.h>

// Makes room for `more` bytes and a terminator. Doubling keeps a long document linear.
static bool make_room(struct lw_text *text, size_t more)
{
    if (text->failed || more >= SIZE_MAX - text->length) {
        text->failed = true;
        return false;
    }
    size_t needed = text->length + more + 1;
    if (needed <= text->room) {
        return true;
    }
    size_t room = text->room > SIZE_MAX / 2 ? needed : text->room * 2;
    room = room < needed ? needed : room;
    room = room < 64 ? 64 : room;
    char *bytes = realloc(text->bytes, room);
    if (bytes == NULL) {
        text->failed = true;
        return false;
    }
    text->bytes = bytes;
    text->room = room;
    return true;
}

void lw_text_put(struct lw_text *text, const char *bytes, size_t count)
{
    if (!make_room(text, count)) {
        return;
    }
    if (count > 0) {
        memcpy(text->bytes + text->length, bytes, count);
    }
    text->length += count;
    text->bytes[text->length] = '\0';
}

void lw_text_add(struct lw_text *text, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    va_list again;
    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, arguments);
    va_end(arguments);
    if (length < 0) {
        text->failed = true;
    } else if (make_room(text, (size_t)length)) {
        vsnprintf(text->bytes + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    }
    va_end(again);
}

void lw_text_clear(struct lw_text *text)
{
    text->length = 0;
    text->failed = false;
    if (text->bytes != NULL) {
        text->bytes[0] = '\0';
    }
}

void lw_text_finish(struct lw_text *text)
{
    if (text == NULL) {
        return;
    }
    free(text->bytes);
    *text = (struct lw_text){0};
}

enum lw_status lw_text_check(const struct lw_text *text, struct lw_error *error)
{
    return text->failed ? lw_fail(error, LW_MEMORY, "out of memory") : LW_OK;
}

size_t lw_text_clean(char *to, size_t size, const char *from, size_t count)
{
    size_t length = 0;
    while (count > 0 && size > 0) {
        uint32_t code = 0;
        size_t taken = lw_utf8_next(from, count, &code);
        const char *piece = taken == 0 ? "\xef\xbf\xbd" : lw_utf8_control(code) ? "?" : from;
        size_t piece_length = taken == 0 ? 3 : piece == from ? taken : 1;
        if (length + piece_length >= size) {
            break;
        }
        memcpy(to + length, piece, piece_length);
        length += piece_length;
        from += taken == 0 ? 1 : taken;
        count -= taken == 0 ? 1 : taken;
    }
    if (size > 0) {
        to[length] = '\0';
    }
    return length;
}

bool lw_copy(char *to, size_t size, const char *from)
{
    size_t length = strlen(from);
    if (size == 0) {
        return false;
    }
    bool whole = length < size;
    size_t kept = whole ? length : lw_utf8_whole(from, size - 1);
    memmove(to, from, kept);
    to[kept] = '\0';
    return whole;
}

bool lw_print(char *to, size_t size, const char *format, ...)
{
    if (size == 0) {
        return false;
    }
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(to, size, format, arguments);
    va_end(arguments);
    if (length >= 0 && (size_t)length < size) {
        return true;
    }
    to[length < 0 ? 0 : lw_utf8_whole(to, size - 1)] = '\0';
    return false;
}

char *lw_duplicate(const char *from)
{
    if (from == NULL) {
        return NULL;
    }
    size_t size = strlen(from) + 1;
    char *copy = malloc(size);
    return copy == NULL ? NULL : memcpy(copy, from, size);
}

struct range {
    uint32_t first, last;
};

static bool in_ranges(const struct range *ranges, size_t count, uint32_t code)
{
    for (size_t i = 0; i < count; i++) {
        if (code >= ranges[i].first && code <= ranges[i].last) {
            return true;
        }
    }
    return false;
}

// Combining marks and format characters of the scripts in which names of people, places and
// machines are likely to come (general categories Mn, Me and Cf).
static bool takes_no_column(uint32_t code)
{
    static const struct range none[] = {
        {0x0300, 0x036f},   {0x0483, 0x0489}, {0x0591, 0x05bd}, {0x05bf, 0x05bf}, {0x05c1, 0x05c2},
        {0x05c4, 0x05c5},   {0x05c7, 0x05c7}, {0x0610, 0x061a}, {0x064b, 0x065f}, {0x0670, 0x0670},
        {0x06d6, 0x06dc},   {0x06df, 0x06e4}, {0x06e7, 0x06e8}, {0x06ea, 0x06ed}, {0x0900, 0x0902},
        {0x093a, 0x093a},   {0x093c, 0x093c}, {0x0941, 0x0948}, {0x094d, 0x094d}, {0x0e31, 0x0e31},
        {0x0e34, 0x0e3a},   {0x0e47, 0x0e4e}, {0x1160, 0x11ff}, {0x1ab0, 0x1aff}, {0x1dc0, 0x1dff},
        {0x200b, 0x200f},   {0x202a, 0x202e}, {0x2060, 0x2064}, {0x2066, 0x206f}, {0x20d0, 0x20f0},
        {0x302a, 0x302d},   {0x3099, 0x309a}, {0xfe00, 0xfe0f}, {0xfe20, 0xfe2f}, {0xfeff, 0xfeff},
        {0xe0100, 0xe01ef},
    };
    return in_ranges(none, sizeof none / sizeof none[0], code);
}

// East Asian wide and fullwidth blocks (Unicode Annex 11, properties W and F) and the pictographs.
static bool takes_two_columns(uint32_t code)
{
    static const struct range wide[] = {
        {0x1100, 0x115f},   {0x2329, 0x232a},   {0x2e80, 0x303e},   {0x3041, 0x33ff},
        {0x3400, 0x4dbf},   {0x4e00, 0x9fff},   {0xa000, 0xa4cf},   {0xa960, 0xa97f},
        {0xac00, 0xd7a3},   {0xf900, 0xfaff},   {0xfe10, 0xfe19},   {0xfe30, 0xfe6f},
        {0xff00, 0xff60},   {0xffe0, 0xffe6},   {0x1f300, 0x1f64f}, {0x1f680, 0x1f6ff},
        {0x1f900, 0x1f9ff}, {0x20000, 0x2fffd}, {0x30000, 0x3fffd},
    };
    return in_ranges(wide, sizeof wide / sizeof wide[0], code);
}

size_t lw_text_columns(const char *utf8)
{
    size_t columns = 0;
    size_t count = strlen(utf8);
    while (count > 0) {
        uint32_t code = 0;
        size_t taken = lw_utf8_next(utf8, count, &code);
        taken = taken == 0 ? 1 : taken;
        if (code < 0x300) {
            columns++;
        } else if (!takes_no_column(code)) {
            columns += takes_two_columns(code) ? 2 : 1;
        }
        utf8 += taken;
        count -= taken;
    }
    return columns;
}
