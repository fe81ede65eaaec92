// SPDX-License-Identifier: GPL-3.0-or-later
//
// The plan on disk, the plan of the visit: roster --as-built writes the first and records the
// second. The roster's own record keeps the plan that it was judged against.
#include "roster_as_built.h"

#include "base/text.h"
#include "base/words.h"
#include "cli/output.h"

enum { MOST_PLAN_BYTES = 16 * 1024 * 1024 };

struct overwrite {
    struct lw_dialog dialog;
    const char *path;
    bool answered, yes;
};

static enum lw_dialog_next next(const struct lw_dialog *dialog, struct lw_question *question)
{
    const struct overwrite *own = (const struct overwrite *)dialog;
    if (own->answered) {
        return LW_DIALOG_DONE;
    }
    lw_question_id(question, "as-built.overwrite");
    lw_print(question->text, sizeof question->text,
             N_("%.200s is there already. May the new revision take its place?"), own->path);
    lw_print(question->help, sizeof question->help,
             N_("Yes replaces the file once everything is read. A visit keeps its own copy of each "
                "revision that was worked with."));
    question->kind = LW_QUESTION_YES;
    question->obvious = N_("no");
    return LW_DIALOG_ASK;
}

static enum lw_status answer(struct lw_dialog *dialog, const struct lw_answer *answer,
                             struct lw_error *error)
{
    struct overwrite *own = (struct overwrite *)dialog;
    (void)error;
    own->answered = true;
    own->yes = answer->yes;
    return LW_OK;
}

static bool back(struct lw_dialog *dialog)
{
    (void)dialog;
    return false;
}

enum lw_status lw_as_built_allowed(struct lw_session *session,
                                   const struct lw_roster_request *request,
                                   struct lw_as_built *as_built, struct lw_error *error)
{
    static const struct lw_dialog_ops ops = {next, answer, back};
    struct overwrite dialog = {.dialog.ops = &ops, .path = request->as_built};
    struct lw_talk_request talk_request = {.answers = request->answers};
    struct lw_talk *talk = NULL;
    enum lw_dialog_next ignored;
    if (!lw_file_exists(request->as_built)) {
        return LW_OK;
    }
    enum lw_status status = lw_talk_open(session, session->step, &talk_request, &talk, error);
    if (status == LW_OK) {
        status = lw_talk_on(talk, &dialog.dialog, &ignored, error);
    }
    lw_talk_close(talk);
    if (status == LW_OK && !dialog.yes) {
        status = lw_fail(error, LW_USAGE, "'%.200s' is there already: name another file",
                         request->as_built);
    }
    as_built->may_overwrite = dialog.yes;
    return status;
}

static bool knows(const struct lw_list *profiles, const char *name)
{
    const struct lw_profile *items = profiles->items;
    for (size_t i = 0; i < profiles->count; i++) {
        if (strcmp(items[i].name, name) == 0) {
            return true;
        }
    }
    return false;
}

// The kinds that a found node may be of: the plan's, and all of the folder of profiles. Their files
// become the session's inputs, so that the revised plan finds those it names among them.
static enum lw_status add_kinds(struct lw_session *session, struct lw_list *folder,
                                struct lw_list *kinds, struct lw_error *error)
{
    struct lw_inputs files = {0};
    const char *given = session->cli->settings.profiles;
    const char *path = given != NULL ? given : LW_PROFILESDIR;
    enum lw_status status = LW_OK;
    if (given != NULL || lw_folder_exists(path)) {
        status = lw_profiles_load(path, folder, &files, error);
    }
    const struct lw_list *sources[] = {&session->plan.profiles, folder};
    for (size_t k = 0; k < 2 && status == LW_OK; k++) {
        const struct lw_profile *profiles = sources[k]->items;
        for (size_t i = 0; i < sources[k]->count && status == LW_OK; i++) {
            if (knows(kinds, profiles[i].name)) {
                continue;
            }
            struct lw_profile *place = lw_list_add(kinds, sizeof *place);
            status = place != NULL ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for profiles");
            if (place != NULL) {
                *place = profiles[i];
            }
            if (status == LW_OK && k == 1) {
                status = lw_inputs_take(&session->inputs, &files.items[i], error);
            }
        }
    }
    lw_inputs_free(&files);
    return status;
}

static enum lw_status write_plan(const struct lw_as_built *as_built, const char *path,
                                 const struct lw_text *json, struct lw_error *error)
{
    return as_built->may_overwrite ? lw_file_write(path, json->bytes, json->length, error)
                                   : lw_file_write_new(path, json->bytes, json->length, error);
}

enum lw_status lw_as_built_write(struct lw_session *session,
                                 const struct lw_roster_request *request,
                                 const struct lw_roster_result *result,
                                 struct lw_as_built *as_built, struct lw_error *error)
{
    struct lw_text old = {0}, revised = {0};
    struct lw_list folder = {0}, kinds = {0};
    char today[LW_TIME_TEXT];
    lw_time_format(session->run.today_days * 86400 * INT64_C(1000000000), 0, today);
    today[10] = '\0';
    const struct lw_roster_reviser by = {
        .made_by = session->has_visit ? session->visit.facts.engineer : NULL, .made_on = today};
    const char *revision = session->plan.revision;
    lw_copy(as_built->from, sizeof as_built->from, revision != NULL ? revision : "");
    lw_plan_next_revision(revision, as_built->to, sizeof as_built->to);
    enum lw_status status = add_kinds(session, &folder, &kinds, error);
    if (status == LW_OK) {
        status = lw_file_read(session->inputs.items[0].path, MOST_PLAN_BYTES, &old, error);
    }
    if (status == LW_OK) {
        status = lw_roster_as_built(result, old.bytes, old.length, &kinds, &by, &as_built->changes,
                                    &as_built->differs, &revised, error);
    }
    if (status == LW_OK && as_built->differs) {
        status = write_plan(as_built, request->as_built, &revised, error);
    }
    free(kinds.items);
    lw_profiles_free(&folder);
    lw_text_finish(&old);
    lw_text_finish(&revised);
    return status;
}

static void show(const struct lw_roster_request *request, const struct lw_as_built *as_built)
{
    char *const *changes = as_built->changes.items;
    if (as_built->differs) {
        printf("\nrevision %s of the plan, after %s, in '%s':\n", as_built->to,
               lw_cell_text(as_built->from), request->as_built);
    } else {
        printf("\nthe plan is as built: no new revision, nothing written\n");
    }
    for (size_t i = 0; i < as_built->changes.count; i++) {
        printf("  %s\n", changes[i]);
    }
}

// The session goes on with the plan that was written.
static enum lw_status take_plan(struct lw_session *session, const char *path,
                                struct lw_error *error)
{
    struct lw_plan plan;
    struct lw_inputs inputs = {0};
    enum lw_status status = lw_plan_load_among(path, &session->inputs, &plan, &inputs, error);
    if (status != LW_OK) {
        lw_inputs_free(&inputs);
        return status;
    }
    lw_plan_free(&session->plan);
    lw_inputs_free(&session->inputs);
    session->plan = plan;
    session->inputs = inputs;
    return LW_OK;
}

static void fill(const struct lw_roster_request *request, const struct lw_as_built *as_built,
                 struct lw_visit_facts *change)
{
    char *const *changes = as_built->changes.items;
    struct lw_plan_revision *revision = lw_list_add(&change->revisions, sizeof *revision);
    if (revision == NULL) {
        return;
    }
    *revision = (struct lw_plan_revision){
        .from = as_built->from[0] != '\0' ? lw_duplicate(as_built->from) : NULL,
        .to = lw_duplicate(as_built->to),
        .reason = lw_duplicate(request->reason),
    };
    for (size_t i = 0; i < as_built->changes.count; i++) {
        char **place = lw_list_add(&revision->changes, sizeof *place);
        if (place != NULL) {
            *place = lw_duplicate(changes[i]);
        }
    }
}

static int record(struct lw_session *session, const struct lw_roster_request *request,
                  const struct lw_as_built *as_built)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_visit_facts change;
    lw_json_init(&lw_visit_change_shape, &change);
    fill(request, as_built, &change);
    session->own_captures = true; // nothing is sent
    enum lw_status status = lw_step_begin(session, &step, "visit", false, &error);
    if (status == LW_OK) {
        status = take_plan(session, request->as_built, &error);
    }
    step.shape = &lw_visit_change_shape;
    step.result = &change;
    int exit_status = lw_step_end(session, &step, status, &error, false);
    if (status == LW_OK && session->has_visit) {
        lw_cli_say(session->cli, "the visit goes on with revision %s (%s)", as_built->to,
                   step.record_name);
    }
    lw_findings_free(&step.findings);
    lw_json_free(&lw_visit_change_shape, &change);
    return exit_status;
}

int lw_as_built_go_on(struct lw_session *session, const struct lw_roster_request *request,
                      struct lw_as_built *as_built)
{
    bool json = session->cli->settings.json;
    if (!json) {
        show(request, as_built);
    }
    if (!as_built->differs || !session->has_visit) {
        return LW_EXIT_OK;
    }
    session->cli->settings.json = false; // the roster's record is the one that was asked for
    int exit_status = record(session, request, as_built);
    session->cli->settings.json = json;
    return exit_status;
}

void lw_as_built_finish(struct lw_as_built *as_built)
{
    lw_names_free(&as_built->changes);
}
