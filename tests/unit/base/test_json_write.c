// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writing by a table of fields, and back.
#include "sample.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static enum lw_status read_text(const char *json, struct sample *sample, struct lw_error *error)
{
    return lw_json_read(&sample_shape, json, strlen(json), sample, error);
}

static void assert_round_trip(const char *json, bool pretty)
{
    struct sample first, second;
    struct lw_text one = {0}, two = {0};
    struct lw_error error = {0};
    assert_int_equal(read_text(json, &first, &error), LW_OK);
    assert_int_equal(lw_json_write(&sample_shape, &first, pretty, &one, &error), LW_OK);
    assert_int_equal(read_text(one.bytes, &second, &error), LW_OK);
    assert_int_equal(lw_json_write(&sample_shape, &second, pretty, &two, &error), LW_OK);
    assert_string_equal(one.bytes, two.bytes);
    lw_text_finish(&one);
    lw_text_finish(&two);
    lw_json_free(&sample_shape, &first);
    lw_json_free(&sample_shape, &second);
}

static void what_is_written_reads_back(void **state)
{
    (void)state;
    assert_round_trip(sample_full, false);
    assert_round_trip(sample_full, true);
    assert_round_trip("{\"text\":\"\"}", true);
}

static void absent_fields_are_left_out_or_null(void **state)
{
    (void)state;
    struct sample sample;
    struct lw_text text = {0};
    lw_json_init(&sample_shape, &sample);
    assert_int_equal(lw_json_write(&sample_shape, &sample, false, &text, NULL), LW_OK);
    assert_string_equal(text.bytes, "{\"standard\":1.5,\"maybe\":null,\"integer\":7,\"place\":0,"
                                    "\"boolean\":false,\"joints\":[],\"texts\":[],\"map\":{},"
                                    "\"spans\":[]}");
    lw_text_finish(&text);
}

static void pretty_text_is_indented_and_keeps_short_lists_together(void **state)
{
    (void)state;
    struct lw_text text = {0};
    struct sample sample;
    assert_int_equal(read_text("{\"text\":\"a,b\",\"joints\":[[1,\"P,1\"]],\"spans\":[{\"length_m\""
                               ":1}],\"raw\":{\"e\":{},\"l\":[]}}",
                               &sample, NULL),
                     LW_OK);
    assert_int_equal(lw_json_write(&sample_shape, &sample, true, &text, NULL), LW_OK);
    assert_string_equal(text.bytes, "{\n"
                                    "  \"text\": \"a,b\",\n"
                                    "  \"standard\": 1.5,\n"
                                    "  \"maybe\": null,\n"
                                    "  \"integer\": 7,\n"
                                    "  \"place\": 0,\n"
                                    "  \"boolean\": false,\n"
                                    "  \"joints\": [[1, \"P,1\"]],\n"
                                    "  \"texts\": [],\n"
                                    "  \"map\": {},\n"
                                    "  \"spans\": [\n"
                                    "    {\n"
                                    "      \"length_m\": 1,\n"
                                    "      \"count\": 2,\n"
                                    "      \"fixed\": true\n"
                                    "    }\n"
                                    "  ],\n"
                                    "  \"raw\": {\n"
                                    "    \"e\": {},\n"
                                    "    \"l\": []\n"
                                    "  }\n"
                                    "}\n");
    lw_text_finish(&text);
    lw_json_free(&sample_shape, &sample);
}

static void expect_unwritable(struct sample *sample, const char *says)
{
    struct lw_text text = {0};
    struct lw_error error = {0};
    assert_int_equal(lw_json_write(&sample_shape, sample, true, &text, &error), LW_USAGE);
    assert_string_equal(error.says, says);
    assert_int_equal(text.length, 0);
    lw_text_finish(&text);
    lw_json_init(&sample_shape, sample);
}

static void what_would_not_read_back_is_not_written(void **state)
{
    (void)state;
    struct sample sample;
    struct lw_pair pairs[] = {{"a", 1}, {"a", 2}};
    lw_json_init(&sample_shape, &sample);
    sample.number = INFINITY;
    expect_unwritable(&sample, "/number: no finite number");
    sample.text = (char[]){"\xff"};
    expect_unwritable(&sample, "/text: no valid UTF-8");
    sample.raw = (char[]){"{\"a\":}"};
    sample.maybe = INFINITY;
    expect_unwritable(&sample, "would not read back: line 1, column 122: '}' where a value should "
                               "stand");
    sample.map = (struct lw_list){pairs, 2};
    expect_unwritable(&sample,
                      "would not read back: line 1, column 104: key 'a' for the second time");
    sample.place = -3;
    expect_unwritable(&sample, "/place: no word stands for -3");
}

static void control_characters_are_written_as_escapes(void **state)
{
    (void)state;
    struct sample sample;
    struct lw_text text = {0};
    lw_json_init(&sample_shape, &sample);
    sample.text = (char[]){"\x1b\n\x7f\xc2\x9b\xe2\x80\xae\"\\/"};
    assert_int_equal(lw_json_write(&sample_shape, &sample, false, &text, NULL), LW_OK);
    assert_memory_equal(text.bytes, "{\"text\":\"\\u001b\\n\\u007f\\u009b\\u202e\\\"\\\\/\"", 41);
    lw_text_finish(&text);
}

struct open_sample {
    char *text, *raw;
    double number, standard;
    int integer, choice;
    struct span span, *optional;
};

static const struct lw_field open_fields[] = {
    {LW_AT(struct open_sample, text), .kind = LW_TEXT, .nullable = true, .required = true},
    {LW_AT(struct open_sample, raw), .kind = LW_RAW, .nullable = true},
    {LW_AT(struct open_sample, number), .kind = LW_NUMBER, .nullable = true},
    {LW_AT(struct open_sample, standard), .kind = LW_NUMBER, .nullable = true, .has_default = true,
     .fallback = 3},
    {LW_AT(struct open_sample, integer), .kind = LW_INTEGER, .nullable = true, .fallback = -1},
    {LW_AT(struct open_sample, choice), .kind = LW_CHOICE, .nullable = true, .names = rails,
     .fallback = -1},
    {LW_AT(struct open_sample, span), .kind = LW_OBJECT, .nullable = true, .sub = &span_shape},
    {LW_AT(struct open_sample, optional), .kind = LW_OPTIONAL, .nullable = true,
     .sub = &span_shape},
    {0},
};
static const struct lw_shape open_shape = {"open", sizeof(struct open_sample), open_fields, false};

static void assert_nullable(const char *json)
{
    struct open_sample sample;
    struct lw_text text = {0};
    assert_int_equal(lw_json_read(&open_shape, json, strlen(json), &sample, NULL), LW_OK);
    assert_int_equal(lw_json_write(&open_shape, &sample, false, &text, NULL), LW_OK);
    assert_string_equal(text.bytes, json);
    lw_text_finish(&text);
    lw_json_free(&open_shape, &sample);
}

static void null_stands_for_nothing_where_allowed(void **state)
{
    (void)state;
    assert_nullable("{\"text\":null,\"raw\":null,\"number\":null,\"standard\":null,"
                    "\"integer\":null,\"choice\":null,\"span\":null,\"optional\":null}");
    assert_nullable("{\"text\":\"\",\"raw\":[null],\"number\":0,\"standard\":3,"
                    "\"integer\":0,\"choice\":\"v_plus\","
                    "\"span\":{\"length_m\":1,\"count\":2,\"fixed\":true},"
                    "\"optional\":{\"length_m\":1,\"count\":2,\"fixed\":true}}");
}

static void a_tuple_keeps_its_places(void **state)
{
    (void)state;
    struct sample sample;
    struct lw_text text = {0};
    struct joint joints[] = {{.ohm = 1}, {.ohm = 2, .name = (char[]){"a"}}, {.ohm = NAN}};
    lw_json_init(&sample_shape, &sample);
    sample.joints = (struct lw_list){joints, 2};
    assert_int_equal(lw_json_write(&sample_shape, &sample, false, &text, NULL), LW_OK);
    assert_non_null(strstr(text.bytes, "\"joints\":[[1],[2,\"a\"]]"));
    lw_text_finish(&text);
    joints[1].ohm = NAN;
    expect_unwritable(&sample, "/joints/1/0: missing");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_written_reads_back),
        cmocka_unit_test(absent_fields_are_left_out_or_null),
        cmocka_unit_test(pretty_text_is_indented_and_keeps_short_lists_together),
        cmocka_unit_test(what_would_not_read_back_is_not_written),
        cmocka_unit_test(null_stands_for_nothing_where_allowed),
        cmocka_unit_test(a_tuple_keeps_its_places),
        cmocka_unit_test(control_characters_are_written_as_escapes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
