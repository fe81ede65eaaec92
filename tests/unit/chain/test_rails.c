// SPDX-License-Identifier: GPL-3.0-or-later
//
// The supply in time: who starves, who resets, who comes back.
#include "fixture.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

static const char half_metre_thin[] = "{\"length_m\": 3, \"conductor\": {\"ohm_per_km\": 80}}";

static bool answers(struct fixture *fixture, uint8_t address)
{
    struct answer answer;
    ask_registers(fixture->line, address, 4, 0, 2, &answer);
    return answer.whole;
}

static void the_voltage_falls_along_the_chain(void **state)
{
    (void)state;
    struct fixture fixture;
    fixture_open(&fixture, &(struct fixture_plan){.probes = 12, .span = half_metre_thin}, NULL);
    for (size_t tap = 2; tap <= 12; tap++) {
        assert_true(lw_chain_true_volts(fixture.chain, tap) <
                    lw_chain_true_volts(fixture.chain, tap - 1));
        assert_true(lw_chain_true_running(fixture.chain, tap));
    }
    fixture_close(&fixture);
}

// 24 V behind 30 ohm more on V+ from span 3: ten probes behind it ask 9 W, the most that 30 ohm
// hand on is 24 V x 24 V / (4 x 30 ohm) = 4.8 W (maximum power transfer). Some must go without.
static void a_starved_tail_stops_answering(void **state)
{
    (void)state;
    struct fixture fixture;
    int silent = 0;
    fixture_open(&fixture,
                 &(struct fixture_plan){.probes = 12,
                                        .virtually =
                                            ", \"faults\": [{\"kind\": \"weak_span\", \"span\": 3, "
                                            "\"extra_ohm\": 30, \"rail\": \"v_plus\"}]"},
                 NULL);
    assert_true(answers(&fixture, 1));
    assert_true(answers(&fixture, 2));
    for (uint8_t address = 3; address <= 12; address++) {
        silent += !answers(&fixture, address);
    }
    assert_in_range(silent, 5, 10);
    fixture_close(&fixture);
}

static void a_brown_out_resets_the_nodes_and_they_come_back(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture,
                 &(struct fixture_plan){
                     .probes = 4,
                     .virtually = ", \"faults\": [{\"kind\": \"weak_span\", \"span\": 3, "
                                  "\"extra_ohm\": 400, \"rail\": \"both\", \"from_s\": 2, "
                                  "\"to_s\": 4}]"},
                 NULL);
    ask_registers(fixture.line, 4, 4, 5, 2, &answer);
    assert_in_range(word_of(&answer, 1), 59, 61); // up for a minute when the time begins
    listen_ms(fixture.line, 3000, &answer);
    assert_false(answers(&fixture, 4));
    assert_true(answers(&fixture, 2));
    listen_ms(fixture.line, 4000, &answer);
    ask_registers(fixture.line, 4, 4, 5, 2, &answer);
    assert_true(answer.whole);
    assert_in_range(word_of(&answer, 1), 1, 4);
    ask_registers(fixture.line, 2, 4, 5, 2, &answer);
    assert_in_range(word_of(&answer, 1), 65, 70);
    fixture_close(&fixture);
}

// Between drop-out (16 V) and the least that is allowed (18 V) a probe answers, says so, and is
// slow.
static void an_underfed_node_says_so(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    int flagged = 0, polls = 0;
    fixture_open(&fixture,
                 &(struct fixture_plan){.probes = 2,
                                        .supplies = "[{\"name\": \"PS1\", \"nominal_v\": 19.5, "
                                                    "\"limit_a\": 5, \"feeds_tap\": 1, "
                                                    "\"output_ohm\": 0.1}]",
                                        .virtually =
                                            ", \"faults\": [{\"kind\": \"weak_span\", \"span\": 2, "
                                            "\"extra_ohm\": 40, \"rail\": \"v_plus\", "
                                            "\"from_s\": 1}]"},
                 NULL);
    listen_ms(fixture.line, 1500, &answer);
    double volts = lw_chain_true_volts(fixture.chain, 2);
    assert_true(volts > 16.1 && volts < 17.9);
    for (int i = 0; i < 50; i++) {
        ask_registers(fixture.line, 2, 4, 4, 1, &answer);
        polls += answer.whole;
        flagged += answer.whole && (word_of(&answer, 0) & 1);
    }
    assert_true(polls > 30);
    assert_int_equal(flagged, polls);
    fixture_close(&fixture);
}

static void a_supply_in_hiccup_switches_the_chain_off_and_on(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    int dark = 0, lit = 0;
    fixture_open(&fixture,
                 &(struct fixture_plan){
                     .probes = 3,
                     .virtually = ", \"faults\": [{\"kind\": \"hiccup\", \"supply\": \"PS1\", "
                                  "\"from_s\": 2, \"to_s\": 20}]"},
                 NULL);
    assert_true(answers(&fixture, 3));
    listen_ms(fixture.line, 2000, &answer);
    for (int i = 0; i < 100; i++) { // off for 1 s, on for 0.3 s: 23 of 100
        listen_ms(fixture.line, 130, &answer);
        dark += lw_chain_true_volts(fixture.chain, 3) < 1;
        lit += lw_chain_true_volts(fixture.chain, 3) > 16;
    }
    assert_int_equal(dark + lit, 100);
    assert_in_range(lit, 15, 31);
    listen_ms(fixture.line, 20000, &answer);
    assert_true(answers(&fixture, 3));
    fixture_close(&fixture);
}

static void a_switch_takes_the_supply_away_and_gives_it_back(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture,
                 &(struct fixture_plan){
                     .probes = 3,
                     .supplies = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"limit_a\": 5, "
                                 "\"feeds_tap\": 1, \"start_delay_ms\": 700}]"},
                 NULL);
    assert_true(answers(&fixture, 3));
    lw_chain_switch(fixture.chain, 0, false);
    listen_ms(fixture.line, 3000, &answer);
    assert_true(lw_chain_true_volts(fixture.chain, 3) < 0.1);
    assert_false(answers(&fixture, 3));
    lw_chain_switch(fixture.chain, 0, true);
    listen_ms(fixture.line, 600, &answer);
    assert_true(lw_chain_true_volts(fixture.chain, 3) < 0.1);
    listen_ms(fixture.line, 200, &answer);
    assert_true(lw_chain_true_volts(fixture.chain, 3) > 23);
    listen_ms(fixture.line, 1000, &answer);
    assert_true(answers(&fixture, 3));
    fixture_close(&fixture);
}

static void something_else_on_the_supply_lowers_it(void **state)
{
    (void)state;
    struct fixture fixture;
    struct answer answer;
    fixture_open(&fixture,
                 &(struct fixture_plan){
                     .probes = 3,
                     .supplies = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"limit_a\": 5, "
                                 "\"feeds_tap\": 1, \"output_ohm\": 0.5}]",
                     .virtually = ", \"faults\": [{\"kind\": \"overloaded_supply\", \"supply\": "
                                  "\"PS1\", \"extra_a\": 2, \"from_s\": 1}]"},
                 NULL);
    double before = lw_chain_true_volts(fixture.chain, 3);
    listen_ms(fixture.line, 2000, &answer);
    double lost = before - lw_chain_true_volts(fixture.chain, 3);
    assert_true(lost > 0.99 && lost < 1.1); // 2 A through 0.5 ohm
    fixture_close(&fixture);
}

// Six probes run on 6 x 0.9 W / 24 V = 0.23 A. 1.4 A more are past the limit of 1.5 A.
static int lit_of_100(const char *past_limit, double after_s)
{
    struct fixture fixture;
    struct answer answer;
    char supply[300];
    int lit = 0;
    snprintf(supply, sizeof supply,
             "[{\"name\": \"PS1\", \"nominal_v\": 24, \"limit_a\": 1.5, \"feeds_tap\": 1, "
             "\"output_ohm\": 0.02, \"past_limit\": \"%s\"%s}]",
             past_limit, strcmp(past_limit, "hiccup") == 0 ? ", \"hiccup_off_s\": 0.5" : "");
    fixture_open(&fixture,
                 &(struct fixture_plan){
                     .probes = 6,
                     .supplies = supply,
                     .virtually = ", \"faults\": [{\"kind\": \"overloaded_supply\", \"supply\": "
                                  "\"PS1\", \"extra_a\": 1.4, \"from_s\": 2, \"to_s\": 10}]"},
                 NULL);
    assert_true(answers(&fixture, 6));
    listen_ms(fixture.line, after_s * 1e3, &answer);
    for (int i = 0; i < 100; i++) {
        listen_ms(fixture.line, 37, &answer);
        lit += lw_chain_true_volts(fixture.chain, 6) > 16;
    }
    fixture_close(&fixture);
    return lit;
}

static void an_overloaded_supply_in_hiccup_tries_again_and_recovers(void **state)
{
    (void)state;
    assert_in_range(lit_of_100("hiccup", 3), 0, 50);
    assert_int_equal(lit_of_100("hiccup", 12), 100);
}

static void an_overloaded_supply_that_latches_stays_off(void **state)
{
    (void)state;
    assert_int_equal(lit_of_100("latch_off", 3), 0);
    assert_int_equal(lit_of_100("latch_off", 12), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_voltage_falls_along_the_chain),
        cmocka_unit_test(a_starved_tail_stops_answering),
        cmocka_unit_test(a_brown_out_resets_the_nodes_and_they_come_back),
        cmocka_unit_test(an_underfed_node_says_so),
        cmocka_unit_test(a_supply_in_hiccup_switches_the_chain_off_and_on),
        cmocka_unit_test(an_overloaded_supply_in_hiccup_tries_again_and_recovers),
        cmocka_unit_test(an_overloaded_supply_that_latches_stays_off),
        cmocka_unit_test(a_switch_takes_the_supply_away_and_gives_it_back),
        cmocka_unit_test(something_else_on_the_supply_lowers_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
