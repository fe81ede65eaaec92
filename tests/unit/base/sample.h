// SPDX-License-Identifier: GPL-3.0-or-later
//
// A struct with one field of every kind, its table, and a file that fills all of them: what the
// tests of reading, writing, schema and memory work on.
#ifndef LW_TESTS_SAMPLE_H
#define LW_TESTS_SAMPLE_H

#include "base/json.h"

struct joint {
    double ohm;
    char *name;
};

struct span {
    double length_m;
    int count;
    bool fixed;
};

struct sample {
    char *text;
    double number, standard, maybe;
    int integer, place, choice, tap;
    bool boolean;
    struct span span;
    struct span *optional;
    struct lw_list joints, numbers, texts, map, spans;
    char *raw;
};

static const char *const rails[] = {"v_plus", "zero_v", "both", NULL};
static const char *const ends[] = {"head", "tail", NULL};

static const struct lw_field joint_fields[] = {
    {.key = "ohm", .kind = LW_NUMBER, .offset = offsetof(struct joint, ohm), .required = true},
    {.key = "name", .kind = LW_TEXT, .offset = offsetof(struct joint, name)},
    {0},
};
static const struct lw_shape joint_shape = {"joint", sizeof(struct joint), joint_fields, true};

static const struct lw_field span_fields[] = {
    {.key = "length_m",
     .kind = LW_NUMBER,
     .offset = offsetof(struct span, length_m),
     .unit = "m",
     .says = "from the tap before",
     .required = true,
     .ranged = true,
     .above_low = true,
     .low = 0,
     .high = INFINITY},
    {.key = "count", .kind = LW_INTEGER, .offset = offsetof(struct span, count), .fallback = 2},
    {.key = "fixed", .kind = LW_BOOLEAN, .offset = offsetof(struct span, fixed), .fallback = 1},
    {0},
};
static const struct lw_shape span_shape = {"span", sizeof(struct span), span_fields, false};

#define AT(member) .offset = offsetof(struct sample, member)
static const struct lw_field sample_fields[] = {
    {.key = "text", .kind = LW_TEXT, AT(text), .required = true},
    {.key = "number", .kind = LW_NUMBER, AT(number)},
    {.key = "standard", .kind = LW_NUMBER, AT(standard), .has_default = true, .fallback = 1.5},
    {.key = "maybe", .kind = LW_NUMBER, AT(maybe), .nullable = true},
    {.key = "integer", .kind = LW_INTEGER, AT(integer), .fallback = 7},
    {.key = "place", .kind = LW_INTEGER, AT(place), .names = ends},
    {.key = "choice", .kind = LW_CHOICE, AT(choice), .names = rails, .fallback = -1},
    {.key = "tap",
     .kind = LW_INTEGER,
     AT(tap),
     .ranged = true,
     .low = 1,
     .high = 247,
     .fallback = 0},
    {.key = "boolean", .kind = LW_BOOLEAN, AT(boolean)},
    {.key = "span", .kind = LW_OBJECT, AT(span), .sub = &span_shape},
    {.key = "optional", .kind = LW_OPTIONAL, AT(optional), .sub = &span_shape},
    {.key = "joints", .kind = LW_LIST, AT(joints), .sub = &joint_shape},
    {.key = "numbers", .kind = LW_NUMBERS, AT(numbers), .low_items = 2, .high_items = 3},
    {.key = "texts", .kind = LW_TEXTS, AT(texts)},
    {.key = "map", .kind = LW_MAP, AT(map)},
    {.key = "spans", .kind = LW_LIST, AT(spans), .sub = &span_shape},
    {.key = "raw", .kind = LW_RAW, AT(raw)},
    {0},
};
#undef AT
static const struct lw_shape sample_shape = {"sample", sizeof(struct sample), sample_fields, false};

static const char sample_full[] =
    "{\"text\":\"caf\\u00e9 \\ud83d\\ude00\",\"number\":0.1,\"standard\":2,\"maybe\":null,"
    "\"integer\":-3,\"place\":\"tail\",\"choice\":\"both\",\"tap\":12,\"boolean\":true,"
    "\"span\":{\"length_m\":4},\"optional\":{\"length_m\":1e-3,\"count\":5,\"fixed\":false},"
    "\"joints\":[[1,\"P01\"],[0.5]],\"numbers\":[1,2.5],\"texts\":[\"a\",\"\"],"
    "\"map\":{\"P01\":1,\"P02\":-2},\"spans\":[{\"length_m\":1},{\"length_m\":2}],"
    "\"raw\":{\"z\":[1, 2.50,\"x\\n\"],\"a\":{}, \"n\":null,\"t\":true}}";

#endif
