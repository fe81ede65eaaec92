// SPDX-License-Identifier: GPL-3.0-or-later
//
// The ears by themselves, reading by reading, and whole walks on virtual chains with a person who
// makes mistakes. The large number of walks is a study (tests/study/touch.c).
#include "base/text.h"
#include "check/ask.h"
#include "check/touch_inside.h"
#include "hands.h"
#include "stats/random.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { EARS = 5, SEEDS = 6 };

// A made room of five sensors, 10 mm each, read every 10 ms.
struct room {
    struct lw_hear *hear;
    double value[EARS], noise, time_s;
    bool mute[EARS];
    uint64_t k;
    struct lw_heard_move move;
};

static void enter(struct room *room)
{
    struct lw_hear_node nodes[EARS];
    *room = (struct room){.noise = 0.0002};
    for (size_t i = 0; i < EARS; i++) {
        nodes[i] = (struct lw_hear_node){.need = 0.2, .step = 0.0001, .comes_back = i != 4};
        nodes[i].turns = i == 4 ? 360 : 0;
        room->value[i] = 5;
    }
    assert_int_equal(lw_hear_new(nodes, EARS, &room->hear, NULL), LW_OK);
}

static enum lw_hear_event once(struct room *room)
{
    const struct lw_random key = {1, 2, 3};
    size_t i = lw_hear_next(room->hear);
    assert_true(i < EARS);
    double noise = room->noise * lw_random_normal(key, room->k++);
    room->time_s += 0.01;
    return lw_hear_take(room->hear, i, room->time_s,
                        room->mute[i] ? (double)NAN : room->value[i] + noise, &room->move);
}

// The first event within so long; LW_HEAR_NOTHING: none came.
static enum lw_hear_event within(struct room *room, double seconds)
{
    double until_s = room->time_s + seconds;
    enum lw_hear_event event = LW_HEAR_NOTHING;
    while (event == LW_HEAR_NOTHING && room->time_s < until_s) {
        event = once(room);
    }
    return event;
}

static void learn(struct room *room)
{
    enter(room);
    assert_int_equal(within(room, 5), LW_HEAR_LEARNT);
}

static void one_that_moves_alone_is_named_and_returns(void **state)
{
    (void)state;
    struct room room;
    learn(&room);
    assert_int_equal(within(&room, 3), LW_HEAR_NOTHING);
    room.value[2] += 1;
    assert_int_equal(within(&room, 1), LW_HEAR_MOVED);
    assert_int_equal(room.move.node, 2);
    assert_true(fabs(room.move.moved - 1) < 0.01 && isinf(room.move.margin));
    assert_int_equal(within(&room, 2), LW_HEAR_NOTHING);
    room.value[2] -= 0.99;
    assert_int_equal(within(&room, 2), LW_HEAR_RETURNED);
    assert_true(fabs(room.move.off - 0.01) < 4 * room.move.off_u && room.move.off_u < 0.001);
    lw_hear_free(room.hear);
}

static void two_at_once_are_refused_and_so_is_what_is_too_small(void **state)
{
    (void)state;
    struct room room;
    learn(&room);
    room.value[1] += 1;
    room.value[3] -= 0.6;
    assert_int_equal(within(&room, 1), LW_HEAR_TWO);
    assert_true(room.move.node == 1 && room.move.other == 3);
    assert_int_equal(within(&room, 1), LW_HEAR_NOTHING);
    room.value[1] -= 1;
    room.value[3] += 0.6;
    assert_int_equal(within(&room, 1), LW_HEAR_REST);
    room.value[0] += 0.25;
    room.value[1] += 0.1; // below what counts, and yet no margin
    assert_int_equal(within(&room, 1), LW_HEAR_UNCLEAR);
    lw_hear_free(room.hear);
}

static void a_neighbour_that_goes_along_is_measured(void **state)
{
    (void)state;
    struct room room;
    learn(&room);
    room.value[1] += 3;
    room.value[2] += 0.3; // a tenth: above what counts as moved
    assert_int_equal(within(&room, 1), LW_HEAR_MOVED);
    assert_int_equal(room.move.node, 1);
    assert_true(fabs(room.move.margin - 10) < 1);
    assert_int_equal(within(&room, 1), LW_HEAR_NOTHING);
    room.value[1] -= 3;
    room.value[2] -= 0.3;
    assert_int_equal(within(&room, 2), LW_HEAR_RETURNED);
    struct lw_hear_facts facts = lw_hear_facts(room.hear, 2);
    assert_true(fabs(facts.with_winner - 0.3) < 0.02);
    facts = lw_hear_facts(room.hear, 3);
    assert_true(fabs(facts.with_winner) < 6 * facts.with_winner_u);
    lw_hear_free(room.hear);
}

static void spikes_and_slips_tick_nobody(void **state)
{
    (void)state;
    struct room room;
    learn(&room);
    for (int k = 0; k < 20; k++) {
        room.value[0] += 4;
        while (lw_hear_next(room.hear) != 0) {
            assert_int_equal(once(&room), LW_HEAR_NOTHING);
        }
        assert_int_equal(once(&room), LW_HEAR_NOTHING);
        room.value[0] -= 4;
        assert_int_equal(within(&room, 0.2), LW_HEAR_NOTHING);
    }
    assert_int_equal(lw_hear_facts(room.hear, 0).spikes, 20);
    room.value[0] += 4;
    within(&room, 0.07);
    room.value[0] -= 4;
    assert_int_equal(within(&room, 1), LW_HEAR_SHORT);
    lw_hear_free(room.hear);
}

static void what_is_touched_too_early_is_not_learnt(void **state)
{
    (void)state;
    struct room room;
    enter(&room);
    assert_int_equal(within(&room, 1.7), LW_HEAR_NOTHING);
    room.value[3] += 2;
    assert_int_equal(within(&room, 1), LW_HEAR_RESTLESS);
    assert_int_equal(room.move.node, 3);
    room.value[3] -= 2;
    assert_int_equal(within(&room, 1), LW_HEAR_NOTHING);
    enum lw_hear_event event = within(&room, 8);
    event = event == LW_HEAR_RESTLESS ? within(&room, 8) : event;
    assert_int_equal(event, LW_HEAR_LEARNT);
    lw_hear_free(room.hear);
}

static void an_encoder_may_pass_its_seam(void **state)
{
    (void)state;
    struct room room;
    enter(&room);
    room.value[4] = 359.99;
    room.noise = 0.02;
    while (within(&room, 1) != LW_HEAR_LEARNT) {
        assert_true(room.time_s < 10);
    }
    assert_int_equal(within(&room, 2), LW_HEAR_NOTHING);
    room.value[4] = 12;
    assert_int_equal(within(&room, 1), LW_HEAR_MOVED);
    assert_true(room.move.node == 4 && fabs(room.move.moved - 12) < 0.1);
    assert_int_equal(within(&room, 6), LW_HEAR_RETURNED); // it stays where it is put
    assert_true(isnan(room.move.off));
    lw_hear_free(room.hear);
}

static void one_that_does_not_come_back_is_said(void **state)
{
    (void)state;
    struct room room;
    learn(&room);
    room.value[2] += 1;
    assert_int_equal(within(&room, 1), LW_HEAR_MOVED);
    room.value[2] -= 0.4;
    assert_int_equal(within(&room, 30), LW_HEAR_STAYS);
    room.value[2] += 1;
    assert_int_equal(within(&room, 1), LW_HEAR_MOVED);
    assert_true(fabs(room.move.moved - 1) < 0.01);
    lw_hear_free(room.hear);
}

static void a_mute_node_holds_up_nobody(void **state)
{
    (void)state;
    struct room room;
    enter(&room);
    room.mute[1] = true;
    assert_int_equal(within(&room, 5), LW_HEAR_LEARNT);
    assert_true(lw_hear_facts(room.hear, 1).silent);
    room.value[2] += 1;
    assert_int_equal(within(&room, 1), LW_HEAR_MOVED);
    lw_hear_free(room.hear);
}

// --- walks

static void walk_all(const struct hands_scene *scene, size_t right, size_t elsewhere, size_t silent)
{
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct hands_outcome outcome;
        struct lw_touch_result result;
        hands_walk(scene, seed, &outcome, &result);
        assert_int_equal(outcome.wrong + outcome.wrong_signs + outcome.wrong_sticks, 0);
        assert_int_equal(outcome.named_of_two, 0);
        assert_int_equal(outcome.right, right);
        assert_int_equal(outcome.elsewhere, elsewhere);
        assert_int_equal(outcome.silent, silent);
        walk_comes_back(&lw_touch_shape, &result);
        lw_json_free(&lw_touch_shape, &result);
    }
}

static void a_healthy_chain_is_ticked_off_and_nothing_is_said(void **state)
{
    (void)state;
    const struct hands_scene scene = {.cell = {.probes = 4, .loops = 1, .airs = 1, .encoders = 1},
                                      .returns = 3};
    walk_all(&scene, 7, 0, 0);
    struct hands_outcome outcome;
    struct lw_touch_result result;
    struct lw_findings findings = {0};
    hands_walk(&scene, 1, &outcome, &result);
    lw_touch_findings(&result, &findings);
    if (findings.list.count > 0) {
        fail_msg("%s", ((const struct lw_finding *)findings.list.items)->says);
    }
    lw_findings_free(&findings);
    lw_json_free(&lw_touch_shape, &result);
}

static void faults_are_found_and_nothing_is_ticked_wrongly(void **state)
{
    (void)state;
    walk_all(&(struct hands_scene){.cell = {.probes = 5}, .swapped = 2}, 3, 2, 0);
    walk_all(&(struct hands_scene){.cell = {.probes = 5}, .swapped = 2, .any_order = true}, 3, 2,
             0);
    walk_all(&(struct hands_scene){.cell = {.probes = 5}, .dead = 3}, 4, 0, 1);
    walk_all(&(struct hands_scene){.cell = {.probes = 5}, .dead = 3, .mute = true}, 4, 0, 1);
    walk_all(&(struct hands_scene){.cell = {.probes = 5}, .twice = 0.4, .slips = 0.2}, 5, 0, 0);
    walk_all(&(struct hands_scene){.cell = {.probes = 5}, .coupled = 0.12}, 5, 0, 0);
    walk_all(&(struct hands_scene){.cell = {.probes = 5}, .reversed = 4}, 5, 0, 0);
    walk_all(&(struct hands_scene){.cell = {.probes = 4, .framing = "1200/8E1"}}, 4, 0, 0);
}

static bool says(const struct lw_touch_result *result, const char *code, const char *node)
{
    struct lw_findings findings = {0};
    bool found = false;
    lw_touch_findings(result, &findings);
    const struct lw_finding *list = findings.list.items;
    for (size_t i = 0; i < findings.list.count; i++) {
        found |= strcmp(list[i].code, code) == 0 &&
                 (node == NULL || (list[i].node != NULL && strcmp(list[i].node, node) == 0));
    }
    lw_findings_free(&findings);
    return found;
}

static void each_fault_has_its_finding(void **state)
{
    (void)state;
    const struct {
        struct hands_scene scene;
        const char *code, *node;
    } rows[] = {
        {{.cell = {.probes = 4}, .swapped = 2}, "touch_swapped", "P02"},
        {{.cell = {.probes = 4}, .dead = 3}, "touch_no_answer", "P03"},
        {{.cell = {.probes = 4}, .reversed = 4}, "touch_reversed", "P04"},
        {{.cell = {.probes = 4}, .returns = 3, .sticking = 1, .stuck_by = 0.01},
         "touch_sticks",
         "P01"},
        {{.cell = {.probes = 4}, .coupled = 0.1}, "touch_coupled", "P02"},
        {{.cell = {.probes = 4}, .places = 2}, "touch_untouched", NULL},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        for (uint64_t seed = 1; seed <= SEEDS; seed++) {
            struct hands_outcome outcome;
            struct lw_touch_result result;
            hands_walk(&rows[i].scene, seed, &outcome, &result);
            assert_true(says(&result, rows[i].code, rows[i].node));
            lw_json_free(&lw_touch_shape, &result);
        }
    }
}

static void a_walk_goes_back_skips_and_is_taken_over(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_touch *touch = NULL, *later = NULL;
    struct lw_touch_result result;
    enum lw_dialog_said said;
    const struct lw_touch_options options = {.returns = 1, .wait_s = 60, .return_limit = NAN};
    walk_open_cell(&walk, &(struct cell){.probes = 3}, 1);
    assert_int_equal(lw_touch_new(&walk.plan, &options, NULL, &touch, NULL), LW_OK);
    struct lw_dialog *dialog = lw_touch_dialog(touch);
    assert_int_equal(lw_dialog_say(dialog, "no", &said, NULL), LW_USAGE);
    assert_int_equal(lw_dialog_say(dialog, "yes", &said, NULL), LW_OK);
    const char *const typed[] = {"skip it", "back", "skip it", "the fixture is in the way",
                                 NULL,      "2",    NULL,      "back"};
    for (size_t i = 0; i < sizeof typed / sizeof *typed; i++) {
        lw_touch_pause(touch); // does nothing while a question stands
        if (typed[i] != NULL) {
            assert_int_equal(lw_dialog_say(dialog, typed[i], &said, NULL), LW_OK);
        }
    }
    assert_int_equal(lw_touch_result(touch, &result, NULL), LW_OK);
    const struct lw_touch_node *nodes = result.nodes.items;
    assert_int_equal(nodes[0].state, LW_TOUCH_SKIPPED);
    assert_string_equal(nodes[0].reason, "the fixture is in the way");
    assert_int_equal(nodes[1].state, LW_TOUCH_UNTOUCHED); // said silent, and taken back
    assert_int_equal(lw_touch_new(&walk.plan, &options, &result, &later, NULL), LW_OK);
    struct lw_touch_word word;
    lw_touch_asks(later, &word);
    assert_string_equal(word.name, "P02");
    lw_touch_free(later);
    lw_touch_free(touch);
    lw_json_free(&lw_touch_shape, &result);
    walk_close(&walk);
}

static void a_scripted_hand_of_a_plan_moves_the_sensor(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk, &(struct cell){.probes = 2}, 1);
    struct lw_hand *hand = lw_list_add(&walk.real.simulated->hand, sizeof *hand);
    *hand = (struct lw_hand){lw_duplicate("P02"), 1.5, 0.25, 1, 0.5, 2, 1, 1};
    lw_client_free(walk.client);
    lw_chain_free(walk.chain);
    walk_connect(&walk, 1);
    const double at_s[] = {0.5, 2.5, 5};
    const double by[] = {0, 1.5, 0.25};
    double rest = lw_chain_true_rest(walk.chain, 2);
    for (size_t i = 0; i < 3; i++) {
        struct lw_node_values values;
        double wait_s = at_s[i] - lw_chain_now_s(walk.chain);
        assert_int_equal(lw_client_wait(walk.client, wait_s, NULL), LW_OK);
        assert_int_equal(lw_ask_roles(walk.client, lw_plan_tap(&walk.plan, 2)->is, 2,
                                      LW_ROLE_BIT(LW_ROLE_READING), &values, NULL),
                         LW_OK);
        assert_true(fabs(values.value[LW_ROLE_READING].number - rest - by[i]) < 0.002);
    }
    walk_close(&walk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_that_moves_alone_is_named_and_returns),
        cmocka_unit_test(two_at_once_are_refused_and_so_is_what_is_too_small),
        cmocka_unit_test(a_neighbour_that_goes_along_is_measured),
        cmocka_unit_test(spikes_and_slips_tick_nobody),
        cmocka_unit_test(what_is_touched_too_early_is_not_learnt),
        cmocka_unit_test(an_encoder_may_pass_its_seam),
        cmocka_unit_test(one_that_does_not_come_back_is_said),
        cmocka_unit_test(a_mute_node_holds_up_nobody),
        cmocka_unit_test(a_healthy_chain_is_ticked_off_and_nothing_is_said),
        cmocka_unit_test(faults_are_found_and_nothing_is_ticked_wrongly),
        cmocka_unit_test(each_fault_has_its_finding),
        cmocka_unit_test(a_walk_goes_back_skips_and_is_taken_over),
        cmocka_unit_test(a_scripted_hand_of_a_plan_moves_the_sensor),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
