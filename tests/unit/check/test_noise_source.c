// SPDX-License-Identifier: GPL-3.0-or-later
//
// The source test: its dialog, and what it says of sources whose fields are steady, alternating,
// both, or nothing, against a drift.
#include "check/noise_switch.h"
#include "stats/random.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { N = 100, RUNS = 200 };

static const char *const names[] = {"P01", "P02", "P03", "P04"};

struct source {
    double shift, ratio, drift_per_s; // of P02 with the source on
};

struct tested {
    struct walk walk;
    struct lw_series series;
    struct lw_list stretches;
    struct lw_noise_result result;
};

// Four stretches of 10 s, or two, of four probes.
static void test_source(struct tested *tested, const struct source *source, size_t stretches,
                        uint64_t seed)
{
    struct lw_noise_options options = {.limit = NAN, .source = "spindle drive"};
    *tested = (struct tested){0};
    walk_open_cell(&tested->walk, &(struct cell){.probes = 4}, 1);
    for (size_t k = 0; k < stretches; k++) {
        struct lw_noise_stretch *stretch = lw_list_add(&tested->stretches, sizeof *stretch);
        bool on = stretches == 4 ? k == 1 || k == 2 : k == 1;
        *stretch = (struct lw_noise_stretch){10.0 * (double)k, 10.0 * (double)(k + 1), on};
        for (size_t i = 0; i < 4 * N; i++) {
            bool here = on && i % 4 == 1;
            struct lw_random normal = {seed, (uint32_t)(i % 4), (uint32_t)k};
            double time_s = stretch->from_s + 0.1 * (double)(i / 4);
            struct lw_reading reading = {
                .time_s = time_s,
                .node = names[i % 4],
                .unit = "mm",
                .value = 5 + source->drift_per_s * time_s + (here ? source->shift : 0) +
                         0.00015 * (here ? source->ratio : 1) * lw_random_normal(normal, i)};
            assert_int_equal(lw_series_add(&tested->series, &reading, NULL), LW_OK);
        }
    }
    options.stretches = &tested->stretches;
    assert_int_equal(lw_noise_judge(&tested->walk.plan, &options, &tested->series, NULL,
                                    &tested->result, &tested->walk.rule, NULL),
                     LW_OK);
    lw_noise_findings(&tested->result, &tested->walk.findings);
    walk_comes_back(&lw_noise_shape, &tested->result);
}

static const struct lw_noise_node *second(const struct tested *tested)
{
    return (const struct lw_noise_node *)tested->result.nodes.items + 1;
}

static void end(struct tested *tested)
{
    lw_json_free(&lw_noise_shape, &tested->result);
    lw_series_finish(&tested->series);
    free(tested->stretches.items);
    walk_close(&tested->walk);
}

static void a_source_is_called_what_it_is(void **state)
{
    (void)state;
    const struct {
        struct source source;
        const char *response;
        size_t steady, alternating;
    } rows[] = {
        {{0, 1, 0.00005}, "none", 0, 0},
        {{0.0005, 1, 0.00005}, "steady", 1, 0},
        {{0, 3, 0.00005}, "alternating", 0, 1},
        {{-0.0005, 3, 0.00005}, "both", 1, 1},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct tested tested;
        test_source(&tested, &rows[i].source, 4, 3);
        assert_string_equal(second(&tested)->response, rows[i].response);
        assert_true(fabs(second(&tested)->shift - rows[i].source.shift) <
                    4 * second(&tested)->shift_u);
        assert_true(fabs(second(&tested)->ratio / rows[i].source.ratio - 1) < 0.3);
        assert_int_equal(walk_count(&tested.walk, "noise_source_steady"), rows[i].steady);
        assert_int_equal(walk_count(&tested.walk, "noise_source_alternating"), rows[i].alternating);
        end(&tested);
    }
}

static void a_source_that_does_nothing_is_seldom_blamed(void **state)
{
    (void)state;
    size_t blamed = 0;
    for (uint64_t seed = 1; seed <= RUNS; seed++) {
        struct tested tested;
        test_source(&tested, &(struct source){0, 1, 0.0001}, 4, seed);
        blamed += walk_count(&tested.walk, "noise_source_steady") +
                      walk_count(&tested.walk, "noise_source_alternating") >
                  0;
        end(&tested);
    }
    // 5 % over all nodes and both questions: more than 18 of 200 has a probability under 1 %.
    assert_in_range(blamed, 0, 18);
}

static void between_two_runs_a_drift_is_no_shift(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= RUNS / 10; seed++) {
        struct tested tested;
        test_source(&tested, &(struct source){0, 1, 0.0002}, 2, seed);
        assert_int_equal(walk_count(&tested.walk, "noise_source_steady"), 0);
        end(&tested);
        test_source(&tested, &(struct source){0.02, 1, 0.0002}, 2, seed);
        assert_string_equal(second(&tested)->response, "steady");
        end(&tested);
    }
}

static void the_dialog_asks_measures_and_goes_back(void **state)
{
    (void)state;
    struct lw_switch dialog;
    struct lw_error error = {0};
    struct lw_question question;
    enum lw_dialog_said said;
    lw_switch_init(&dialog, "drive 100%");
    assert_int_equal(lw_dialog_next(&dialog.dialog, &question), LW_DIALOG_ASK);
    assert_string_equal(question.text, "1 of 4: is 'drive 100%' off?");
    assert_int_equal(lw_dialog_say(&dialog.dialog, "back", &said, &error), LW_USAGE);
    assert_int_equal(lw_dialog_say(&dialog.dialog, "perhaps", &said, &error), LW_USAGE);
    assert_int_equal(lw_dialog_say(&dialog.dialog, "no", &said, &error), LW_USAGE);
    const char *const answers[] = {"", "yes", "back", "ja", "yes", "Y"};
    for (size_t i = 0; i < 6; i++) {
        assert_int_equal(lw_dialog_next(&dialog.dialog, &question), LW_DIALOG_ASK);
        assert_int_equal(lw_dialog_say(&dialog.dialog, answers[i], &said, &error), LW_OK);
        if (lw_dialog_next(&dialog.dialog, &question) == LW_DIALOG_ACT) {
            double at_s = 10.0 * (double)i;
            assert_int_equal(lw_switch_measured(&dialog, at_s, at_s + 10, &error), LW_OK);
        }
    }
    assert_int_equal(lw_dialog_next(&dialog.dialog, &question), LW_DIALOG_DONE);
    const struct lw_noise_stretch *stretch = dialog.stretches.items;
    assert_int_equal(dialog.stretches.count, 4);
    assert_true(!stretch[0].on && stretch[1].on && stretch[2].on && !stretch[3].on);
    assert_true(stretch[1].from_s == 30); // the one measured again
    lw_switch_finish(&dialog);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_source_is_called_what_it_is),
        cmocka_unit_test(a_source_that_does_nothing_is_seldom_blamed),
        cmocka_unit_test(between_two_runs_a_drift_is_no_shift),
        cmocka_unit_test(the_dialog_asks_measures_and_goes_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
