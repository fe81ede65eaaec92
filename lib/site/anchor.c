// SPDX-License-Identifier: GPL-3.0-or-later
//
// Anchors: made from a folder, written into reports, found again in them. The text keeps to
// letters, digits and a few signs that neither PDF strings nor markup escape.
#include "site/anchor.h"

#include "base/number.h"
#include "site/visit_inside.h"

#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { FILE_DIGITS = 16, FILES_MOST = LW_VISIT_NUMBER_MAX + 1, NAME_MOST = 80 };

static const char digest_word[] = "linewalk-digest=";
static const char key_word[] = " linewalk-key=";
static const char files_word[] = " linewalk-files=";

static bool add_file(struct lw_anchor *anchor, const char *name, const char *digest)
{
    struct lw_record_file *file = lw_list_add(&anchor->files, sizeof *file);
    if (!file) {
        return false;
    }
    file->name = lw_duplicate(name);
    file->sha256 = lw_duplicate(digest);
    return file->name && file->sha256;
}

static enum lw_status take_file(const struct lw_visit *visit, const char *name, int number,
                                struct lw_anchor *anchor, struct lw_error *error)
{
    char path[LW_PATH];
    if (!lw_path_join(path, sizeof path, visit->folder, name)) {
        return lw_fail(error, LW_USAGE, "the visit's name is too long");
    }
    enum lw_status status = lw_file_digest(path, anchor->digest, error);
    anchor->number = number;
    if (status == LW_OK && !add_file(anchor, name, anchor->digest)) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    return status;
}

enum lw_status lw_anchor_of_visit(const struct lw_visit *visit, struct lw_anchor *anchor,
                                  struct lw_error *error)
{
    assert(visit && anchor);
    struct lw_list names = {0};
    *anchor = (struct lw_anchor){0};
    enum lw_status status = take_file(visit, "visit.json", 0, anchor, error);
    if (status == LW_OK) {
        status = lw_folder_names(visit->folder, &names, error);
    }
    for (size_t i = 0; status == LW_OK && i < names.count; i++) {
        const char *name = ((char **)names.items)[i];
        int number = 0;
        char check[64];
        if (lw_visit_is_record(name, &number, check) && !lw_visit_seals(check)) {
            status = take_file(visit, name, number, anchor, error);
        }
    }
    lw_names_free(&names);
    if (status != LW_OK) {
        lw_anchor_free(anchor);
    }
    return status;
}

void lw_anchor_text(const struct lw_anchor *anchor, struct lw_text *out)
{
    lw_text_add(out, "%s%s%s", digest_word, anchor->digest, key_word);
    for (const char *at = anchor->fingerprint; *at; at++) {
        if (*at != ' ') {
            lw_text_put(out, at, 1);
        }
    }
    lw_text_add(out, "%s", files_word);
    const struct lw_record_file *files = anchor->files.items;
    for (size_t i = 0; i < anchor->files.count; i++) {
        lw_text_add(out, "%s%s:%.*s", i > 0 ? "," : "", files[i].name, (int)FILE_DIGITS,
                    files[i].sha256);
    }
}

// What is left to read.
struct rest {
    const char *at, *end;
};

static bool take_word(struct rest *rest, const char *word)
{
    size_t length = strlen(word);
    if ((size_t)(rest->end - rest->at) < length || memcmp(rest->at, word, length) != 0) {
        return false;
    }
    rest->at += length;
    return true;
}

// Characters of a class into `to`; the count, 0 when they do not fit.
static size_t take_run(struct rest *rest, bool (*in_class)(char), char *to, size_t size)
{
    size_t count = 0;
    while (rest->at + count < rest->end && in_class(rest->at[count])) {
        count++;
    }
    if (count >= size) {
        return 0;
    }
    memcpy(to, rest->at, count);
    to[count] = '\0';
    rest->at += count;
    return count;
}

static bool is_digit(char byte)
{
    return isdigit((unsigned char)byte) || (byte >= 'a' && byte <= 'f');
}

static bool is_name(char byte)
{
    return isalnum((unsigned char)byte) || byte == '-' || byte == '_' || byte == '.';
}

static bool take_files(struct rest *rest, struct lw_anchor *anchor)
{
    do {
        char name[NAME_MOST], digits[LW_DIGEST];
        if (take_run(rest, is_name, name, sizeof name) == 0 || !take_word(rest, ":") ||
            take_run(rest, is_digit, digits, sizeof digits) != FILE_DIGITS ||
            anchor->files.count == FILES_MOST || !add_file(anchor, name, digits)) {
            return false;
        }
    } while (take_word(rest, ","));
    return true;
}

static bool take_anchor(struct rest *rest, struct lw_anchor *anchor)
{
    char digits[LW_DIGEST];
    *anchor = (struct lw_anchor){0};
    if (take_run(rest, is_digit, anchor->digest, sizeof anchor->digest) != LW_DIGEST - 1 ||
        !take_word(rest, key_word)) {
        return false;
    }
    if (take_run(rest, is_digit, digits, sizeof digits) > 0) {
        lw_digest_shown(digits, 8, anchor->fingerprint, sizeof anchor->fingerprint);
    }
    if (!take_word(rest, files_word) || !take_files(rest, anchor)) {
        return false;
    }
    const struct lw_record_file *files = anchor->files.items;
    anchor->number = lw_visit_number(files[anchor->files.count - 1].name);
    return true;
}

bool lw_anchor_find(const char *bytes, size_t length, struct lw_anchor *anchor)
{
    assert(bytes && anchor);
    struct rest rest = {bytes, bytes + length};
    for (; rest.at < rest.end; rest.at++) {
        rest.at = memchr(rest.at, digest_word[0], (size_t)(rest.end - rest.at));
        if (!rest.at) {
            break;
        }
        struct rest here = rest;
        if (take_word(&here, digest_word)) {
            if (take_anchor(&here, anchor)) {
                return true;
            }
            lw_anchor_free(anchor);
        }
    }
    *anchor = (struct lw_anchor){0};
    return false;
}

void lw_anchor_free(struct lw_anchor *anchor)
{
    if (!anchor) {
        return;
    }
    struct lw_record_file *files = anchor->files.items;
    for (size_t i = 0; i < anchor->files.count; i++) {
        free(files[i].name);
        free(files[i].sha256);
    }
    free(files);
    *anchor = (struct lw_anchor){0};
}
