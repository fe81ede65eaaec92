// SPDX-License-Identifier: GPL-3.0-or-later
//
// Documents keep what they are given, cleaned, in order.
#include "report/document.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static const struct lw_document_block *block_at(const struct lw_document *document, size_t index)
{
    assert_true(index < document->blocks.count);
    return &((const struct lw_document_block *)document->blocks.items)[index];
}

static const char *line_at(const struct lw_list *lines, size_t index)
{
    assert_true(index < lines->count);
    return ((char **)lines->items)[index];
}

static void control_bytes_and_broken_utf8_do_not_enter(void **state)
{
    (void)state;
    char *text = lw_document_text("a\x1b[31mb\xff\xc0\x80 \xe2\x80\xae turned", 200);
    assert_string_equal(text, "a?[31mb\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd ? turned");
    free(text);
}

static void line_breaks_become_blanks(void **state)
{
    (void)state;
    char *text = lw_document_text("one\ntwo\tthree\r\nfour", 200);
    assert_string_equal(text, "one two three  four");
    free(text);
}

static void a_long_text_is_cut_at_a_whole_character_with_an_ellipsis(void **state)
{
    (void)state;
    char *text = lw_document_text("aaaa\xc3\xa9\xc3\xa9\xc3\xa9", 5);
    assert_string_equal(text, "aaaa\xe2\x80\xa6");
    free(text);
}

static void piled_combining_marks_are_dropped_past_the_fourth(void **state)
{
    (void)state;
    char *text = lw_document_text("a\xcc\x81\xcc\x81\xcc\x81\xcc\x81\xcc\x81\xcc\x81"
                                  "b\xcc\x81",
                                  200);
    assert_string_equal(text, "a\xcc\x81\xcc\x81\xcc\x81\xcc\x81"
                              "b\xcc\x81");
    free(text);
}

static void facts_that_follow_each_other_are_one_block(void **state)
{
    (void)state;
    struct lw_document document = {0};
    lw_document_fact(&document, "Customer", "Example Rings");
    lw_document_fact(&document, "Job", NULL);
    lw_document_paragraph(&document, "between");
    lw_document_fact(&document, "Machine", "");
    assert_int_equal(document.blocks.count, 3);
    assert_int_equal(block_at(&document, 0)->lines.count, 4);
    assert_string_equal(line_at(&block_at(&document, 0)->lines, 3), "-");
    assert_string_equal(line_at(&block_at(&document, 2)->lines, 1), "-");
    lw_document_finish(&document);
}

static void a_table_keeps_cells_row_by_row_and_a_mark_for_each_row(void **state)
{
    (void)state;
    const struct lw_column columns[] = {{"Node", NULL, false}, {"Voltage", "V", true}};
    struct lw_document document = {0};
    lw_document_table(&document, "Voltages", columns, 2);
    lw_document_cell(&document, "P01");
    lw_document_number(&document, 23.456, 2);
    lw_document_mark(&document, LW_FAIL);
    lw_document_cell(&document, "P02");
    lw_document_number(&document, NAN, 2);
    const struct lw_table *table = &block_at(&document, 0)->table;
    assert_int_equal(table->cells.count, 4);
    assert_string_equal(line_at(&table->cells, 1), "23.46");
    assert_string_equal(line_at(&table->cells, 3), "-");
    assert_int_equal(table->marks.count, 2);
    assert_int_equal(((int *)table->marks.items)[0], LW_FAIL);
    assert_int_equal(((int *)table->marks.items)[1], LW_PASS);
    assert_string_equal(table->units[1], "V");
    assert_null(table->units[0]);
    lw_document_finish(&document);
}

static void a_finding_is_copied_whole(void **state)
{
    (void)state;
    char *because[] = {(char *)"first", (char *)"second"};
    struct lw_finding finding = {.code = (char *)"link_error_rate",
                                 .severity = LW_UNDECIDED,
                                 .node = (char *)"P03",
                                 .tap = 3,
                                 .says = (char *)"1 error",
                                 .value = 0.001,
                                 .limit = NAN,
                                 .uncertainty = NAN,
                                 .because = {because, 2}};
    struct lw_document document = {0};
    lw_document_finding(&document, &finding);
    const struct lw_document_block *block = block_at(&document, 0);
    assert_int_equal(block->verdict, LW_UNDECIDED);
    assert_ptr_not_equal(block->finding.code, finding.code);
    assert_string_equal(line_at(&block->finding.because, 1), "second");
    assert_null(block->finding.next);
    lw_document_finish(&document);
}

static void where_a_finding_is_says_only_what_it_knows(void **state)
{
    (void)state;
    struct lw_text text = {0};
    lw_finding_where(&(struct lw_finding){.node = (char *)"P07", .tap = 7, .span = 7}, &text);
    assert_string_equal(text.bytes, "P07, tap 7, span 7");
    lw_text_clear(&text);
    lw_finding_where(&(struct lw_finding){.address = 9}, &text);
    assert_string_equal(text.bytes, "address 9");
    lw_text_clear(&text);
    lw_finding_where(&(struct lw_finding){0}, &text);
    assert_int_equal(text.length, 0);
    lw_text_finish(&text);
}

static void figures_of_a_finding_stand_with_their_unit(void **state)
{
    (void)state;
    struct lw_text text = {0};
    lw_finding_figures(&(struct lw_finding){.value = 16.2134,
                                            .limit = 19,
                                            .uncertainty = 0.03,
                                            .unit = (char *)"V",
                                            .instrument = (char *)"DMM-3"},
                       &text);
    assert_string_equal(
        text.bytes, "value 16.213 V, limit 19 V, standard uncertainty 0.03 V, measured with DMM-3");
    lw_text_finish(&text);
}

static void finishing_twice_or_nothing_is_harmless(void **state)
{
    (void)state;
    struct lw_document document = {0};
    lw_document_begin(&document, "title", "subtitle", NULL);
    assert_string_equal(document.language, "en");
    lw_document_finish(&document);
    lw_document_finish(&document);
    lw_document_finish(NULL);
    assert_null(document.title);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(control_bytes_and_broken_utf8_do_not_enter),
        cmocka_unit_test(line_breaks_become_blanks),
        cmocka_unit_test(a_long_text_is_cut_at_a_whole_character_with_an_ellipsis),
        cmocka_unit_test(piled_combining_marks_are_dropped_past_the_fourth),
        cmocka_unit_test(facts_that_follow_each_other_are_one_block),
        cmocka_unit_test(a_table_keeps_cells_row_by_row_and_a_mark_for_each_row),
        cmocka_unit_test(a_finding_is_copied_whole),
        cmocka_unit_test(where_a_finding_is_says_only_what_it_knows),
        cmocka_unit_test(figures_of_a_finding_stand_with_their_unit),
        cmocka_unit_test(finishing_twice_or_nothing_is_harmless),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
