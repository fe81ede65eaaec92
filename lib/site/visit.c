// SPDX-License-Identifier: GPL-3.0-or-later
//
// Opening a visit. visit.json is written once, at the opening, and is the first link of the chain
// of digests; what is learned later stands in records and is taken over from there.
#include "site/visit.h"

#include "base/list.h"
#include "site/semantic.h"
#include "site/visit_inside.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LEVELS_UP = 40 };

static void visit_init(struct lw_visit *visit, const char *folder)
{
    *visit = (struct lw_visit){.lock.descriptor = -1};
    lw_copy(visit->folder, sizeof visit->folder, folder);
}

static enum lw_status facts_check(const struct lw_visit_facts *facts, struct lw_error *error)
{
    enum lw_status status = lw_site_format(facts->format, "linewalk/visit/1", error);
    if (status == LW_OK) {
        status = lw_site_time(facts->opened, "/opened", error);
    }
    const struct lw_instrument *items = facts->instruments.items;
    for (size_t i = 0; status == LW_OK && i < facts->instruments.count; i++) {
        char pointer[64];
        lw_print(pointer, sizeof pointer, "/instruments/%zu/calibrated_on", i);
        status = lw_site_time(items[i].calibrated_on, pointer, error);
        if (status == LW_OK) {
            lw_print(pointer, sizeof pointer, "/instruments/%zu/due_on", i);
            status = lw_site_time(items[i].due_on, pointer, error);
        }
    }
    return status;
}

static enum lw_status facts_read(const char *path, struct lw_visit_facts *facts,
                                 struct lw_error *error)
{
    struct lw_text text = {0};
    enum lw_status status = lw_file_read(path, LW_VISIT_MOST_BYTES, &text, error);
    if (status == LW_OK) {
        status =
            lw_json_read(&lw_visit_shape, text.bytes ? text.bytes : "", text.length, facts, error);
        if (status == LW_OK) {
            status = facts_check(facts, error);
        }
        lw_site_within(status, "visit", path, error);
    }
    lw_text_finish(&text);
    return status;
}

// What the command line gave, with the format's name and the time put in.
static enum lw_status facts_write(const char *path, const struct lw_visit_facts *facts,
                                  const struct lw_clock *clock, struct lw_error *error)
{
    struct lw_visit_facts all;
    char format[] = "linewalk/visit/1";
    char opened[LW_TIME_TEXT];
    struct lw_text text = {0};
    lw_json_init(&lw_visit_shape, &all);
    if (facts) {
        all = *facts; // borrowed
    }
    lw_time_format(lw_clock_utc_ns(clock, lw_clock_now_ns(clock)), 0, opened);
    all.format = format;
    all.opened = all.opened ? all.opened : opened;
    enum lw_status status = facts_check(&all, error);
    if (status == LW_OK) {
        status = lw_json_write(&lw_visit_shape, &all, true, &text, error);
    }
    if (status == LW_OK) {
        status = lw_file_write_new(path, text.bytes, text.length, error);
    }
    lw_text_finish(&text);
    // Another command may have opened the same visit at the same moment: then it is open.
    return status == LW_USAGE && lw_file_exists(path) ? LW_OK : status;
}

static enum lw_status is_empty(const char *folder, bool *empty, struct lw_error *error)
{
    struct lw_list names = {0};
    enum lw_status status = lw_folder_names(folder, &names, error);
    *empty = names.count == 0;
    lw_names_free(&names);
    return status;
}

static enum lw_status make(const char *folder, const char *path, const struct lw_visit_facts *facts,
                           const struct lw_clock *clock, struct lw_error *error)
{
    bool empty = false;
    char word[LW_SITE_WORD];
    enum lw_status status = lw_folder_make(folder, error);
    if (status == LW_OK) {
        status = is_empty(folder, &empty, error);
    }
    if (status == LW_OK && !empty) {
        return lw_fail(error, LW_USAGE,
                       "'%s' is no visit: it has other files and no visit.json; name a new folder",
                       lw_site_word(word, folder));
    }
    return status == LW_OK ? facts_write(path, facts, clock, error) : status;
}

enum lw_status lw_visit_open(const char *folder, const struct lw_visit_facts *facts,
                             const struct lw_clock *clock, struct lw_visit *visit,
                             struct lw_error *error)
{
    assert(folder && clock && visit);
    char path[LW_PATH];
    char word[LW_SITE_WORD];
    visit_init(visit, folder);
    if (!lw_path_join(path, sizeof path, folder, "visit.json")) {
        return lw_fail(error, LW_USAGE, "the name of '%s' is too long", lw_site_word(word, folder));
    }
    enum lw_status status = LW_OK;
    if (!lw_file_exists(path)) {
        status = make(folder, path, facts, clock, error);
    }
    if (status == LW_OK) {
        status = facts_read(path, &visit->facts, error);
    }
    if (status == LW_OK) {
        status = lw_visit_apply(visit, error);
    }
    if (status != LW_OK) {
        lw_visit_close(visit);
    }
    return status;
}

// The folder above; a relative path grows by "..".
static bool go_up(char folder[LW_PATH])
{
    char above[LW_PATH];
    bool absolute = folder[0] == '/';
    bool plain = absolute && strstr(folder, "..") == NULL;
    if (strcmp(folder, "/") == 0) {
        return false;
    }
    return (plain ? lw_path_folder(above, sizeof above, folder)
                  : lw_path_join(above, sizeof above, folder, "..")) &&
           lw_copy(folder, LW_PATH, above);
}

enum lw_status lw_visit_find(const char *start, struct lw_visit *visit, bool *found,
                             struct lw_error *error)
{
    assert(start && visit && found);
    char folder[LW_PATH], path[LW_PATH];
    *found = false;
    visit_init(visit, "");
    bool fits = lw_copy(folder, sizeof folder, start);
    for (int level = 0; fits && level < LEVELS_UP; level++) {
        if (!lw_path_join(path, sizeof path, folder, "visit.json")) {
            break;
        }
        if (lw_file_exists(path)) {
            *found = true;
            struct lw_clock unused;
            lw_clock_virtual(&unused, 0);
            return lw_visit_open(folder, NULL, &unused, visit, error);
        }
        fits = go_up(folder);
    }
    return LW_OK;
}

void lw_visit_close(struct lw_visit *visit)
{
    if (!visit) {
        return;
    }
    lw_lock_release(&visit->lock);
    lw_json_free(&lw_visit_shape, &visit->facts);
    visit_init(visit, "");
}
