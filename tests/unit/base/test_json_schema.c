// SPDX-License-Identifier: GPL-3.0-or-later
//
// The schema of the sample. That it judges as the reader does is shown beside Python's jsonschema
// in tests/peer.
#include "sample.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static void a_schema_says_ranges_units_and_what_is_required(void **state)
{
    (void)state;
    struct lw_text text = {0};
    struct lw_error error = {0};
    assert_int_equal(lw_json_schema(&span_shape, "a \"span\"", &text, &error), LW_OK);
    assert_string_equal(text.bytes,
                        "{\n"
                        "  \"$schema\": \"https://json-schema.org/draft/2020-12/schema\",\n"
                        "  \"title\": \"a \\\"span\\\"\",\n"
                        "  \"type\": \"object\",\n"
                        "  \"properties\": {\n"
                        "    \"length_m\": {\n"
                        "      \"description\": \"from the tap before\",\n"
                        "      \"x-unit\": \"m\",\n"
                        "      \"type\": \"number\",\n"
                        "      \"exclusiveMinimum\": 0\n"
                        "    },\n"
                        "    \"count\": {\n"
                        "      \"description\": \"\",\n"
                        "      \"type\": \"integer\",\n"
                        "      \"minimum\": -2147483648,\n"
                        "      \"maximum\": 2147483647\n"
                        "    },\n"
                        "    \"fixed\": {\n"
                        "      \"description\": \"\",\n"
                        "      \"type\": \"boolean\"\n"
                        "    }\n"
                        "  },\n"
                        "  \"required\": [\"length_m\"],\n"
                        "  \"additionalProperties\": false\n"
                        "}\n");
    lw_text_finish(&text);
}

static void a_schema_is_valid_json(void **state)
{
    (void)state;
    struct lw_text text = {0};
    struct lw_error error = {0};
    assert_int_equal(lw_json_schema(&sample_shape, "sample", &text, &error), LW_OK);
    assert_int_equal(lw_json_scan(text.bytes, text.length, &error), LW_OK);
    lw_text_finish(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_schema_says_ranges_units_and_what_is_required),
        cmocka_unit_test(a_schema_is_valid_json),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
