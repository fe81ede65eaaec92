// SPDX-License-Identifier: GPL-3.0-or-later
//
// The hand meter's result as JSON, and its values as a file.
#include "check/meter.h"

#include "base/csv.h"
#include "base/number.h"

#include <math.h>
#include <string.h>

static const char *const verdict_words[] = {"pass",      "not_tested", "attention",
                                            "undecided", "fail",       NULL};

static const struct lw_field instrument_fields[] = {
    {LW_AT(struct lw_meter_instrument, name), .kind = LW_TEXT, .says = "what it is called"},
    {LW_AT(struct lw_meter_instrument, serial), .kind = LW_TEXT, .says = "its serial number"},
    {LW_AT(struct lw_meter_instrument, due_on), .kind = LW_TEXT, .nullable = true,
     .says = "day its certificate runs out; null: it has none"},
    {LW_AT(struct lw_meter_instrument, volt_pct), .kind = LW_NUMBER, .unit = "%",
     .says = "its maker's limit for DC volts, share of the value"},
    {LW_AT(struct lw_meter_instrument, volt_fixed), .kind = LW_NUMBER, .unit = "V",
     .says = "and fixed part"},
    {LW_AT(struct lw_meter_instrument, ohm_pct), .kind = LW_NUMBER, .unit = "%",
     .says = "the same for resistance"},
    {LW_AT(struct lw_meter_instrument, ohm_fixed), .kind = LW_NUMBER, .unit = "ohm",
     .says = "and fixed part"},
    {LW_AT(struct lw_meter_instrument, amp_pct), .kind = LW_NUMBER, .unit = "%",
     .says = "the same for DC current"},
    {LW_AT(struct lw_meter_instrument, amp_fixed), .kind = LW_NUMBER, .unit = "A",
     .says = "and fixed part"},
    {0},
};
static const struct lw_shape instrument_shape = {.name = "meter_instrument",
                                                 .size = sizeof(struct lw_meter_instrument),
                                                 .fields = instrument_fields};

static const struct lw_field reading_fields[] = {
    {LW_AT(struct lw_meter_reading, id), .kind = LW_TEXT, .required = true,
     .says = "the step, as in the answers"},
    {LW_AT(struct lw_meter_reading, at), .kind = LW_TEXT, .says = "node, tap or supply"},
    {LW_AT(struct lw_meter_reading, tap), .kind = LW_INTEGER, .says = "tap; 0 at a supply"},
    {LW_AT(struct lw_meter_reading, from), .kind = LW_TEXT, .says = "terminal of the red tip"},
    {LW_AT(struct lw_meter_reading, to), .kind = LW_TEXT, .says = "terminal of the black tip"},
    {LW_AT(struct lw_meter_reading, unit), .kind = LW_TEXT, .says = "unit of all values here"},
    {LW_AT(struct lw_meter_reading, value), .kind = LW_NUMBER, .nullable = true,
     .says = "what it showed, resistances without that of the leads; null: open or left out"},
    {LW_AT(struct lw_meter_reading, open), .kind = LW_BOOLEAN, .says = "beyond the meter's range"},
    {LW_AT(struct lw_meter_reading, left), .kind = LW_BOOLEAN, .says = "left out"},
    {LW_AT(struct lw_meter_reading, read), .kind = LW_BOOLEAN,
     .says = "read from a label, not measured"},
    {LW_AT(struct lw_meter_reading, low), .kind = LW_NUMBER, .nullable = true,
     .says = "lowest that is allowed; null: no limit"},
    {LW_AT(struct lw_meter_reading, high), .kind = LW_NUMBER, .nullable = true,
     .says = "highest that is allowed; null: no limit"},
    {LW_AT(struct lw_meter_reading, expected_low), .kind = LW_NUMBER, .nullable = true,
     .says = "lowest that the plan lets expect"},
    {LW_AT(struct lw_meter_reading, expected_high), .kind = LW_NUMBER, .nullable = true,
     .says = "highest that the plan lets expect"},
    {LW_AT(struct lw_meter_reading, uncertainty), .kind = LW_NUMBER, .nullable = true,
     .says = "standard uncertainty of the value"},
    {LW_AT(struct lw_meter_reading, verdict), .kind = LW_CHOICE, .names = verdict_words,
     .says = "the value against its band"},
    {0},
};
static const struct lw_shape reading_shape = {
    .name = "meter_reading", .size = sizeof(struct lw_meter_reading), .fields = reading_fields};

static const struct lw_field meter_fields[] = {
    {LW_AT(struct lw_meter_result, made_sure_by), .kind = LW_TEXT, .nullable = true,
     .says = "who made sure that the drives were locked out"},
    {LW_AT(struct lw_meter_result, instrument), .kind = LW_OBJECT, .sub = &instrument_shape,
     .says = "the meter"},
    {LW_AT(struct lw_meter_result, tips_ohm), .kind = LW_NUMBER, .unit = "ohm", .nullable = true,
     .says = "resistance of its leads, taken off; null: not measured"},
    {LW_AT(struct lw_meter_result, earth_left), .kind = LW_BOOLEAN,
     .says = "the test of the protective conductor is left to a qualified person"},
    {LW_AT(struct lw_meter_result, earth_by), .kind = LW_TEXT, .nullable = true,
     .says = "the qualified person who has tested it"},
    {LW_AT(struct lw_meter_result, earth_ohm), .kind = LW_NUMBER, .unit = "ohm", .nullable = true,
     .says = "what that person measured, not judged here; null: not said"},
    {LW_AT(struct lw_meter_result, readings), .kind = LW_LIST, .sub = &reading_shape,
     .says = "each value with its band"},
    {0},
};
const struct lw_shape lw_meter_shape = {
    .name = "meter", .size = sizeof(struct lw_meter_result), .fields = meter_fields};

static void add_accuracy(struct lw_text *out, double pct, double fixed, const char *unit)
{
    char share[LW_NUMBER_TEXT], part[LW_NUMBER_TEXT];
    lw_number_exact(pct, share);
    lw_number_exact(fixed, part);
    lw_text_add(out, "# accuracy: %s %% + %s %s\n", share, part, unit);
}

static void add_row(struct lw_text *out, const struct lw_meter_reading *reading)
{
    char value[LW_NUMBER_TEXT] = "OL";
    if (!reading->open) {
        lw_number_exact(reading->value, value);
    }
    const char *const fields[] = {reading->at, reading->from, reading->to, value, reading->unit};
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++) {
        lw_csv_field(out, fields[i], i);
    }
    lw_text_add(out, "\n");
}

// A dead rail's volts and a fuse's amperes would be taken for those of a running chain.
static bool is_of_chain(const struct lw_meter_reading *reading)
{
    return !reading->left && !reading->read && reading->at[0] != '\0' &&
           strncmp(reading->id, "off.dead", 8) != 0;
}

void lw_meter_csv(const struct lw_meter_result *result, struct lw_text *out)
{
    const struct lw_meter_instrument *instrument = &result->instrument;
    const struct lw_meter_reading *readings = result->readings.items;
    lw_text_add(out, "# instrument: %s, serial %s\n", instrument->name, instrument->serial);
    add_accuracy(out, instrument->volt_pct, instrument->volt_fixed, "V");
    add_accuracy(out, instrument->amp_pct, instrument->amp_fixed, "A");
    add_accuracy(out, instrument->ohm_pct, instrument->ohm_fixed, "ohm");
    lw_text_add(out, "tap,from,to,value,unit\n");
    for (size_t i = 0; i < result->readings.count; i++) {
        if (is_of_chain(&readings[i])) {
            add_row(out, &readings[i]);
        }
    }
}
