// SPDX-License-Identifier: GPL-3.0-or-later
//
// How characters stand on the line, and how long they take. One text form, "19200/8E1", is used in
// options, plans and records alike.
#include "base/number.h"
#include "base/text.h"
#include "line/line.h"

#include <assert.h>
#include <ctype.h>
#include <string.h>

enum { RATE_LOW = 50, RATE_HIGH = 4000000 };

static enum lw_status not_a_framing(const char *text, struct lw_error *error)
{
    char clean[64];
    lw_text_clean(clean, sizeof clean, text, strlen(text));
    return lw_fail(error, LW_USAGE,
                   "'%s' is no framing: give rate, data bits, parity and stop bits as in 19200/8E1",
                   clean);
}

// "8E1" behind the slash.
static bool character_parse(const char *text, struct lw_framing *framing)
{
    if (strlen(text) != 3) {
        return false;
    }
    framing->data_bits = text[0] - '0';
    framing->parity = (char)toupper((unsigned char)text[1]);
    framing->stop_bits = text[2] - '0';
    return (framing->data_bits == 7 || framing->data_bits == 8) &&
           (framing->parity == 'N' || framing->parity == 'E' || framing->parity == 'O') &&
           (framing->stop_bits == 1 || framing->stop_bits == 2);
}

enum lw_status lw_framing_parse(const char *text, struct lw_framing *framing,
                                struct lw_error *error)
{
    assert(text && framing);
    struct lw_framing parsed = {0};
    char rate[16];
    const char *slash = strchr(text, '/');
    size_t length = slash ? (size_t)(slash - text) : 0;
    if (!slash || length >= sizeof rate || !character_parse(slash + 1, &parsed)) {
        return not_a_framing(text, error);
    }
    memcpy(rate, text, length);
    rate[length] = '\0';
    int64_t value = 0;
    if (lw_number_integer(rate, RATE_LOW, RATE_HIGH, &value, NULL) != LW_OK) {
        return not_a_framing(text, error);
    }
    parsed.rate = (int)value;
    *framing = parsed;
    return LW_OK;
}

void lw_framing_text(const struct lw_framing *framing, char text[LW_FRAMING_TEXT])
{
    lw_print(text, LW_FRAMING_TEXT, "%d/%d%c%d", framing->rate, framing->data_bits, framing->parity,
             framing->stop_bits);
}

int lw_framing_bits(const struct lw_framing *framing)
{
    return 1 + framing->data_bits + (framing->parity == 'N' ? 0 : 1) + framing->stop_bits;
}

int64_t lw_framing_chars_ns(const struct lw_framing *framing, size_t count)
{
    assert(framing->rate > 0);
    int64_t bits = (int64_t)count * lw_framing_bits(framing);
    int64_t rest = bits % framing->rate;
    return bits / framing->rate * 1000000000 +
           (rest * 1000000000 + framing->rate / 2) / framing->rate;
}

int64_t lw_framing_t35_ns(const struct lw_framing *framing)
{
    if (framing->rate > 19200) {
        return 1750000;
    }
    int64_t half_bits = 7 * (int64_t)lw_framing_bits(framing);
    return (half_bits * 1000000000 + framing->rate) / (2 * (int64_t)framing->rate);
}

bool lw_framing_same(const struct lw_framing *a, const struct lw_framing *b)
{
    return a->rate == b->rate && a->data_bits == b->data_bits && a->parity == b->parity &&
           a->stop_bits == b->stop_bits;
}
