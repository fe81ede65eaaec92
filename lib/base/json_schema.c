// SPDX-License-Identifier: GPL-3.0-or-later
//
// The JSON Schema (draft 2020-12) of a shape. What reads a file and what describes it is the same
// table, so a schema in the documentation cannot promise what the reader refuses.
#include "base/json_inside.h"

#include <limits.h>

static void put_shape(struct lw_text *out, const struct lw_shape *shape);

static void put_named_number(struct lw_text *out, const char *key, double value)
{
    lw_text_add(out, ",\"%s\":", key);
    lw_json_put_number(out, value);
}

static void put_limits(struct lw_text *out, double low, double high, bool above_low)
{
    if (isfinite(low)) {
        put_named_number(out, above_low ? "exclusiveMinimum" : "minimum", low);
    }
    if (isfinite(high)) {
        put_named_number(out, "maximum", high);
    }
}

static void put_type(struct lw_text *out, const char *type, bool nullable)
{
    lw_text_add(out, nullable ? "\"type\":[\"%s\",\"null\"]" : "\"type\":\"%s\"", type);
}

static void put_words(struct lw_text *out, const char *const *words, bool nullable)
{
    lw_text_add(out, "\"enum\":[");
    for (size_t i = 0; words[i] != NULL; i++) {
        lw_text_add(out, i == 0 ? "" : ",");
        lw_json_put_text(out, words[i]);
    }
    lw_text_add(out, nullable ? ",null]" : "]");
}

static void put_number(struct lw_text *out, const struct lw_field *field, bool nullable)
{
    put_type(out, "number", nullable);
    if (field->ranged) {
        put_limits(out, field->low, field->high, field->above_low);
    }
}

static void put_integer(struct lw_text *out, const struct lw_field *field)
{
    double low = field->ranged ? fmax(field->low, INT_MIN) : field->names ? 0 : INT_MIN;
    double high = field->ranged ? fmin(field->high, INT_MAX) : INT_MAX;
    if (field->names != NULL) {
        lw_text_add(out, "\"anyOf\":[{");
    }
    put_type(out, "integer", field->nullable);
    put_limits(out, low, high, field->ranged && field->above_low);
    if (field->names != NULL) {
        lw_text_add(out, "},{");
        put_words(out, field->names, false);
        lw_text_add(out, "}]");
    }
}

static void put_counts(struct lw_text *out, const struct lw_field *field, const char *things)
{
    if (field->low_items > 0) {
        lw_text_add(out, ",\"min%s\":%zu", things, field->low_items);
    }
    if (field->high_items > 0) {
        lw_text_add(out, ",\"max%s\":%zu", things, field->high_items);
    }
}

static void put_list(struct lw_text *out, const struct lw_field *field)
{
    put_type(out, "array", field->nullable);
    put_counts(out, field, "Items");
    lw_text_add(out, ",\"items\":{");
    if (field->kind == LW_NUMBERS) {
        put_number(out, field, false);
    } else if (field->kind == LW_TEXTS) {
        put_type(out, "string", false);
    } else {
        put_shape(out, field->sub);
    }
    lw_text_add(out, "}");
}

static void put_map(struct lw_text *out, const struct lw_field *field)
{
    put_type(out, "object", field->nullable);
    put_counts(out, field, "Properties");
    lw_text_add(out, ",\"additionalProperties\":{");
    put_number(out, field, false);
    lw_text_add(out, "}");
}

static void put_sub_shape(struct lw_text *out, const struct lw_field *field)
{
    if (!field->nullable) {
        put_shape(out, field->sub);
        return;
    }
    lw_text_add(out, "\"anyOf\":[{");
    put_shape(out, field->sub);
    lw_text_add(out, "},{\"type\":\"null\"}]");
}

// What a value may be. A raw value may be anything, so it says nothing.
static void put_value(struct lw_text *out, const struct lw_field *field)
{
    switch (field->kind) {
    case LW_TEXT:
        put_type(out, "string", field->nullable);
        break;
    case LW_NUMBER:
        put_number(out, field, field->nullable);
        break;
    case LW_INTEGER:
        put_integer(out, field);
        break;
    case LW_BOOLEAN:
        put_type(out, "boolean", field->nullable);
        break;
    case LW_CHOICE:
        put_words(out, field->names, field->nullable);
        break;
    case LW_OBJECT:
    case LW_OPTIONAL:
        put_sub_shape(out, field);
        break;
    case LW_LIST:
    case LW_NUMBERS:
    case LW_TEXTS:
        put_list(out, field);
        break;
    case LW_MAP:
        put_map(out, field);
        break;
    case LW_RAW:
        break;
    }
}

static void put_field(struct lw_text *out, const struct lw_field *field)
{
    lw_text_add(out, "{\"description\":");
    lw_json_put_text(out, field->says == NULL ? "" : field->says);
    if (field->unit != NULL) {
        lw_text_add(out, ",\"x-unit\":");
        lw_json_put_text(out, field->unit);
    }
    if (field->kind == LW_NUMBER && field->has_default) {
        put_named_number(out, "default", field->fallback);
    }
    if (field->kind != LW_RAW) {
        lw_text_add(out, ",");
    }
    put_value(out, field);
    lw_text_add(out, "}");
}

static void put_tuple(struct lw_text *out, const struct lw_shape *shape)
{
    size_t required = 0;
    lw_text_add(out, "\"type\":\"array\",\"prefixItems\":[");
    for (size_t i = 0; shape->fields[i].key != NULL; i++) {
        lw_text_add(out, i == 0 ? "" : ",");
        put_field(out, &shape->fields[i]);
        required = shape->fields[i].required ? i + 1 : required;
    }
    lw_text_add(out, "],\"items\":false,\"minItems\":%zu", required);
}

static void put_object(struct lw_text *out, const struct lw_shape *shape)
{
    lw_text_add(out, "\"type\":\"object\",\"properties\":{");
    for (size_t i = 0; shape->fields[i].key != NULL; i++) {
        lw_text_add(out, "%s\"%s\":", i == 0 ? "" : ",", shape->fields[i].key);
        put_field(out, &shape->fields[i]);
    }
    lw_text_add(out, "},\"required\":[");
    const char *between = "";
    for (size_t i = 0; shape->fields[i].key != NULL; i++) {
        if (shape->fields[i].required) {
            lw_text_add(out, "%s\"%s\"", between, shape->fields[i].key);
            between = ",";
        }
    }
    lw_text_add(out, "],\"additionalProperties\":false");
}

static void put_shape(struct lw_text *out, const struct lw_shape *shape)
{
    if (shape->tuple) {
        put_tuple(out, shape);
    } else {
        put_object(out, shape);
    }
}

enum lw_status lw_json_schema(const struct lw_shape *shape, const char *title, struct lw_text *out,
                              struct lw_error *error)
{
    struct lw_text compact = {0};
    lw_text_add(&compact, "{\"$schema\":\"https://json-schema.org/draft/2020-12/schema\"");
    lw_text_add(&compact, ",\"title\":");
    lw_json_put_text(&compact, title);
    lw_text_add(&compact, ",");
    put_shape(&compact, shape);
    lw_text_add(&compact, "}");
    if (!compact.failed) {
        lw_json_put_pretty(out, compact.bytes, compact.length);
        lw_text_put(out, "\n", 1);
    }
    bool failed = compact.failed || out->failed;
    lw_text_finish(&compact);
    return failed ? lw_json_no_memory(error) : LW_OK;
}
