// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk note: a remark, a photo, an open point, at any time.
#include "commands.h"

#include "base/clock.h"
#include "base/list.h"
#include "base/text.h"
#include "check/note.h"
#include "cli/session.h"
#include "photo.h"

struct request {
    const char *text, *node, *photo, *photos;
    bool open;
};

static enum lw_status keep_photo(struct lw_session *session, const char *path, struct lw_step *step,
                                 struct lw_note *note, struct lw_error *error)
{
    const struct lw_record_file *kept;
    enum lw_status status = lw_photo_keep(session, step, path, "", &kept, error);
    if (status == LW_OK) {
        note->photo = lw_duplicate(kept->name);
        note->photo_sha256 = lw_duplicate(kept->sha256);
    }
    return status;
}

static enum lw_status fill_note(struct lw_session *session, const struct request *request,
                                struct lw_step *step, struct lw_note *note, struct lw_error *error)
{
    size_t tap = 0;
    const char *node = request->node;
    if (node != NULL &&
        (!session->has_plan || lw_plan_by_name(&session->plan, node, &tap) == NULL)) {
        char shown[80];
        lw_text_clean(shown, sizeof shown, node, strlen(node));
        return lw_fail(error, LW_USAGE, "the plan has no node '%s'", shown);
    }
    note->node = lw_duplicate(node);
    note->open = request->open;
    if (request->open) {
        struct lw_finding *finding =
            lw_findings_add(&step->findings, "note_open_point", LW_ATTENTION, "%s", note->text);
        lw_finding_node(&step->findings, finding, node, tap, 0);
    }
    return LW_OK;
}

static int do_note(struct lw_session *session, const struct request *request)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_note note;
    char text[1000];
    lw_json_init(&lw_note_shape, &note);
    lw_text_clean(text, sizeof text, request->text, strlen(request->text));
    note.text = lw_duplicate(text);
    enum lw_status status = lw_step_begin(session, &step, "note", false, &error);
    if (status == LW_OK) {
        status = fill_note(session, request, &step, &note, &error);
    }
    if (status == LW_OK && request->photo != NULL) {
        status = keep_photo(session, request->photo, &step, &note, &error);
    }
    step.shape = &lw_note_shape;
    step.result = &note;
    int exit_status = lw_step_end(session, &step, status, &error, false);
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_note_shape, &note);
    return exit_status;
}

// Pictures taken since then are new: the last note's time, else the visit's opening.
static int64_t new_since_ns(const struct lw_session *session)
{
    const struct lw_record *last = lw_records_last(&session->records, "note", true);
    const char *since = last != NULL ? last->started : session->visit.facts.opened;
    int64_t utc_ns = 0;
    return since != NULL && lw_time_parse(since, &utc_ns) == 0 ? utc_ns : 0;
}

struct picture {
    char path[LW_PATH], name[200];
    int64_t utc_ns;
};

static int by_time(const void *a, const void *b)
{
    int64_t one = ((const struct picture *)a)->utc_ns, other = ((const struct picture *)b)->utc_ns;
    return (one > other) - (one < other);
}

// A file that cannot be taken is said and passed over: the others are wanted all the same.
static bool is_new(struct lw_session *session, const char *path, int64_t since_ns,
                   struct picture *picture)
{
    struct lw_photo photo;
    struct lw_error error = {0};
    char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
    enum lw_status status = lw_photo_read(path, &photo, &error);
    lw_text_finish(&photo.bytes);
    if (status != LW_OK) {
        lw_cli_say(session->cli, _("passed over: %s"), lw_error_text(&error, text, sizeof text));
        return false;
    }
    if (!lw_photo_utc_ns(&photo, &picture->utc_ns)) {
        lw_cli_say(session->cli, _("passed over: '%s' does not say when it was taken (--photo)"),
                   picture->name);
        return false;
    }
    return picture->utc_ns >= since_ns;
}

static enum lw_status find_pictures(struct lw_session *session, const char *folder,
                                    struct lw_list *pictures, struct lw_error *error)
{
    struct lw_list names = {0};
    int64_t since_ns = new_since_ns(session);
    enum lw_status status = lw_folder_names(folder, &names, error);
    for (size_t i = 0; i < names.count && status == LW_OK; i++) {
        const char *name = ((char *const *)names.items)[i];
        struct picture picture = {0};
        lw_text_clean(picture.name, sizeof picture.name, name, strlen(name));
        if (!lw_path_join(picture.path, sizeof picture.path, folder, name) ||
            lw_folder_exists(picture.path) || !is_new(session, picture.path, since_ns, &picture)) {
            continue;
        }
        struct picture *added = lw_list_add(pictures, sizeof *added);
        status = added != NULL ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for pictures");
        if (added != NULL) {
            *added = picture;
        }
    }
    lw_names_free(&names);
    if (pictures->count > 0) {
        qsort(pictures->items, pictures->count, sizeof(struct picture), by_time);
    }
    return status;
}

// A note for each picture, in the order in which they were taken.
static int do_pictures(struct lw_session *session, const struct request *request)
{
    struct lw_list pictures = {0};
    struct lw_error error = {0};
    int exit_status = LW_EXIT_OK;
    enum lw_status status = find_pictures(session, request->photos, &pictures, &error);
    if (status != LW_OK) {
        exit_status = lw_cli_fail(session->cli, &error);
    }
    const struct picture *all = pictures.items;
    for (size_t i = 0; i < pictures.count && exit_status <= LW_EXIT_VERDICT; i++) {
        char text[600], time[LW_TIME_TEXT];
        struct request one = *request;
        lw_time_format(all[i].utc_ns, 0, time);
        lw_print(text, sizeof text, "%s%spicture '%s', taken %s",
                 request->text != NULL ? request->text : "", request->text != NULL ? ": " : "",
                 all[i].name, time);
        one.text = text;
        one.photo = all[i].path;
        exit_status = lw_exit_worse(exit_status, do_note(session, &one));
    }
    if (status == LW_OK && pictures.count == 0) {
        lw_cli_say(session->cli, _("no new pictures"));
    }
    free(pictures.items);
    return exit_status;
}

static enum lw_status check_request(const struct request *request, struct lw_error *error)
{
    bool has_text = request->text != NULL && request->text[0] != '\0';
    if (request->photo != NULL && request->photos != NULL) {
        return lw_fail(error, LW_USAGE, "--photo and --photos do not go together");
    }
    return has_text || request->photos != NULL
               ? LW_OK
               : lw_fail(error, LW_USAGE,
                         "what is the note? linewalk note \"the clamp at station 2 is loose\"");
}

int lw_cmd_note(struct lw_cli *cli)
{
    struct request request = {0};
    const struct lw_option own[] = {
        {"node", 0, "NODE", LW_OPTION_TEXT, &request.node, 0, 0, "the node that it is about"},
        {"photo", 0, "FILE", LW_OPTION_TEXT, &request.photo, 0, 0,
         "a picture, copied into the visit"},
        {"photos", 0, "FOLDER", LW_OPTION_TEXT, &request.photos, 0, 0,
         "a note for each picture of a folder taken since the last note, or since the visit was "
         "opened, by the picture's own date"},
        {"open", 0, NULL, LW_OPTION_FLAG, &request.open, 0, 0,
         "an open point: it stands in the report until it is closed"},
        {0},
    };
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 1, &exit_status)) {
        return exit_status;
    }
    request.text = cli->rest[0];
    struct lw_session session;
    enum lw_status status = check_request(&request, &error);
    if (status == LW_OK) {
        status = lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_TAKES_PLAN, &error);
    }
    if (status != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status =
        request.photos != NULL ? do_pictures(&session, &request) : do_note(&session, &request);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_note = {
    "note", "a remark, a photo or an open point", "TEXT",
    "Adds a remark to the visit, with a photo where there is one; --open makes it an open point. "
    "Pictures (JPEG, PNG) are copied without the position and the owner that cameras write into "
    "them, and the report shows them.",
    lw_cmd_note};
