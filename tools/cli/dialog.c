// SPDX-License-Identifier: GPL-3.0-or-later
//
// The three drivers of a dialog.
#include "cli/dialog.h"

#include "base/csv.h"
#include "base/list.h"
#include "base/text.h"
#include "base/unit.h"
#include "cli/language.h"
#include "cli/output.h"
#include "cli/progress.h"

#include <stdio.h>

enum { MOST_ANSWERS_BYTES = 1 << 20 };

struct given {
    char *id; // NULL: not named
    char *answer;
    size_t line;
};

struct lw_talk {
    struct lw_session *session;
    struct lw_step *step;
    struct lw_sentences *sentences;
    const char *path;              // of the file of answers
    struct lw_list given, earlier; // of struct given
    size_t at;
    bool introduced, acted;
};

void lw_talk_options(struct lw_talk_request *request, struct lw_option table[LW_TALK_OPTIONS])
{
    const struct lw_option options[LW_TALK_OPTIONS] = {
        {"answers", 0, "FILE", LW_OPTION_TEXT, &request->answers, 0, 0,
         "answers from a file instead of asking: one a line, or a table question,answer"},
        {"resume", 0, NULL, LW_OPTION_FLAG, &request->resume, 0, 0,
         "go on where this check was interrupted: what was answered and still holds is not asked "
         "again"},
    };
    memcpy(table, options, sizeof options);
}

static void free_given(struct lw_list *list)
{
    struct given *given = list->items;
    for (size_t i = 0; i < list->count; i++) {
        free(given[i].id);
        free(given[i].answer);
    }
    free(list->items);
    *list = (struct lw_list){0};
}

static enum lw_status add_given(struct lw_list *list, const char *id, const char *answer,
                                size_t line, struct lw_error *error)
{
    struct given *given = lw_list_add(list, sizeof *given);
    if (given != NULL) {
        *given = (struct given){lw_duplicate(id), lw_duplicate(answer), line};
    }
    return given != NULL && given->answer != NULL
               ? LW_OK
               : lw_fail(error, LW_MEMORY, "no memory for answers");
}

static enum lw_status take_line(struct lw_list *list, char *line, size_t number, bool *named,
                                struct lw_error *error)
{
    char *fields[3], cleaned[LW_ANSWER_SIZE];
    if (list->count == 0 && !*named && strncmp(line, "question,answer", 15) == 0) {
        *named = true;
        return LW_OK;
    }
    if (!*named) {
        lw_text_clean(cleaned, sizeof cleaned, line, strlen(line));
        return add_given(list, NULL, cleaned, number, error);
    }
    int count = lw_csv_split(line, fields, 3);
    if (count < 2) {
        return lw_fail(error, LW_BAD_FILE, "line %zu: not `question,answer`", number);
    }
    lw_text_clean(cleaned, sizeof cleaned, fields[1], strlen(fields[1]));
    return add_given(list, fields[0], cleaned, number, error);
}

static enum lw_status take_lines(struct lw_list *list, char *bytes, size_t length,
                                 struct lw_error *error)
{
    bool named = false;
    enum lw_status status = LW_OK;
    size_t number = 1;
    for (char *line = bytes; line < bytes + length && status == LW_OK; number++) {
        size_t count = strcspn(line, "\n");
        char *next = line + count + (line + count < bytes + length);
        line[count] = '\0';
        line[strcspn(line, "\r")] = '\0';
        if (line[0] != '\0' && line[0] != '#') {
            status = take_line(list, line, number, &named, error);
        }
        line = next;
    }
    return status;
}

static enum lw_status read_answers(const char *path, struct lw_list *list, struct lw_error *error)
{
    struct lw_text text = {0};
    if (!lw_file_exists(path)) {
        return lw_fail(error, LW_BAD_FILE, "'%.200s': there is no such file", path);
    }
    enum lw_status status = lw_file_read(path, MOST_ANSWERS_BYTES, &text, error);
    if (status == LW_OK && text.length > 0) {
        status = take_lines(list, text.bytes, text.length, error);
        status = status == LW_OK ? status : lw_error_within(error, "'%.200s'", path);
    }
    lw_text_finish(&text);
    return status;
}

// Who went back has taken the answer before away.
static void take_back(struct lw_list *list)
{
    struct given *given = list->items;
    size_t kept = 0;
    for (size_t i = 0; i < list->count; i++) {
        bool back = strcmp(given[i].answer, "back") == 0;
        struct given *gone = back && kept > 0 ? &given[--kept] : NULL;
        if (gone != NULL) {
            free(gone->id);
            free(gone->answer);
        }
        if (back) {
            free(given[i].id);
            free(given[i].answer);
        } else {
            given[kept++] = given[i];
        }
    }
    list->count = kept;
}

// The answers of the last record of the check, when that was cut short.
static enum lw_status read_earlier(struct lw_talk *talk, struct lw_error *error)
{
    char path[LW_PATH];
    const struct lw_session *session = talk->session;
    const char *check = talk->step->check;
    const struct lw_record *last = lw_records_last(&session->records, check, false);
    if (last == NULL || last->complete) {
        return lw_fail(error, LW_USAGE, "there is no interrupted %s in this visit to resume",
                       check);
    }
    lw_visit_path(&session->visit, last->number, check, "answers.csv", path, sizeof path);
    enum lw_status status =
        lw_file_exists(path) ? read_answers(path, &talk->earlier, error) : LW_OK;
    take_back(&talk->earlier);
    return status;
}

enum lw_status lw_talk_open(struct lw_session *session, struct lw_step *step,
                            const struct lw_talk_request *request, struct lw_talk **talk,
                            struct lw_error *error)
{
    struct lw_talk *own = calloc(1, sizeof *own);
    *talk = own;
    if (own == NULL) {
        return lw_fail(error, LW_MEMORY, "no memory for a dialog");
    }
    *own = (struct lw_talk){.session = session, .step = step, .path = request->answers};
    enum lw_status status = lw_session_language(session, &own->sentences, error);
    if (status == LW_OK && own->path != NULL) {
        status = read_answers(own->path, &own->given, error);
    }
    if (status == LW_OK && request->resume) {
        status = read_earlier(own, error);
    }
    if (status == LW_OK) {
        status = lw_step_keep_answers(session, step, error);
    }
    return status;
}

void lw_talk_close(struct lw_talk *talk)
{
    if (talk == NULL) {
        return;
    }
    if (talk->at < talk->given.count) {
        lw_cli_say(talk->session->cli, _("'%.200s', line %zu: nothing more was asked"), talk->path,
                   ((const struct given *)talk->given.items)[talk->at].line);
    }
    free_given(&talk->given);
    free_given(&talk->earlier);
    lw_sentences_free(talk->sentences);
    free(talk);
}

static enum lw_status keep(struct lw_talk *talk, const char *id, const char *answer,
                           struct lw_error *error)
{
    struct lw_text row = {0};
    if (talk->step->answers == NULL) {
        return LW_OK;
    }
    lw_csv_field(&row, id, 0);
    lw_csv_field(&row, answer, 1);
    lw_text_add(&row, "\n");
    enum lw_status status = lw_file_append(talk->step->answers, row.bytes, row.length, error);
    lw_text_finish(&row);
    return status == LW_OK ? lw_file_flush(talk->step->answers, error) : status;
}

// An earlier answer is given once: who goes back is asked.
static bool take_earlier(struct lw_talk *talk, const struct lw_question *question, char *answer,
                         size_t size)
{
    struct given *earlier = talk->earlier.items;
    bool found = false;
    for (size_t i = 0; question->lasting && i < talk->earlier.count; i++) {
        if (earlier[i].id != NULL && strcmp(earlier[i].id, question->id) == 0) {
            lw_copy(answer, size, earlier[i].answer); // the last of them holds
            earlier[i].id[0] = '\0';
            found = true;
        }
    }
    return found;
}

static enum lw_status take_given(struct lw_talk *talk, const struct lw_question *question,
                                 char *answer, size_t size, struct lw_error *error)
{
    const struct given *given = talk->given.items;
    if (talk->at == talk->given.count) {
        return lw_fail(error, LW_USAGE, "'%.200s' ends before the question '%s' (%s)", talk->path,
                       question->text, question->id);
    }
    given += talk->at++;
    if (given->id != NULL && strcmp(given->id, question->id) != 0) {
        return lw_fail(error, LW_USAGE, "'%.200s', line %zu answers '%.60s', but '%s' is asked",
                       talk->path, given->line, given->id, question->id);
    }
    lw_copy(answer, size, given->answer);
    return LW_OK;
}

// "1 right, 2 left", in the reader's language; empty for other questions than those of words.
static void words_shown(const struct lw_question *question, char *text, size_t size)
{
    size_t length = 0;
    text[0] = '\0';
    for (int i = 0; question->words != NULL && question->words[i] != NULL; i++) {
        lw_print(text + length, size - length, "%s%d %s", i > 0 ? ", " : "", i + 1,
                 _(question->words[i]));
        length += strlen(text + length);
    }
}

// A word in the reader's language as the dialog knows it.
static void to_english(const struct lw_question *question, char *typed, size_t size)
{
    for (int i = 0; question->words != NULL && question->words[i] != NULL; i++) {
        if (strcmp(typed, _(question->words[i])) == 0) {
            lw_copy(typed, size, question->words[i]);
            return;
        }
    }
}

// "How many? (ohm) [5]": what would do as an answer, behind the question.
static void shown(const struct lw_talk *talk, const struct lw_question *question, char *text,
                  size_t size)
{
    char words[LW_QUESTION_TEXT_SIZE];
    char *said = lw_sentences_say(talk->sentences, question->text);
    words_shown(question, words, sizeof words);
    const char *hint = question->kind == LW_QUESTION_YES      ? _("yes, no")
                       : question->kind == LW_QUESTION_WORD   ? words
                       : question->kind == LW_QUESTION_NUMBER ? lw_unit_shown(question->unit, true)
                                                              : "";
    lw_print(text, size, "%s%s%s%s%s", said != NULL ? said : question->text,
             hint[0] != '\0' ? " (" : "", hint, hint[0] != '\0' ? ")" : "",
             question->may_skip ? _(", or skip") : "");
    free(said);
}

static enum lw_status ask(struct lw_talk *talk, const struct lw_question *question, char *answer,
                          size_t size, struct lw_error *error)
{
    char text[2 * LW_QUESTION_TEXT_SIZE];
    shown(talk, question, text, sizeof text);
    if (take_earlier(talk, question, answer, size)) {
        lw_cli_say(talk->session->cli, _("%s %s (as answered before)"), text, answer);
        return LW_OK;
    }
    if (talk->path != NULL) {
        enum lw_status status = take_given(talk, question, answer, size, error);
        if (status == LW_OK) {
            lw_cli_say(talk->session->cli, "%s %s", text, answer);
        }
        return status;
    }
    if (!lw_cli_keyboard()) {
        return lw_fail(error, LW_USAGE,
                       "there is no terminal to ask '%s' on; linewalk %s --answers FILE answers "
                       "without one",
                       question->text, talk->step->check);
    }
    if (!talk->introduced) {
        lw_talk_say(talk,
                    N_("? explains, back goes one question back, stop ends with what there is"));
        talk->introduced = true;
    }
    lw_progress_clear(talk->session);
    lw_ask_wrapped(text);
    return lw_cli_ask("", question->obvious != NULL ? _(question->obvious) : NULL, answer, size,
                      error);
}

void lw_talk_say(struct lw_talk *talk, const char *english)
{
    char *said = lw_sentences_say(talk->sentences, english);
    lw_progress_clear(talk->session);
    lw_ask_wrapped(said != NULL ? said : english);
    fputc('\n', stderr);
    free(said);
}

static enum lw_status one_question(struct lw_talk *talk, struct lw_dialog *dialog,
                                   const struct lw_question *question, struct lw_error *error)
{
    char typed[LW_ANSWER_SIZE] = "";
    enum lw_dialog_said said = LW_SAID_ANSWER;
    enum lw_status status = ask(talk, question, typed, sizeof typed, error);
    if (status != LW_OK) {
        return status;
    }
    to_english(question, typed, sizeof typed);
    status = lw_dialog_say(dialog, typed, &said, error);
    if (status == LW_USAGE && talk->path == NULL) {
        char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
        lw_talk_say(talk, lw_error_text(error, text, sizeof text));
        return LW_OK;
    }
    if (status == LW_USAGE && talk->at > 0) {
        return lw_error_within(error, "'%.200s', line %zu", talk->path,
                               ((const struct given *)talk->given.items)[talk->at - 1].line);
    }
    if (status == LW_OK && said == LW_SAID_HELP) {
        lw_talk_say(talk,
                    question->help[0] != '\0' ? question->help : N_("there is no more to say"));
        return LW_OK;
    }
    if (status == LW_OK && said == LW_SAID_STOP) {
        return lw_fail(error, LW_CANCELLED, "stopped");
    }
    const char *kept = said == LW_SAID_BACK ? "back" : typed[0] != '\0' ? typed : question->obvious;
    return status == LW_OK ? keep(talk, question->id, kept, error) : status;
}

enum lw_status lw_talk_on(struct lw_talk *talk, struct lw_dialog *dialog, enum lw_dialog_next *next,
                          struct lw_error *error)
{
    struct lw_question question;
    enum lw_status status = LW_OK;
    while (status == LW_OK && (*next = lw_dialog_next(dialog, &question)) == LW_DIALOG_ASK) {
        status = one_question(talk, dialog, &question, error);
    }
    talk->acted |= status == LW_OK && *next == LW_DIALOG_ACT;
    if (status == LW_USAGE && talk->acted) {
        char text[LW_ERROR_SAYS + LW_ERROR_CONTEXT + 4];
        lw_talk_say(talk, lw_error_text(error, text, sizeof text));
        return lw_fail(error, LW_CANCELLED, "stopped");
    }
    return status;
}

enum lw_status lw_talk_safety(struct lw_talk *talk, char made_sure_by[LW_ANSWER_SIZE],
                              struct lw_error *error)
{
    struct lw_safety_dialog safety;
    enum lw_dialog_next next;
    lw_safety_dialog_init(&safety);
    enum lw_status status = lw_talk_on(talk, &safety.dialog, &next, error);
    lw_copy(made_sure_by, LW_ANSWER_SIZE, safety.made_sure_by);
    return status;
}
