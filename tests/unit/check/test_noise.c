// SPDX-License-Identifier: GPL-3.0-or-later
//
// The judge of readings at rest, fed with series made by hand, and with readings of virtual chains.
#include "stats/random.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { SEEDS = 20 };

// How one sensor's readings are made: all in the unit of the series.
struct made {
    const char *node, *unit;
    size_t n;
    double stdev, drift_per_s, tone, tone_hz, step;
    size_t spikes; // every n / spikes-th reading is off by 30 standard deviations
};

static void add(struct lw_series *series, const struct made *made, uint64_t seed)
{
    struct lw_random normal = {seed, lw_random_word(made->node), 1};
    struct lw_random dither = {seed, lw_random_word(made->node), 2};
    for (size_t i = 0; i < made->n; i++) {
        double time_s = 0.1 * (double)i + 0.08 * lw_random_uniform(dither, i);
        double value = 5 + made->stdev * lw_random_normal(normal, i) + made->drift_per_s * time_s +
                       made->tone * sin(2 * 3.14159265358979 * made->tone_hz * time_s);
        if (made->spikes > 0 && i % (made->n / made->spikes) == 3) {
            value += 30 * made->stdev;
        }
        if (made->step > 0) {
            value = made->step * nearbyint(value / made->step);
        }
        struct lw_reading reading = {
            .time_s = time_s, .node = made->node, .unit = made->unit, .value = value};
        assert_int_equal(lw_series_add(series, &reading, NULL), LW_OK);
    }
}

struct judged {
    struct walk walk;
    struct lw_series series;
    struct lw_noise_result result;
};

// A plan with four probes, limit 0.0005 mm each.
static void begin(struct judged *judged)
{
    *judged = (struct judged){0};
    walk_open_cell(&judged->walk, &(struct cell){.probes = 4}, 1);
}

static void judge(struct judged *judged)
{
    struct lw_error error = {0};
    struct lw_noise_options options = {.limit = NAN};
    enum lw_status status = lw_noise_judge(&judged->walk.plan, &options, &judged->series, NULL,
                                           &judged->result, &judged->walk.rule, &error);
    if (status != LW_OK) {
        fail_msg("%s", error.says);
    }
    lw_noise_findings(&judged->result, &judged->walk.findings);
    walk_comes_back(&lw_noise_shape, &judged->result);
}

static const struct lw_noise_node *node(const struct judged *judged, size_t index)
{
    return (const struct lw_noise_node *)judged->result.nodes.items + index;
}

static void end(struct judged *judged)
{
    lw_json_free(&lw_noise_shape, &judged->result);
    lw_series_finish(&judged->series);
    walk_close(&judged->walk);
}

// Four quiet probes but for the first.
static void with_first(struct judged *judged, struct made first, uint64_t seed)
{
    static const char *const names[] = {"P02", "P03", "P04"};
    first.node = "P01";
    first.unit = first.unit ? first.unit : "mm";
    begin(judged);
    add(&judged->series, &first, seed);
    for (size_t i = 0; i < 3; i++) {
        add(&judged->series,
            &(struct made){.node = names[i], .unit = "mm", .n = 100, .stdev = 0.00015}, seed);
    }
    judge(judged);
}

static void quiet_readings_pass(void **state)
{
    (void)state;
    size_t raised = 0;
    for (uint64_t seed = 1; seed <= 5 * SEEDS; seed++) {
        struct judged judged;
        with_first(&judged, (struct made){.n = 100, .stdev = 0.00015}, seed);
        raised += walk_count(&judged.walk, NULL) > 0;
        end(&judged);
    }
    // At 1 % of false tones and 5 % of the rest: more than 12 of 100 has a probability under 1 %.
    assert_in_range(raised, 0, 12);
}

static void a_spread_over_its_limit_fails(void **state)
{
    (void)state;
    struct judged judged;
    with_first(&judged, (struct made){.n = 100, .stdev = 0.0009}, 1);
    const struct lw_finding *finding = walk_found(&judged.walk, "noise_over_limit", "P01");
    assert_non_null(finding);
    assert_true(fabs(finding->value - 0.0009) < 0.0002);
    assert_string_equal(finding->unit, "mm");
    assert_non_null(walk_found(&judged.walk, "noise_disturbed", "P01"));
    assert_null(walk_found(&judged.walk, "noise_over_limit", "P02"));
    end(&judged);
}

static void a_spread_near_its_limit_is_undecided_and_says_how_many_would_do(void **state)
{
    (void)state;
    struct judged judged;
    with_first(&judged, (struct made){.n = 30, .stdev = 0.00045}, 2);
    const struct lw_finding *finding = walk_found(&judged.walk, "noise_undecided", "P01");
    assert_non_null(finding);
    assert_true(node(&judged, 0)->n_to_decide > 30);
    end(&judged);
}

static void the_rule_is_shared_among_all_nodes(void **state)
{
    (void)state;
    struct judged judged;
    with_first(&judged, (struct made){.n = 100, .stdev = 0.00015}, 1);
    assert_int_equal(judged.walk.rule.corrected_for, 4);
    end(&judged);
}

static void mains_is_named_with_its_frequency(void **state)
{
    (void)state;
    struct judged judged;
    with_first(&judged, (struct made){.n = 300, .stdev = 0.0001, .tone = 0.0004, .tone_hz = 50.02},
               1);
    assert_int_equal(node(&judged, 0)->tones.count, 1);
    const struct lw_noise_tone *tone = node(&judged, 0)->tones.items;
    assert_true(fabs(tone->frequency_hz - 50.02) < 0.02);
    assert_true(fabs(tone->amplitude - 0.0004) < 0.00005);
    assert_string_equal(node(&judged, 0)->cause, "mains");
    assert_true(walk_found(&judged.walk, "noise_mains", "P01") ||
                walk_found(&judged.walk, "noise_disturbed", "P01"));
    end(&judged);
}

static void readings_that_never_change_are_stuck(void **state)
{
    (void)state;
    struct judged judged;
    with_first(&judged, (struct made){.n = 100, .stdev = 0}, 1);
    assert_string_equal(node(&judged, 0)->cause, "stuck");
    assert_non_null(walk_found(&judged.walk, "noise_stuck", "P01"));
    assert_null(walk_found(&judged.walk, "noise_over_limit", "P01"));
    end(&judged);
}

static void an_encoder_at_rest_is_not_stuck(void **state)
{
    (void)state;
    struct judged judged = {0};
    walk_open_cell(&judged.walk, &(struct cell){.encoders = 1}, 1);
    add(&judged.series, &(struct made){.node = "P01", .unit = "deg", .n = 100}, 1);
    judge(&judged);
    assert_int_equal(walk_count(&judged.walk, NULL), 0);
    assert_int_equal(node(&judged, 0)->verdict, LW_PASS);
    end(&judged);
}

static void an_encoder_that_wanders_breaks_its_peak_to_peak(void **state)
{
    (void)state;
    struct judged judged = {0};
    walk_open_cell(&judged.walk, &(struct cell){.encoders = 1}, 1);
    add(&judged.series,
        &(struct made){.node = "P01", .unit = "deg", .n = 100, .stdev = 0.02, .step = 0.01}, 1);
    judge(&judged);
    assert_non_null(walk_found(&judged.walk, "noise_over_limit", "P01"));
    assert_true(node(&judged, 0)->peak_to_peak > 0.05);
    end(&judged);
}

static void drift_is_not_noise(void **state)
{
    (void)state;
    struct judged judged;
    with_first(&judged, (struct made){.n = 100, .stdev = 0.00015, .drift_per_s = 0.0005}, 1);
    assert_string_equal(node(&judged, 0)->cause, "drift");
    assert_true(fabs(node(&judged, 0)->drift_per_s - 0.0005) < 0.00003);
    assert_non_null(walk_found(&judged.walk, "noise_drift", "P01"));
    assert_null(walk_found(&judged.walk, "noise_over_limit", "P01"));
    end(&judged);
}

static void spikes_are_counted(void **state)
{
    (void)state;
    struct judged judged;
    with_first(&judged, (struct made){.n = 200, .stdev = 0.00002, .spikes = 4}, 1);
    assert_string_equal(node(&judged, 0)->cause, "spikes");
    assert_int_equal((int)node(&judged, 0)->outliers, 4);
    assert_non_null(walk_found(&judged.walk, "noise_outliers", "P01"));
    end(&judged);
}

static void silent_sensors_stand_in_the_table_as_not_tested(void **state)
{
    (void)state;
    struct judged judged;
    begin(&judged);
    add(&judged.series, &(struct made){.node = "P02", .unit = "mm", .n = 100, .stdev = 0.0001}, 1);
    judge(&judged);
    assert_int_equal(judged.result.nodes.count, 4);
    assert_string_equal(node(&judged, 0)->cause, "no_data");
    assert_int_equal(walk_count(&judged.walk, "noise_no_data"), 3);
    assert_int_equal(walk_found(&judged.walk, "noise_no_data", "P01")->severity, LW_NOT_TESTED);
    end(&judged);
}

static void readings_in_another_unit_are_judged_in_the_limits_unit(void **state)
{
    (void)state;
    struct judged judged;
    with_first(&judged, (struct made){.unit = "um", .n = 100, .stdev = 0.9}, 1);
    assert_string_equal(node(&judged, 0)->unit, "mm");
    assert_true(fabs(node(&judged, 0)->stdev - 0.0009) < 0.0002);
    assert_non_null(walk_found(&judged.walk, "noise_over_limit", "P01"));
    end(&judged);
}

static void a_series_without_a_plan_is_held_to_the_limit_given(void **state)
{
    (void)state;
    struct lw_series series = {0};
    struct lw_noise_result result;
    struct walk walk = {0};
    add(&series, &(struct made){.node = "any", .unit = "mm", .n = 100, .stdev = 0.001}, 1);
    const struct {
        double limit;
        const char *code;
    } rows[] = {{NAN, "noise_no_limit"}, {0.0005, "noise_over_limit"}, {0.002, NULL}};
    for (size_t i = 0; i < 3; i++) {
        struct lw_noise_options options = {.limit = rows[i].limit};
        assert_int_equal(lw_noise_judge(NULL, &options, &series, NULL, &result, &walk.rule, NULL),
                         LW_OK);
        lw_noise_findings(&result, &walk.findings);
        assert_int_equal(walk_count(&walk, NULL), rows[i].code ? 1 : 0);
        assert_true(!rows[i].code || walk_found(&walk, rows[i].code, "any"));
        walk_comes_back(&lw_noise_shape, &result);
        lw_json_free(&lw_noise_shape, &result);
        walk_forget(&walk);
    }
    lw_series_finish(&series);
}

static void nothing_to_judge_is_not_tested(void **state)
{
    (void)state;
    struct lw_series series = {0};
    struct lw_noise_result result;
    struct walk walk = {0};
    struct lw_noise_options options = {.limit = NAN};
    assert_int_equal(lw_noise_judge(NULL, &options, &series, NULL, &result, &walk.rule, NULL),
                     LW_OK);
    lw_noise_findings(&result, &walk.findings);
    assert_int_equal(walk_found(&walk, "noise_no_data", NULL)->severity, LW_NOT_TESTED);
    lw_json_free(&lw_noise_shape, &result);
    walk_forget(&walk);
}

static void a_magnet_is_found_at_its_node(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct walk walk;
        walk_open_cell(&walk,
                       &(struct cell){.probes = 6,
                                      .framing = "115200/8E1",
                                      .faults =
                                          "{\"kind\": \"magnet_near\", \"tap\": 4, \"field\": "
                                          "0.003, \"reach_taps\": 0.3}"},
                       seed);
        walk_noise(&walk, NULL, NULL);
        assert_non_null(walk_found(&walk, "noise_over_limit", "P04"));
        assert_non_null(walk_found(&walk, "noise_disturbed", "P04"));
        assert_int_equal(walk_count(&walk, "noise_over_limit"), 1);
        assert_int_equal(walk_count(&walk, "noise_disturbed"), 1);
        walk_close(&walk);
    }
}

static void a_frozen_node_is_stuck(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(
        &walk, &(struct cell){.probes = 3, .faults = "{\"kind\": \"stuck_reading\", \"tap\": 2}"},
        3);
    walk_noise(&walk, NULL, NULL);
    assert_non_null(walk_found(&walk, "noise_stuck", "P02"));
    assert_int_equal(walk_count(&walk, NULL), 1);
    walk_close(&walk);
}

static void a_dead_node_costs_the_others_no_readings(void **state)
{
    (void)state;
    double readings[2];
    for (size_t dead = 0; dead < 2; dead++) {
        struct walk walk;
        struct lw_noise_result result;
        walk_open_cell(
            &walk,
            &(struct cell){.probes = 3,
                           .faults = dead ? "{\"kind\": \"dead_node\", \"tap\": 2}" : NULL},
            3);
        walk_noise(&walk, &(struct lw_noise_options){.limit = NAN, .seconds = 20}, &result);
        readings[dead] = ((const struct lw_noise_node *)result.nodes.items)[0].n;
        lw_json_free(&lw_noise_shape, &result);
        walk_close(&walk);
    }
    assert_true(readings[1] > readings[0]);
}

static void the_number_of_readings_ends_the_run(void **state)
{
    (void)state;
    struct walk walk;
    struct lw_noise_result result;
    walk_open_cell(
        &walk, &(struct cell){.probes = 3, .faults = "{\"kind\": \"dead_node\", \"tap\": 2}"}, 3);
    walk_noise(&walk, &(struct lw_noise_options){.limit = NAN, .readings = 50}, &result);
    const struct lw_noise_node *nodes = result.nodes.items;
    assert_int_equal((int)nodes[0].n, 50);
    assert_int_equal((int)nodes[1].n, 0);
    assert_true(result.seconds < 60);
    lw_json_free(&lw_noise_shape, &result);
    walk_close(&walk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quiet_readings_pass),
        cmocka_unit_test(a_spread_over_its_limit_fails),
        cmocka_unit_test(a_spread_near_its_limit_is_undecided_and_says_how_many_would_do),
        cmocka_unit_test(the_rule_is_shared_among_all_nodes),
        cmocka_unit_test(mains_is_named_with_its_frequency),
        cmocka_unit_test(readings_that_never_change_are_stuck),
        cmocka_unit_test(an_encoder_at_rest_is_not_stuck),
        cmocka_unit_test(an_encoder_that_wanders_breaks_its_peak_to_peak),
        cmocka_unit_test(drift_is_not_noise),
        cmocka_unit_test(spikes_are_counted),
        cmocka_unit_test(silent_sensors_stand_in_the_table_as_not_tested),
        cmocka_unit_test(readings_in_another_unit_are_judged_in_the_limits_unit),
        cmocka_unit_test(a_series_without_a_plan_is_held_to_the_limit_given),
        cmocka_unit_test(nothing_to_judge_is_not_tested),
        cmocka_unit_test(a_magnet_is_found_at_its_node),
        cmocka_unit_test(a_frozen_node_is_stuck),
        cmocka_unit_test(a_dead_node_costs_the_others_no_readings),
        cmocka_unit_test(the_number_of_readings_ends_the_run),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
