// SPDX-License-Identifier: GPL-3.0-or-later
//
// Chains that are switched off and on as the dialog asks: those that come up, those that do not,
// and the pure judge on logs made by hand.
#include "base/text.h"
#include "check/restart_dialog.h"
#include "check/tap_names.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

enum { SEEDS = 20 };

static const struct lw_restart_options usual = {
    .off_s = 5, .quiet_s = 5, .watch_s = 15, .warm_up_s = 20};

static void must(enum lw_status status, const struct lw_error *error)
{
    if (status != LW_OK) {
        fail_msg("status %d: %s", (int)status, error->says);
    }
}

// What the hand at the switches does when the dialog says so.
static void turn(struct walk *walk, const struct lw_restart_act *act)
{
    for (size_t i = 0; i < walk->real.supplies.count; i++) {
        if (act->supply == LW_RESTART_ALL || act->supply == (int)i) {
            lw_chain_switch(walk->chain, i, act->on);
        }
    }
}

static enum lw_restart_phase phase_of(const struct lw_restart_act *act)
{
    return !act->on ? LW_RESTART_OFF : act->ends_cycle ? LW_RESTART_WATCH : LW_RESTART_ON;
}

static void act_on(struct walk *walk, const struct lw_restart *restart,
                   const struct lw_restart_act *act)
{
    struct lw_error error = {0};
    turn(walk, act);
    must(lw_restart_turned(restart, act->cycle, act->order, act->supply, act->on, &error), &error);
    must(lw_restart_watch(restart, phase_of(act), &error), &error);
    if (act->ends_all) {
        must(lw_restart_watch(restart, LW_RESTART_WARM_UP, &error), &error);
    }
    if (act->ends_cycle) {
        must(lw_restart_identify(restart, act->cycle, &error), &error);
    }
}

// The whole check; `result` NULL: not wanted.
static void restart_with(struct walk *walk, int cycles, const struct lw_restart_options *options,
                         struct lw_restart_result *result)
{
    struct lw_error error = {0};
    struct lw_restart_log log = {0};
    struct lw_restart_dialog dialog;
    struct lw_question question;
    enum lw_dialog_said said;
    const struct lw_restart restart = {&walk->run, walk->client, &walk->plan, options, &log};
    struct lw_restart_result own;
    lw_json_init(&lw_restart_shape, &own);
    lw_restart_dialog_init(&dialog, &walk->plan, cycles);
    must(lw_restart_before(&restart, &error), &error);
    enum lw_dialog_next next;
    while ((next = lw_dialog_next(&dialog.dialog, &question)) != LW_DIALOG_DONE) {
        if (next == LW_DIALOG_ASK) {
            must(lw_dialog_say(&dialog.dialog, "", &said, &error), &error);
        } else {
            struct lw_restart_act act = lw_restart_dialog_act(&dialog);
            act_on(walk, &restart, &act);
            lw_restart_dialog_acted(&dialog);
        }
    }
    must(lw_restart_judge(&walk->plan, options, &log, &own, &error), &error);
    lw_restart_findings(&walk->plan, &own, &walk->findings);
    walk_comes_back(&lw_restart_shape, &own);
    lw_restart_log_finish(&log);
    if (result) {
        *result = own;
    } else {
        lw_json_free(&lw_restart_shape, &own);
    }
}

static const struct lw_restart_node *node_at(const struct lw_restart_result *result, size_t i)
{
    return (const struct lw_restart_node *)result->nodes.items + i;
}

static const struct lw_restart_came *came_at(const struct lw_restart_node *node, size_t i)
{
    return (const struct lw_restart_came *)node->cycles.items + i;
}

static void nothing(const struct walk *walk, uint64_t seed)
{
    if (walk_count(walk, NULL) != 0) {
        walk_show(walk);
        fail_msg("seed %u: findings on a healthy chain", (unsigned)seed);
    }
}

static void says(const struct walk *walk, uint64_t seed, const char *code, const char *sentence)
{
    const struct lw_finding *finding = walk_found(walk, code, NULL);
    if (!finding || strcmp(finding->says, sentence) != 0) {
        walk_show(walk);
        fail_msg("seed %u: expected %s: %s", (unsigned)seed, code, sentence);
    }
}

static void a_healthy_chain_comes_up_three_times_and_nothing_is_said(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        struct lw_restart_result result;
        walk_open_cell(&walk, &(struct cell){.probes = 3, .loops = 1, .airs = 1, .encoders = 1},
                       seed);
        restart_with(&walk, 3, &usual, &result);
        nothing(&walk, seed);
        assert_int_equal(result.cycles.count, 3);
        assert_int_equal(result.nodes.count, 6);
        for (size_t i = 0; i < 6; i++) {
            // The profiles' start-up takes 0.18 to 0.6 s; a round with silent nodes less than 1 s.
            const struct lw_restart_came *came = came_at(node_at(&result, i), 2);
            double least_s = i == 4 ? 0.6 : 0.18;
            assert_true(came->first_answer_s >= least_s);
            assert_true(came->first_answer_s - came->resolution_s <= least_s + 0.2);
        }
        lw_json_free(&lw_restart_shape, &result);
        walk_close(&walk);
    }
}

static void the_healthy_demo_comes_up_and_nothing_is_said(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_open(&walk, HEALTHY, NULL, seed);
        restart_with(&walk, 3, &usual, NULL);
        nothing(&walk, seed);
        walk_close(&walk);
    }
}

// Finds one thing on twenty seeds, in these words, and nothing else of another code.
static void finds(const struct cell *cell, int cycles, const char *code, size_t count,
                  const char *sentence)
{
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_open_cell(&walk, cell, seed);
        restart_with(&walk, cycles, &usual, NULL);
        says(&walk, seed, code, sentence);
        if (walk_count(&walk, NULL) != count || walk_count(&walk, code) != count) {
            walk_show(&walk);
            fail_msg("seed %u: expected only %s", (unsigned)seed, code);
        }
        walk_close(&walk);
    }
}

// Eight air gauges take 0.15 A each while they start, 1.2 A; 0.9 A are there.
static void nodes_in_a_cold_start_trap_stay_away(void **state)
{
    (void)state;
    finds(&(struct cell){.airs = 8,
                         .supplies = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"limit_a\": 0.9, "
                                     "\"feeds_tap\": 1}]"},
          3, "restart_stays_away", 1, "P01-P08 stay silent after switching on, in 3 of 3 cycles");
}

// The trap of the second section alone: its supply is the weak one.
static void only_the_section_that_is_trapped_is_named(void **state)
{
    (void)state;
    finds(&(struct cell){.airs = 8,
                         .supplies = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"limit_a\": 2, "
                                     "\"feeds_tap\": 1}, {\"name\": \"PS2\", \"nominal_v\": 24, "
                                     "\"limit_a\": 0.4, \"feeds_tap\": 5, \"cuts_before\": "
                                     "\"both\"}]"},
          3, "restart_stays_away", 1, "P05-P08 stay silent after switching on, in 3 of 3 cycles");
}

// PS1 alone cannot start them and PS2 latches off when it is alone: after PS2 nothing comes.
static void what_comes_in_one_order_may_not_in_another(void **state)
{
    (void)state;
    finds(&(struct cell){.airs = 8,
                         .supplies = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"limit_a\": 1.1, "
                                     "\"feeds_tap\": 1}, {\"name\": \"PS2\", \"nominal_v\": 23, "
                                     "\"limit_a\": 0.4, \"feeds_tap\": 1, \"past_limit\": "
                                     "\"latch_off\"}]"},
          3, "restart_order", 1,
          "P01-P08 stay silent when the sections come on from the tail, and come in the other "
          "orders");
}

static void a_supply_in_hiccup_is_told_by_nodes_that_drop_out_together(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_open_cell(&walk,
                       &(struct cell){.probes = 6,
                                      .faults = "{\"kind\": \"hiccup\", \"supply\": \"PS1\", "
                                                "\"from_s\": 10}"},
                       seed);
        restart_with(&walk, 3, &usual, NULL);
        const struct lw_finding *finding = walk_found(&walk, "restart_hiccup", NULL);
        if (!finding || !strstr(finding->next, "PS1") ||
            strncmp(finding->says, "P01-P06 drop out and start again together", 41) != 0) {
            walk_show(&walk);
            fail_msg("seed %u: no hiccup told", (unsigned)seed);
        }
        assert_int_equal(walk_count(&walk, "restart_again"), 0);
        assert_int_equal(walk_count(&walk, "restart_lost"), 0);
        walk_close(&walk);
    }
}

// An overload holds the supply in hiccup for good: no node gets the time to answer.
static void a_supply_that_never_gets_up_leaves_all_away(void **state)
{
    (void)state;
    finds(&(struct cell){.probes = 6,
                         .supplies = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"limit_a\": 1.5, "
                                     "\"feeds_tap\": 1, \"past_limit\": \"hiccup\", "
                                     "\"hiccup_off_s\": 0.5}]",
                         .faults = "{\"kind\": \"overloaded_supply\", \"supply\": \"PS1\", "
                                   "\"extra_a\": 1.45, \"from_s\": 4}"},
          2, "restart_stays_away", 1, "P01-P06 stay silent after switching on, in 2 of 2 cycles");
}

static void a_node_that_goes_down_again_is_told_by_its_uptime(void **state)
{
    (void)state;
    finds(&(struct cell){.probes = 6,
                         .faults = "{\"kind\": \"dead_node\", \"tap\": 5, \"from_s\": 12, "
                                   "\"to_s\": 12.2}"},
          1, "restart_again", 1, "P05 goes down again after it has come up (counted: 1)");
}

// An air gauge has no uptime; its count of bus messages begins anew.
static void a_node_without_uptime_is_told_by_its_counters(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_open_cell(&walk,
                       &(struct cell){.airs = 4,
                                      .faults = "{\"kind\": \"dead_node\", \"tap\": 2, "
                                                "\"from_s\": 14, \"to_s\": 14.1}"},
                       seed);
        restart_with(&walk, 1, &usual, NULL);
        const struct lw_finding *finding = walk_found(&walk, "restart_again", "P02");
        if (!finding || walk_count(&walk, NULL) != 1) {
            walk_show(&walk);
            walk_show(&walk);
            fail_msg("seed %u: not told", (unsigned)seed);
        }
        assert_string_equal(((char **)finding->because.items)[0],
                            "its own uptime or counters prove a restart");
        walk_close(&walk);
    }
}

static void a_node_that_falls_silent_in_the_end_is_lost(void **state)
{
    (void)state;
    finds(&(struct cell){.probes = 6,
                         .faults = "{\"kind\": \"dead_node\", \"tap\": 5, \"from_s\": 12}"},
          1, "restart_lost", 1, "P05 comes up and is silent in the end, in 1 of 1 cycles");
}

// Its sensor gets its plug after the node has started.
static void a_node_that_has_to_read_its_identity_again_is_named(void **state)
{
    (void)state;
    finds(&(struct cell){.probes = 4,
                         .faults = "{\"kind\": \"unplugged_sensor\", \"tap\": 3, \"to_s\": 12}"},
          1, "restart_identity_stale", 1,
          "P03 has to read its sensor's identity again: it says so after the restart");
}

static void a_stale_identity_is_read_anew_with_the_restart(void **state)
{
    (void)state;
    finds(&(struct cell){.probes = 4,
                         .faults = "{\"kind\": \"unplugged_sensor\", \"tap\": 3, \"to_s\": 0.1}"},
          1, "restart_identity_anew", 1,
          "P03 has read its sensor's identity anew with the restart");
}

// P04 takes the address of P03, which stays dark.
static void another_node_at_the_address_is_told(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_open_cell(&walk,
                       &(struct cell){.probes = 4,
                                      .faults = "{\"kind\": \"dead_node\", \"tap\": 3, \"from_s\": "
                                                "4}, {\"kind\": \"double_address\", \"tap\": 4, "
                                                "\"address\": 3, \"from_s\": 4}"},
                       seed);
        restart_with(&walk, 1, &usual, NULL);
        assert_non_null(walk_found(&walk, "restart_identity_changed", "P03"));
        assert_non_null(walk_found(&walk, "restart_stays_away", "P04"));
        walk_close(&walk);
    }
}

static void a_late_first_answer_is_held_against_its_limit(void **state)
{
    (void)state;
    const struct {
        const char *limits;
        size_t failing, undecided;
    } rows[] = {
        {"\"limits\": {\"first_answer_s\": 0.1},", 4, 0},
        {"\"limits\": {\"first_answer_s\": 2},", 0, 0},
    };
    for (size_t i = 0; i < 2; i++) {
        struct walk walk;
        size_t failing = 0;
        walk_open_cell(&walk, &(struct cell){.probes = 4, .more = rows[i].limits}, 3);
        restart_with(&walk, 1, &usual, NULL);
        const struct lw_finding *all = walk.findings.list.items;
        for (size_t k = 0; k < walk.findings.list.count; k++) {
            failing += all[k].severity == (int)LW_FAIL;
        }
        if (failing != rows[i].failing) {
            walk_show(&walk);
        }
        assert_int_equal(failing, rows[i].failing);
        assert_int_equal(walk_count(&walk, "restart_slow"), rows[i].failing + rows[i].undecided);
        walk_close(&walk);
    }
}

static void a_switch_that_feeds_nothing_is_no_pass(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_error error = {0};
    struct lw_restart_log log = {0};
    struct lw_restart_result result;
    const struct lw_restart restart = {&walk.run, NULL, &walk.plan, &usual, &log};
    struct lw_restart with_client = restart;
    lw_json_init(&lw_restart_shape, &result);
    walk_open_cell(&walk, &(struct cell){.probes = 3}, 3);
    with_client.client = walk.client;
    must(lw_restart_before(&with_client, &error), &error);
    must(lw_restart_turned(&with_client, 1, LW_RESTART_TOGETHER, LW_RESTART_ALL, false, &error),
         &error);
    must(lw_restart_watch(&with_client, LW_RESTART_OFF, &error), &error);
    must(lw_restart_turned(&with_client, 1, LW_RESTART_TOGETHER, LW_RESTART_ALL, true, &error),
         &error);
    must(lw_restart_watch(&with_client, LW_RESTART_WATCH, &error), &error);
    must(lw_restart_judge(&walk.plan, &usual, &log, &result, &error), &error);
    lw_restart_findings(&walk.plan, &result, &walk.findings);
    says(&walk, 3, "restart_not_off",
         "nobody fell silent: what was switched does not feed the chain");
    assert_int_equal(walk_count(&walk, NULL), 1);
    lw_json_free(&lw_restart_shape, &result);
    lw_restart_log_finish(&log);
    walk_close(&walk);
}

// Readings that start elsewhere: a hand moves the sensor while the chain is off.
static void a_reading_that_comes_back_elsewhere_is_told(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        struct lw_error error = {0};
        struct lw_restart_result result;
        walk_open_cell(&walk, &(struct cell){.probes = 3}, seed);
        must(lw_chain_move(walk.chain, 2, 4, 0.1, 5.5, &error), &error);
        restart_with(&walk, 1, &usual, &result);
        assert_non_null(walk_found(&walk, "restart_reading_shifts", "P02"));
        assert_int_equal(walk_count(&walk, NULL), 1);
        assert_true(fabs(node_at(&result, 1)->reading_last - 5.5) < 0.001);
        assert_true(fabs(node_at(&result, 1)->drift_per_min) < 0.01);
        lw_json_free(&lw_restart_shape, &result);
        walk_close(&walk);
    }
}

static void asks(struct lw_restart_dialog *dialog, const char *id)
{
    struct lw_question question;
    assert_int_equal(lw_dialog_next(&dialog->dialog, &question), LW_DIALOG_ASK);
    assert_string_equal(question.id, id);
}

static void say(struct lw_restart_dialog *dialog, const char *typed, enum lw_status expected)
{
    enum lw_dialog_said said;
    struct lw_error error = {0};
    assert_int_equal(lw_dialog_say(&dialog->dialog, typed, &said, &error), expected);
}

static void the_dialog_goes_through_the_orders_and_back(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_restart_dialog dialog;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 4,
                                  .supplies = "[{\"name\": \"PS1\", \"nominal_v\": 24, "
                                              "\"limit_a\": 2, \"feeds_tap\": 1}, {\"name\": "
                                              "\"PS2\", \"nominal_v\": 24, \"limit_a\": 2, "
                                              "\"feeds_tap\": 3, \"cuts_before\": \"both\"}]"},
                   3);
    lw_restart_dialog_init(&dialog, &walk.plan, 3);
    static const char *const ids[] = {"switches", "1.off", "1.on",     "2.off",   "2.on.PS1",
                                      "2.on.PS2", "3.off", "3.on.PS2", "3.on.PS1"};
    for (size_t i = 0; i < sizeof ids / sizeof *ids; i++) {
        struct lw_question question;
        asks(&dialog, ids[i]);
        say(&dialog, "x", LW_USAGE);
        say(&dialog, "", LW_OK);
        if (lw_dialog_next(&dialog.dialog, &question) == LW_DIALOG_ACT) {
            lw_restart_dialog_acted(&dialog);
        }
    }
    struct lw_question question;
    assert_int_equal(lw_dialog_next(&dialog.dialog, &question), LW_DIALOG_DONE);
    lw_restart_dialog_init(&dialog, &walk.plan, 3);
    say(&dialog, "back", LW_USAGE);
    say(&dialog, "one", LW_OK);
    say(&dialog, "yes", LW_OK);
    lw_restart_dialog_acted(&dialog);
    asks(&dialog, "1.on");
    say(&dialog, "back", LW_OK);
    asks(&dialog, "1.off");
    say(&dialog, "back", LW_OK);
    asks(&dialog, "switches");
    walk_close(&walk);
}

// A cycle that is gone back to is judged as it was done the second time.
static void a_cycle_done_again_takes_the_place_of_the_first(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_error error = {0};
    struct lw_restart_log log = {0};
    struct lw_restart_result result;
    walk_open_cell(&walk, &(struct cell){.probes = 3}, 3);
    const struct lw_restart restart = {&walk.run, walk.client, &walk.plan, &usual, &log};
    lw_json_init(&lw_restart_shape, &result);
    must(lw_restart_before(&restart, &error), &error);
    for (int i = 0; i < 2; i++) {
        struct lw_restart_act act = {.cycle = 1, .supply = LW_RESTART_ALL};
        act_on(&walk, &restart, &act);
        act.on = i == 1; // the first time the switch only clicks
        act.ends_cycle = true;
        turn(&walk, &act);
        must(lw_restart_turned(&restart, 1, LW_RESTART_TOGETHER, LW_RESTART_ALL, true, &error),
             &error);
        must(lw_restart_watch(&restart, LW_RESTART_WATCH, &error), &error);
    }
    must(lw_restart_judge(&walk.plan, &usual, &log, &result, &error), &error);
    lw_restart_findings(&walk.plan, &result, &walk.findings);
    assert_int_equal(result.cycles.count, 1);
    nothing(&walk, 3);
    lw_json_free(&lw_restart_shape, &result);
    lw_restart_log_finish(&log);
    walk_close(&walk);
}

static void nodes_in_a_row_are_named_as_a_range(void **state)
{
    (void)state;
    struct walk walk;
    char text[40];
    bool flags[8] = {false};
    walk_open_cell(&walk, &(struct cell){.probes = 8}, 3);
    assert_int_equal(lw_tap_names(&walk.plan, flags, text, sizeof text), 0);
    assert_string_equal(text, "");
    flags[1] = flags[2] = flags[4] = flags[5] = flags[6] = true;
    assert_int_equal(lw_tap_names(&walk.plan, flags, text, sizeof text), 5);
    assert_string_equal(text, "P02, P03, P05-P07");
    assert_int_equal(lw_tap_names(&walk.plan, flags, text, 12), 5);
    assert_string_equal(text, "P02, ...");
    walk_close(&walk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_healthy_chain_comes_up_three_times_and_nothing_is_said),
        cmocka_unit_test(the_healthy_demo_comes_up_and_nothing_is_said),
        cmocka_unit_test(nodes_in_a_cold_start_trap_stay_away),
        cmocka_unit_test(only_the_section_that_is_trapped_is_named),
        cmocka_unit_test(what_comes_in_one_order_may_not_in_another),
        cmocka_unit_test(a_supply_in_hiccup_is_told_by_nodes_that_drop_out_together),
        cmocka_unit_test(a_supply_that_never_gets_up_leaves_all_away),
        cmocka_unit_test(a_node_that_goes_down_again_is_told_by_its_uptime),
        cmocka_unit_test(a_node_without_uptime_is_told_by_its_counters),
        cmocka_unit_test(a_node_that_falls_silent_in_the_end_is_lost),
        cmocka_unit_test(a_node_that_has_to_read_its_identity_again_is_named),
        cmocka_unit_test(a_stale_identity_is_read_anew_with_the_restart),
        cmocka_unit_test(another_node_at_the_address_is_told),
        cmocka_unit_test(a_late_first_answer_is_held_against_its_limit),
        cmocka_unit_test(a_switch_that_feeds_nothing_is_no_pass),
        cmocka_unit_test(a_reading_that_comes_back_elsewhere_is_told),
        cmocka_unit_test(the_dialog_goes_through_the_orders_and_back),
        cmocka_unit_test(a_cycle_done_again_takes_the_place_of_the_first),
        cmocka_unit_test(nodes_in_a_row_are_named_as_a_range),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
