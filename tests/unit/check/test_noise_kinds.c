// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the noise check says of each kind of device, and of what several nodes share.
#include "stats/random.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { N = 200 };

typedef double value_at(size_t i, double time_s, double noise);

struct judged {
    struct walk walk;
    struct lw_series series;
    struct lw_noise_result result;
};

static void add(struct judged *judged, const char *name, const char *unit, value_at *value)
{
    struct lw_random dither = {1, lw_random_word(name), 1}, normal = {1, lw_random_word(name), 2};
    for (size_t i = 0; i < N; i++) {
        double time_s = 0.1 * ((double)i + lw_random_uniform(dither, i));
        struct lw_reading reading = {.time_s = time_s,
                                     .node = name,
                                     .unit = unit,
                                     .value = value(i, time_s, lw_random_normal(normal, i))};
        assert_int_equal(lw_series_add(&judged->series, &reading, NULL), LW_OK);
    }
}

static const struct lw_noise_node *judge(struct judged *judged)
{
    struct lw_noise_options options = {.limit = NAN};
    assert_int_equal(lw_noise_judge(&judged->walk.plan, &options, &judged->series, NULL,
                                    &judged->result, &judged->walk.rule, NULL),
                     LW_OK);
    lw_noise_findings(&judged->result, &judged->walk.findings);
    walk_comes_back(&lw_noise_shape, &judged->result);
    return judged->result.nodes.items;
}

static const struct lw_noise_node *judge_one(struct judged *judged, const struct cell *cell,
                                             const char *unit, value_at *value)
{
    *judged = (struct judged){0};
    walk_open_cell(&judged->walk, cell, 1);
    add(judged, "P01", unit, value);
    return judge(judged);
}

static void end(struct judged *judged)
{
    lw_json_free(&lw_noise_shape, &judged->result);
    lw_series_finish(&judged->series);
    walk_close(&judged->walk);
}

static double at_its_end(size_t i, double time_s, double noise)
{
    (void)i;
    (void)time_s;
    return fmax(0, 0.0001 * noise - 0.001);
}

static void a_probe_at_its_end_is_not_judged(void **state)
{
    (void)state;
    struct judged judged;
    const struct lw_noise_node *node =
        judge_one(&judged, &(struct cell){.probes = 1}, "mm", at_its_end);
    assert_string_equal(node->cause, "saturated");
    assert_int_equal(node->verdict, LW_NOT_TESTED);
    assert_int_equal(walk_found(&judged.walk, "noise_saturated", "P01")->severity, LW_NOT_TESTED);
    end(&judged);
}

static double beyond_its_end(size_t i, double time_s, double noise)
{
    return at_its_end(i, time_s, noise) + 10.5;
}

static void a_probe_beyond_its_end_fails(void **state)
{
    (void)state;
    struct judged judged;
    judge_one(&judged, &(struct cell){.probes = 1}, "mm", beyond_its_end);
    assert_int_equal(walk_found(&judged.walk, "noise_saturated", "P01")->severity, LW_FAIL);
    end(&judged);
}

// NAMUR NE 43: 3.8 to 20.5 mA measure, 3.6 mA and below or 21 mA and above signal a failure.
static double low_current, step_current;
static double loop(size_t i, double time_s, double noise)
{
    (void)time_s;
    return (i % 10 == 0 ? step_current : low_current) + 0.001 * noise;
}

static void a_loop_is_held_to_its_bands(void **state)
{
    (void)state;
    const struct {
        double most_ma, tenth_ma;
        const char *code, *cause;
    } rows[] = {
        {3.5, 3.5, "noise_loop_failed", "loop failed"},
        {21.5, 21.5, "noise_loop_failed", "loop failed"},
        {3.7, 3.7, "noise_loop_guard", "quiet"},
        {20.7, 20.7, "noise_loop_guard", "quiet"},
        {3.9, 3.9, NULL, "quiet"},
        {20.4, 20.4, NULL, "quiet"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct judged judged;
        low_current = rows[i].most_ma;
        step_current = rows[i].tenth_ma;
        const struct lw_noise_node *node =
            judge_one(&judged, &(struct cell){.loops = 1}, "mA", loop);
        assert_string_equal(node->cause, rows[i].cause);
        assert_true(rows[i].code == NULL || walk_found(&judged.walk, rows[i].code, "P01") != NULL);
        assert_true(rows[i].code != NULL || walk_count(&judged.walk, NULL) == 0);
        end(&judged);
    }
}

static double flutter(size_t i, double time_s, double noise)
{
    (void)i;
    (void)time_s;
    return noise > 0 ? 359.99 : 0;
}

static void an_encoder_may_flutter_between_two_counts(void **state)
{
    (void)state;
    struct judged judged;
    const struct lw_noise_node *node =
        judge_one(&judged, &(struct cell){.encoders = 1}, "deg", flutter);
    assert_true(node->count_flutter > 20);
    assert_true(node->count_jumps == 0);
    assert_true(fabs(node->peak_to_peak - 0.01) < 1e-9); // the turn taken off
    assert_int_equal(node->verdict, LW_PASS);
    assert_int_equal(walk_count(&judged.walk, NULL), 0);
    end(&judged);
}

static double loses_counts(size_t i, double time_s, double noise)
{
    (void)time_s;
    return 90 + (i >= 80 ? 0.03 : 0) + (noise > 0 ? 0.01 : 0);
}

static void an_encoder_that_counts_at_rest_fails(void **state)
{
    (void)state;
    struct judged judged;
    const struct lw_noise_node *node =
        judge_one(&judged, &(struct cell){.encoders = 1}, "deg", loses_counts);
    assert_true(node->count_jumps >= 1);
    assert_non_null(walk_found(&judged.walk, "noise_counts_lost", "P01"));
    end(&judged);
}

static double telegraph(size_t i, double time_s, double noise)
{
    (void)i;
    return 5 + 0.0001 * noise + (sin(2 * time_s) + sin(0.9 * time_s) > 0.6 ? 0.003 : 0);
}

static void a_loose_contact_is_not_spikes(void **state)
{
    (void)state;
    struct judged judged;
    const struct lw_noise_node *node =
        judge_one(&judged, &(struct cell){.probes = 1}, "mm", telegraph);
    assert_string_equal(node->cause, "loose contact");
    assert_true(fabs(node->jump_step - 0.003) < 0.0003);
    assert_non_null(walk_found(&judged.walk, "noise_jumps", "P01"));
    assert_null(walk_found(&judged.walk, "noise_outliers", "P01"));
    end(&judged);
}

static double whistle(size_t i, double time_s, double noise)
{
    (void)i;
    return 5 + 0.0001 * noise + 0.001 * sin(2 * 3.14159265358979 * 37 * time_s);
}

static void a_tone_through_regular_updates_is_apparent(void **state)
{
    (void)state;
    struct judged judged;
    const struct lw_noise_node *node =
        judge_one(&judged, &(struct cell){.probes = 1}, "mm", whistle);
    const struct lw_noise_tone *tone = node->tones.items;
    assert_int_equal(node->tones.count, 1);
    assert_string_equal(node->cause, "tone");
    assert_true(fabs(tone->frequency_hz - 37) < 5 * tone->frequency_u_hz);
    // Renewed every 4 ms, 250 times a second: 213 Hz would look the same.
    assert_true(tone->may_be.count >= 1);
    assert_true(fabs(((const double *)tone->may_be.items)[0] - 213) < 0.1);
    // What a mean over 8 ms and holding over 4 ms leave of 37 Hz: sin(x) / x of each.
    double x = 3.14159265358979 * 37 * 0.008;
    assert_true(fabs(tone->left - sin(x) / x * sin(x / 2) / (x / 2)) < 1e-3);
    assert_true(tone->amplitude_low < 0.001 / tone->left &&
                0.001 / tone->left < tone->amplitude_high);
    end(&judged);
}

// Two tones side by side: one that swells and fades, as what rings does.
static double ringing(size_t i, double time_s, double noise)
{
    (void)i;
    return 5 + 0.0001 * noise + 0.001 * sin(2 * 3.14159265358979 * 31.0 * time_s) +
           0.0008 * sin(2 * 3.14159265358979 * 31.6 * time_s);
}

static void a_tone_that_swells_and_fades_is_vibration(void **state)
{
    (void)state;
    struct judged judged;
    const struct lw_noise_node *node =
        judge_one(&judged, &(struct cell){.probes = 1}, "mm", ringing);
    assert_string_equal(node->cause, "vibration");
    end(&judged);
}

static double overtones(size_t i, double time_s, double noise)
{
    (void)i;
    double turns = 2 * 3.14159265358979 * 17 * time_s;
    return 5 + 0.0001 * noise + 0.001 * sin(turns) + 0.0006 * sin(2 * turns);
}

static void a_multiple_of_a_stronger_tone_is_its_family(void **state)
{
    (void)state;
    struct judged judged;
    const struct lw_noise_node *node =
        judge_one(&judged, &(struct cell){.probes = 1}, "mm", overtones);
    const struct lw_noise_tone *tones = node->tones.items;
    assert_int_equal(node->tones.count, 2);
    assert_string_equal(tones[0].name, "tone");
    assert_string_equal(tones[1].name, "family");
    end(&judged);
}

static void a_hum_everywhere_is_common(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct walk walk;
        struct lw_noise_result result;
        walk_open_cell(&walk,
                       &(struct cell){.probes = 6,
                                      .framing = "115200/8E1",
                                      .noise = "{\"mains\": 0.001, \"mains_hz\": 50}"},
                       seed);
        walk_noise(&walk, NULL, &result);
        const struct lw_noise_along *along = result.along.items;
        assert_true(result.along.count >= 1);
        assert_int_equal(along->pattern, LW_NOISE_COMMON);
        assert_true(along->in_step > 0.99);
        assert_non_null(walk_found(&walk, "noise_common", NULL));
        assert_null(walk_found(&walk, "noise_near", NULL));
        lw_json_free(&lw_noise_shape, &result);
        walk_close(&walk);
    }
}

static void a_field_at_one_place_is_near(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct walk walk;
        struct lw_noise_result result;
        walk_open_cell(&walk,
                       &(struct cell){.probes = 6,
                                      .framing = "115200/8E1",
                                      .faults = "{\"kind\": \"magnet_near\", \"tap\": 3, "
                                                "\"field\": 0.003, \"reach_taps\": 0.7}"},
                       seed);
        walk_noise(&walk, NULL, &result);
        const struct lw_noise_along *along = result.along.items;
        assert_int_equal(along->pattern, LW_NOISE_NEAR);
        assert_string_equal(along->strongest, "P03");
        assert_true(along->nearest == NULL); // the plan gives no positions
        assert_non_null(walk_found(&walk, "noise_near", "P03"));
        lw_json_free(&lw_noise_shape, &result);
        walk_close(&walk);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_probe_at_its_end_is_not_judged),
        cmocka_unit_test(a_probe_beyond_its_end_fails),
        cmocka_unit_test(a_loop_is_held_to_its_bands),
        cmocka_unit_test(an_encoder_may_flutter_between_two_counts),
        cmocka_unit_test(an_encoder_that_counts_at_rest_fails),
        cmocka_unit_test(a_loose_contact_is_not_spikes),
        cmocka_unit_test(a_tone_through_regular_updates_is_apparent),
        cmocka_unit_test(a_tone_that_swells_and_fades_is_vibration),
        cmocka_unit_test(a_multiple_of_a_stronger_tone_is_its_family),
        cmocka_unit_test(a_hum_everywhere_is_common),
        cmocka_unit_test(a_field_at_one_place_is_near),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
