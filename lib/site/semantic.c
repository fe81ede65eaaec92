// SPDX-License-Identifier: GPL-3.0-or-later
//
// Checks that several kinds of file share. Text that stands in a message came from a file, so it is
// cleaned first.
#include "site/semantic.h"

#include "base/clock.h"
#include "base/text.h"
#include "line/line.h"

#include <assert.h>
#include <string.h>

const char *lw_site_word(char to[LW_SITE_WORD], const char *text)
{
    lw_text_clean(to, LW_SITE_WORD, text ? text : "", text ? strlen(text) : 0);
    return to;
}

enum lw_status lw_site_format(const char *format, const char *wanted, struct lw_error *error)
{
    char word[LW_SITE_WORD];
    if (format && strcmp(format, wanted) == 0) {
        return LW_OK;
    }
    return lw_fail(error, LW_BAD_FILE, "/format: must be '%s', is '%s'", wanted,
                   lw_site_word(word, format));
}

enum lw_status lw_site_time(const char *text, const char *pointer, struct lw_error *error)
{
    char word[LW_SITE_WORD];
    int64_t utc_ns;
    if (!text || lw_time_parse(text, &utc_ns) == 0) {
        return LW_OK;
    }
    return lw_fail(error, LW_BAD_FILE,
                   "%s: must be a date or a time as in 2026-11-25 or 2026-11-25T08:05:00Z, is '%s'",
                   pointer, lw_site_word(word, text));
}

enum lw_status lw_site_framing(const char *text, const char *pointer, struct lw_error *error)
{
    struct lw_framing framing;
    struct lw_error inner = {0};
    if (!text || lw_framing_parse(text, &framing, &inner) == LW_OK) {
        return LW_OK;
    }
    return lw_fail(error, LW_BAD_FILE, "%s: %s", pointer, inner.says);
}

enum lw_status lw_site_within(enum lw_status status, const char *kind, const char *name,
                              struct lw_error *error)
{
    char word[LW_SITE_WORD];
    if (status != LW_OK) {
        lw_error_within(error, "%s '%s'", kind, lw_site_word(word, name));
    }
    return status;
}
