// SPDX-License-Identifier: GPL-3.0-or-later
//
// Writing a struct as JSON by the same table that reads it. The text is made compact, laid out
// afterwards where asked, and at last put through the pre-scan: what leaves here can be read back.
#include "base/json_inside.h"

#include "base/utf8.h"

struct writer {
    struct lw_text *out;
    struct lw_error *error;
};

static bool is_absent(const struct lw_field *field, const void *member);

static bool shape_is_absent(const struct lw_shape *shape, const void *object)
{
    for (const struct lw_field *field = shape->fields; field->key != NULL; field++) {
        const void *member = lw_json_member(object, field);
        bool absent = field->kind == LW_BOOLEAN ? *(const bool *)member == (field->fallback != 0)
                      : field->kind == LW_INTEGER || field->kind == LW_CHOICE
                          ? *(const int *)member == (int)field->fallback
                      : field->kind == LW_LIST || field->kind == LW_NUMBERS ||
                              field->kind == LW_TEXTS || field->kind == LW_MAP
                          ? ((const struct lw_list *)member)->count == 0
                      : field->kind == LW_NUMBER && field->has_default
                          ? *(const double *)member == field->fallback
                          : is_absent(field, member);
        if (!absent) {
            return false;
        }
    }
    return true;
}

// A fallback that could not stand in a file, or that null stands for, means "not given".
static bool integer_is_absent(const struct lw_field *field, int value)
{
    bool word = field->names != NULL && value < 0;
    bool outside = field->ranged && (value < field->low || value > field->high);
    return value == (int)field->fallback && !word && (field->nullable || outside);
}

// True when the member holds no value that could be written.
static bool is_absent(const struct lw_field *field, const void *member)
{
    switch (field->kind) {
    case LW_TEXT:
    case LW_RAW:
    case LW_OPTIONAL:
        return *(void *const *)member == NULL;
    case LW_NUMBER:
        return isnan(*(const double *)member) ||
               (field->nullable && isinf(*(const double *)member));
    case LW_INTEGER:
        return integer_is_absent(field, *(const int *)member);
    case LW_CHOICE:
        return *(const int *)member < 0;
    case LW_OBJECT:
        return !field->required && shape_is_absent(field->sub, member);
    case LW_LIST:
    case LW_NUMBERS:
    case LW_TEXTS:
    case LW_MAP:
        return ((const struct lw_list *)member)->count == 0 && field->low_items > 0;
    case LW_BOOLEAN:
        return false;
    }
    return false;
}

static enum lw_status write_shape(const struct writer *writer, const struct lw_shape *shape,
                                  const struct lw_json_place *place, const void *object);

static enum lw_status write_text(const struct writer *writer, const struct lw_json_place *place,
                                 const char *text)
{
    if (text == NULL || !lw_utf8_valid(text, strlen(text))) {
        return lw_json_fail(place, writer->error, LW_USAGE,
                            text == NULL ? "a text is missing" : "no valid UTF-8");
    }
    lw_json_put_text(writer->out, text);
    return LW_OK;
}

static enum lw_status write_number(const struct writer *writer, const struct lw_json_place *place,
                                   double value)
{
    if (!isfinite(value)) {
        return lw_json_fail(place, writer->error, LW_USAGE, "no finite number");
    }
    lw_json_put_number(writer->out, value);
    return LW_OK;
}

static void put(const struct writer *writer, const char *text)
{
    lw_text_put(writer->out, text, strlen(text));
}

static enum lw_status write_integer(const struct writer *writer, const struct lw_field *field,
                                    const struct lw_json_place *place, int value)
{
    if (field->names == NULL || value >= 0) {
        return write_number(writer, place, value);
    }
    for (int i = 0; field->names[i] != NULL; i++) {
        if (i == -1 - value) {
            return write_text(writer, place, field->names[i]);
        }
    }
    return lw_json_fail(place, writer->error, LW_USAGE, "no word stands for %d", value);
}

static enum lw_status write_choice(const struct writer *writer, const struct lw_field *field,
                                   const struct lw_json_place *place, int value)
{
    for (int i = 0; field->names[i] != NULL; i++) {
        if (i == value) {
            return write_text(writer, place, field->names[i]);
        }
    }
    return lw_json_fail(place, writer->error, LW_USAGE, "no word stands for %d", value);
}

static enum lw_status write_pair(const struct writer *writer, const struct lw_json_place *place,
                                 const struct lw_pair *pair)
{
    enum lw_status status = write_text(writer, place, pair->name);
    put(writer, ":");
    return status == LW_OK ? write_number(writer, place, pair->value) : status;
}

static enum lw_status write_item(const struct writer *writer, const struct lw_field *field,
                                 const struct lw_json_place *place, const struct lw_list *list)
{
    size_t i = place->index;
    switch (field->kind) {
    case LW_LIST:
        return write_shape(writer, field->sub, place, (char *)list->items + i * field->sub->size);
    case LW_NUMBERS:
        return write_number(writer, place, ((const double *)list->items)[i]);
    case LW_TEXTS:
        return write_text(writer, place, ((char *const *)list->items)[i]);
    case LW_MAP:
        return write_pair(writer, place, &((const struct lw_pair *)list->items)[i]);
    case LW_TEXT:
    case LW_NUMBER:
    case LW_INTEGER:
    case LW_BOOLEAN:
    case LW_CHOICE:
    case LW_OBJECT:
    case LW_OPTIONAL:
    case LW_RAW:
        break;
    }
    return LW_USAGE;
}

static enum lw_status write_list(const struct writer *writer, const struct lw_field *field,
                                 const struct lw_json_place *place, const struct lw_list *list)
{
    put(writer, field->kind == LW_MAP ? "{" : "[");
    for (size_t i = 0; i < list->count; i++) {
        struct lw_json_place inner = {.outer = place, .index = i};
        if (i > 0) {
            put(writer, ",");
        }
        enum lw_status status = write_item(writer, field, &inner, list);
        if (status != LW_OK) {
            return status;
        }
    }
    put(writer, field->kind == LW_MAP ? "}" : "]");
    return LW_OK;
}

static enum lw_status write_value(const struct writer *writer, const struct lw_field *field,
                                  const struct lw_json_place *place, const void *member)
{
    switch (field->kind) {
    case LW_TEXT:
        return write_text(writer, place, *(char *const *)member);
    case LW_NUMBER:
        return write_number(writer, place, *(const double *)member);
    case LW_INTEGER:
        return write_integer(writer, field, place, *(const int *)member);
    case LW_BOOLEAN:
        put(writer, *(const bool *)member ? "true" : "false");
        return LW_OK;
    case LW_CHOICE:
        return write_choice(writer, field, place, *(const int *)member);
    case LW_OBJECT:
        return write_shape(writer, field->sub, place, member);
    case LW_OPTIONAL:
        return write_shape(writer, field->sub, place, *(void *const *)member);
    case LW_RAW:
        put(writer, *(char *const *)member);
        return LW_OK;
    case LW_LIST:
    case LW_NUMBERS:
    case LW_TEXTS:
    case LW_MAP:
        return write_list(writer, field, place, member);
    }
    return LW_USAGE;
}

static enum lw_status write_object(const struct writer *writer, const struct lw_shape *shape,
                                   const struct lw_json_place *place, const void *object)
{
    bool first = true;
    put(writer, "{");
    for (const struct lw_field *field = shape->fields; field->key != NULL; field++) {
        const void *member = lw_json_member(object, field);
        struct lw_json_place inner = {.outer = place, .key = field->key};
        bool absent = is_absent(field, member);
        if (absent && !field->nullable) {
            continue;
        }
        lw_text_add(writer->out, "%s\"%s\":", first ? "" : ",", field->key);
        first = false;
        if (absent) {
            put(writer, "null");
            continue;
        }
        enum lw_status status = write_value(writer, field, &inner, member);
        if (status != LW_OK) {
            return status;
        }
    }
    put(writer, "}");
    return LW_OK;
}

// A place in a tuple cannot be left out, but its end can.
static size_t tuple_length(const struct lw_shape *shape, const void *object)
{
    size_t length = 0;
    for (size_t i = 0; shape->fields[i].key != NULL; i++) {
        const struct lw_field *field = &shape->fields[i];
        if (field->nullable || !is_absent(field, lw_json_member(object, field))) {
            length = i + 1;
        }
    }
    return length;
}

static enum lw_status write_tuple(const struct writer *writer, const struct lw_shape *shape,
                                  const struct lw_json_place *place, const void *object)
{
    size_t length = tuple_length(shape, object);
    put(writer, "[");
    for (size_t i = 0; i < length; i++) {
        const struct lw_field *field = &shape->fields[i];
        const void *member = lw_json_member(object, field);
        struct lw_json_place inner = {.outer = place, .index = i};
        put(writer, i == 0 ? "" : ",");
        if (is_absent(field, member)) {
            if (!field->nullable) {
                return lw_json_fail(&inner, writer->error, LW_USAGE, "missing");
            }
            put(writer, "null");
            continue;
        }
        enum lw_status status = write_value(writer, field, &inner, member);
        if (status != LW_OK) {
            return status;
        }
    }
    put(writer, "]");
    return LW_OK;
}

static enum lw_status write_shape(const struct writer *writer, const struct lw_shape *shape,
                                  const struct lw_json_place *place, const void *object)
{
    return shape->tuple ? write_tuple(writer, shape, place, object)
                        : write_object(writer, shape, place, object);
}

enum lw_status lw_json_write(const struct lw_shape *shape, const void *object, bool pretty,
                             struct lw_text *out, struct lw_error *error)
{
    struct lw_text compact = {0};
    struct lw_json_place top = {0};
    struct writer writer = {.out = &compact, .error = error};
    enum lw_status status = write_shape(&writer, shape, &top, object);
    if (status == LW_OK && compact.failed) {
        status = lw_json_no_memory(error);
    }
    if (status == LW_OK) {
        status = lw_json_scan(compact.bytes, compact.length, error);
        status = status == LW_BAD_FILE ? lw_fail(error, LW_USAGE, "would not read back: %s",
                                                 error == NULL ? "" : error->says)
                                       : status;
    }
    if (status == LW_OK && pretty) {
        lw_json_put_pretty(out, compact.bytes, compact.length);
        lw_text_put(out, "\n", 1);
    } else if (status == LW_OK) {
        lw_text_put(out, compact.bytes, compact.length);
    }
    lw_text_finish(&compact);
    return status == LW_OK && out->failed ? lw_json_no_memory(error) : status;
}
