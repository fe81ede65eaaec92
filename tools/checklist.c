// SPDX-License-Identifier: GPL-3.0-or-later
//
// linewalk checklist: what only eyes can see, item by item.
#include "commands.h"

#include "base/text.h"
#include "check/checklist.h"
#include "cli/dialog.h"
#include "cli/output.h"
#include "photo.h"

enum { MOST_LIST_BYTES = 1 << 20 };

struct request {
    struct lw_talk_request talk;
    const char *list;
};

static enum lw_status read_list(struct lw_session *session, const char *path,
                                struct lw_checklist *list, struct lw_error *error)
{
    struct lw_text text = {0};
    struct lw_input input = {0};
    if (path == NULL) {
        return lw_checklist_read(NULL, 0, list, error);
    }
    enum lw_status status = lw_file_read(path, MOST_LIST_BYTES, &text, error);
    if (status == LW_OK) {
        status = lw_checklist_read(text.bytes != NULL ? text.bytes : "", text.length, list, error);
        status = status == LW_OK ? status : lw_error_within(error, "checklist '%.200s'", path);
    }
    if (status == LW_OK) {
        lw_copy(input.path, sizeof input.path, path);
        lw_digest(text.bytes, text.length, input.digest);
        status = lw_inputs_take(&session->inputs, &input, error);
        if (status != LW_OK) {
            lw_json_free(&lw_checklist_file_shape, list);
        }
    }
    lw_text_finish(&text);
    return status;
}

// A picture that cannot be taken is said, and asked for again; one in a file of answers ends it.
static enum lw_status take_picture(struct lw_session *session, struct lw_step *step,
                                   struct lw_talk *talk, bool from_file,
                                   struct lw_checklist_dialog *dialog, struct lw_error *error)
{
    const struct lw_record_file *kept = NULL;
    const struct lw_checklist_item *items = dialog->list->items.items;
    enum lw_status status =
        lw_photo_keep(session, step, dialog->photo, items[dialog->item].id, &kept, error);
    if (status == LW_OK) {
        return lw_checklist_photo(dialog, kept->name, kept->sha256, error);
    }
    if (from_file || status == LW_MEMORY) {
        return status;
    }
    char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
    lw_talk_say(talk, lw_error_text(error, text, sizeof text));
    return lw_checklist_photo(dialog, NULL, NULL, error);
}

static enum lw_status talk_through(struct lw_session *session, struct lw_step *step,
                                   const struct request *request,
                                   struct lw_checklist_dialog *dialog, struct lw_error *error)
{
    struct lw_talk *talk = NULL;
    char made_sure_by[LW_ANSWER_SIZE];
    enum lw_dialog_next next = LW_DIALOG_ACT;
    enum lw_status status = lw_talk_open(session, step, &request->talk, &talk, error);
    if (status == LW_OK) {
        status = lw_talk_safety(talk, made_sure_by, error);
    }
    while (status == LW_OK && next == LW_DIALOG_ACT) {
        status = lw_talk_on(talk, &dialog->dialog, &next, error);
        if (status == LW_OK && next == LW_DIALOG_ACT) {
            status =
                take_picture(session, step, talk, request->talk.answers != NULL, dialog, error);
        }
    }
    lw_talk_close(talk);
    return status;
}

static void print_answers(const struct lw_checklist_result *result)
{
    static const char *const heads[] = {"item", "answer", "remark", NULL};
    static const char *const words[] = {"open", "yes", "no", "not applicable"};
    struct lw_cli_table *table = lw_cli_table_new(heads);
    const struct lw_checklist_answer *answers = result->answers.items;
    for (size_t i = 0; i < result->answers.count; i++) {
        const char *const cells[] = {answers[i].id, words[answers[i].said],
                                     lw_cell_text(answers[i].remark)};
        lw_cli_table_row(table, cells);
    }
    lw_cli_table_print(table);
}

static int do_checklist(struct lw_session *session, const struct request *request)
{
    struct lw_error error = {0};
    struct lw_step step;
    struct lw_checklist list = {0};
    struct lw_checklist_dialog dialog = {0};
    enum lw_status status = lw_step_begin(session, &step, "checklist", false, &error);
    bool has_list =
        status == LW_OK && (status = read_list(session, request->list, &list, &error)) == LW_OK;
    if (has_list) {
        status = lw_checklist_init(&dialog, &list, &error);
    }
    if (status == LW_OK) {
        status = talk_through(session, &step, request, &dialog, &error);
    }
    if (status == LW_OK || status == LW_CANCELLED) {
        lw_checklist_findings(&dialog.result, &step.findings);
    }
    step.shape = has_list ? &lw_checklist_shape : NULL;
    step.result = &dialog.result;
    int exit_status = lw_step_end(session, &step, status, &error, true);
    if (!session->cli->settings.json && !step.refused) {
        print_answers(&dialog.result);
    }
    lw_step_print(session, &step);
    lw_findings_free(&step.findings);
    lw_json_free(&lw_checklist_shape, &dialog.result);
    if (has_list) {
        lw_json_free(&lw_checklist_file_shape, &list);
    }
    return exit_status;
}

int lw_cmd_checklist(struct lw_cli *cli)
{
    struct request request = {0};
    struct lw_option own[LW_TALK_OPTIONS + 2] = {
        [LW_TALK_OPTIONS] = {"list", 0, "FILE", LW_OPTION_TEXT, &request.list, 0, 0,
                             "a list of your own instead of the one that comes with linewalk"}};
    lw_talk_options(&request.talk, own);
    struct lw_error error = {0};
    int exit_status;
    if (!lw_cli_parse(cli, own, 0, &exit_status)) {
        return exit_status;
    }
    struct lw_session session;
    if (lw_session_open(&session, cli, LW_NEEDS_VISIT | LW_TAKES_PLAN, &error) != LW_OK) {
        return lw_cli_fail(cli, &error);
    }
    exit_status = do_checklist(&session, &request);
    lw_session_close(&session);
    return exit_status;
}

const struct lw_command lw_command_checklist = {
    "checklist", "what only eyes can see, item by item", "",
    "Asks for fixing, end clamps, terminators, earthing, shields, routing, magnets and more: yes, "
    "no or not applicable, with a remark and a picture of what is wrong. A required item that is "
    "not answered leaves the check undecided. Pictures are copied into the visit without the "
    "position and the owner that cameras write into them, and the report shows them.",
    lw_cmd_checklist};
