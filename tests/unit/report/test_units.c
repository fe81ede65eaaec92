// SPDX-License-Identifier: GPL-3.0-or-later
//
// Lengths in the reader's unit. 25.4 mm are an inch exactly (NIST Special Publication 811, 2008,
// appendix B.8).
#include "report/units.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static void says(const char *sentence, const char *unit, const char *expected)
{
    char *said = lw_units_sentence(sentence, unit);
    assert_string_equal(said, expected);
    free(said);
}

static void lengths_in_sentences_keep_their_digits(void **state)
{
    (void)state;
    says("P09 has 0.00117 mm, the limit is 0.000500 mm", "inch",
         "P09 has 0.0000461 inch, the limit is 0.0000197 inch");
    says("by 254 mm.", "inch", "by 10.0 inch.");
    says("0.5 µm up, 25.4 um down", "inch", "0.00002 inch up, 0.00100 inch down");
    says("-2.54 mm (1 inch)", "inch", "-0.100 inch (1 inch)");
    says("0.0010 inch", "mm", "0.025 mm");
    says("0 mm", "inch", "0 inch");
}

static void what_is_no_measured_length_stays(void **state)
{
    (void)state;
    const char *const texts[] = {"a cable of 12 m with 1.5 mm2",
                                 "about x 100, y 0, z 40 mm",
                                 "P09mm 12mm",
                                 "station-3 mm",
                                 "1.5 mm\xc2\xb2 copper",
                                 "17.9 V at tap 24",
                                 "12.5 % of 0.1 mA and 3 mmHg",
                                 ""};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        says(texts[i], "inch", texts[i]);
    }
}

static void findings_change_value_limit_and_unit_together(void **state)
{
    (void)state;
    char *checks[] = {(char *)(uintptr_t) "noise", (char *)(uintptr_t) "note"};
    struct lw_record items[2] = {{.check = checks[0]}, {.check = checks[1]}};
    struct lw_list records = {items, 2};
    for (size_t i = 0; i < 2; i++) {
        struct lw_finding *finding =
            lw_findings_add(&items[i].findings, "note_open_point", LW_ATTENTION, "off by 2.54 mm");
        finding->value = 2.54;
        finding->limit = 1.27;
        finding->unit = lw_duplicate("mm");
    }
    assert_int_equal(lw_units_findings(&records, "inch", NULL), LW_OK);
    const struct lw_finding *made = items[0].findings.list.items;
    const struct lw_finding *written = items[1].findings.list.items;
    assert_string_equal(made->says, "off by 0.100 inch");
    assert_true(fabs(made->value - 0.1) < 1e-15 && fabs(made->limit - 0.05) < 1e-15);
    assert_true(isnan(made->uncertainty));
    assert_string_equal(made->unit, "inch");
    assert_string_equal(written->says, "off by 2.54 mm");
    lw_findings_free(&items[0].findings);
    lw_findings_free(&items[1].findings);
}

// Lengths change, counts, times and what is measured in another unit do not.
static void a_noise_result_changes_in_all_its_lengths(void **state)
{
    (void)state;
    struct lw_noise_node nodes[2];
    struct lw_noise_tone tone = {.frequency_hz = 50, .amplitude = 25.4, .amplitude_u = 2.54};
    double trace[] = {25.4, -50.8};
    memset(nodes, 0, sizeof nodes);
    for (size_t i = 0; i < 2; i++) {
        nodes[i].unit = lw_duplicate(i == 0 ? "mm" : "mA");
        nodes[i].stdev = nodes[i].limit = nodes[i].peak_to_peak = 25.4;
        nodes[i].n = nodes[i].lag1 = nodes[i].update_ms = 25.4;
    }
    nodes[0].tones = (struct lw_list){&tone, 1};
    nodes[0].trace_value = (struct lw_list){trace, 2};
    struct lw_noise_result result = {.nodes = {nodes, 2}};
    assert_int_equal(lw_units_noise(&result, "inch", NULL), LW_OK);
    assert_string_equal(nodes[0].unit, "inch");
    assert_string_equal(nodes[1].unit, "mA");
    assert_true(fabs(nodes[0].stdev - 1) < 1e-15 && fabs(nodes[0].limit - 1) < 1e-15);
    assert_true(fabs(nodes[0].peak_to_peak - 1) < 1e-15);
    assert_true(nodes[0].n == 25.4 && nodes[0].lag1 == 25.4 && nodes[0].update_ms == 25.4);
    assert_true(nodes[1].stdev == 25.4 && nodes[1].limit == 25.4);
    assert_true(fabs(tone.amplitude - 1) < 1e-15 && tone.frequency_hz == 50);
    assert_true(fabs(trace[0] - 1) < 1e-15 && fabs(trace[1] + 2) < 1e-15);
    free(nodes[0].unit);
    free(nodes[1].unit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lengths_in_sentences_keep_their_digits),
        cmocka_unit_test(what_is_no_measured_length_stays),
        cmocka_unit_test(findings_change_value_limit_and_unit_together),
        cmocka_unit_test(a_noise_result_changes_in_all_its_lengths),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
