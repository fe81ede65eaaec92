// SPDX-License-Identifier: GPL-3.0-or-later
//
// The records of a visit, and whether their chain is whole: each holds the digest of the file
// before it, the first that of visit.json, and the digests of all that was written and used with
// it. A record that was changed or taken out shows in the one after it; the last one shows on
// signed paper.
#include "site/visit.h"

#include "base/list.h"
#include "site/semantic.h"
#include "site/visit_inside.h"

#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

int lw_visit_number(const char *name)
{
    int number = 0;
    for (int i = 0; i < 4; i++) {
        if (!isdigit((unsigned char)name[i])) {
            return 0;
        }
        number = 10 * number + (name[i] - '0');
    }
    return name[4] == '-' ? number : 0;
}

bool lw_visit_is_record(const char *name, int *number, char check[64])
{
    *number = lw_visit_number(name);
    const char *dot = *number > 0 ? strchr(name, '.') : NULL;
    return dot && strcmp(dot, ".json") == 0 && dot > name + 5 &&
           lw_print(check, 64, "%.*s", (int)(dot - name - 5), name + 5);
}

// A walk along the chain.
struct walk {
    const struct lw_visit *visit;
    struct lw_list *records;
    bool verify;
    char previous[LW_DIGEST];
    int last_number;
    int broken;
    struct lw_error why;
};

static void breaks(struct walk *walk, int number, const struct lw_error *why)
{
    if (walk->broken == 0) {
        walk->broken = number;
        walk->why = *why;
        lw_error_within(&walk->why, "record %d", number);
    }
}

static void breaks_at_file(struct walk *walk, int number, const char *name, const char *what)
{
    struct lw_error why = {0};
    char word[LW_SITE_WORD];
    lw_fail(&why, LW_BAD_FILE, "'%s' %s", lw_site_word(word, name), what);
    breaks(walk, number, &why);
}

// A name that leads out of the visit's folder is none of ours.
static bool stays_inside(const char *name)
{
    return name[0] != '/' && name[0] != '\0' && strstr(name, "..") == NULL;
}

static void check_files(struct walk *walk, const struct lw_record *record,
                        const struct lw_list *list)
{
    const struct lw_record_file *files = list->items;
    for (size_t i = 0; i < list->count; i++) {
        char path[LW_PATH], digest[LW_DIGEST];
        struct lw_error why = {0};
        if (!stays_inside(files[i].name) ||
            !lw_path_join(path, sizeof path, walk->visit->folder, files[i].name)) {
            breaks_at_file(walk, record->number, files[i].name, "does not lie in the visit");
        } else if (lw_file_digest(path, digest, &why) != LW_OK) {
            breaks(walk, record->number, &why);
        } else if (strcmp(digest, files[i].sha256) != 0) {
            breaks_at_file(walk, record->number, files[i].name, "was changed after it was written");
        }
    }
}

static void check_record(struct walk *walk, const struct lw_record *record, const char *name,
                         int number, const char *check)
{
    if (record->number != number || strcmp(record->check, check) != 0) {
        breaks_at_file(walk, number, name, "does not hold the record that its name says");
    }
    if (number == walk->last_number) {
        breaks_at_file(walk, number, name, "has a number that is there twice");
    }
    if (!record->previous_sha256 || strcmp(record->previous_sha256, walk->previous) != 0) {
        breaks_at_file(
            walk, number, name,
            "does not follow the file before it: that one was changed, removed or added");
    }
    check_files(walk, record, &record->files);
    check_files(walk, record, &record->inputs);
}

static enum lw_status walk_bytes(struct walk *walk, const char *name, int number, const char *check,
                                 const struct lw_text *text, struct lw_error *error)
{
    struct lw_error why = {0};
    struct lw_record record;
    enum lw_status status =
        lw_record_read(text->bytes ? text->bytes : "", text->length, name, &record, &why);
    if (status == LW_BAD_FILE) {
        breaks(walk, number, &why);
    } else if (status != LW_OK) {
        return lw_fail(error, status, "%s", why.says);
    } else {
        struct lw_record *place = lw_list_add(walk->records, sizeof *place);
        if (!place) {
            lw_json_free(&lw_record_shape, &record);
            return lw_fail(error, LW_MEMORY, "out of memory");
        }
        *place = record;
        if (walk->verify) {
            check_record(walk, place, name, number, check);
        }
    }
    lw_digest(text->bytes, text->length, walk->previous);
    walk->last_number = number;
    return LW_OK;
}

static enum lw_status walk_file(struct walk *walk, const char *name, struct lw_error *error)
{
    int number;
    char check[64], path[LW_PATH];
    struct lw_text text = {0};
    struct lw_error why = {0};
    if (!lw_visit_is_record(name, &number, check) ||
        !lw_path_join(path, sizeof path, walk->visit->folder, name)) {
        return LW_OK;
    }
    enum lw_status status = lw_file_read(path, LW_VISIT_MOST_BYTES, &text, &why);
    if (status == LW_OK) {
        status = walk_bytes(walk, name, number, check, &text, error);
    } else if (status == LW_MEMORY) {
        lw_fail(error, status, "%s", why.says);
    } else {
        breaks(walk, number, &why);
        status = LW_OK;
    }
    lw_text_finish(&text);
    return status;
}

static enum lw_status walk_start(struct walk *walk, struct lw_error *error)
{
    char path[LW_PATH];
    if (!lw_path_join(path, sizeof path, walk->visit->folder, "visit.json")) {
        return lw_fail(error, LW_USAGE, "the visit's name is too long");
    }
    return lw_file_digest(path, walk->previous, error);
}

enum lw_status lw_visit_read_records(const struct lw_visit *visit, bool verify,
                                     struct lw_list *records, int *broken, struct lw_error *error)
{
    struct walk walk = {.visit = visit, .records = records, .verify = verify};
    struct lw_list names = {0};
    *records = (struct lw_list){0};
    *broken = 0;
    enum lw_status status = walk_start(&walk, error);
    if (status == LW_OK) {
        status = lw_folder_names(visit->folder, &names, error);
    }
    for (size_t i = 0; status == LW_OK && i < names.count; i++) {
        status = walk_file(&walk, ((char **)names.items)[i], error);
    }
    lw_names_free(&names);
    if (status != LW_OK) {
        lw_records_free(records);
        return status;
    }
    *broken = walk.broken;
    if (walk.broken > 0 && error) {
        *error = walk.why;
    }
    return LW_OK;
}

enum lw_status lw_visit_records(const struct lw_visit *visit, struct lw_list *records, int *broken,
                                struct lw_error *error)
{
    assert(visit && records && broken);
    return lw_visit_read_records(visit, true, records, broken, error);
}

void lw_records_free(struct lw_list *records)
{
    if (!records) {
        return;
    }
    struct lw_record *items = records->items;
    for (size_t i = 0; i < records->count; i++) {
        lw_json_free(&lw_record_shape, &items[i]);
    }
    free(items);
    *records = (struct lw_list){0};
}

const struct lw_record *lw_records_last(const struct lw_list *records, const char *check,
                                        bool complete)
{
    const struct lw_record *items = records->items;
    const struct lw_record *last = NULL;
    for (size_t i = 0; i < records->count; i++) {
        bool better = !complete || items[i].complete || !last || !last->complete;
        if (strcmp(items[i].check, check) == 0 && better) {
            last = &items[i];
        }
    }
    return last;
}
