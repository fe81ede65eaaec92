// SPDX-License-Identifier: GPL-3.0-or-later
//
// A folder of profiles, and the chain joined with those it names. A profile is found by its name,
// not by its file's. A broken file matters only when a profile that is wanted may be in it.
#include "site/plan_inside.h"

#include "base/file.h"
#include "site/semantic.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BYTES = 16 * 1024 * 1024, SHOWN = 200 };

// What a walk over a folder gathers. `wanted` NULL: all profiles.
struct gather {
    const struct lw_plan *wanted;
    struct lw_list *profiles;
    struct lw_inputs *inputs;
    char all[SHOWN]; // names seen, for messages
    struct lw_error broken;
};

void lw_profiles_free(struct lw_list *profiles)
{
    if (!profiles) {
        return;
    }
    struct lw_profile *items = profiles->items;
    for (size_t i = 0; i < profiles->count; i++) {
        lw_json_free(&lw_profile_shape, &items[i]);
    }
    free(items);
    *profiles = (struct lw_list){0};
}

static const struct lw_profile *find(const struct lw_list *profiles, const char *name)
{
    const struct lw_profile *items = profiles->items;
    for (size_t i = 0; i < profiles->count; i++) {
        if (strcmp(items[i].name, name) == 0) {
            return &items[i];
        }
    }
    return NULL;
}

static bool is_wanted(const struct lw_plan *plan, const char *name)
{
    const struct lw_chain_entry *entries = plan ? plan->chain.items : NULL;
    for (size_t i = 0; plan && i < plan->chain.count; i++) {
        if (entries[i].profile && strcmp(entries[i].profile, name) == 0) {
            return true;
        }
    }
    return !plan;
}

static enum lw_status keep(struct gather *gather, struct lw_profile *profile, const char *path,
                           const struct lw_text *text, struct lw_error *error)
{
    char word[LW_SITE_WORD];
    if (find(gather->profiles, profile->name)) {
        lw_fail(error, LW_BAD_FILE, "/name: '%s' is the name of another profile in the folder too",
                lw_site_word(word, profile->name));
        return lw_site_within(LW_BAD_FILE, "profile", path, error);
    }
    struct lw_profile *place = lw_list_add(gather->profiles, sizeof *place);
    if (!place) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    *place = *profile;
    *profile = (struct lw_profile){0}; // the list owns it now
    return lw_inputs_add(gather->inputs, path, text->bytes, text->length, error);
}

static void remember_name(struct gather *gather, const char *name)
{
    size_t at = strlen(gather->all);
    char word[LW_SITE_WORD];
    lw_print(gather->all + at, sizeof gather->all - at, "%s%s", at > 0 ? ", " : "",
             lw_site_word(word, name));
}

// A file that is no profile is put aside; only what keeps us from going on is a failure.
static enum lw_status gather_file(struct gather *gather, const char *path, struct lw_error *error)
{
    struct lw_text text = {0};
    struct lw_profile profile = {0};
    struct lw_error wrong = {0};
    enum lw_status status = lw_file_read(path, MOST_BYTES, &text, &wrong);
    if (status == LW_OK) {
        status = lw_profile_read(text.bytes ? text.bytes : "", text.length, path, &profile, &wrong);
    }
    if (status == LW_MEMORY) {
        *error = wrong;
    } else if (status != LW_OK) {
        gather->broken = gather->broken.status == LW_OK ? wrong : gather->broken;
        status = LW_OK;
    } else {
        remember_name(gather, profile.name);
        status = is_wanted(gather->wanted, profile.name)
                     ? keep(gather, &profile, path, &text, error)
                     : LW_OK;
    }
    lw_json_free(&lw_profile_shape, &profile);
    lw_text_finish(&text);
    return status;
}

static bool ends_in_json(const char *name)
{
    size_t length = strlen(name);
    return length > 5 && strcmp(name + length - 5, ".json") == 0;
}

static enum lw_status gather_folder(struct gather *gather, const char *folder,
                                    struct lw_error *error)
{
    struct lw_list names = {0};
    enum lw_status status = lw_folder_names(folder, &names, error);
    for (size_t i = 0; status == LW_OK && i < names.count; i++) {
        char path[LW_PATH];
        const char *name = ((char **)names.items)[i];
        if (ends_in_json(name) && lw_path_join(path, sizeof path, folder, name)) {
            status = gather_file(gather, path, error);
        }
    }
    lw_names_free(&names);
    return status;
}

enum lw_status lw_profiles_load(const char *folder, struct lw_list *profiles,
                                struct lw_inputs *inputs, struct lw_error *error)
{
    assert(folder && profiles);
    *profiles = (struct lw_list){0};
    struct gather gather = {.profiles = profiles, .inputs = inputs};
    struct lw_error unused = {0};
    enum lw_status status = gather_folder(&gather, folder, error ? error : &unused);
    if (status == LW_OK && gather.broken.status != LW_OK) {
        status = gather.broken.status;
        if (error) {
            *error = gather.broken;
        }
    }
    if (status != LW_OK) {
        lw_profiles_free(profiles);
    }
    return status;
}

static enum lw_status unknown_profile(const struct gather *gather, const char *folder, size_t i,
                                      const char *name, struct lw_error *error)
{
    char word[LW_SITE_WORD], where[LW_SITE_WORD];
    if (!folder) {
        return lw_fail(error, LW_BAD_FILE,
                       "/chain/%zu/profile: '%s' is unknown: there is no folder of profiles beside "
                       "the plan",
                       i, lw_site_word(word, name));
    }
    if (gather->broken.status != LW_OK) {
        char reason[LW_ERROR_SAYS];
        lw_error_text(&gather->broken, reason, sizeof reason);
        return lw_fail(error, LW_BAD_FILE,
                       "/chain/%zu/profile: '%s' is unknown; it may be in a file that cannot be "
                       "read: %s",
                       i, lw_site_word(word, name), reason);
    }
    return lw_fail(error, LW_BAD_FILE, "/chain/%zu/profile: '%s' is unknown: '%s' has %s", i,
                   lw_site_word(word, name), lw_site_word(where, folder),
                   gather->all[0] ? gather->all : "no profile");
}

// The list does not grow any more here, so pointers into it last.
static enum lw_status join(struct lw_plan *plan, const struct gather *gather, const char *folder,
                           struct lw_error *error)
{
    struct lw_chain_entry *entries = plan->chain.items;
    for (size_t i = 0; i < plan->chain.count; i++) {
        if (!entries[i].profile) {
            continue;
        }
        entries[i].is = find(&plan->profiles, entries[i].profile);
        if (!entries[i].is) {
            return unknown_profile(gather, folder, i, entries[i].profile, error);
        }
    }
    return LW_OK;
}

enum lw_status lw_plan_join(struct lw_plan *plan, const char *folder, struct lw_inputs *inputs,
                            struct lw_error *error)
{
    struct gather gather = {.wanted = plan, .profiles = &plan->profiles, .inputs = inputs};
    struct lw_error unused = {0};
    enum lw_status status = LW_OK;
    if (folder) {
        status = gather_folder(&gather, folder, error ? error : &unused);
    }
    return status == LW_OK ? join(plan, &gather, folder, error) : status;
}

enum lw_status lw_plan_join_files(struct lw_plan *plan, const struct lw_list *paths,
                                  struct lw_inputs *inputs, struct lw_error *error)
{
    struct gather gather = {.wanted = plan, .profiles = &plan->profiles, .inputs = inputs};
    struct lw_error unused = {0};
    enum lw_status status = LW_OK;
    for (size_t i = 0; status == LW_OK && i < paths->count; i++) {
        status = gather_file(&gather, ((char **)paths->items)[i], error ? error : &unused);
    }
    return status == LW_OK ? join(plan, &gather, "the record's inputs", error) : status;
}
