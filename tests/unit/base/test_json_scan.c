// SPDX-License-Identifier: GPL-3.0-or-later
//
// The strict pre-scan: what RFC 8259 allows passes, all else is refused with line and column, and
// nothing takes long.
#include "base/json.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static enum lw_status scan(const char *json, struct lw_error *error)
{
    return lw_json_scan(json, strlen(json), error);
}

static void what_the_grammar_allows_passes(void **state)
{
    (void)state;
    static const char *const right[] = {
        "0",
        " \t\r\n-0.5e+10 ",
        "true",
        "null",
        "\"\"",
        "[]",
        "{}",
        "[1,[2,{\"a\":[]}],\"\\\"\\\\\\/\\b\\f\\n\\r\\t\\u00e9\"]",
        "{\"\":1,\"a\":2,\"A\":3}",
        "\"\\ud83d\\ude00 \xf0\x9f\x98\x80 \x7f\"",
        "1e-999",
        "{\"a\":{\"a\":{\"a\":1}},\"b\":{\"a\":1}}",
    };
    for (size_t i = 0; i < sizeof right / sizeof right[0]; i++) {
        struct lw_error error = {0};
        assert_int_equal(scan(right[i], &error), LW_OK);
    }
}

static void what_it_does_not_allow_is_refused_with_its_place(void **state)
{
    (void)state;
    static const struct {
        const char *json, *says;
    } wrong[] = {
        {"", "line 1, column 1: the file ends where a value should follow"},
        {"{\n  \"a\": 1,\n  \"b\": 01}", "line 3, column 8: badly written number"},
        {"[1.]", "line 1, column 2: badly written number"},
        {"[.5]", "line 1, column 2: '.' where a value should stand"},
        {"[+1]", "line 1, column 2: '+' where a value should stand"},
        {"[-]", "line 1, column 2: badly written number"},
        {"[1e]", "line 1, column 2: badly written number"},
        {"[0x1]", "line 1, column 3: 'x' where ',' or ']' should stand"},
        {"[NaN]", "line 1, column 2: 'N' where a value should stand"},
        {"[1e999]", "line 1, column 2: number too large"},
        {"[-1e999]", "line 1, column 2: number too large"},
        {"[1,]", "line 1, column 4: ']' where a value should stand"},
        {"[1 2]", "line 1, column 4: '2' where ',' or ']' should stand"},
        {"{\"a\":1,}", "line 1, column 8: '}' where a key in double quotes should stand"},
        {"{a:1}", "line 1, column 2: 'a' where a key in double quotes should stand"},
        {"{'a':1}", "line 1, column 2: ''' where a key in double quotes should stand"},
        {"{\"a\" 1}", "line 1, column 6: '1' where ':' should stand"},
        {"{\"a\":1", "line 1, column 7: the file ends where ',' or '}' should follow"},
        {"\"a", "line 1, column 3: the file ends where the end of a text should follow"},
        {"\"a\tb\"", "line 1, column 3: control byte in a text: write it as an escape"},
        {"\"\\x\"", "line 1, column 2: unknown escape in a text"},
        {"\"\\", "line 1, column 2: unknown escape in a text"},
        {"\"\\u12g4\"", "line 1, column 2: \\u without four hexadecimal digits"},
        {"\"\\u12", "line 1, column 2: \\u without four hexadecimal digits"},
        {"\"\\u0000\"", "line 1, column 2: \\u0000 in a text"},
        {"\"\\ud800\"", "line 1, column 2: half a surrogate pair"},
        {"\"\\ud800x\"", "line 1, column 2: half a surrogate pair"},
        {"\"\\ud800\\ud800\"", "line 1, column 2: half a surrogate pair"},
        {"\"\\udc00\"", "line 1, column 2: half a surrogate pair"},
        {"\"\xc3\xa9\xff\"", "line 1, column 3: no valid UTF-8"},
        {"\"\xed\xa0\x80\"", "line 1, column 2: no valid UTF-8"},
        {"\xef\xbb\xbf{}", "line 1, column 1: byte order mark: save the file as UTF-8 without it"},
        {"{} {}", "line 1, column 4: '{' where the end of the file should stand"},
        {"nul", "line 1, column 1: 'n' where a value should stand"},
        {"nulll", "line 1, column 5: 'l' where the end of the file should stand"},
        {"// a\n{}", "line 1, column 1: '/' where a value should stand"},
        {"[\x1b]", "line 1, column 2: '?' where a value should stand"},
        {"{\"a\":1,\n\"b\":2,\n \"a\":3}", "line 3, column 2: key 'a' for the second time"},
        {"{\"a\":1,\"\\u0061\":3}", "line 1, column 8: key 'a' for the second time"},
        {"[{\"x\":{\"\":1,\"\":2}}]", "line 1, column 13: key '' for the second time"},
        {"1234567890123456789012345678901234567890123456789012345678901",
         "line 1, column 1: number of more than 60 characters"},
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct lw_error error = {0};
        assert_int_equal(scan(wrong[i].json, &error), LW_BAD_FILE);
        assert_string_equal(error.says, wrong[i].says);
    }
}

static void a_nul_byte_is_refused(void **state)
{
    (void)state;
    assert_int_equal(lw_json_scan("1\0", 2, NULL), LW_BAD_FILE);
    assert_int_equal(lw_json_scan("\"\0\"", 3, NULL), LW_BAD_FILE);
    assert_int_equal(lw_json_scan("\"\\\0\"", 4, NULL), LW_BAD_FILE);
}

static void repeat(struct lw_text *text, const char *piece, int count)
{
    for (int i = 0; i < count; i++) {
        lw_text_add(text, "%s", piece);
    }
}

static void depth_ends_at_32(void **state)
{
    (void)state;
    struct lw_text text = {0};
    struct lw_error error = {0};
    repeat(&text, "[", 32);
    repeat(&text, "]", 32);
    assert_int_equal(scan(text.bytes, &error), LW_OK);
    lw_text_clear(&text);
    repeat(&text, "{\"a\":", 33);
    assert_int_equal(scan(text.bytes, &error), LW_BAD_FILE);
    assert_string_equal(error.says, "line 1, column 161: nested deeper than 32");
    lw_text_finish(&text);
}

static void scan_keys(int count, enum lw_status expected, const char *says)
{
    struct lw_text text = {0};
    struct lw_error error = {0};
    lw_text_add(&text, "{\"k0\":0");
    for (int i = 1; i < count; i++) {
        lw_text_add(&text, ",\"k%d\":0", i);
    }
    lw_text_add(&text, "}");
    assert_int_equal(scan(text.bytes, &error), expected);
    assert_true(says == NULL || strstr(error.says, says) != NULL);
    lw_text_finish(&text);
}

static void an_object_has_at_most_4096_keys(void **state)
{
    (void)state;
    scan_keys(4096, LW_OK, NULL);
    scan_keys(4097, LW_BAD_FILE, "more than 4096 keys");
}

static void size_ends_at_16_megabytes(void **state)
{
    (void)state;
    size_t most = 16 * 1024 * 1024;
    struct lw_error error = {0};
    char *bytes = malloc(most + 1);
    assert_non_null(bytes);
    memset(bytes, ' ', most + 1);
    bytes[0] = '1';
    assert_int_equal(lw_json_scan(bytes, most, &error), LW_OK);
    assert_int_equal(lw_json_scan(bytes, most + 1, &error), LW_BAD_FILE);
    assert_string_equal(error.says, "larger than 16 MB");
    free(bytes);
}

// The limit is generous, since it guards against work that grows with the square: that would take
// minutes.
static void assert_quick(const char *bytes, size_t length, enum lw_status expected, double most_s)
{
    clock_t before = clock();
    assert_int_equal(lw_json_scan(bytes, length, NULL), expected);
    assert_true((double)(clock() - before) / CLOCKS_PER_SEC < most_s);
}

static void ten_megabytes_of_brackets_are_refused_at_once(void **state)
{
    (void)state;
    size_t length = 10 * 1000 * 1000;
    char *bytes = malloc(length);
    assert_non_null(bytes);
    memset(bytes, '[', length);
    assert_quick(bytes, length, LW_BAD_FILE, 0.05);
    free(bytes);
}

static void many_keys_stay_linear(void **state)
{
    (void)state;
    struct lw_text text = {0};
    lw_text_add(&text, "[0");
    for (int object = 0; object < 20; object++) {
        lw_text_add(&text, ",{\"x\":0");
        for (int i = 0; i < 4000; i++) {
            lw_text_add(&text, ",\"%08u\":0", (unsigned)i * 2654435U % 100000000U);
        }
        lw_text_add(&text, "}");
    }
    lw_text_add(&text, "]");
    assert_quick(text.bytes, text.length, LW_OK, 5);
    lw_text_finish(&text);
}

// Whatever bytes come, the scan answers and names a place within the file; run under the
// sanitizers this is also a search for reads beyond the end, since each try has memory of its own.
static void any_bytes_are_answered(void **state)
{
    (void)state;
    static const char marks[] = "{}[]\",:\\u0d8e1-.ntf \n\xc3\xa9\x00";
    static const char start[] = "{\"a\":[1,2.5,{\"b\":\"\\ud83d\\ude00\"}],\"c\":null}";
    uint32_t seed = 3;
    for (int round = 0; round < 50000; round++) {
        size_t length = sizeof start - 1 - (size_t)round % 7;
        char *bytes = malloc(length);
        assert_non_null(bytes);
        memcpy(bytes, start, length);
        for (int change = 0; change < 1 + round % 3; change++) {
            seed = seed * 1664525U + 1013904223U;
            bytes[(seed >> 8) % length] = marks[(seed >> 20) % (sizeof marks - 1)];
        }
        struct lw_error error = {0};
        enum lw_status status = lw_json_scan(bytes, length, &error);
        assert_true(status == LW_OK || (status == LW_BAD_FILE && error.says[0] == 'l'));
        free(bytes);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_the_grammar_allows_passes),
        cmocka_unit_test(what_it_does_not_allow_is_refused_with_its_place),
        cmocka_unit_test(a_nul_byte_is_refused),
        cmocka_unit_test(depth_ends_at_32),
        cmocka_unit_test(an_object_has_at_most_4096_keys),
        cmocka_unit_test(size_ends_at_16_megabytes),
        cmocka_unit_test(ten_megabytes_of_brackets_are_refused_at_once),
        cmocka_unit_test(many_keys_stay_linear),
        cmocka_unit_test(any_bytes_are_answered),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
