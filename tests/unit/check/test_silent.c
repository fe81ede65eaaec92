// SPDX-License-Identifier: GPL-3.0-or-later
//
// Which silent nodes are one finding, and what it is about.
#include "check/silent.h"
#include "walk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static const char two_supplies[] =
    "[{\"name\": \"PS1\", \"nominal_v\": 24, \"limit_a\": 5, \"feeds_tap\": 1},"
    " {\"name\": \"PS2\", \"nominal_v\": 24, \"limit_a\": 5, \"feeds_tap\": 4,"
    "  \"cuts_before\": \"v_plus\"}]";

static void judge(struct walk *walk, const char *heard, enum lw_silent_tap *taps)
{
    for (size_t i = 0; heard[i] != '\0'; i++) {
        taps[i] = heard[i] == 's'   ? LW_TAP_SILENT
                  : heard[i] == 'a' ? LW_TAP_ANSWERS
                                    : LW_TAP_NOT_ASKED;
    }
    lw_silent_findings(&walk->plan, taps, NULL, &walk->findings);
}

// 's' silent, 'a' answers, '-' not asked, a letter for each tap. `code` NULL: no finding; `says`
// and `next` are parts of what is said.
static void expect(const char *heard, const char *supplies, const char *code, const char *says,
                   const char *next)
{
    struct walk walk;
    enum lw_silent_tap taps[16] = {LW_TAP_NOT_ASKED};
    walk_open_cell(&walk, &(struct cell){.probes = strlen(heard), .supplies = supplies}, 1);
    judge(&walk, heard, taps);
    const struct lw_finding *finding = walk.findings.list.items;
    assert_int_equal(walk.findings.list.count, code != NULL);
    for (size_t i = 0; heard[i] != '\0'; i++) {
        assert_true(taps[i] != LW_TAP_TOLD || heard[i] == 's');
        assert_true(taps[i] != LW_TAP_TOLD || code != NULL);
    }
    if (code != NULL) {
        assert_string_equal(finding->code, code);
        assert_non_null(strstr(finding->says, says));
        assert_non_null(strstr(finding->next, next));
        assert_int_equal(taps[finding->tap - 1], LW_TAP_TOLD);
    }
    walk_close(&walk);
}

static void all_silent_is_the_line(void **state)
{
    (void)state;
    expect("ssssss", two_supplies, "line_silent_all", "none of the 6 nodes", "D0 and D1");
    expect("--ss--", two_supplies, "line_silent_all", "none of the 2 nodes", "D0 and D1");
    expect("ss", NULL, "line_silent_all", "none of the 2 nodes", "D0 and D1");
}

static void a_silent_section_is_its_supply(void **state)
{
    (void)state;
    expect("sssaaa", two_supplies, "line_silent_section", "PS1 feeds answers: P01-P03", "PS1");
    expect("aaasss", two_supplies, "line_silent_section", "PS2 feeds answers: P04-P06", "PS2");
}

static void a_section_that_was_asked_in_part_is_not_called_silent(void **state)
{
    (void)state;
    expect("aaa-ss", two_supplies, NULL, NULL, NULL);
    expect("-ssaaa", two_supplies, NULL, NULL, NULL);
}

static void a_silent_tail_is_the_span_before_it(void **state)
{
    (void)state;
    expect("aaaass", two_supplies, "line_silent_from", "P05 and all nodes behind it, up to P06",
           "span just before P05");
    expect("aaasss", NULL, "line_silent_from", "P04 and all nodes behind it", "before P04");
    expect("ssssas", NULL, "line_silent_row", "4 nodes in a row do not answer: P01-P04", "P01-P04");
}

static void a_row_in_the_middle_is_what_its_nodes_share(void **state)
{
    (void)state;
    expect("assssa", NULL, "line_silent_row", "4 nodes in a row do not answer: P02-P05", "P02-P05");
    expect("asssaa", two_supplies, "line_silent_row", "P02-P04", "P02-P04");
}

static void few_are_told_one_by_one(void **state)
{
    (void)state;
    expect("aaaaaa", two_supplies, NULL, NULL, NULL);
    expect("asassa", two_supplies, NULL, NULL, NULL);
    expect("aaaaas", NULL, NULL, NULL, NULL);
    expect("s", NULL, NULL, NULL, NULL);
    expect("------", NULL, NULL, NULL, NULL);
}

static void two_causes_are_two_findings(void **state)
{
    (void)state;
    struct walk walk;
    enum lw_silent_tap taps[16] = {LW_TAP_NOT_ASKED};
    walk_open_cell(&walk, &(struct cell){.probes = 9, .supplies = two_supplies}, 1);
    judge(&walk, "sssasaass", taps);
    assert_non_null(walk_found(&walk, "line_silent_section", "P01"));
    assert_non_null(walk_found(&walk, "line_silent_from", "P08"));
    assert_int_equal(walk.findings.list.count, 2);
    assert_int_equal(taps[4], LW_TAP_SILENT);
    walk_close(&walk);
}

// A dead supply as roster and scan see it, to the end.
static void a_dead_supply_is_named_by_the_roster(void **state)
{
    (void)state;
    struct walk walk;
    walk_open_cell(&walk,
                   &(struct cell){.probes = 6,
                                  .supplies = two_supplies,
                                  .faults =
                                      "{\"kind\": \"overloaded_supply\", \"supply\": \"PS2\", "
                                      "\"extra_a\": 6}"},
                   1);
    walk_roster(&walk, NULL);
    assert_non_null(walk_found(&walk, "line_silent_section", "P04"));
    assert_int_equal(walk_count(&walk, "roster_missing"), 0);
    walk_close(&walk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_silent_is_the_line),
        cmocka_unit_test(a_silent_section_is_its_supply),
        cmocka_unit_test(a_section_that_was_asked_in_part_is_not_called_silent),
        cmocka_unit_test(a_silent_tail_is_the_span_before_it),
        cmocka_unit_test(a_row_in_the_middle_is_what_its_nodes_share),
        cmocka_unit_test(few_are_told_one_by_one),
        cmocka_unit_test(two_causes_are_two_findings),
        cmocka_unit_test(a_dead_supply_is_named_by_the_roster),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
