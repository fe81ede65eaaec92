// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writing into a visit: the lock, the number, the copies of what was used, the record. A number is
// taken once: a command that was cut short and left nothing but a capture has had it.
#include "site/visit.h"

#include "base/list.h"
#include "site/semantic.h"
#include "site/visit_inside.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

static const double lock_wait_s = 2;

static enum lw_status in_visit(enum lw_status status, const struct lw_visit *visit,
                               struct lw_error *error)
{
    return lw_site_within(status, "visit", visit->folder, error);
}

static enum lw_status path_in(const struct lw_visit *visit, const char *name, char path[LW_PATH],
                              struct lw_error *error)
{
    return lw_path_join(path, LW_PATH, visit->folder, name)
               ? LW_OK
               : lw_fail(error, LW_USAGE, "the name of a file gets too long");
}

// What a visit's folder holds.
struct seen {
    int highest;        // number of any file
    int sealed;         // the first record that seals the visit, 0: none
    char last[LW_PATH]; // the record file that was written last, else visit.json
};

static enum lw_status look(const struct lw_visit *visit, struct seen *seen, struct lw_error *error)
{
    struct lw_list names = {0};
    enum lw_status status = lw_folder_names(visit->folder, &names, error);
    *seen = (struct seen){.last = "visit.json"};
    for (size_t i = 0; status == LW_OK && i < names.count; i++) {
        const char *name = ((char **)names.items)[i];
        char check[64];
        int number = lw_visit_number(name);
        seen->highest = number > seen->highest ? number : seen->highest;
        if (lw_visit_is_record(name, &number, check)) {
            lw_copy(seen->last, LW_PATH, name); // names are sorted
            bool first = seen->sealed == 0 && lw_visit_seals(check);
            seen->sealed = first ? number : seen->sealed;
        }
    }
    lw_names_free(&names);
    return status;
}

bool lw_visit_seals(const char *check)
{
    return strcmp(check, "signature") == 0 || strcmp(check, "paper") == 0;
}

static enum lw_status take_number(struct lw_visit *visit, const char *check, int *number,
                                  struct lw_error *error)
{
    struct seen seen;
    char path[LW_PATH];
    enum lw_status status = look(visit, &seen, error);
    if (status == LW_OK && seen.sealed > 0 && !lw_visit_seals(check)) {
        return lw_fail(error, LW_USAGE,
                       "is signed (record %d) and takes no more records: open a follow-up with "
                       "linewalk visit NEW-FOLDER",
                       seen.sealed);
    }
    if (status == LW_OK) {
        status = path_in(visit, seen.last, path, error);
    }
    if (status == LW_OK) {
        status = lw_file_digest(path, visit->previous_digest, error);
    }
    int next = seen.highest + 1 > visit->next_number ? seen.highest + 1 : visit->next_number;
    if (status == LW_OK && next > LW_VISIT_NUMBER_MAX) {
        return lw_fail(error, LW_USAGE, "has %d records and takes no more: open a new visit",
                       LW_VISIT_NUMBER_MAX);
    }
    if (status == LW_OK) {
        *number = visit->number = next;
        visit->next_number = next + 1;
    }
    return status;
}

enum lw_status lw_visit_begin(struct lw_visit *visit, const char *check, int *number,
                              struct lw_error *error)
{
    assert(visit && check && number);
    char path[LW_PATH];
    bool held = visit->lock.descriptor >= 0;
    enum lw_status status = LW_OK;
    if (!held) {
        status = path_in(visit, "visit.json", path, error);
        if (status == LW_OK) {
            status = lw_lock_take(path, lock_wait_s, &visit->lock, error);
        }
    }
    if (status == LW_OK) {
        status = take_number(visit, check, number, error);
    }
    if (status != LW_OK && !held) {
        lw_lock_release(&visit->lock);
    }
    return in_visit(status, visit, error);
}

void lw_visit_end(struct lw_visit *visit)
{
    if (visit) {
        lw_lock_release(&visit->lock);
    }
}

bool lw_visit_path(const struct lw_visit *visit, int number, const char *check, const char *ending,
                   char *path, size_t size)
{
    char name[LW_PATH];
    assert(number >= 1 && number <= LW_VISIT_NUMBER_MAX);
    return lw_print(name, sizeof name, "%04d-%s.%s", number, check, ending) &&
           lw_path_join(path, size, visit->folder, name);
}

// "inputs/3f2a9c10-plan.json"; what could not stand in a record is cleaned away. A file that comes
// from there keeps its name.
static bool input_name(const struct lw_input *input, char name[LW_PATH])
{
    char base[128];
    const char *slash = strrchr(input->path, '/');
    const char *from = slash ? slash + 1 : input->path;
    lw_text_clean(base, sizeof base, from, strlen(from));
    bool kept = strncmp(base, input->digest, 8) == 0 && base[8] == '-';
    return kept ? lw_print(name, LW_PATH, "inputs/%s", base)
                : lw_print(name, LW_PATH, "inputs/%.8s-%s", input->digest, base);
}

// The copy is what the command has read, or it is none.
static enum lw_status copy_input(const struct lw_input *input, const char *path,
                                 struct lw_error *error)
{
    struct lw_text text = {0};
    char digest[LW_DIGEST], word[LW_SITE_WORD];
    enum lw_status status = lw_file_read(input->path, LW_VISIT_MOST_BYTES, &text, error);
    if (status == LW_OK) {
        lw_digest(text.bytes, text.length, digest);
        status = strcmp(digest, input->digest) == 0
                     ? lw_file_write_new(path, text.bytes, text.length, error)
                     : lw_fail(error, LW_BAD_FILE, "'%s' was changed while it was used",
                               lw_site_word(word, input->path));
    }
    lw_text_finish(&text);
    return status;
}

static enum lw_status same_input(const struct lw_input *input, const char *path,
                                 struct lw_error *error)
{
    char digest[LW_DIGEST], word[LW_SITE_WORD];
    enum lw_status status = lw_file_digest(path, digest, error);
    if (status == LW_OK && strcmp(digest, input->digest) != 0) {
        return lw_fail(error, LW_BAD_FILE, "'%s' was changed after it was kept",
                       lw_site_word(word, path));
    }
    return status;
}

enum lw_status lw_visit_keep_input(struct lw_visit *visit, const struct lw_input *input,
                                   char name[LW_PATH], struct lw_error *error)
{
    assert(visit && input && name);
    char path[LW_PATH];
    enum lw_status status = path_in(visit, "inputs", path, error);
    if (status == LW_OK) {
        status = lw_folder_make(path, error);
    }
    if (status == LW_OK && !input_name(input, name)) {
        status = lw_fail(error, LW_USAGE, "the name of a file gets too long");
    }
    if (status == LW_OK) {
        status = path_in(visit, name, path, error);
    }
    if (status == LW_OK) {
        status =
            lw_file_exists(path) ? same_input(input, path, error) : copy_input(input, path, error);
    }
    return in_visit(status, visit, error);
}

static enum lw_status write_record(struct lw_visit *visit, const struct lw_record *record,
                                   struct lw_error *error)
{
    struct lw_text text = {0};
    char path[LW_PATH];
    enum lw_status status = lw_json_write(&lw_record_shape, record, true, &text, error);
    if (status == LW_OK &&
        !lw_visit_path(visit, record->number, record->check, "json", path, sizeof path)) {
        status = lw_fail(error, LW_USAGE, "the name of a record gets too long");
    }
    if (status == LW_OK) {
        status = lw_file_write_new(path, text.bytes, text.length, error);
    }
    if (status == LW_OK) {
        lw_digest(text.bytes, text.length, visit->previous_digest);
    }
    lw_text_finish(&text);
    return status;
}

enum lw_status lw_visit_append(struct lw_visit *visit, struct lw_record *record,
                               struct lw_error *error)
{
    assert(visit && record && record->check);
    assert(visit->lock.descriptor >= 0 && visit->number > 0);
    char *previous = lw_duplicate(visit->previous_digest);
    if (!previous) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    free(record->previous_sha256);
    record->previous_sha256 = previous;
    record->number = visit->number;
    enum lw_status status = write_record(visit, record, error);
    if (status == LW_OK) {
        visit->number = 0;
    }
    return in_visit(status, visit, error);
}
