// SPDX-License-Identifier: GPL-3.0-or-later
//
// Filling and reading the error record. Every sentence is made in a buffer of its own before it is
// kept, so that a caller may pass the record's own text as an argument.
#include "base/error.h"

#include "base/text.h"
#include "base/utf8.h"

#include <stdarg.h>

static void format_into(char *to, size_t size, const char *format, va_list arguments)
    __attribute__((format(printf, 3, 0)));

static void format_into(char *to, size_t size, const char *format, va_list arguments)
{
    int length = vsnprintf(to, size, format, arguments);
    if (length < 0) {
        to[0] = '\0';
    } else if ((size_t)length >= size) {
        to[lw_utf8_whole(to, size - 1)] = '\0';
    }
}

enum lw_status lw_fail(struct lw_error *error, enum lw_status status, const char *format, ...)
{
    if (error == NULL) {
        return status;
    }
    char says[LW_ERROR_SAYS];
    va_list arguments;
    va_start(arguments, format);
    format_into(says, sizeof says, format, arguments);
    va_end(arguments);
    *error = (struct lw_error){.status = status};
    memcpy(error->says, says, sizeof says);
    return status;
}

enum lw_status lw_fail_errno(struct lw_error *error, int errno_value, const char *format, ...)
{
    if (error == NULL) {
        return LW_SYSTEM;
    }
    char says[LW_ERROR_SAYS];
    va_list arguments;
    va_start(arguments, format);
    format_into(says, sizeof says, format, arguments);
    va_end(arguments);
    return lw_fail(error, LW_SYSTEM, "%s: %s", says, strerror(errno_value));
}

enum lw_status lw_error_within(struct lw_error *error, const char *format, ...)
{
    if (error == NULL) {
        return LW_SYSTEM;
    }
    char place[LW_ERROR_CONTEXT];
    va_list arguments;
    va_start(arguments, format);
    format_into(place, sizeof place, format, arguments);
    va_end(arguments);
    char inner[LW_ERROR_CONTEXT];
    lw_copy(inner, sizeof inner, error->context);
    lw_print(error->context, sizeof error->context, "%s%s%s", place, inner[0] ? ": " : "", inner);
    return error->status;
}

const char *lw_error_text(const struct lw_error *error, char *text, size_t size)
{
    const char *between = error->context[0] != '\0' ? ": " : "";
    lw_print(text, size, "%s%s%s", error->context, between, error->says);
    return text;
}

const char *lw_status_word(enum lw_status status)
{
    static const char *const words[] = {
        [LW_OK] = "ok",           [LW_USAGE] = "usage",       [LW_SYSTEM] = "system",
        [LW_MEMORY] = "memory",   [LW_SILENCE] = "silence",   [LW_GARBLED] = "garbled",
        [LW_REFUSED] = "refused", [LW_BAD_FILE] = "bad_file", [LW_CANCELLED] = "cancelled",
    };
    return words[status];
}
