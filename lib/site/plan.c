// SPDX-License-Identifier: GPL-3.0-or-later
//
// Loading a plan: read, completed, checked, joined with its profiles. Nothing is used of a plan
// that has not passed all four.
#include "site/plan.h"

#include "base/file.h"
#include "site/plan_inside.h"
#include "site/semantic.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BYTES = 16 * 1024 * 1024 };

enum lw_status lw_inputs_take(struct lw_inputs *inputs, const struct lw_input *input,
                              struct lw_error *error)
{
    struct lw_input *items = realloc(inputs->items, (inputs->count + 1) * sizeof *items);
    if (!items) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    inputs->items = items;
    items[inputs->count++] = *input;
    return LW_OK;
}

enum lw_status lw_inputs_add(struct lw_inputs *inputs, const char *path, const char *bytes,
                             size_t length, struct lw_error *error)
{
    struct lw_input input;
    if (!inputs) {
        return LW_OK;
    }
    lw_copy(input.path, sizeof input.path, path);
    lw_digest(bytes, length, input.digest);
    return lw_inputs_take(inputs, &input, error);
}

void lw_inputs_free(struct lw_inputs *inputs)
{
    if (inputs) {
        free(inputs->items);
        *inputs = (struct lw_inputs){0};
    }
}

static enum lw_status plan_read(const char *path, struct lw_plan *plan, struct lw_inputs *inputs,
                                struct lw_error *error)
{
    struct lw_text text = {0};
    enum lw_status status = lw_file_read(path, MOST_BYTES, &text, error);
    if (status == LW_OK) {
        status = lw_site_within(
            lw_json_read(&lw_plan_shape, text.bytes ? text.bytes : "", text.length, plan, error),
            "plan", path, error);
    }
    if (status == LW_OK) {
        status = lw_inputs_add(inputs, path, text.bytes, text.length, error);
    }
    lw_text_finish(&text);
    return status;
}

// profiles_folder, else "profiles" beside the plan, else the installed ones; *folder is NULL when
// there is none of them.
static enum lw_status choose_folder(const char *path, const char *profiles_folder,
                                    const char *installed, char beside[LW_PATH],
                                    const char **folder, struct lw_error *error)
{
    char word[LW_SITE_WORD];
    *folder = NULL;
    if (profiles_folder && !lw_folder_exists(profiles_folder)) {
        return lw_fail(error, LW_USAGE, "'%s' is no folder of profiles",
                       lw_site_word(word, profiles_folder));
    }
    char own[LW_PATH];
    bool fits =
        lw_path_folder(own, sizeof own, path) && lw_path_join(beside, LW_PATH, own, "profiles");
    if (profiles_folder) {
        *folder = profiles_folder;
    } else if (fits && lw_folder_exists(beside)) {
        *folder = beside;
    } else if (installed && lw_folder_exists(installed)) {
        *folder = installed;
    }
    return LW_OK;
}

enum lw_status lw_plan_load_alone(const char *path, struct lw_plan *plan, struct lw_inputs *inputs,
                                  struct lw_error *error)
{
    *plan = (struct lw_plan){0};
    enum lw_status status = plan_read(path, plan, inputs, error);
    if (status == LW_OK) {
        status = lw_plan_complete(plan, error);
    }
    if (status == LW_OK) {
        status = lw_site_within(lw_plan_check(plan, error), "plan", path, error);
    }
    if (status == LW_OK) {
        status = lw_framing_parse(plan->line.framing, &plan->framing, error);
    }
    if (status != LW_OK) {
        lw_plan_free(plan);
    }
    return status;
}

enum lw_status lw_plan_load(const char *path, const char *profiles_folder, const char *installed,
                            struct lw_plan *plan, struct lw_inputs *inputs, struct lw_error *error)
{
    assert(path && plan);
    char beside[LW_PATH];
    const char *folder;
    enum lw_status status = lw_plan_load_alone(path, plan, inputs, error);
    if (status != LW_OK) {
        return status;
    }
    status = choose_folder(path, profiles_folder, installed, beside, &folder, error);
    if (status == LW_OK) {
        status = lw_site_within(lw_plan_join(plan, folder, inputs, error), "plan", path, error);
    }
    if (status != LW_OK) {
        lw_plan_free(plan);
    }
    return status;
}

void lw_plan_free(struct lw_plan *plan)
{
    if (!plan) {
        return;
    }
    lw_profiles_free(&plan->profiles);
    lw_json_free(&lw_plan_shape, plan);
}
