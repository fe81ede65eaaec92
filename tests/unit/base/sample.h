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
    {LW_AT(struct joint, ohm), .kind = LW_NUMBER, .required = true},
    {LW_AT(struct joint, name), .kind = LW_TEXT},
    {0},
};
static const struct lw_shape joint_shape = {"joint", sizeof(struct joint), joint_fields, true};

static const struct lw_field span_fields[] = {
    {LW_AT(struct span, length_m), .kind = LW_NUMBER, .unit = "m", .says = "from the tap before",
     .required = true, .ranged = true, .above_low = true, .low = 0, .high = INFINITY},
    {LW_AT(struct span, count), .kind = LW_INTEGER, .fallback = 2},
    {LW_AT(struct span, fixed), .kind = LW_BOOLEAN, .fallback = 1},
    {0},
};
static const struct lw_shape span_shape = {"span", sizeof(struct span), span_fields, false};

static const struct lw_field sample_fields[] = {
    {LW_AT(struct sample, text), .kind = LW_TEXT, .required = true},
    {LW_AT(struct sample, number), .kind = LW_NUMBER},
    {LW_AT(struct sample, standard), .kind = LW_NUMBER, .has_default = true, .fallback = 1.5},
    {LW_AT(struct sample, maybe), .kind = LW_NUMBER, .nullable = true},
    {LW_AT(struct sample, integer), .kind = LW_INTEGER, .fallback = 7},
    {LW_AT(struct sample, place), .kind = LW_INTEGER, .names = ends},
    {LW_AT(struct sample, choice), .kind = LW_CHOICE, .names = rails, .fallback = -1},
    {LW_AT(struct sample, tap), .kind = LW_INTEGER, .ranged = true, .low = 1, .high = 247,
     .fallback = 0},
    {LW_AT(struct sample, boolean), .kind = LW_BOOLEAN},
    {LW_AT(struct sample, span), .kind = LW_OBJECT, .sub = &span_shape},
    {LW_AT(struct sample, optional), .kind = LW_OPTIONAL, .sub = &span_shape},
    {LW_AT(struct sample, joints), .kind = LW_LIST, .sub = &joint_shape},
    {LW_AT(struct sample, numbers), .kind = LW_NUMBERS, .low_items = 2, .high_items = 3},
    {LW_AT(struct sample, texts), .kind = LW_TEXTS},
    {LW_AT(struct sample, map), .kind = LW_MAP},
    {LW_AT(struct sample, spans), .kind = LW_LIST, .sub = &span_shape},
    {LW_AT(struct sample, raw), .kind = LW_RAW},
    {0},
};
static const struct lw_shape sample_shape = {"sample", sizeof(struct sample), sample_fields, false};

static const char sample_full[] =
    "{\"text\":\"caf\\u00e9 \\ud83d\\ude00\",\"number\":0.1,\"standard\":2,\"maybe\":null,"
    "\"integer\":-3,\"place\":\"tail\",\"choice\":\"both\",\"tap\":12,\"boolean\":true,"
    "\"span\":{\"length_m\":4},\"optional\":{\"length_m\":1e-3,\"count\":5,\"fixed\":false},"
    "\"joints\":[[1,\"P01\"],[0.5]],\"numbers\":[1,2.5],\"texts\":[\"a\",\"\"],"
    "\"map\":{\"P01\":1,\"P02\":-2},\"spans\":[{\"length_m\":1},{\"length_m\":2}],"
    "\"raw\":{\"z\":[1, 2.50,\"x\\n\"],\"a\":{}, \"n\":null,\"t\":true}}";

#endif
