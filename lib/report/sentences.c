// SPDX-License-Identifier: GPL-3.0-or-later
//
// Formats matched backwards. A conversion takes what printf could have written for it: digits for
// numbers, anything for %s, as little as lets the rest fit. Of several msgids that fit, the one
// with the most characters of its own wins.
//
//   .mo file (GNU gettext manual, 10.3): magic, revision, count, offset of the table of msgids,
//   offset of that of msgstrs; each table has length and offset of its texts, 32 bits each.
#include "report/sentences.h"

#include "site/record.h"

#include <assert.h>
#include <ctype.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { TAKEN_MOST = 16, DEPTH_MOST = 2, HEADER = 20, PAIRS_MOST = 20000 };

struct pair {
    char *english, *other;
    size_t own; // characters that are no conversion
};
struct lw_sentences {
    struct pair *pairs;
    size_t count;
};

struct taken {
    const char *at;
    size_t length;
};
struct match {
    struct taken taken[TAKEN_MOST];
    size_t count;
};

// Length of the conversion at `at`, its letter in *kind; 0 when there is none. "%%" has kind '%'.
static size_t conversion(const char *at, char *kind)
{
    size_t length = 1;
    if (at[0] != '%') {
        return 0;
    }
    length += strspn(at + length, "-+ #0123456789.*$");
    length += strspn(at + length, "hlzjt");
    *kind = at[length];
    return at[length] != '\0' && (isalpha((unsigned char)at[length]) || at[length] == '%')
               ? length + 1
               : 0;
}

static bool may_hold(char kind, char byte)
{
    switch (kind) {
    case 'd':
    case 'i':
    case 'u':
        return isdigit((unsigned char)byte) || byte == '-' || byte == '+';
    case 'x':
    case 'X':
        return isxdigit((unsigned char)byte) != 0;
    case 's':
        return true;
    default:
        return isalnum((unsigned char)byte) || byte == '-' || byte == '+' || byte == '.';
    }
}

static bool fits(const char *format, const char *text, struct match *match);

static bool fits_conversion(char kind, const char *rest, const char *text, struct match *match)
{
    size_t index = match->count++;
    if (index >= TAKEN_MOST) {
        return false;
    }
    for (size_t length = 0;; length++) {
        match->count = index + 1;
        match->taken[index] = (struct taken){text, length};
        bool enough = length > 0 || kind == 's';
        if (enough && fits(rest, text + length, match)) {
            return true;
        }
        if (text[length] == '\0' || !may_hold(kind, text[length])) {
            return false;
        }
    }
}

static bool fits(const char *format, const char *text, struct match *match)
{
    for (;;) {
        char kind = '\0';
        size_t length = conversion(format, &kind);
        if (length > 0 && kind != '%') {
            return fits_conversion(kind, format + length, text, match);
        }
        if (*format != *text) {
            return false;
        }
        if (*format == '\0') {
            return true;
        }
        format += length > 0 ? length : 1;
        text++;
    }
}

static size_t own_characters(const char *format)
{
    size_t own = 0;
    while (*format != '\0') {
        char kind;
        size_t length = conversion(format, &kind);
        own += length == 0 && isalpha((unsigned char)*format) != 0;
        format += length > 0 ? length : 1;
    }
    return own;
}

static const struct pair *best_pair(const struct lw_sentences *sentences, const char *english,
                                    struct match *best)
{
    const struct pair *found = NULL;
    for (size_t i = 0; i < sentences->count; i++) {
        const struct pair *pair = &sentences->pairs[i];
        struct match match = {.count = 0};
        if (pair->own > (found != NULL ? found->own : 0) && fits(pair->english, english, &match)) {
            found = pair;
            *best = match;
        }
    }
    return found;
}

static void say(const struct lw_sentences *sentences, const char *english, int depth,
                struct lw_text *out);

static void say_taken(const struct lw_sentences *sentences, const struct taken *taken, int depth,
                      struct lw_text *out)
{
    char piece[600];
    if (taken->length >= sizeof piece) {
        lw_text_put(out, taken->at, taken->length);
        return;
    }
    memcpy(piece, taken->at, taken->length);
    piece[taken->length] = '\0';
    say(sentences, piece, depth + 1, out);
}

static void say_pair(const struct lw_sentences *sentences, const struct pair *pair,
                     const struct match *match, int depth, struct lw_text *out)
{
    size_t next = 0;
    for (const char *at = pair->other; *at != '\0';) {
        char kind;
        size_t length = conversion(at, &kind);
        if (length == 0 || kind == '%') {
            lw_text_put(out, at, 1);
            at += length > 0 ? length : 1;
            continue;
        }
        // "%.0s" passes over what another language has no use for: a plural's ending.
        bool dropped = length == 4 && strncmp(at, "%.0s", 4) == 0;
        if (!dropped && next < match->count) {
            say_taken(sentences, &match->taken[next], depth, out);
        }
        next++;
        at += length;
    }
}

// Many sentences are a name, or names and a colon, and what is said of them.
static bool say_behind(const struct lw_sentences *sentences, const char *english,
                       const char *between, int depth, struct lw_text *out)
{
    struct match match = {.count = 0};
    const char *at = strstr(english, between);
    const char *rest = at != NULL ? at + strlen(between) : "";
    const struct pair *pair = depth <= DEPTH_MOST ? best_pair(sentences, rest, &match) : NULL;
    if (pair == NULL) {
        return false;
    }
    struct taken head = {english, (size_t)(at - english)};
    say_taken(sentences, &head, depth, out);
    lw_text_put(out, between, strlen(between));
    say_pair(sentences, pair, &match, depth, out);
    return true;
}

static void say(const struct lw_sentences *sentences, const char *english, int depth,
                struct lw_text *out)
{
    struct match match = {.count = 0};
    const struct pair *pair = depth <= DEPTH_MOST ? best_pair(sentences, english, &match) : NULL;
    if (pair != NULL) {
        say_pair(sentences, pair, &match, depth, out);
    } else if (!say_behind(sentences, english, ": ", depth, out) &&
               !say_behind(sentences, english, " ", depth, out)) {
        lw_text_put(out, english, strlen(english));
    }
}

char *lw_sentences_say(const struct lw_sentences *sentences, const char *english)
{
    assert(english);
    struct lw_text out = {0};
    if (sentences == NULL || english[0] == '\0') {
        return lw_duplicate(english);
    }
    say(sentences, english, 0, &out);
    if (out.failed) {
        lw_text_finish(&out);
    }
    return out.bytes;
}

static bool change(const struct lw_sentences *sentences, char **text)
{
    if (*text == NULL) {
        return true;
    }
    char *said = lw_sentences_say(sentences, *text);
    if (said == NULL) {
        return false;
    }
    free(*text);
    *text = said;
    return true;
}

static bool change_finding(const struct lw_sentences *sentences, struct lw_finding *finding)
{
    bool good = change(sentences, &finding->says) && change(sentences, &finding->next) &&
                change(sentences, &finding->caution);
    for (size_t i = 0; i < finding->because.count && good; i++) {
        good = change(sentences, &((char **)finding->because.items)[i]);
    }
    return good;
}

char *lw_sentences_say_of(const struct lw_sentences *sentences, const char *english)
{
    struct lw_text text = {0};
    const char *colon = strstr(english, ": ");
    size_t names = colon != NULL ? (size_t)(colon - english) + 2 : 0;
    char *said = lw_sentences_say(sentences, english + names);
    if (said != NULL) {
        lw_text_add(&text, "%.*s%s", (int)names, english, said);
    }
    free(said);
    return text.bytes;
}

enum lw_status lw_sentences_apply(const struct lw_sentences *sentences, struct lw_list *records,
                                  struct lw_error *error)
{
    struct lw_record *items = records->items;
    for (size_t i = 0; i < records->count; i++) {
        bool written_by_people = strcmp(items[i].check, "note") == 0;
        struct lw_finding *findings = items[i].findings.list.items;
        for (size_t k = 0; k < items[i].findings.list.count; k++) {
            bool good = written_by_people ? change(sentences, &findings[k].next) &&
                                                change(sentences, &findings[k].caution)
                                          : change_finding(sentences, &findings[k]);
            if (!good) {
                return lw_fail(error, LW_MEMORY, "out of memory");
            }
        }
    }
    return LW_OK;
}

// ---- the catalogue

struct file {
    const char *bytes;
    size_t length;
    bool swapped;
};

static uint32_t word_at(const struct file *file, size_t offset)
{
    const unsigned char *at = (const unsigned char *)file->bytes + offset;
    return file->swapped
               ? (uint32_t)at[0] << 24 | (uint32_t)at[1] << 16 | (uint32_t)at[2] << 8 | at[3]
               : (uint32_t)at[3] << 24 | (uint32_t)at[2] << 16 | (uint32_t)at[1] << 8 | at[0];
}

// The text that entry `index` of a table names; NULL when it does not lie in the file. A text ends
// at its first NUL: plural forms behind it are not used here.
static const char *text_at(const struct file *file, size_t table, size_t index)
{
    size_t entry = table + 8 * index;
    if (entry + 8 > file->length) {
        return NULL;
    }
    size_t length = word_at(file, entry), offset = word_at(file, entry + 4);
    bool inside = offset < file->length && length < file->length - offset &&
                  file->bytes[offset + length] == '\0';
    return inside ? file->bytes + offset : NULL;
}

static enum lw_status damaged(struct lw_error *error)
{
    return lw_fail(error, LW_BAD_FILE, "it is no catalogue of translations");
}

static enum lw_status read_pairs(const struct file *file, struct lw_sentences *sentences,
                                 struct lw_error *error)
{
    size_t count = word_at(file, 8), english = word_at(file, 12), other = word_at(file, 16);
    if (count > PAIRS_MOST || english > file->length || other > file->length) {
        return damaged(error);
    }
    sentences->pairs = calloc(count + 1, sizeof *sentences->pairs);
    for (size_t i = 0; sentences->pairs != NULL && i < count; i++) {
        const char *from = text_at(file, english, i), *to = text_at(file, other, i);
        if (from == NULL || to == NULL) {
            return damaged(error);
        }
        struct pair *pair = &sentences->pairs[i];
        *pair = (struct pair){lw_duplicate(from), lw_duplicate(to), own_characters(from)};
        sentences->count = i + 1;
        if (pair->english == NULL || pair->other == NULL) {
            return lw_fail(error, LW_MEMORY, "out of memory");
        }
    }
    return sentences->pairs != NULL ? LW_OK : lw_fail(error, LW_MEMORY, "out of memory");
}

enum lw_status lw_sentences_read(const char *bytes, size_t length, struct lw_sentences **sentences,
                                 struct lw_error *error)
{
    assert(bytes && sentences);
    static const char little[] = "\xde\x12\x04\x95", big[] = "\x95\x04\x12\xde";
    struct file file = {bytes, length, length >= 4 && memcmp(bytes, big, 4) == 0};
    *sentences = NULL;
    if (length < HEADER || (!file.swapped && memcmp(bytes, little, 4) != 0)) {
        return damaged(error);
    }
    struct lw_sentences *made = calloc(1, sizeof *made);
    if (made == NULL) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    enum lw_status status = read_pairs(&file, made, error);
    if (status != LW_OK) {
        lw_sentences_free(made);
        return status;
    }
    *sentences = made;
    return LW_OK;
}

void lw_sentences_free(struct lw_sentences *sentences)
{
    if (sentences == NULL) {
        return;
    }
    for (size_t i = 0; i < sentences->count; i++) {
        free(sentences->pairs[i].english);
        free(sentences->pairs[i].other);
    }
    free(sentences->pairs);
    free(sentences);
}
