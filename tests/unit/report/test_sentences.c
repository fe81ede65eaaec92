// SPDX-License-Identifier: GPL-3.0-or-later
//
// Sentences of records in another language: formats matched backwards, and catalogues that are
// none.
#include "report/sentences.h"
#include "site/record.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const char *const pairs[][2] = {
    {"", "Content-Type: text/plain; charset=UTF-8\n"},
    {"%s", "%s"},
    {"%s has %.3g V, it needs %.3g V", "%s hat %.3g V und braucht %.3g V"},
    {"%s: %.0f error%s in %zu polls", "%s: %.0f Fehler%.0s in %zu Abfragen"},
    {"at least %.0f %% of the limit", "mindestens %.0f %% der Grenze"},
    {"look at %s", "%s ansehen"},
    {"span %zu", "Abschnitt %zu"},
    {"the check was interrupted", "die Prüfung wurde unterbrochen"},
    {"the check was %s", "die Prüfung war %s"},
};
enum { PAIRS = sizeof pairs / sizeof *pairs };

static void put_word(char *at, uint32_t word)
{
    for (int i = 0; i < 4; i++) {
        at[i] = (char)(word >> 8 * i & 0xff);
    }
}

// The pairs as a .mo file, written from the format's description in the GNU gettext manual, 10.3.
static size_t make_catalogue(char *bytes)
{
    size_t end = 20 + 16 * PAIRS;
    put_word(bytes, 0x950412de);
    put_word(bytes + 4, 0);
    put_word(bytes + 8, PAIRS);
    put_word(bytes + 12, 20);
    put_word(bytes + 16, 20 + 8 * PAIRS);
    for (size_t side = 0; side < 2; side++) {
        for (size_t i = 0; i < PAIRS; i++) {
            char *entry = bytes + 20 + 8 * (side * PAIRS + i);
            size_t length = strlen(pairs[i][side]);
            put_word(entry, (uint32_t)length);
            put_word(entry + 4, (uint32_t)end);
            memcpy(bytes + end, pairs[i][side], length + 1);
            end += length + 1;
        }
    }
    return end;
}

static struct lw_sentences *catalogue(void)
{
    char bytes[4000];
    struct lw_sentences *sentences = NULL;
    assert_int_equal(lw_sentences_read(bytes, make_catalogue(bytes), &sentences, NULL), LW_OK);
    return sentences;
}

static void says(const char *english, const char *german)
{
    struct lw_sentences *sentences = catalogue();
    char *said = lw_sentences_say(sentences, english);
    assert_string_equal(said, german);
    free(said);
    lw_sentences_free(sentences);
}

static void values_stay_as_they_were_written(void **state)
{
    (void)state;
    says("P03 has 17.9 V, it needs 18 V", "P03 hat 17.9 V und braucht 18 V");
    says("P03 has -1.2e-05 V, it needs nan V", "P03 hat -1.2e-05 V und braucht nan V");
    says("at least 95 % of the limit", "mindestens 95 % der Grenze");
}

static void a_plural_ending_is_left_out(void **state)
{
    (void)state;
    says("P01: 2 errors in 900 polls", "P01: 2 Fehler in 900 Abfragen");
    says("P01: 1 error in 900 polls", "P01: 1 Fehler in 900 Abfragen");
}

static void what_stands_in_a_sentence_is_looked_up_too(void **state)
{
    (void)state;
    says("look at span 7", "Abschnitt 7 ansehen");
    says("look at P07", "P07 ansehen");
    says("P01 and P02: look at P07", "P01 and P02: P07 ansehen");
    says("P01 look at P07", "P01 P07 ansehen");
}

static void the_sentence_with_most_words_of_its_own_wins(void **state)
{
    (void)state;
    says("the check was interrupted", "die Prüfung wurde unterbrochen");
    says("the check was repeated", "die Prüfung war repeated");
}

static void what_is_not_there_stays(void **state)
{
    (void)state;
    says("P03 has seventeen V, it needs 18 V.", "P03 has seventeen V, it needs 18 V.");
    says("100 %s", "100 %s");
    says("", "");
    char *said = lw_sentences_say(NULL, "span 3");
    assert_string_equal(said, "span 3");
    free(said);
}

static void what_people_wrote_stays(void **state)
{
    (void)state;
    struct lw_sentences *sentences = catalogue();
    char *checks[] = {(char *)(uintptr_t) "supply", (char *)(uintptr_t) "note"};
    struct lw_record items[2] = {{.check = checks[0]}, {.check = checks[1]}};
    struct lw_list records = {items, 2};
    for (size_t i = 0; i < 2; i++) {
        struct lw_finding *finding =
            lw_findings_add(&items[i].findings, "note_open_point", LW_ATTENTION, "span 3");
        lw_finding_because(&items[i].findings, finding, "look at span 4");
    }
    assert_int_equal(lw_sentences_apply(sentences, &records, NULL), LW_OK);
    const struct lw_finding *made = items[0].findings.list.items;
    const struct lw_finding *written = items[1].findings.list.items;
    assert_string_equal(made->says, "Abschnitt 3");
    assert_string_equal(((char **)made->because.items)[0], "Abschnitt 4 ansehen");
    assert_string_equal(written->says, "span 3");
    assert_string_equal(((char **)written->because.items)[0], "look at span 4");
    lw_findings_free(&items[0].findings);
    lw_findings_free(&items[1].findings);
    lw_sentences_free(sentences);
}

static void a_damaged_catalogue_is_refused_or_read_without_harm(void **state)
{
    (void)state;
    char whole[4000];
    size_t length = make_catalogue(whole);
    struct lw_sentences *sentences;
    for (size_t cut = 0; cut < length; cut++) {
        char *bytes = malloc(cut + 1); // of that size, so that a sanitizer sees a byte beyond
        memcpy(bytes, whole, cut);
        assert_int_equal(lw_sentences_read(bytes, cut, &sentences, NULL), LW_BAD_FILE);
        assert_null(sentences);
        free(bytes);
    }
    for (size_t at = 0; at < 20 + 16 * PAIRS; at++) {
        whole[at] ^= 0x55;
        if (lw_sentences_read(whole, length, &sentences, NULL) == LW_OK) {
            free(lw_sentences_say(sentences, "look at span 7"));
            lw_sentences_free(sentences);
        }
        whole[at] ^= 0x55;
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(values_stay_as_they_were_written),
        cmocka_unit_test(a_plural_ending_is_left_out),
        cmocka_unit_test(what_stands_in_a_sentence_is_looked_up_too),
        cmocka_unit_test(the_sentence_with_most_words_of_its_own_wins),
        cmocka_unit_test(what_is_not_there_stays),
        cmocka_unit_test(what_people_wrote_stays),
        cmocka_unit_test(a_damaged_catalogue_is_refused_or_read_without_harm),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
