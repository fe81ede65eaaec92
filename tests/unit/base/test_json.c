// SPDX-License-Identifier: GPL-3.0-or-later
//
// Reading by a table of fields.
#include "sample.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static enum lw_status read_text(const char *json, struct sample *sample, struct lw_error *error)
{
    return lw_json_read(&sample_shape, json, strlen(json), sample, error);
}

static void expect_refusal(const char *json, const char *says)
{
    struct sample sample, zero;
    struct lw_error error = {0};
    memset(&zero, 0, sizeof zero);
    assert_int_equal(read_text(json, &sample, &error), LW_BAD_FILE);
    assert_string_equal(error.says, says);
    assert_memory_equal(&sample, &zero, sizeof sample);
}

static void every_kind_is_read(void **state)
{
    (void)state;
    struct sample sample;
    struct lw_error error = {0};
    assert_int_equal(read_text(sample_full, &sample, &error), LW_OK);
    assert_string_equal(sample.text, "caf\xc3\xa9 \xf0\x9f\x98\x80");
    assert_true(sample.number == 0.1 && sample.standard == 2 && isnan(sample.maybe));
    assert_int_equal(sample.integer, -3);
    assert_int_equal(sample.place, -2);
    assert_int_equal(sample.choice, 2);
    assert_true(sample.boolean);
    assert_true(sample.span.length_m == 4 && sample.span.count == 2 && sample.span.fixed);
    assert_true(sample.optional->length_m == 1e-3 && !sample.optional->fixed);
    const struct joint *joints = sample.joints.items;
    assert_int_equal(sample.joints.count, 2);
    assert_string_equal(joints[0].name, "P01");
    assert_true(joints[1].ohm == 0.5 && joints[1].name == NULL);
    assert_true(((double *)sample.numbers.items)[1] == 2.5);
    assert_string_equal(((char **)sample.texts.items)[1], "");
    const struct lw_pair *pairs = sample.map.items;
    assert_string_equal(pairs[1].name, "P02");
    assert_true(pairs[1].value == -2);
    assert_int_equal(sample.spans.count, 2);
    assert_string_equal(sample.raw, "{\"z\":[1,2.5,\"x\\n\"],\"a\":{},\"n\":null,\"t\":true}");
    lw_json_free(&sample_shape, &sample);
    assert_null(sample.text);
}

static void absent_fields_get_what_the_table_says(void **state)
{
    (void)state;
    struct sample sample;
    assert_int_equal(read_text("{\"text\":\"\"}", &sample, NULL), LW_OK);
    assert_true(isnan(sample.number) && sample.standard == 1.5 && isnan(sample.maybe));
    assert_int_equal(sample.integer, 7);
    assert_int_equal(sample.choice, -1);
    assert_true(isnan(sample.span.length_m) && sample.span.count == 2 && sample.span.fixed);
    assert_null(sample.optional);
    assert_null(sample.raw);
    assert_int_equal(sample.spans.count, 0);
    lw_json_free(&sample_shape, &sample);
}

static void what_is_wrong_is_said_with_its_place(void **state)
{
    (void)state;
    expect_refusal("{}", "/text: missing");
    expect_refusal("[]", "top level: wrong type: must be an object, is a list");
    expect_refusal("{\"text\":1}", "/text: wrong type: must be a text, is a number");
    expect_refusal("{\"text\":\"\",\"number\":\"1\"}",
                   "/number: wrong type: must be a number, is a text");
    expect_refusal("{\"text\":\"\",\"number\":null}",
                   "/number: wrong type: must be a number, is null");
    expect_refusal("{\"text\":\"\",\"nubmer\":1}", "/nubmer: unknown key (did you mean 'number'?)");
    expect_refusal("{\"text\":\"\",\"x/y~\":1}", "/x~1y~0: unknown key");
    expect_refusal("{\"text\":\"\",\"spans\":[{\"length_m\":1},{\"length_m\":-1}]}",
                   "/spans/1/length_m: must be above 0, is -1");
    expect_refusal("{\"text\":\"\",\"spans\":[{}]}", "/spans/0/length_m: missing");
    expect_refusal("{\"text\":\"\",\"tap\":0}", "/tap: must be at least 1, is 0");
    expect_refusal("{\"text\":\"\",\"tap\":248}", "/tap: must be at most 247, is 248");
    expect_refusal("{\"text\":\"\",\"integer\":1.5}", "/integer: must be a whole number, is 1.5");
    expect_refusal("{\"text\":\"\",\"integer\":3000000000}",
                   "/integer: must be at most 2147483647, is 3000000000");
    expect_refusal("{\"text\":\"\",\"choice\":\"all\"}",
                   "/choice: must be one of v_plus, zero_v, both, is 'all'");
    expect_refusal("{\"text\":\"\",\"place\":\"top\"}",
                   "/place: must be a whole number or one of head, tail, is 'top'");
    expect_refusal("{\"text\":\"\",\"place\":-1}", "/place: must be at least 0, is -1");
    expect_refusal("{\"text\":\"\",\"boolean\":0}",
                   "/boolean: wrong type: must be true or false, is a number");
    expect_refusal("{\"text\":\"\",\"numbers\":[1]}",
                   "/numbers: must have at least 2 items, has 1");
    expect_refusal("{\"text\":\"\",\"numbers\":[1,2,3,4]}",
                   "/numbers: must have at most 3 items, has 4");
    expect_refusal("{\"text\":\"\",\"map\":{\"a\":1,\"b\":\"\"}}",
                   "/map/b: wrong type: must be a number, is a text");
    expect_refusal("{\"text\":\"\",\"joints\":[[1,\"a\",2]]}",
                   "/joints/0/2: must have at most 2 items");
    expect_refusal("{\"text\":\"\",\"joints\":[[]]}", "/joints/0/0: missing");
}

static void hostile_keys_are_cleaned_and_cut(void **state)
{
    (void)state;
    struct sample sample;
    struct lw_error error = {0};
    struct lw_text json = {0};
    lw_text_add(&json, "{\"\\u001b[31m");
    for (int i = 0; i < 5000; i++) {
        lw_text_add(&json, "\xc3\xa9");
    }
    lw_text_add(&json, "\":1}");
    assert_int_equal(lw_json_read(&sample_shape, json.bytes, json.length, &sample, &error),
                     LW_BAD_FILE);
    assert_memory_equal(error.says, "/?[31m\xc3\xa9", 8);
    assert_non_null(strstr(error.says, ": unknown key"));
    lw_text_finish(&json);
}

static void reading_many_members_stays_fast(void **state)
{
    (void)state;
    struct sample sample;
    struct lw_text json = {0};
    lw_text_add(&json, "{\"text\":\"\",\"spans\":[{\"length_m\":1}");
    for (int i = 0; i < 50000; i++) {
        lw_text_add(&json, ",{\"length_m\":1,\"count\":3}");
    }
    lw_text_add(&json, "]}");
    clock_t before = clock();
    assert_int_equal(lw_json_read(&sample_shape, json.bytes, json.length, &sample, NULL), LW_OK);
    double took_s = (double)(clock() - before) / CLOCKS_PER_SEC;
    assert_int_equal(sample.spans.count, 50001);
    assert_true(took_s < 5); // a quadratic reader takes minutes
    lw_json_free(&sample_shape, &sample);
    lw_text_finish(&json);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_kind_is_read),
        cmocka_unit_test(absent_fields_get_what_the_table_says),
        cmocka_unit_test(what_is_wrong_is_said_with_its_place),
        cmocka_unit_test(hostile_keys_are_cleaned_and_cut),
        cmocka_unit_test(reading_many_members_stays_fast),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
