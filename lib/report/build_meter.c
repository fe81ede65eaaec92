// SPDX-License-Identifier: GPL-3.0-or-later
//
// What was measured by hand: with which meter, where, and against which band.
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "report/build.h"
#include "report/words.h"

static void accuracy_fact(struct lw_document *document, const char *label, double pct, double fixed,
                          const char *unit)
{
    if (isfinite(pct) && isfinite(fixed)) {
        lw_report_fact(document, label, "%.6g %% + %.6g %s", pct, fixed, lw_unit_shown(unit, true));
    }
}

static void instrument(struct lw_document *document, const struct lw_meter_instrument *instrument)
{
    lw_document_fact(document, _("Instrument"), instrument->name);
    lw_document_fact(document, _("Serial"), instrument->serial);
    lw_document_fact(document, _("Certificate due"),
                     instrument->due_on == NULL ? _("no certificate") : instrument->due_on);
    accuracy_fact(document, _("Accuracy, DC volts"), instrument->volt_pct, instrument->volt_fixed,
                  "V");
    accuracy_fact(document, _("Accuracy, resistance"), instrument->ohm_pct, instrument->ohm_fixed,
                  "ohm");
    accuracy_fact(document, _("Accuracy, DC current"), instrument->amp_pct, instrument->amp_fixed,
                  "A");
}

static void earth(struct lw_document *document, const struct lw_meter_result *result)
{
    if (result->earth_left) {
        lw_document_fact(document, _("Protective conductor"),
                         _("not tested here: left to a qualified person"));
    } else if (result->earth_by != NULL) {
        lw_report_fact(document, _("Protective conductor"), _("tested by %s"), result->earth_by);
        lw_report_figure_fact(document, _("Measured by that person, not judged here"),
                              result->earth_ohm, 3, "ohm");
    }
}

static void value_cell(struct lw_document *document, const struct lw_meter_reading *reading)
{
    char number[LW_NUMBER_TEXT], text[LW_NUMBER_TEXT + 16];
    if (reading->left || reading->open) {
        lw_document_cell(document, reading->open ? _("open") : NULL);
        return;
    }
    lw_number_for_people(reading->value, reading->uncertainty, number);
    lw_print(text, sizeof text, "%s %s", number, lw_unit_shown(reading->unit, true));
    lw_document_cell(document, text);
}

static void band_cell(struct lw_document *document, double low, double high)
{
    char from[LW_NUMBER_TEXT], to[LW_NUMBER_TEXT], text[2 * LW_NUMBER_TEXT + 16];
    lw_number_for_people(low, NAN, from);
    lw_number_for_people(high, NAN, to);
    if (isfinite(low) && isfinite(high)) {
        lw_print(text, sizeof text, "%s \xe2\x80\xa6 %s", from, to);
    } else {
        lw_print(text, sizeof text, isfinite(low) ? "\xe2\x89\xa5 %s" : "\xe2\x89\xa4 %s",
                 isfinite(low) ? from : to);
    }
    lw_document_cell(document, isfinite(low) || isfinite(high) ? text : NULL);
}

static void reading_row(struct lw_document *document, const struct lw_meter_reading *reading)
{
    char text[LW_NUMBER_TEXT];
    bool on = strncmp(reading->id, "on.", 3) == 0;
    lw_document_cell(document, reading->at);
    lw_document_cell(document, on ? _("on") : _("off"));
    lw_document_cell(document, reading->from);
    lw_document_cell(document, reading->to);
    value_cell(document, reading);
    lw_number_for_people(reading->uncertainty, reading->uncertainty, text);
    lw_document_cell(document, reading->uncertainty > 0 ? text : NULL);
    band_cell(document, reading->low, reading->high);
    band_cell(document, reading->expected_low, reading->expected_high);
    lw_document_cell(document, reading->left
                                   ? _("left out")
                                   : _(lw_verdict_shown((enum lw_verdict)reading->verdict)));
    lw_document_mark(document, (enum lw_verdict)reading->verdict);
}

void lw_report_meter(struct lw_document *document, const struct lw_record *record,
                     const struct lw_meter_result *result)
{
    const struct lw_column columns[] = {
        {_("Where"), NULL, false},  {_("Power"), NULL, false},   {_("Red"), NULL, false},
        {_("Black"), NULL, false},  {_("Value"), NULL, true},    {_("Uncertainty"), NULL, true},
        {_("Allowed"), NULL, true}, {_("Expected"), NULL, true}, {_("Result"), NULL, false},
    };
    const struct lw_meter_reading *readings = result->readings.items;
    lw_report_section(document, _("Hand meter"), record);
    instrument(document, &result->instrument);
    lw_report_figure_fact(document, _("Leads, taken off"), result->tips_ohm, 2, "ohm");
    lw_document_fact(document, _("Drives locked out, said by"), result->made_sure_by);
    earth(document, result);
    if (result->readings.count == 0) {
        return;
    }
    lw_document_table(document, _("Values by hand"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->readings.count; i++) {
        reading_row(document, &readings[i]);
    }
}
