// SPDX-License-Identifier: GPL-3.0-or-later
//
// What people type, and the question before hands go into a machine.
#include "check/dialog.h"

#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"

#include <assert.h>
#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

static bool is_one_of(const char *typed, const char *const *words)
{
    for (size_t i = 0; words[i] != NULL; i++) {
        if (strcasecmp(typed, words[i]) == 0) {
            return true;
        }
    }
    return false;
}

static enum lw_status take_yes(const char *typed, struct lw_answer *answer, struct lw_error *error)
{
    static const char *const yes[] = {"yes", "y", "ja", "j", NULL};
    static const char *const no[] = {"no", "n", "nein", NULL};
    answer->yes = is_one_of(typed, yes);
    return answer->yes || is_one_of(typed, no) ? LW_OK
                                               : lw_fail(error, LW_USAGE, "answer yes or no");
}

void lw_question_id(struct lw_question *question, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(question->id, sizeof question->id, format, arguments);
    va_end(arguments);
}

void lw_question_words(const struct lw_question *question, char *text, size_t size)
{
    size_t length = 0;
    text[0] = '\0';
    for (int i = 0; question->words != NULL && question->words[i] != NULL; i++) {
        lw_print(text + length, size - length, "%s%d %s", i > 0 ? ", " : "", i + 1,
                 question->words[i]);
        length += strlen(text + length);
    }
}

static enum lw_status take_word(const struct lw_question *question, const char *typed,
                                struct lw_answer *answer, struct lw_error *error)
{
    char known[LW_QUESTION_TEXT_SIZE];
    for (int i = 0; question->words[i] != NULL; i++) {
        bool by_place = typed[0] == '1' + i && typed[1] == '\0';
        if (by_place || strcasecmp(typed, question->words[i]) == 0) {
            answer->word = i;
            return LW_OK;
        }
    }
    lw_question_words(question, known, sizeof known);
    return lw_fail(error, LW_USAGE, "answer one of: %s", known);
}

// Splits "47,3 ohm" behind its last digit. Blanks between are dropped.
static const char *split_unit(const char *typed, char *number, size_t size)
{
    size_t length = strlen(typed), digits = length;
    while (digits > 0 && !isdigit((unsigned char)typed[digits - 1])) {
        digits--;
    }
    lw_print(number, size, "%.*s", (int)digits, typed);
    const char *unit = typed + digits;
    return unit + strspn(unit, " ");
}

static enum lw_status take_number(const struct lw_question *question, const char *typed,
                                  struct lw_answer *answer, struct lw_error *error)
{
    static const char *const open[] = {"open", "OL", "offen", NULL};
    char number[LW_ANSWER_SIZE];
    double factor = 1, value = 0;
    if (question->may_be_open && is_one_of(typed, open)) {
        answer->number = INFINITY;
        return LW_OK;
    }
    const char *unit = split_unit(typed, number, sizeof number);
    if (unit[0] != '\0' && !lw_unit_factor(unit, question->unit, &factor)) {
        return lw_fail(error, LW_USAGE, "'%.40s' is no unit that fits; the answer is wanted in %s",
                       unit, question->unit);
    }
    enum lw_status status = lw_number_real(number, question->low / factor, question->high / factor,
                                           true, &value, error);
    answer->number = value * factor;
    return status;
}

static enum lw_status take(const struct lw_question *question, const char *typed,
                           struct lw_answer *answer, struct lw_error *error)
{
    static const char *const skip[] = {"skip", NULL};
    if (question->may_skip && is_one_of(typed, skip)) {
        answer->skipped = true;
        return LW_OK;
    }
    switch (question->kind) {
    case LW_QUESTION_YES:
        return take_yes(typed, answer, error);
    case LW_QUESTION_WORD:
        return take_word(question, typed, answer, error);
    case LW_QUESTION_NUMBER:
        return take_number(question, typed, answer, error);
    case LW_QUESTION_TEXT:
        break;
    }
    return LW_OK;
}

enum lw_dialog_next lw_dialog_next(const struct lw_dialog *dialog, struct lw_question *question)
{
    *question = (struct lw_question){0};
    return dialog->ops->next(dialog, question);
}

static enum lw_status go_back(struct lw_dialog *dialog, struct lw_error *error)
{
    return dialog->ops->back(dialog) ? LW_OK
                                     : lw_fail(error, LW_USAGE, "there is nothing to go back to");
}

enum lw_status lw_dialog_say(struct lw_dialog *dialog, const char *typed, enum lw_dialog_said *said,
                             struct lw_error *error)
{
    static const char *const backs[] = {"back", "zurück", NULL}, *const stops[] = {"stop", NULL};
    struct lw_question question;
    struct lw_answer answer = {0};
    enum lw_dialog_next next = lw_dialog_next(dialog, &question);
    assert(next == LW_DIALOG_ASK);
    (void)next;
    typed += strspn(typed, " ");
    typed = typed[0] == '\0' && question.obvious != NULL ? question.obvious : typed;
    *said = strcmp(typed, "?") == 0   ? LW_SAID_HELP
            : is_one_of(typed, backs) ? LW_SAID_BACK
            : is_one_of(typed, stops) ? LW_SAID_STOP
                                      : LW_SAID_ANSWER;
    if (*said == LW_SAID_HELP || *said == LW_SAID_STOP) {
        return LW_OK;
    }
    if (*said == LW_SAID_BACK) {
        return go_back(dialog, error);
    }
    if (typed[0] == '\0') {
        return lw_fail(error, LW_USAGE, "an answer is needed; ? says more");
    }
    lw_text_clean(answer.text, sizeof answer.text, typed, strlen(typed));
    enum lw_status status = take(&question, answer.text, &answer, error);
    return status == LW_OK ? dialog->ops->answer(dialog, &answer, error) : status;
}

static enum lw_dialog_next safety_next(const struct lw_dialog *dialog, struct lw_question *question)
{
    const struct lw_safety_dialog *safety = (const struct lw_safety_dialog *)dialog;
    if (safety->made_sure_by[0] != '\0') {
        return LW_DIALOG_DONE;
    }
    if (!safety->safe) {
        lw_question_id(question, "safety.off");
        lw_print(question->text, sizeof question->text,
                 "Are all drives off and locked out, and is nobody else in the machine?");
        lw_print(question->help, sizeof question->help,
                 "Lock-out follows the local rules and the machine maker's instructions; a stop "
                 "button or an open door is no lock-out. Stored air, springs and hanging axes "
                 "move, too.");
        question->kind = LW_QUESTION_YES;
        return LW_DIALOG_ASK;
    }
    lw_question_id(question, "safety.who");
    lw_print(question->text, sizeof question->text, "Who made sure of it?");
    lw_print(question->help, sizeof question->help,
             "The name goes into the record: who locked the drives out and tried them.");
    question->kind = LW_QUESTION_TEXT;
    return LW_DIALOG_ASK;
}

static enum lw_status safety_answer(struct lw_dialog *dialog, const struct lw_answer *answer,
                                    struct lw_error *error)
{
    struct lw_safety_dialog *safety = (struct lw_safety_dialog *)dialog;
    if (safety->safe) {
        lw_copy(safety->made_sure_by, sizeof safety->made_sure_by, answer->text);
        return LW_OK;
    }
    safety->safe = answer->yes;
    return safety->safe
               ? LW_OK
               : lw_fail(error, LW_USAGE, "switch the drives off and lock them out first, or stop");
}

static bool safety_back(struct lw_dialog *dialog)
{
    struct lw_safety_dialog *safety = (struct lw_safety_dialog *)dialog;
    bool was = safety->safe;
    safety->safe = false;
    return was;
}

void lw_safety_dialog_init(struct lw_safety_dialog *safety)
{
    static const struct lw_dialog_ops ops = {safety_next, safety_answer, safety_back};
    *safety = (struct lw_safety_dialog){.dialog.ops = &ops};
}
