// SPDX-License-Identifier: GPL-3.0-or-later
//
// The plan that a record used, from the copies kept in the visit: a visit can be gone on with, and
// reported, on any machine, and after the plan on the engineer's disk has changed.
#include "base/list.h"
#include "site/plan_inside.h"
#include "site/semantic.h"
#include "site/visit_inside.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

static bool says_plan(const struct lw_text *text)
{
    return text->bytes && strstr(text->bytes, "\"linewalk/plan/") != NULL;
}

// Sorts the record's inputs into the plan and the rest, which may be profiles.
static enum lw_status sort_inputs(const struct lw_visit *visit, const struct lw_record *record,
                                  char plan[LW_PATH], struct lw_list *others,
                                  struct lw_error *error)
{
    const struct lw_record_file *files = record->inputs.items;
    struct lw_text text = {0};
    enum lw_status status = LW_OK;
    plan[0] = '\0';
    for (size_t i = 0; status == LW_OK && i < record->inputs.count; i++) {
        char path[LW_PATH];
        if (!lw_path_join(path, sizeof path, visit->folder, files[i].name)) {
            continue;
        }
        status = lw_file_read(path, LW_VISIT_MOST_BYTES, &text, error);
        if (status == LW_OK && plan[0] == '\0' && says_plan(&text)) {
            lw_copy(plan, LW_PATH, path);
        } else if (status == LW_OK) {
            char **place = lw_list_add(others, sizeof *place);
            if (!place || !(*place = lw_duplicate(path))) {
                status = lw_fail(error, LW_MEMORY, "out of memory");
            }
        }
    }
    lw_text_finish(&text);
    return status;
}

static enum lw_status load(const char *path, const struct lw_list *others, struct lw_plan *plan,
                           struct lw_inputs *inputs, struct lw_error *error)
{
    enum lw_status status = lw_plan_load_alone(path, plan, inputs, error);
    if (status != LW_OK) {
        return status;
    }
    status = lw_site_within(lw_plan_join_files(plan, others, inputs, error), "plan", path, error);
    if (status != LW_OK) {
        lw_plan_free(plan);
    }
    return status;
}

enum lw_status lw_visit_plan_of(const struct lw_visit *visit, const struct lw_record *record,
                                struct lw_plan *plan, struct lw_inputs *inputs, bool *found,
                                struct lw_error *error)
{
    assert(visit && record && plan && found);
    char path[LW_PATH];
    struct lw_list others = {0};
    *found = false;
    *plan = (struct lw_plan){0};
    enum lw_status status = sort_inputs(visit, record, path, &others, error);
    if (status == LW_OK && path[0] != '\0') {
        status = load(path, &others, plan, inputs, error);
        *found = status == LW_OK;
    }
    lw_names_free(&others);
    return status;
}

enum lw_status lw_visit_plan(const struct lw_visit *visit, const struct lw_list *records,
                             struct lw_plan *plan, struct lw_inputs *inputs, bool *found,
                             struct lw_error *error)
{
    const struct lw_record *items = records->items;
    enum lw_status status = LW_OK;
    *found = false;
    *plan = (struct lw_plan){0};
    for (size_t i = records->count; status == LW_OK && !*found && i > 0; i--) {
        status = lw_visit_plan_of(visit, &items[i - 1], plan, inputs, found, error);
    }
    return status;
}

enum lw_status lw_plan_load_among(const char *path, const struct lw_inputs *others,
                                  struct lw_plan *plan, struct lw_inputs *inputs,
                                  struct lw_error *error)
{
    struct lw_list names = {0};
    enum lw_status status = LW_OK;
    for (size_t i = 0; i < others->count && status == LW_OK; i++) {
        char **place = lw_list_add(&names, sizeof *place);
        if (!place || !(*place = lw_duplicate(others->items[i].path))) {
            status = lw_fail(error, LW_MEMORY, "out of memory");
        }
    }
    status = status == LW_OK ? load(path, &names, plan, inputs, error) : status;
    lw_names_free(&names);
    return status;
}
