// SPDX-License-Identifier: GPL-3.0-or-later
//
// Checklists: the list that comes with linewalk, one's own, the dialog over it, what answers mean.
#include "check/checklist.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

static const char own_list[] =
    "{\"format\": \"linewalk/checklist/1\", \"title\": \"Cell\", \"items\": ["
    "{\"id\": \"a\", \"text\": \"A?\"}, {\"id\": \"b\", \"text\": \"B?\", \"required\": false}, "
    "{\"id\": \"c\", \"text\": \"C?\"}]}";

struct talk {
    struct lw_checklist list;
    struct lw_checklist_dialog dialog;
    struct lw_findings findings;
};

static void begin(struct talk *talk)
{
    struct lw_error error = {0};
    *talk = (struct talk){0};
    assert_int_equal(lw_checklist_read(own_list, strlen(own_list), &talk->list, &error), LW_OK);
    assert_int_equal(lw_checklist_init(&talk->dialog, &talk->list, &error), LW_OK);
}

static void end(struct talk *talk)
{
    walk_comes_back(&lw_checklist_shape, &talk->dialog.result);
    lw_findings_free(&talk->findings);
    lw_json_free(&lw_checklist_shape, &talk->dialog.result);
    lw_json_free(&lw_checklist_file_shape, &talk->list);
}

static void say(struct talk *talk, const char *id, const char *typed)
{
    struct lw_question question;
    struct lw_error error = {0};
    enum lw_dialog_said said;
    assert_int_equal(lw_dialog_next(&talk->dialog.dialog, &question), LW_DIALOG_ASK);
    assert_string_equal(question.id, id);
    assert_int_equal(lw_dialog_say(&talk->dialog.dialog, typed, &said, &error), LW_OK);
}

static enum lw_verdict verdict(struct talk *talk)
{
    lw_checklist_findings(&talk->dialog.result, &talk->findings);
    return lw_findings_worst(&talk->findings);
}

static void all_yes_passes(void **state)
{
    (void)state;
    struct talk talk;
    struct lw_question question;
    begin(&talk);
    say(&talk, "a", "yes");
    say(&talk, "b", "1");
    say(&talk, "c", "not applicable");
    say(&talk, "c.remark", "no magnets here");
    assert_int_equal(lw_dialog_next(&talk.dialog.dialog, &question), LW_DIALOG_DONE);
    assert_int_equal(verdict(&talk), LW_PASS);
    end(&talk);
}

static void a_required_item_left_open_decides_nothing(void **state)
{
    (void)state;
    struct talk talk;
    begin(&talk);
    say(&talk, "a", "skip");
    say(&talk, "b", "skip");
    say(&talk, "c", "yes");
    assert_int_equal(verdict(&talk), LW_UNDECIDED);
    assert_int_equal(talk.findings.list.count, 1);
    end(&talk);
}

static void a_no_fails_with_its_remark_and_picture(void **state)
{
    (void)state;
    struct talk talk;
    struct lw_question question;
    struct lw_error error = {0};
    begin(&talk);
    say(&talk, "a", "no");
    say(&talk, "a.remark", "loose");
    say(&talk, "a.photo", "missing.jpg");
    assert_int_equal(lw_dialog_next(&talk.dialog.dialog, &question), LW_DIALOG_ACT);
    assert_int_equal(lw_checklist_photo(&talk.dialog, NULL, NULL, &error), LW_OK);
    say(&talk, "a.photo", "clamp.jpg");
    assert_int_equal(lw_dialog_next(&talk.dialog.dialog, &question), LW_DIALOG_ACT);
    assert_int_equal(lw_checklist_photo(&talk.dialog, "0001-checklist.a.jpg", "00", &error), LW_OK);
    say(&talk, "b", "no");
    say(&talk, "b.remark", "not yet");
    say(&talk, "b.photo", "skip");
    say(&talk, "c", "back");
    say(&talk, "b", "yes");
    say(&talk, "c", "yes");
    assert_int_equal(verdict(&talk), LW_FAIL);
    const struct lw_checklist_answer *answers = talk.dialog.result.answers.items;
    assert_string_equal(answers[0].remark, "loose");
    assert_string_equal(answers[0].photo, "0001-checklist.a.jpg");
    assert_null(answers[1].remark);
    end(&talk);
}

static void the_list_that_comes_along_is_whole(void **state)
{
    (void)state;
    struct lw_checklist list;
    struct lw_error error = {0};
    struct lw_text text = {0};
    assert_int_equal(lw_checklist_read(NULL, 0, &list, &error), LW_OK);
    assert_true(list.items.count >= 10);
    assert_int_equal(lw_json_write(&lw_checklist_file_shape, &list, true, &text, &error), LW_OK);
    lw_json_free(&lw_checklist_file_shape, &list);
    assert_int_equal(lw_checklist_read(text.bytes, text.length, &list, &error), LW_OK);
    lw_json_free(&lw_checklist_file_shape, &list);
    lw_text_finish(&text);
}

static void a_list_with_an_id_twice_is_refused(void **state)
{
    (void)state;
    static const char twice[] =
        "{\"format\": \"linewalk/checklist/1\", \"items\": [{\"id\": \"a\", "
        "\"text\": \"A?\"}, {\"id\": \"a\", \"text\": \"B?\"}]}";
    static const char none[] = "{\"format\": \"linewalk/checklist/1\", \"items\": []}";
    struct lw_checklist list;
    struct lw_error error = {0};
    assert_int_equal(lw_checklist_read(twice, strlen(twice), &list, &error), LW_BAD_FILE);
    assert_string_equal(error.says, "/items/1/id: 'a' stands there twice");
    assert_int_equal(lw_checklist_read(none, strlen(none), &list, &error), LW_BAD_FILE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_yes_passes),
        cmocka_unit_test(a_required_item_left_open_decides_nothing),
        cmocka_unit_test(a_no_fails_with_its_remark_and_picture),
        cmocka_unit_test(the_list_that_comes_along_is_whole),
        cmocka_unit_test(a_list_with_an_id_twice_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
