// SPDX-License-Identifier: GPL-3.0-or-later
//
// What people type to a dialog of one question of each kind.
#include "check/dialog.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

enum { QUESTIONS = 4 };

struct four {
    struct lw_dialog dialog;
    int at;
    struct lw_answer answers[QUESTIONS];
};

static const char *const sides[] = {"left", "right", NULL};
static const struct lw_question questions[QUESTIONS] = {
    {.id = "1", .kind = LW_QUESTION_YES, .obvious = "yes"},
    {.id = "2", .kind = LW_QUESTION_WORD, .words = sides},
    {.id = "3", .kind = LW_QUESTION_NUMBER, .unit = "ohm", .high = 1e6, .may_be_open = true},
    {.id = "4", .kind = LW_QUESTION_TEXT, .may_skip = true},
};

static enum lw_dialog_next next(const struct lw_dialog *dialog, struct lw_question *question)
{
    const struct four *four = (const struct four *)dialog;
    if (four->at == QUESTIONS) {
        return LW_DIALOG_DONE;
    }
    *question = questions[four->at];
    return LW_DIALOG_ASK;
}

static enum lw_status answer(struct lw_dialog *dialog, const struct lw_answer *given,
                             struct lw_error *error)
{
    struct four *four = (struct four *)dialog;
    (void)error;
    four->answers[four->at++] = *given;
    return LW_OK;
}

static bool back(struct lw_dialog *dialog)
{
    struct four *four = (struct four *)dialog;
    bool can = four->at > 0;
    four->at -= can;
    return can;
}

static const struct lw_dialog_ops ops = {next, answer, back};

static enum lw_status say(struct four *four, const char *typed, const char *wanted)
{
    struct lw_error error = {0};
    enum lw_dialog_said said;
    enum lw_status status = lw_dialog_say(&four->dialog, typed, &said, &error);
    if (wanted != NULL) {
        assert_string_equal(error.says, wanted);
    }
    return status;
}

static void each_kind_takes_its_answers_and_says_what_would_do(void **state)
{
    (void)state;
    struct four four = {.dialog.ops = &ops};
    assert_int_equal(say(&four, "maybe", "answer yes or no"), LW_USAGE);
    assert_int_equal(say(&four, "", NULL), LW_OK);
    assert_int_equal(say(&four, "", "an answer is needed; ? says more"), LW_USAGE);
    assert_int_equal(say(&four, "3", "answer one of: 1 left, 2 right"), LW_USAGE);
    assert_int_equal(say(&four, "2", NULL), LW_OK);
    assert_int_equal(say(&four, "60 V", "'V' is no unit that fits; the answer is wanted in ohm"),
                     LW_USAGE);
    assert_int_equal(say(&four, "sixty", NULL), LW_USAGE);
    assert_int_equal(say(&four, "-1", NULL), LW_USAGE);
    assert_int_equal(say(&four, "47,3", NULL), LW_OK);
    assert_int_equal(say(&four, "skip", NULL), LW_OK);
    assert_int_equal(four.at, QUESTIONS);
    assert_true(four.answers[0].yes);
    assert_int_equal(four.answers[1].word, 1);
    assert_true(four.answers[2].number == 47.3);
    assert_true(four.answers[3].skipped);
}

static void a_number_takes_a_unit_and_a_meter_that_shows_open(void **state)
{
    (void)state;
    struct four four = {.dialog.ops = &ops, .at = 2};
    assert_int_equal(say(&four, "47.3 ohm", NULL), LW_OK);
    assert_true(four.answers[2].number == 47.3);
    assert_int_equal(say(&four, "back", NULL), LW_OK);
    assert_int_equal(say(&four, "OL", NULL), LW_OK);
    assert_true(isinf(four.answers[2].number));
}

static void help_and_stop_leave_the_question_and_back_goes_to_the_one_before(void **state)
{
    (void)state;
    struct four four = {.dialog.ops = &ops};
    enum lw_dialog_said said;
    assert_int_equal(say(&four, "back", "there is nothing to go back to"), LW_USAGE);
    assert_int_equal(lw_dialog_say(&four.dialog, "?", &said, NULL), LW_OK);
    assert_int_equal(said, LW_SAID_HELP);
    assert_int_equal(lw_dialog_say(&four.dialog, "stop", &said, NULL), LW_OK);
    assert_int_equal(said, LW_SAID_STOP);
    assert_int_equal(four.at, 0);
    assert_int_equal(say(&four, "nein", NULL), LW_OK);
    assert_int_equal(say(&four, "left", NULL), LW_OK);
    assert_int_equal(lw_dialog_say(&four.dialog, "zurück", &said, NULL), LW_OK);
    assert_int_equal(said, LW_SAID_BACK);
    assert_int_equal(four.at, 1);
    assert_false(four.answers[0].yes);
}

static void hands_go_in_only_when_somebody_made_sure(void **state)
{
    (void)state;
    struct lw_safety_dialog safety;
    struct lw_question question;
    struct lw_error error = {0};
    enum lw_dialog_said said;
    lw_safety_dialog_init(&safety);
    assert_int_equal(lw_dialog_say(&safety.dialog, "no", &said, &error), LW_USAGE);
    assert_int_equal(lw_dialog_say(&safety.dialog, "", &said, &error), LW_USAGE);
    assert_int_equal(lw_dialog_say(&safety.dialog, "yes", &said, &error), LW_OK);
    assert_int_equal(lw_dialog_say(&safety.dialog, "", &said, &error), LW_USAGE);
    assert_int_equal(lw_dialog_say(&safety.dialog, "E. Example", &said, &error), LW_OK);
    assert_int_equal(lw_dialog_next(&safety.dialog, &question), LW_DIALOG_DONE);
    assert_string_equal(safety.made_sure_by, "E. Example");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_kind_takes_its_answers_and_says_what_would_do),
        cmocka_unit_test(a_number_takes_a_unit_and_a_meter_that_shows_open),
        cmocka_unit_test(help_and_stop_leave_the_question_and_back_goes_to_the_one_before),
        cmocka_unit_test(hands_go_in_only_when_somebody_made_sure),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
