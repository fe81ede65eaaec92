// SPDX-License-Identifier: GPL-3.0-or-later
//
// The hands share no threshold with the ears: how far, how fast and how long people press is drawn
// here.
#include "hands.h"

#include "base/text.h"
#include "check/touch_inside.h"
#include "stats/random.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { TAPS_MOST = 256, PATIENCE_QUESTIONS = 400 };
static const double longest_walk_s = 3600;

struct hands {
    const struct hands_scene *scene;
    struct walk walk;
    struct lw_touch *touch;
    struct hands_outcome *outcome;
    uint64_t seed, drawn;
    bool may_begin, pressed, heard, contradicts;
    size_t at, beside; // taps under the hands; 0: none
    double by, beside_s, over_s;
    double pressed_s, let_go_s, next_s, patience_s;
    bool was_pressed[TAPS_MOST + 2];
    size_t tries[TAPS_MOST + 2];
};

static double draw(struct hands *hands, double low, double high)
{
    const struct lw_random key = {hands->seed, 0, lw_random_word("hands")};
    return low + (high - low) * lw_random_uniform(key, hands->drawn++);
}

static const struct lw_chain_entry *entry_of(const struct hands *hands, size_t tap)
{
    return lw_plan_tap(&hands->walk.plan, tap);
}

// A hand's deflection: a tenth to nine tenths of what is left to the end of the range.
static double stroke(struct hands *hands, size_t tap)
{
    const double *range = entry_of(hands, tap)->is->metrology.range.items;
    double width = range[1] - range[0];
    return draw(hands, 0.08, 0.42) * width;
}

static void move(struct hands *hands, size_t tap, double at_s, double over_s, double by)
{
    double rest = lw_chain_true_rest(hands->walk.chain, tap);
    struct lw_error error = {0};
    if (lw_chain_move(hands->walk.chain, tap, at_s, over_s, rest + by, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
}

static void move_neighbours(struct hands *hands, size_t tap, double at_s, double by)
{
    double most = hands->scene->coupled;
    for (int side = -1; most > 0 && side <= 1; side += 2) {
        size_t other = (size_t)((int)tap + side);
        bool there =
            other >= 1 && other <= lw_plan_taps(&hands->walk.plan) && other != hands->beside;
        if (there && strcmp(entry_of(hands, other)->profile, entry_of(hands, tap)->profile) == 0) {
            move(hands, other, at_s, hands->over_s, by * (by != 0 ? most : 1));
        }
    }
}

static double rests_at(const struct hands *hands, size_t tap)
{
    return hands->scene->sticking == tap ? hands->scene->stuck_by : 0;
}

static size_t other_tap(struct hands *hands, size_t tap)
{
    size_t taps = lw_plan_taps(&hands->walk.plan);
    size_t other = 1 + (size_t)draw(hands, 0, (double)taps - 1e-9);
    return other == tap ? 1 + tap % taps : other;
}

static void press(struct hands *hands, size_t asked, double now_s)
{
    const struct hands_scene *scene = hands->scene;
    bool slips = draw(hands, 0, 1) < scene->slips;
    bool twice = draw(hands, 0, 1) < scene->twice;
    hands->at = slips ? other_tap(hands, asked) : asked;
    hands->beside = twice ? other_tap(hands, hands->at) : 0;
    hands->by = stroke(hands, hands->at);
    hands->over_s = scene->pushes_slowly ? draw(hands, 1, 4) : draw(hands, 0.05, 0.5);
    move(hands, hands->at, now_s, hands->over_s, hands->by);
    move_neighbours(hands, hands->at, now_s, hands->by);
    if (hands->beside > 0) {
        hands->beside_s = now_s + draw(hands, 0, 0.3);
        move(hands, hands->beside, hands->beside_s, hands->over_s, stroke(hands, hands->beside));
        hands->was_pressed[hands->beside] = true;
    }
    hands->was_pressed[hands->at] = true;
    hands->tries[hands->at]++;
    hands->pressed = true;
    hands->heard = false;
    hands->pressed_s = now_s;
    hands->let_go_s = now_s + draw(hands, 12, 20);
    hands->outcome->presses++;
}

static void let_go(struct hands *hands, double now_s)
{
    move(hands, hands->at, now_s, hands->over_s, rests_at(hands, hands->at));
    move_neighbours(hands, hands->at, now_s, 0);
    if (hands->beside > 0) {
        move(hands, hands->beside, now_s, hands->over_s, rests_at(hands, hands->beside));
    }
    hands->pressed = false;
    hands->next_s = now_s + hands->over_s + draw(hands, 0.8, 2.5);
}

static size_t asked_tap(const struct hands *hands)
{
    const struct lw_touch *touch = hands->touch;
    int i = touch->current >= 0 ? touch->current : touch->expected;
    const struct lw_touch_node *nodes = touch->result.nodes.items;
    for (size_t k = 0; i < 0 && hands->scene->any_order && k < touch->count; k++) {
        i = nodes[k].state == LW_TOUCH_UNTOUCHED ? (int)k : i;
    }
    return i >= 0 ? (size_t)nodes[i].tap : 0;
}

static size_t done_places(const struct hands *hands)
{
    const struct lw_touch_node *nodes = hands->touch->result.nodes.items;
    size_t done = 0;
    for (size_t i = 0; i < hands->touch->count; i++) {
        done += nodes[i].state != LW_TOUCH_UNTOUCHED;
    }
    return done;
}

static bool finished(const struct hands *hands)
{
    return hands->scene->places > 0 && done_places(hands) >= hands->scene->places &&
           hands->touch->current < 0;
}

// Called after every reading; what the person types is that the walk is finished.
static bool look_up(void *user)
{
    struct hands *hands = user;
    double now_s = lw_chain_now_s(hands->walk.chain);
    if (hands->pressed && now_s >= hands->let_go_s) {
        let_go(hands, now_s);
    } else if (!hands->pressed && hands->may_begin && now_s >= hands->next_s) {
        size_t asked = asked_tap(hands);
        if (asked > 0 && !finished(hands)) {
            press(hands, asked, now_s);
        }
    }
    if (now_s > longest_walk_s) {
        fail_msg("the walk does not end: seed %llu", (unsigned long long)hands->seed);
    }
    return (finished(hands) || hands->contradicts) && !hands->pressed;
}

// All others once, then what moved with it, three times each: who is pressed after that was not
// there when it was looked at.
static double longest_look_s(const struct hands *hands)
{
    double polls = (double)hands->touch->count + 3 * 6;
    return hands->touch->result.cycle_s * polls / (double)hands->touch->count;
}

static void hear(void *user, const struct lw_touch_word *word)
{
    struct hands *hands = user;
    double now_s = lw_chain_now_s(hands->walk.chain);
    struct hands_outcome *outcome = hands->outcome;
    if (!hands->may_begin) {
        hands->may_begin = word->tone == LW_TONE_RIGHT;
        hands->next_s = now_s + draw(hands, 0.5, 2);
        return;
    }
    outcome->again += word->tone == LW_TONE_WRONG;
    if (!hands->pressed || word->tone == LW_TONE_NONE || hands->heard) {
        return;
    }
    hands->heard = true;
    hands->contradicts = hands->scene->any_order && word->name[0] != '\0' &&
                         strcmp(word->name, entry_of(hands, hands->at)->node) != 0;
    hands->let_go_s = now_s + draw(hands, 0.2, 0.8);
    double both_s = now_s - (hands->beside_s + hands->over_s);
    outcome->named_of_two +=
        word->name[0] != '\0' && hands->beside > 0 && both_s > longest_look_s(hands);
    if (word->tone == LW_TONE_RIGHT && outcome->answers < 1024) {
        outcome->answer_s[outcome->answers++] = now_s - hands->pressed_s;
    }
}

static bool answers_at_all(const struct hands *hands, size_t tap)
{
    return hands->scene->dead != tap;
}

static const char *matter(struct hands *hands)
{
    const struct lw_touch *touch = hands->touch;
    size_t asked = asked_tap(hands);
    if (hands->contradicts) {
        return "wrong place";
    }
    if (finished(hands) || asked == 0) {
        return "finish";
    }
    if (touch->cause == LW_CAUSE_OTHER) {
        return hands->at == asked ? "as asked" : "another place";
    }
    if (!answers_at_all(hands, asked) && hands->tries[asked] >= 2) {
        return "as asked";
    }
    return hands->tries[asked] > 12 ? "skip it" : "again";
}

static const char *reply(struct hands *hands, const struct lw_question *question)
{
    hands->outcome->questions++;
    if (hands->outcome->questions > PATIENCE_QUESTIONS) {
        fail_msg("the walk asks for ever: seed %llu", (unsigned long long)hands->seed);
    }
    if (hands->contradicts && question->kind == LW_QUESTION_TEXT) {
        hands->contradicts = false;
        return entry_of(hands, hands->at)->node;
    }
    return question->kind == LW_QUESTION_YES    ? "yes"
           : question->kind == LW_QUESTION_WORD ? matter(hands)
                                                : "cannot be reached";
}

static void go_on(struct hands *hands)
{
    const struct lw_touch_ears ears = {hands, 0, hear, look_up};
    struct lw_dialog *dialog = lw_touch_dialog(hands->touch);
    struct lw_question question;
    struct lw_error error = {0};
    enum lw_dialog_next next;
    while ((next = lw_dialog_next(dialog, &question)) != LW_DIALOG_DONE) {
        enum lw_dialog_said said;
        enum lw_status status =
            next == LW_DIALOG_ACT ? lw_touch_listen(&hands->walk.run, hands->walk.client,
                                                    &hands->walk.plan, hands->touch, &ears, &error)
                                  : lw_dialog_say(dialog, reply(hands, &question), &said, &error);
        if (status != LW_OK) {
            fail_msg("%s", error.says);
        }
    }
}

static size_t truth(const struct hands_scene *scene, size_t tap)
{
    return scene->swapped == 0         ? tap
           : scene->swapped == tap     ? tap + 1
           : scene->swapped + 1 == tap ? tap - 1
                                       : tap;
}

static void compare(struct hands *hands, const struct lw_touch_node *node)
{
    struct hands_outcome *outcome = hands->outcome;
    size_t tap = (size_t)node->tap, is = truth(hands->scene, tap);
    const char *name = entry_of(hands, is)->node;
    outcome->right += node->state == LW_TOUCH_RIGHT;
    outcome->elsewhere += node->state == LW_TOUCH_ELSEWHERE;
    outcome->silent += node->state == LW_TOUCH_SILENT;
    outcome->skipped += node->state == LW_TOUCH_SKIPPED;
    outcome->untouched += node->state == LW_TOUCH_UNTOUCHED;
    outcome->wrong += (node->state == LW_TOUCH_RIGHT && (is != tap || !hands->was_pressed[tap])) ||
                      (node->state == LW_TOUCH_RIGHT && !answers_at_all(hands, tap)) ||
                      (node->state == LW_TOUCH_ELSEWHERE && strcmp(node->answered_by, name) != 0) ||
                      (node->state == LW_TOUCH_SILENT && answers_at_all(hands, tap));
    bool reversed = hands->scene->reversed == tap;
    outcome->wrong_signs +=
        (node->sign == LW_SIGN_REVERSED && !reversed) || (node->sign == LW_SIGN_RIGHT && reversed);
}

static void judge(struct hands *hands)
{
    const struct lw_touch_node *nodes = hands->touch->result.nodes.items;
    struct lw_findings findings = {0};
    struct lw_touch_result result;
    assert_int_equal(lw_touch_result(hands->touch, &result, NULL), LW_OK);
    lw_touch_findings(&result, &findings);
    const struct lw_finding *list = findings.list.items;
    for (size_t i = 0; i < findings.list.count; i++) {
        bool sticks = strcmp(list[i].code, "touch_sticks") == 0;
        hands->outcome->sticks += sticks && list[i].severity == LW_FAIL;
        bool innocent = sticks && (size_t)list[i].tap != hands->scene->sticking;
        hands->outcome->wrong_sticks += innocent && list[i].severity == LW_FAIL;
        hands->outcome->open_sticks += sticks && list[i].severity == LW_UNDECIDED;
    }
    lw_findings_free(&findings);
    lw_json_free(&lw_touch_shape, &result);
    hands->outcome->places = hands->touch->count;
    hands->outcome->cycle_s = hands->touch->result.cycle_s;
    hands->outcome->seconds = hands->touch->result.seconds;
    for (size_t i = 0; i < hands->touch->count; i++) {
        compare(hands, &nodes[i]);
    }
}

static void put_faults(const struct hands_scene *scene, char *text, size_t size)
{
    const char *before = scene->cell.faults;
    lw_copy(text, size, before != NULL ? before : "");
    size_t used = strlen(text);
    if (scene->swapped > 0) {
        lw_print(text + used, size - used, "%s{\"kind\": \"swapped_places\", \"taps\": [%zu, %zu]}",
                 used > 0 ? "," : "", scene->swapped, scene->swapped + 1);
        used = strlen(text);
    }
    if (scene->dead > 0) {
        lw_print(text + used, size - used, "%s{\"kind\": \"%s\", \"tap\": %zu}",
                 used > 0 ? "," : "", scene->mute ? "dead_node" : "stuck_reading", scene->dead);
    }
}

void hands_walk(const struct hands_scene *scene, uint64_t seed, struct hands_outcome *outcome,
                struct lw_touch_result *result)
{
    char faults[400];
    struct hands *hands = calloc(1, sizeof *hands);
    struct lw_error error = {0};
    struct cell cell = scene->cell;
    assert_non_null(hands);
    *outcome = (struct hands_outcome){0};
    *hands = (struct hands){.scene = scene, .outcome = outcome, .seed = seed};
    put_faults(scene, faults, sizeof faults);
    cell.faults = faults;
    walk_open_cell(&hands->walk, &cell, seed);
    struct lw_chain_entry *entries = hands->walk.plan.chain.items;
    for (size_t i = 0; i < hands->walk.plan.chain.count; i++) {
        entries[i].moves = scene->reversed == i + 1 ? 2 : 1;
    }
    const struct lw_touch_options options = {.any_order = scene->any_order,
                                             .returns = scene->returns > 0 ? scene->returns : 1,
                                             .wait_s = 60,
                                             .return_limit = NAN};
    if (lw_touch_new(&hands->walk.plan, &options, NULL, &hands->touch, &error) != LW_OK) {
        fail_msg("%s", error.says);
    }
    go_on(hands);
    judge(hands);
    if (result != NULL) {
        assert_int_equal(lw_touch_result(hands->touch, result, NULL), LW_OK);
    }
    lw_touch_free(hands->touch);
    walk_close(&hands->walk);
    free(hands);
}
