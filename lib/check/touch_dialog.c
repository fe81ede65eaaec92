// SPDX-License-Identifier: GPL-3.0-or-later
//
// The questions of the touch walk: is everything at rest, and what is the matter when something
// contradicts the plan, nothing moves, or the person types. What a contradiction means is for the
// person to say, who knows which place was touched.
#include "base/text.h"
#include "base/words.h"
#include "check/touch_inside.h"

#include <assert.h>

static const char *const matters[] = {N_("again"),   N_("as asked"), N_("another place"),
                                      N_("skip it"), N_("finish"),   NULL};
enum { M_AGAIN, M_AS_ASKED, M_ANOTHER, M_SKIP, M_FINISH };
static const char *const any_matters[] = {N_("again"),   N_("wrong place"), N_("no answer"),
                                          N_("skip it"), N_("finish"),      NULL};

static void ask_rest(struct lw_question *question)
{
    lw_question_id(question, "touch.rest");
    question->kind = LW_QUESTION_YES;
    question->obvious = N_("yes");
    lw_copy(question->text, sizeof question->text,
            N_("Is everything at rest, and does nobody touch a sensor?"));
    lw_copy(question->help, sizeof question->help,
            N_("The readings at rest are learnt first, for a few seconds; a sensor that is touched "
               "meanwhile would be learnt wrongly. Then the walk begins."));
}

static void ask_matter(const struct lw_touch *touch, struct lw_question *question)
{
    char name[160], other[160];
    int at = lw_touch_wanted(touch);
    question->kind = LW_QUESTION_WORD;
    question->obvious = matters[M_AGAIN];
    question->words = touch->options.any_order ? any_matters : matters;
    lw_question_id(question, "%s.matter", at >= 0 ? lw_touch_name(touch, at) : "touch");
    if (touch->options.any_order || at < 0) {
        lw_copy(question->text, sizeof question->text, N_("What is the matter?"));
    } else if (touch->cause == LW_CAUSE_OTHER) {
        lw_print(question->text, sizeof question->text,
                 "%s moved twice where %s is expected. Which place was touched?",
                 lw_touch_full_name(touch, touch->last_other, other),
                 lw_touch_full_name(touch, at, name));
    } else if (touch->cause == LW_CAUSE_UNCLEAR) {
        lw_print(question->text, sizeof question->text,
                 "It stays unclear which one moves where %s is expected. What is the matter?",
                 lw_touch_full_name(touch, at, name));
    } else if (touch->cause == LW_CAUSE_NOTHING) {
        lw_print(question->text, sizeof question->text,
                 "Nothing has moved for %.0f s; %s is expected. What is the matter?",
                 touch->options.wait_s, lw_touch_full_name(touch, at, name));
    } else {
        lw_print(question->text, sizeof question->text, "%s is expected. What is the matter?",
                 lw_touch_full_name(touch, at, name));
    }
    lw_copy(question->help, sizeof question->help,
            touch->options.any_order
                ? N_("again: listen on. wrong place: the node named last does not sit where it was "
                     "touched. no answer: a sensor was touched and none was named. skip it: one "
                     "cannot be reached. finish: leave the rest untouched. back: take the last "
                     "tick back.")
                : N_("again: listen on. as asked: the place that was asked for was touched, and "
                     "the plan is wrong there or no node answers. another place: it was touched by "
                     "mistake, nothing is written down. skip it: it cannot be reached, or has "
                     "been touched often enough. finish: leave the "
                     "rest untouched. back: take the last tick back."));
}

static void ask_reason(const struct lw_touch *touch, struct lw_question *question)
{
    lw_question_id(question, "%s.reason", lw_touch_name(touch, touch->asked_place));
    question->kind = LW_QUESTION_TEXT;
    lw_print(question->text, sizeof question->text, "Why is %s left out?",
             lw_touch_name(touch, touch->asked_place));
}

static void ask_place(const struct lw_touch *touch, struct lw_question *question)
{
    (void)touch;
    lw_question_id(question, "touch.place");
    question->kind = LW_QUESTION_TEXT;
    lw_copy(question->text, sizeof question->text,
            N_("Which place is it? Name the node that is planned there"));
}

static enum lw_dialog_next next(const struct lw_dialog *dialog, struct lw_question *question)
{
    const struct lw_touch *touch = (const struct lw_touch *)dialog;
    switch (touch->phase) {
    case LW_TOUCH_REST:
        ask_rest(question);
        break;
    case LW_TOUCH_LISTENING:
        return LW_DIALOG_ACT;
    case LW_TOUCH_MATTER:
        ask_matter(touch, question);
        break;
    case LW_TOUCH_REASON:
        ask_reason(touch, question);
        break;
    case LW_TOUCH_PLACE:
        ask_place(touch, question);
        break;
    case LW_TOUCH_DONE:
        return LW_DIALOG_DONE;
    }
    return LW_DIALOG_ASK;
}

static void close_place(struct lw_touch *touch, int i, enum lw_touch_state state)
{
    struct lw_touch_node *node = lw_touch_place(touch, i);
    node->state = (int)state;
    node->order = ++touch->orders;
    touch->last_ticked = i;
    touch->phase = LW_TOUCH_LISTENING;
    touch->current = touch->current == i ? LW_NO_NODE : touch->current;
    lw_touch_move_on(touch);
}

static void put_elsewhere(struct lw_touch *touch, int place, int node)
{
    free(lw_touch_place(touch, place)->answered_by);
    lw_touch_place(touch, place)->answered_by = lw_duplicate(lw_touch_name(touch, node));
    touch->own[node].answers_elsewhere = true;
    if (lw_touch_place(touch, node)->state == LW_TOUCH_RIGHT && node != place) {
        lw_touch_place(touch, node)->state = LW_TOUCH_UNTOUCHED;
    }
    close_place(touch, place, LW_TOUCH_ELSEWHERE);
}

static void answer_matter(struct lw_touch *touch, int word)
{
    int at = lw_touch_wanted(touch), other = touch->last_other;
    touch->phase = LW_TOUCH_LISTENING;
    touch->since_s = NAN;
    touch->refusals = touch->others = 0;
    if (word == M_FINISH) {
        touch->phase = LW_TOUCH_DONE;
    } else if (touch->options.any_order) {
        touch->asked_for = word;
        touch->phase = word == M_AGAIN ? LW_TOUCH_LISTENING : LW_TOUCH_PLACE;
    } else if (word == M_SKIP && touch->current >= 0) {
        touch->current = LW_NO_NODE; // fewer returns of it will do
        lw_touch_move_on(touch);
    } else if (word == M_SKIP && at >= 0) {
        touch->asked_place = at;
        touch->phase = LW_TOUCH_REASON;
    } else if (word == M_AS_ASKED && at >= 0 && touch->cause == LW_CAUSE_OTHER) {
        put_elsewhere(touch, at, other);
    } else if (word == M_AS_ASKED && at >= 0) {
        close_place(touch, at, LW_TOUCH_SILENT);
    }
}

static enum lw_status answer_place(struct lw_touch *touch, const char *name, struct lw_error *error)
{
    enum { WRONG_PLACE = 1, NO_ANSWER = 2, SKIP = 3 };
    int place = lw_touch_index(touch, name);
    if (place < 0) {
        return lw_fail(error, LW_USAGE, "'%s' is no node of this walk", name);
    }
    if (touch->asked_for == WRONG_PLACE && (touch->last_named < 0 || touch->last_named == place)) {
        return lw_fail(error, LW_USAGE, "'%s' is the node that was named last", name);
    }
    if (touch->asked_for == WRONG_PLACE) {
        put_elsewhere(touch, place, touch->last_named);
    } else if (touch->asked_for == NO_ANSWER) {
        close_place(touch, place, LW_TOUCH_SILENT);
    } else {
        touch->asked_place = place;
        touch->phase = LW_TOUCH_REASON;
    }
    return LW_OK;
}

static enum lw_status answer(struct lw_dialog *dialog, const struct lw_answer *answer,
                             struct lw_error *error)
{
    struct lw_touch *touch = (struct lw_touch *)dialog;
    switch (touch->phase) {
    case LW_TOUCH_REST:
        if (!answer->yes) {
            return lw_fail(error, LW_USAGE, "answer yes when it is so, or stop");
        }
        touch->phase = LW_TOUCH_LISTENING;
        break;
    case LW_TOUCH_MATTER:
        answer_matter(touch, answer->word);
        break;
    case LW_TOUCH_REASON:
        lw_touch_place(touch, touch->asked_place)->reason = lw_duplicate(answer->text);
        close_place(touch, touch->asked_place, LW_TOUCH_SKIPPED);
        break;
    case LW_TOUCH_PLACE:
        return answer_place(touch, answer->text, error);
    case LW_TOUCH_LISTENING:
    case LW_TOUCH_DONE:
        assert(false);
    }
    return LW_OK;
}

// The last place that was closed is open again, with nothing known of it.
static bool reopen_last(struct lw_touch *touch)
{
    int i = touch->last_ticked;
    if (touch->orders == 0 || i < 0 || lw_touch_place(touch, i)->state == LW_TOUCH_UNTOUCHED) {
        return false;
    }
    struct lw_touch_node *node = lw_touch_place(touch, i);
    int other = lw_touch_index(touch, node->answered_by);
    if (other >= 0) {
        touch->own[other].answers_elsewhere = false;
    }
    free(node->answered_by);
    free(node->reason);
    free(node->returns.items);
    node->answered_by = node->reason = NULL;
    node->returns = (struct lw_list){0};
    node->state = LW_TOUCH_UNTOUCHED;
    node->order = node->sign = node->moved_to = node->touches = 0;
    node->deflection = NAN;
    touch->own[i].touches = 0;
    touch->own[i].off = touch->own[i].off_u = 0;
    touch->orders--;
    touch->current = LW_NO_NODE;
    touch->phase = LW_TOUCH_LISTENING;
    lw_touch_move_on(touch);
    return true;
}

static bool back(struct lw_dialog *dialog)
{
    struct lw_touch *touch = (struct lw_touch *)dialog;
    if (touch->phase == LW_TOUCH_REASON || touch->phase == LW_TOUCH_PLACE) {
        touch->phase = LW_TOUCH_MATTER;
        return true;
    }
    return touch->phase == LW_TOUCH_MATTER && reopen_last(touch);
}

const struct lw_dialog_ops lw_touch_dialog_ops = {next, answer, back};
