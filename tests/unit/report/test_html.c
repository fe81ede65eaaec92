// SPDX-License-Identifier: GPL-3.0-or-later
//
// The page: one file, no script, no request, and nothing that a text can break. A small scanner
// reads the page as a browser's tokenizer would and knows the few elements and attributes that we
// ourselves write.
#include "fixture.h"
#include "report/report.h"

#include "base/file.h"
#include "base/utf8.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static char *page_of(const struct fixture_options *options)
{
    struct fixture *fixture = fixture_new(options);
    struct lw_document document = {0};
    struct lw_text html = {0};
    struct lw_error error = {0};
    lw_report_tell(&document, fixture_view(fixture));
    assert_int_equal(lw_report_html(&document, &html, &error), LW_OK);
    assert_true(lw_utf8_valid(html.bytes, html.length));
    lw_document_finish(&document);
    fixture_free(fixture);
    return html.bytes;
}

static char *ordinary_page(size_t nodes, bool simulated)
{
    return page_of(
        &(struct fixture_options){.nodes = nodes, .faulty = true, .simulated = simulated});
}

static bool is_one_of(const char *word, size_t length, const char *const *words)
{
    for (; *words != NULL; words++) {
        if (strlen(*words) == length && memcmp(*words, word, length) == 0) {
            return true;
        }
    }
    return false;
}

static void check_attribute(const char *name, size_t length)
{
    static const char *const known[] = {
        "lang",        "charset",         "http-equiv",  "content",
        "name",        "class",           "role",        "aria-label",
        "tabindex",    "scope",           "id",          "href",
        "d",           "viewBox",         "x",           "y",
        "width",       "height",          "cx",          "cy",
        "r",           "font-size",       "text-anchor", "transform",
        "aria-hidden", "aria-labelledby", "alt",         "src",
        NULL};
    if (!is_one_of(name, length, known)) {
        fail_msg("attribute '%.*s'", (int)length, name);
    }
}

static void check_element(const char *name, size_t length)
{
    static const char *const known[] = {
        "html",    "header",  "head",    "meta",  "title", "style",  "body",       "main", "h1",
        "h2",      "h3",      "h4",      "p",     "b",     "ul",     "li",         "dl",   "dt",
        "dd",      "div",     "span",    "table", "thead", "tbody",  "tr",         "th",   "td",
        "caption", "section", "article", "nav",   "a",     "figure", "figcaption", "svg",  "desc",
        "path",    "rect",    "circle",  "text",  "img",   NULL};
    if (!is_one_of(name, length, known)) {
        fail_msg("element '%.*s'", (int)length, name);
    }
}

// Reads one tag from behind its '<'; returns the place behind its '>'.
static const char *read_tag(const char *at)
{
    if (strncmp(at, "!DOCTYPE html>", 14) == 0) {
        return at + 14;
    }
    at += *at == '/';
    size_t length = strspn(at, "abcdefghijklmnopqrstuvwxyz0123456789");
    check_element(at, length);
    at += length;
    while (*at != '>' && strncmp(at, "/>", 2) != 0) {
        assert_true(*at == ' ');
        at++;
        length = strcspn(at, "= >");
        check_attribute(at, length);
        at += length;
        assert_memory_equal(at, "=\"", 2);
        at = strchr(at + 2, '"');
        assert_non_null(at);
        at++;
    }
    return strchr(at, '>') + 1;
}

static void check_markup(const char *page)
{
    const char *style = strstr(page, "<style>"), *end = strstr(page, "</style>");
    assert_non_null(style);
    assert_null(strstr(end + 1, "</style>"));
    for (const char *at = strchr(page, '<'); at != NULL; at = strchr(at, '<')) {
        at = read_tag(at + 1);
        at = at == style + 7 ? end : at;
    }
}

static void the_page_is_made_of_known_elements_and_attributes_only(void **state)
{
    (void)state;
    char *page = ordinary_page(24, true);
    check_markup(page);
    free(page);
}

static void nothing_is_loaded_and_nothing_runs(void **state)
{
    (void)state;
    char *page = ordinary_page(24, false);
    assert_non_null(strstr(page, "content=\"default-src 'none'; base-uri 'none'; form-action "
                                 "'none'; style-src 'sha256-"));
    const char *const never[] = {"<script",  "<link",   "<img",    "<iframe", "javascript:",
                                 "url(",     "@import", " src=",   " style=", "http://",
                                 "https://", " onload", "<object", "<base",   "<use"};
    for (size_t i = 0; i < sizeof never / sizeof *never; i++) {
        assert_null(strstr(page, never[i]));
    }
    for (const char *at = strstr(page, "href=\""); at; at = strstr(at + 1, "href=\"")) {
        assert_int_equal(at[6], '#');
    }
    free(page);
}

// Base64 as RFC 4648, section 4 defines it, of bytes given in hexadecimal, checked backwards: each
// digit of the policy is turned into bits and compared.
static void the_policy_allows_exactly_this_style_sheet(void **state)
{
    (void)state;
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    char *page = ordinary_page(4, false), digest[LW_DIGEST];
    const char *from = strstr(page, "<style>") + 7, *to = strstr(from, "</style>");
    lw_digest(from, (size_t)(to - from), digest);
    const char *given = strstr(page, "'sha256-") + 8;
    assert_memory_equal(given + 43, "='", 2);
    for (size_t bit = 0; bit < 256; bit++) {
        char nibble[2] = {digest[bit / 4], '\0'};
        unsigned expected = (unsigned)strtoul(nibble, NULL, 16) >> (3 - bit % 4) & 1;
        unsigned digit = (unsigned)(strchr(digits, given[bit / 6]) - digits);
        assert_int_equal(digit >> (5 - bit % 6) & 1, expected);
    }
    free(page);
}

static void headings_go_down_one_step_at_a_time(void **state)
{
    (void)state;
    char *page = ordinary_page(24, false);
    int before = 0, first = 0;
    for (const char *at = strstr(page, "<h"); at != NULL; at = strstr(at + 1, "<h")) {
        if (at[2] < '1' || at[2] > '6') {
            continue;
        }
        int level = at[2] - '0';
        first += level == 1;
        assert_true(level <= before + 1);
        before = level;
    }
    assert_int_equal(first, 1);
    free(page);
}

static void every_chart_is_an_image_with_words(void **state)
{
    (void)state;
    char *page = ordinary_page(24, false);
    int count = 0;
    for (const char *at = strstr(page, "<svg"); at != NULL; at = strstr(at + 1, "<svg")) {
        const char *end = strstr(at, "</svg>"), *words = strstr(at, "<desc");
        assert_non_null(strstr(at, "role=\"img\""));
        assert_true(words != NULL && words < end);
        assert_true(strchr(words, '>')[1] != '<');
        count++;
    }
    // voltage, errors, reply times, noise in two units, one trace and its histogram; the digest's
    // code
    assert_int_equal(count, 8);
    assert_non_null(strstr(page, "P23 has the least margin"));
    free(page);
}

static void a_simulated_visit_says_so_and_takes_no_signature(void **state)
{
    (void)state;
    char *page = ordinary_page(4, true);
    assert_non_null(strstr(page, "simulated: cannot be signed off"));
    assert_non_null(strstr(page, "class=\"watermark\" aria-hidden=\"true\">SIMULATED<"));
    assert_non_null(strstr(page, "@top-center{font:700 10pt sans-serif;content:\"SIMULATED\"}"));
    assert_null(strstr(page, "class=\"signatures seal\""));
    free(page);
    page = ordinary_page(4, false);
    assert_null(strstr(page, "SIMULATED"));
    assert_non_null(strstr(page, "class=\"signatures seal\""));
    free(page);
}

static void records_that_do_not_fit_take_no_signature(void **state)
{
    (void)state;
    char *page = page_of(&(struct fixture_options){.nodes = 4, .broken = 3});
    assert_non_null(strstr(page, "The records do not fit together: record 3"));
    assert_null(strstr(page, "class=\"signatures seal\""));
    assert_null(strstr(page, "every file fits its digest"));
    free(page);
}

static void the_front_page_comes_first_and_says_what_it_must(void **state)
{
    (void)state;
    char *page = ordinary_page(24, false);
    const char *end = strstr(page, "<div class=\"page\">");
    const char *const needed[] = {"not accepted",
                                  "Example Rings",
                                  "Cell 4 ring gauge",
                                  "E. Example",
                                  "A. Sample",
                                  "2026-11-25 08:31 UTC",
                                  "drives on",
                                  "Caution",
                                  "Carried out by E. Example",
                                  "9d4e5b6a79788990",
                                  "stopped, said by A. Sample"};
    for (size_t i = 0; i < sizeof needed / sizeof *needed; i++) {
        const char *found = strstr(page, needed[i]);
        assert_true(found != NULL && found < end);
    }
    free(page);
}

static void open_points_stand_on_the_front_page_with_room_for_an_owner(void **state)
{
    (void)state;
    char *page = ordinary_page(4, false);
    const char *end = strstr(page, "<div class=\"page\">");
    const char *point = strstr(page, "the clamp at station 2 is loose");
    assert_true(point != NULL && point < end);
    assert_true(strstr(page, "Closed by") < end);
    assert_non_null(strstr(end, "the clamp at station 2 is loose"));
    free(page);
}

static void the_front_page_counts_findings_by_severity(void **state)
{
    (void)state;
    char *page = ordinary_page(4, false);
    assert_non_null(strstr(page, "<dt>Findings</dt><dd>3 fail, 1 undecided, 2 attention</dd>"));
    free(page);
}

static void what_several_checks_say_is_told_once(void **state)
{
    (void)state;
    char *page = ordinary_page(4, false);
    const char *first = strstr(page, "all nodes up to the last do not answer");
    assert_non_null(first);
    assert_null(strstr(first + 1, "all nodes up to the last do not answer"));
    free(page);
}

static void what_was_not_tested_is_named(void **state)
{
    (void)state;
    char *page = ordinary_page(4, false);
    assert_non_null(strstr(page, "Not tested, and so not vouched for: touch."));
    assert_non_null(strstr(page, "machine guarded today"));
    free(page);
}

static void hostile_text_stays_text_in_every_field(void **state)
{
    (void)state;
    static const char *const corpus[] = {
        "<script>alert(1)</script>",
        "</td></table><img src=x onerror=alert(1)>",
        "\"><svg/onload=alert(1)>",
        "' onmouseover='alert(1)",
        "</style><script>alert(1)</script>",
        "</title><script>alert(1)</script>",
        "\"}*{background:url(https://example.invalid/x)}",
        "]]>--><!--",
        "&lt;script&gt;&#0;&#x0;",
        "\x1b]0;owned\x07\x1b[2J",
        "\xff\xfe\xc0\xaf\xed\xa0\x80\xf4\x90\x80\x80",
        "\xe2\x80\xae"
        "detrevni\xe2\x81\xa6",
        "a\xcc\x81\xcc\x81\xcc\x81\xcc\x81\xcc\x81\xcc\x81\xcc\x81\xcc\x81\xcc\x81\xcc\x81",
        "%s%n%p%1000000d",
        "line one\nline two\r\n\ttabbed",
        "\xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d (1) \xd8\xb3\xd9\x84\xd8\xa7\xd9\x85",
        "{{constructor}}${7*7}<%= 7*7 %>",
        "",
    };
    for (size_t i = 0; i < sizeof corpus / sizeof *corpus; i++) {
        char *page =
            page_of(&(struct fixture_options){.nodes = 6, .faulty = true, .hostile = corpus[i]});
        check_markup(page);
        assert_null(strstr(page, "<script"));
        assert_null(strstr(page, "<img"));
        const char *style = strstr(page, "<style>"), *end = strstr(page, "</style>");
        const char *url = strstr(style, "url(");
        assert_true(url == NULL || url > end);
        assert_null(strchr(page, '\x1b'));
        free(page);
    }
}

static void a_very_long_word_is_cut_and_may_break(void **state)
{
    (void)state;
    char word[20001];
    memset(word, 'W', sizeof word - 1);
    word[sizeof word - 1] = '\0';
    char *page = page_of(&(struct fixture_options){.nodes = 6, .faulty = true, .hostile = word});
    check_markup(page);
    char longest[LW_DOCUMENT_SENTENCE + 2];
    memset(longest, 'W', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    assert_null(strstr(page, longest));
    assert_non_null(strstr(page, "<td class=\"w\">WWWW"));
    free(page);
}

static void two_hundred_nodes_stay_a_page_of_moderate_size(void **state)
{
    (void)state;
    char *page = ordinary_page(200, false);
    assert_true(strlen(page) < 1000000);
    assert_non_null(strstr(page, "Likewise 79 more, told one by one in the annex: P122, P123"));
    free(page);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_page_is_made_of_known_elements_and_attributes_only),
        cmocka_unit_test(nothing_is_loaded_and_nothing_runs),
        cmocka_unit_test(the_policy_allows_exactly_this_style_sheet),
        cmocka_unit_test(headings_go_down_one_step_at_a_time),
        cmocka_unit_test(every_chart_is_an_image_with_words),
        cmocka_unit_test(a_simulated_visit_says_so_and_takes_no_signature),
        cmocka_unit_test(records_that_do_not_fit_take_no_signature),
        cmocka_unit_test(the_front_page_comes_first_and_says_what_it_must),
        cmocka_unit_test(open_points_stand_on_the_front_page_with_room_for_an_owner),
        cmocka_unit_test(the_front_page_counts_findings_by_severity),
        cmocka_unit_test(what_several_checks_say_is_told_once),
        cmocka_unit_test(what_was_not_tested_is_named),
        cmocka_unit_test(hostile_text_stays_text_in_every_field),
        cmocka_unit_test(a_very_long_word_is_cut_and_may_break),
        cmocka_unit_test(two_hundred_nodes_stay_a_page_of_moderate_size),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
