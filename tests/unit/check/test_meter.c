// SPDX-License-Identifier: GPL-3.0-or-later
//
// Bands of the hand meter against calculations by hand, verdicts with the meter's uncertainty, and
// the dialog from end to end.
#include "check/meter_dialog.h"
#include "walk.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#define TWO_ENDS                                                                                   \
    ", \"terminations\": [{\"at\": \"head\", \"ohm\": 120}, {\"at\": \"tail\", \"ohm\": 120}]"
#define BIAS                                                                                       \
    ", \"bias\": {\"at\": \"head\", \"supply_v\": 5.0, \"pull_up_ohm\": 650, \"pull_down_ohm\": "  \
    "650}"

static const char strong[] = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"output_ohm\": 0.02, "
                             "\"limit_a\": 5, \"feeds_tap\": 1}]";

static void assert_close(double value, double wanted, double within)
{
    if (!(fabs(value - wanted) <= within)) {
        fail_msg("%.6f, not %.6f", value, wanted);
    }
}

static void open_cell(struct walk *walk, const char *line, const char *more)
{
    const struct cell cell = {.probes = 4, .line = line, .more = more, .supplies = strong};
    walk_open_cell(walk, &cell, 1);
}

// TI SLLA272: 60 ohm across the pair for two terminators of 120 ohm, drivers off.
static void two_terminators_show_sixty_ohm(void **state)
{
    (void)state;
    const double ends[] = {120, INFINITY, 120}, no_copper[] = {0, 0, 0};
    for (size_t at = 0; at < 3; at++) {
        assert_close(lw_meter_pair_ohm(ends, no_copper, 3, at), 60, 1e-12);
    }
}

// By hand: 120 beside 120 + 10 ohm; 10 ohm on the way to a lone terminator; nothing.
static void copper_lies_between_the_terminators(void **state)
{
    (void)state;
    const double ends[] = {120, INFINITY, 120}, far[] = {INFINITY, INFINITY, 120},
                 none[] = {INFINITY, INFINITY, INFINITY}, copper[] = {99, 4, 6};
    assert_close(lw_meter_pair_ohm(ends, copper, 3, 0), 120.0 * 130.0 / 250.0, 1e-12);
    assert_close(lw_meter_pair_ohm(ends, copper, 3, 1), 124.0 * 126.0 / 250.0, 1e-12);
    assert_close(lw_meter_pair_ohm(far, copper, 3, 0), 130, 1e-12);
    assert_true(isinf(lw_meter_pair_ohm(none, copper, 3, 1)));
}

// Four receivers of an eighth of a unit load, controller and tester with one each: 2.5 unit loads
// of 12 kohm (TI SLLSFU5A) are 4800 ohm. Terminators 5 % low: 57 ohm beside 4800 is 56.3311 ohm.
// High: 126 ohm beside 126 ohm and 1.5 m of AWG 24 there and back, 84.21 ohm/km (ASTM B258) 10 K
// warmer: 0.26257 ohm; 63.0655 ohm.
static void the_pairs_band_is_that_of_a_calculation_by_hand(void **state)
{
    (void)state;
    struct walk walk;
    open_cell(&walk, TWO_ENDS, "");
    struct lw_meter_band band = lw_meter_pair_band(&walk.plan, 1);
    assert_close(band.low, 56.3311, 1e-4);
    assert_close(band.high, 63.0655, 1e-4);
    assert_true(lw_meter_pair_band_if(&walk.plan, 1, -1, &band));
    assert_close(band.low, 114.0 * 4800.0 / 4914.0, 1e-9);
    assert_close(band.high, 126, 1e-9);
    assert_true(lw_meter_pair_band_if(&walk.plan, 1, 1, &band));
    assert_close(band.low, 38.0 * 4800.0 / 4838.0, 1e-9);
    walk_close(&walk);
}

// A bias of 650 ohm each ("MODBUS over Serial Line" V1.02, 3.4.6), 5 % low and across a dead rail:
// 1235 ohm beside 56.3311 is 53.8738 ohm. D0 to 0 V with everything there: the pull-down of
// 617.5 ohm, 4800 ohm of receivers, and through 57 ohm the same on D1. Alone: 682.5 + 63.0655 ohm.
static void a_bias_lies_beside_the_terminators(void **state)
{
    (void)state;
    struct walk walk;
    open_cell(&walk, TWO_ENDS BIAS, "");
    assert_close(lw_meter_pair_band(&walk.plan, 1).low, 53.8738, 1e-4);
    struct lw_meter_band zero = lw_meter_pair_zero_band(&walk.plan, 1, false);
    const double side = 617.5 * 4800 / (617.5 + 4800), other = side + 57;
    assert_close(zero.low, side * other / (side + other), 1e-9);
    assert_close(zero.high, 682.5 + 63.0655, 1e-4);
    walk_close(&walk);
}

// Derived from the serial line guide's own figures: 60 ohm beside 28 unit loads (428.6 ohm) with
// 650 ohm each at 5 V leaves 194.6 mV, 60 ohm alone 220.6 mV. Here 2.5 unit loads, and resistors at
// their unfavourable ends: 5 V x 56.3311 / (56.3311 + 1365).
static void the_idle_voltage_is_that_of_the_divider(void **state)
{
    (void)state;
    struct walk walk;
    open_cell(&walk, TWO_ENDS BIAS, "");
    struct lw_meter_band band = lw_meter_idle_band(&walk.plan, 1);
    assert_close(band.expected_low, 5 * 56.3311 / (56.3311 + 1365), 1e-6);
    assert_close(band.expected_high, 5 * 63.0 / (63.0 + 1235), 1e-9);
    walk_close(&walk);
    open_cell(&walk, TWO_ENDS, "");
    assert_true(isnan(lw_meter_idle_band(&walk.plan, 1).low));
    walk_close(&walk);
}

// Four probes of 1.2 W and their largest draw at 24 V; as plain resistors not below that.
static void rails_are_not_below_the_loads_as_resistors(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_error error = {0};
    open_cell(&walk, TWO_ENDS, "");
    struct lw_meter_band band = lw_meter_rails_band(&walk.plan, &error);
    const struct lw_profile_load *load = &lw_plan_tap(&walk.plan, 1)->is->electrical.load;
    double watts = isfinite(load->watts_max) ? load->watts_max : load->watts;
    assert_close(band.low, 24.0 * 24.0 / (4 * watts), 1e-9);
    assert_true(isnan(band.high));
    walk_close(&walk);
}

// JCGM 100:2008, 4.3.7: an even distribution's half width over the square root of 3.
static void a_meters_limits_become_a_standard_uncertainty(void **state)
{
    (void)state;
    const struct lw_meter_instrument meter = {.ohm_pct = 1, .ohm_fixed = 0.2, .volt_pct = 0.5};
    assert_close(lw_meter_uncertainty(&meter, "ohm", 60), 0.8 / sqrt(3), 1e-12);
    assert_close(lw_meter_uncertainty(&meter, "V", -24), 0.12 / sqrt(3), 1e-12);
    assert_true(isnan(lw_meter_uncertainty(&meter, "ohm", INFINITY)));
}

// Guard bands of 1.645 standard uncertainties, ISO 14253-1:2017.
static void the_meters_uncertainty_leaves_a_limit_undecided(void **state)
{
    (void)state;
    const struct lw_meter_band band = {56, 63, NAN, NAN}, expects = {18, 30, 22, 24},
                               none = {NAN, NAN, NAN, NAN}, above = {1000, NAN, NAN, NAN};
    assert_int_equal(lw_meter_judge(&band, 60, 0.5), LW_PASS);
    assert_int_equal(lw_meter_judge(&band, 56.5, 0.5), LW_UNDECIDED);
    assert_int_equal(lw_meter_judge(&band, 55.1, 0.5), LW_FAIL);
    assert_int_equal(lw_meter_judge(&band, 63.9, 0.5), LW_FAIL);
    assert_int_equal(lw_meter_judge(&band, INFINITY, NAN), LW_FAIL);
    assert_int_equal(lw_meter_judge(&above, INFINITY, NAN), LW_PASS);
    assert_int_equal(lw_meter_judge(&expects, 21, 0.1), LW_ATTENTION);
    assert_int_equal(lw_meter_judge(&expects, 23, 0.1), LW_PASS);
    assert_int_equal(lw_meter_judge(&none, 23, 0.1), LW_NOT_TESTED);
    assert_int_equal(lw_meter_judge(&band, NAN, NAN), LW_NOT_TESTED);
}

struct meter {
    struct walk walk;
    struct lw_list steps;
    struct lw_meter_dialog dialog;
};

static void begin(struct meter *meter, enum lw_meter_part part)
{
    struct lw_error error = {0};
    *meter = (struct meter){0};
    open_cell(&meter->walk, TWO_ENDS BIAS, "\"zero_v_bonds\": [{\"at\": \"head\"}],");
    assert_int_equal(lw_meter_steps(&meter->walk.plan, NULL, &meter->steps, &error), LW_OK);
    assert_int_equal(
        lw_meter_dialog_init(&meter->dialog, &meter->walk.plan, &meter->steps, part, &error),
        LW_OK);
}

static void end(struct meter *meter)
{
    walk_comes_back(&lw_meter_shape, &meter->dialog.result);
    lw_meter_dialog_finish(&meter->dialog);
    lw_json_free(&lw_meter_shape, &meter->dialog.result);
    free(meter->steps.items);
    walk_close(&meter->walk);
}

static enum lw_status say(struct meter *meter, const char *typed)
{
    struct lw_error error = {0};
    enum lw_dialog_said said;
    return lw_dialog_say(&meter->dialog.dialog, typed, &said, &error);
}

static void asked(struct meter *meter, const char *id)
{
    struct lw_question question;
    assert_int_equal(lw_dialog_next(&meter->dialog.dialog, &question), LW_DIALOG_ASK);
    assert_string_equal(question.id, id);
}

static const char *answer_to(const char *id, const char *const *table)
{
    for (; table[0] != NULL; table += 2) {
        if (strncmp(id, table[0], strlen(table[0])) == 0) {
            return table[1];
        }
    }
    return NULL;
}

// A meter in date on a sound chain; other answers come first in `others`.
static void walk_through(struct meter *meter, const char *const *others)
{
    static const char *const sound[] = {"instrument.due",
                                        "2099-12-31",
                                        "instrument",
                                        "Example DMM 7",
                                        "accuracy",
                                        "0,1",
                                        "off.dead",
                                        "0,01",
                                        "off.tips",
                                        "0.2",
                                        "off.rails",
                                        "OL",
                                        "off.lead",
                                        "0.3",
                                        "off.pair",
                                        "58 ohm",
                                        "off.d1_zero",
                                        "500",
                                        "off.d0_zero",
                                        "0,5 kohm",
                                        "off.shield",
                                        "open",
                                        "off.bond_open",
                                        "OL",
                                        "off.bond",
                                        "0.3",
                                        "off.fuse",
                                        "skip",
                                        "off.earth.by",
                                        "A. Sample",
                                        "off.earth.ohm",
                                        "0.1",
                                        "off.earth",
                                        "tested",
                                        "off",
                                        "yes",
                                        "on.supply",
                                        "24.0",
                                        "on.draw",
                                        "0.21",
                                        "on.tap",
                                        "23.9",
                                        "on.idle",
                                        "0,21",
                                        "on.frame",
                                        "0.00",
                                        "on",
                                        "yes",
                                        NULL};
    struct lw_question question;
    while (lw_dialog_next(&meter->dialog.dialog, &question) == LW_DIALOG_ASK) {
        const char *typed = answer_to(question.id, others);
        typed = typed != NULL ? typed : answer_to(question.id, sound);
        if (typed == NULL || say(meter, typed) != LW_OK) {
            fail_msg("%s does not take '%s'", question.id, typed);
        }
    }
    lw_meter_findings(&meter->walk.plan, &meter->steps, &meter->dialog.result, 20000,
                      &meter->walk.findings);
}

static void a_sound_chain_raises_nothing(void **state)
{
    (void)state;
    static const char *const as_it_is[] = {NULL};
    struct meter meter;
    begin(&meter, LW_METER_BOTH);
    walk_through(&meter, as_it_is);
    if (walk_count(&meter.walk, NULL) > 0) {
        walk_show(&meter.walk);
        fail_msg("findings on a sound chain");
    }
    end(&meter);
}

static void each_fault_is_found(void **state)
{
    (void)state;
    static const char *const faults[][3] = {
        {"off.rails", "2", "meter_short"},
        {"off.lead", "OL", "meter_polarity"},
        {"off.pair", "119", "meter_pair"},
        {"off.pair", "38", "meter_pair"},
        {"off.pair", "OL", "meter_pair"},
        {"off.d1_zero", "3", "meter_pair_zero"},
        {"off.d0_zero", "3", "meter_pair_zero"},
        {"off.shield", "3", "meter_pair_zero"},
        {"off.bond_open", "0.4", "meter_second_bond"},
        {"off.bond.", "OL", "meter_bond"},
        {"off.fuse", "0.1", "meter_fuse"},
        {"on.supply", "20", "meter_supply"},
        {"on.draw", "4.5", "meter_draw"},
        {"on.tap", "17", "meter_volts"},
        {"on.tap", "-23.9", "meter_volts"},
        {"on.tap", "22", "meter_volts"},
        {"on.idle", "-0.21", "meter_idle"},
        {"on.frame", "3", "meter_frame"},
        {"instrument.due", "2020-01-01", "meter_instrument_due"},
        {"instrument.due", "skip", "meter_instrument_due"},
        {"on.idle", "skip", "meter_left"},
    };
    for (size_t i = 0; i < sizeof faults / sizeof *faults; i++) {
        const char *const others[] = {faults[i][0], faults[i][1], NULL};
        struct meter meter;
        begin(&meter, LW_METER_BOTH);
        walk_through(&meter, others);
        if (walk_found(&meter.walk, faults[i][2], NULL) == NULL) {
            walk_show(&meter.walk);
            fail_msg("%s at %s is not found", faults[i][2], faults[i][0]);
        }
        end(&meter);
    }
}

static void what_a_pair_would_fit_is_said(void **state)
{
    (void)state;
    static const char *const says[][2] = {{"119", "it fits one terminator less, or a pair that is "
                                                  "broken on the way"},
                                          {"38", "it fits one terminator more"},
                                          {"0,3", "D1 and D0 are shorted"}};
    for (size_t i = 0; i < 3; i++) {
        const char *const others[] = {"off.pair", says[i][0], NULL};
        struct meter meter;
        begin(&meter, LW_METER_ONLY_OFF);
        walk_through(&meter, others);
        const struct lw_finding *finding = walk_found(&meter.walk, "meter_pair", NULL);
        assert_non_null(finding);
        char *const *because = finding->because.items;
        assert_string_equal(because[finding->because.count - 1], says[i][1]);
        end(&meter);
    }
}

static void no_ohms_before_the_rail_is_dead(void **state)
{
    (void)state;
    struct meter meter;
    begin(&meter, LW_METER_ONLY_OFF);
    static const char *const head[] = {"Example DMM 7", "EX-77", "skip", "1",  "0,02", "1",
                                       "0,2",           "2",     "0.02", "yes"};
    for (size_t i = 0; i < sizeof head / sizeof *head; i++) {
        assert_int_equal(say(&meter, head[i]), LW_OK);
    }
    asked(&meter, "off.dead.P01");
    assert_int_equal(say(&meter, "23.9"), LW_USAGE);
    assert_int_equal(say(&meter, "skip"), LW_USAGE);
    asked(&meter, "off.dead.P01");
    assert_int_equal(say(&meter, "0,02 V"), LW_OK);
    asked(&meter, "off.tips");
    end(&meter);
}

static void back_takes_a_value_away(void **state)
{
    (void)state;
    struct meter meter;
    begin(&meter, LW_METER_ONLY_ON);
    static const char *const head[] = {"Example DMM 7", "EX-77", "skip", "1",  "0,02", "1",
                                       "0,2",           "2",     "0.02", "yes"};
    for (size_t i = 0; i < sizeof head / sizeof *head; i++) {
        assert_int_equal(say(&meter, head[i]), LW_OK);
    }
    assert_int_equal(say(&meter, "2.4"), LW_OK); // a typing mistake
    assert_int_equal(say(&meter, "back"), LW_OK);
    asked(&meter, "on.supply.PS1");
    assert_int_equal(say(&meter, "24,0x"), LW_USAGE);
    assert_int_equal(say(&meter, "24,0"), LW_OK);
    assert_int_equal(meter.dialog.result.readings.count, 1);
    const struct lw_meter_reading *reading = meter.dialog.result.readings.items;
    assert_true(reading->value == 24.0);
    end(&meter);
}

static void what_is_left_to_a_qualified_person_is_said(void **state)
{
    (void)state;
    static const char *const left[] = {"off.earth", "left", NULL};
    struct meter meter;
    begin(&meter, LW_METER_ONLY_OFF);
    walk_through(&meter, left);
    assert_non_null(walk_found(&meter.walk, "meter_earth_left", NULL));
    assert_true(meter.dialog.result.earth_left);
    assert_null(meter.dialog.result.earth_by);
    end(&meter);
}

static void without_power_its_values_stand_as_left_out(void **state)
{
    (void)state;
    static const char *const off[] = {"on", "skip", NULL};
    struct meter meter;
    begin(&meter, LW_METER_ONLY_ON);
    walk_through(&meter, off);
    const struct lw_finding *finding = walk_found(&meter.walk, "meter_left", NULL);
    assert_non_null(finding);
    assert_int_equal(finding->because.count, meter.dialog.result.readings.count);
    end(&meter);
}

static void the_file_of_values_holds_the_running_chain_only(void **state)
{
    (void)state;
    static const char *const as_it_is[] = {NULL};
    struct meter meter;
    struct lw_text text = {0};
    begin(&meter, LW_METER_BOTH);
    walk_through(&meter, as_it_is);
    lw_meter_csv(&meter.dialog.result, &text);
    assert_non_null(strstr(text.bytes, "# accuracy: 0.1 % + 0.1 ohm\n"));
    assert_non_null(strstr(text.bytes, "\nPS1,V+,0V,24,V\n"));
    assert_non_null(strstr(text.bytes, "\nP01,D1,D0,57.8,ohm\n"));
    assert_non_null(strstr(text.bytes, "\nP01,D1,shield,OL,ohm\n"));
    assert_null(strstr(text.bytes, "0.01,V"));
    lw_text_finish(&text);
    end(&meter);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_terminators_show_sixty_ohm),
        cmocka_unit_test(copper_lies_between_the_terminators),
        cmocka_unit_test(the_pairs_band_is_that_of_a_calculation_by_hand),
        cmocka_unit_test(a_bias_lies_beside_the_terminators),
        cmocka_unit_test(the_idle_voltage_is_that_of_the_divider),
        cmocka_unit_test(rails_are_not_below_the_loads_as_resistors),
        cmocka_unit_test(a_meters_limits_become_a_standard_uncertainty),
        cmocka_unit_test(the_meters_uncertainty_leaves_a_limit_undecided),
        cmocka_unit_test(a_sound_chain_raises_nothing),
        cmocka_unit_test(each_fault_is_found),
        cmocka_unit_test(what_a_pair_would_fit_is_said),
        cmocka_unit_test(no_ohms_before_the_rail_is_dead),
        cmocka_unit_test(back_takes_a_value_away),
        cmocka_unit_test(what_is_left_to_a_qualified_person_is_said),
        cmocka_unit_test(without_power_its_values_stand_as_left_out),
        cmocka_unit_test(the_file_of_values_holds_the_running_chain_only),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
