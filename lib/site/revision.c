// SPDX-License-Identifier: GPL-3.0-or-later
//
// Comparing revisions as people number them: 1.10 comes after 1.9. Numbers are compared by their
// digits, so that no length overflows. And counting on in whichever way a plan counts.
#include "base/text.h"
#include "site/plan.h"

#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

// One piece between dots; past the end it is empty and counts as 0, so that 1.4 equals 1.4.0.
struct piece {
    const char *from;
    size_t length;
};

static struct piece piece_next(const char **text)
{
    struct piece piece = {*text, strcspn(*text, ".")};
    *text += piece.length;
    if (**text == '.') {
        (*text)++;
    }
    return piece;
}

static bool is_number(struct piece piece)
{
    for (size_t i = 0; i < piece.length; i++) {
        if (!isdigit((unsigned char)piece.from[i])) {
            return false;
        }
    }
    return true;
}

static struct piece without_zeros(struct piece piece)
{
    while (piece.length > 0 && *piece.from == '0') {
        piece.from++;
        piece.length--;
    }
    return piece;
}

static int bytes_compare(struct piece a, struct piece b)
{
    size_t shared = a.length < b.length ? a.length : b.length;
    int order = memcmp(a.from, b.from, shared);
    return order != 0 ? order : (a.length > b.length) - (a.length < b.length);
}

static int piece_compare(struct piece a, struct piece b)
{
    if (!is_number(a) || !is_number(b)) {
        return bytes_compare(a, b);
    }
    a = without_zeros(a);
    b = without_zeros(b);
    if (a.length != b.length) {
        return a.length > b.length ? 1 : -1;
    }
    return bytes_compare(a, b);
}

int lw_revision_compare(const char *a, const char *b)
{
    assert(a && b);
    while (*a != '\0' || *b != '\0') {
        int order = piece_compare(piece_next(&a), piece_next(&b));
        if (order != 0) {
            return order;
        }
    }
    return 0;
}

void lw_plan_next_revision(const char *revision, char *next, size_t size)
{
    size_t length = revision != NULL ? strlen(revision) : 0;
    size_t digits = 0;
    while (digits < length && digits < 9 && isdigit((unsigned char)revision[length - 1 - digits])) {
        digits++;
    }
    char last = length > 0 ? revision[length - 1] : '\0';
    bool single = length == 1 || (length > 1 && !isalpha((unsigned char)revision[length - 2]));
    if (length == 0) {
        lw_print(next, size, "1");
    } else if (digits > 0) {
        lw_print(next, size, "%.*s%0*ld", (int)(length - digits), revision, (int)digits,
                 strtol(revision + length - digits, NULL, 10) + 1);
    } else if (single && last != 'z' && last != 'Z' && isalpha((unsigned char)last)) {
        lw_print(next, size, "%.*s%c", (int)(length - 1), revision, last + 1);
    } else {
        lw_print(next, size, "%s.1", revision);
    }
}
