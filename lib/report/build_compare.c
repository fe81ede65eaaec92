// SPDX-License-Identifier: GPL-3.0-or-later
//
// This visit beside an earlier one: a figure for volts and one for each unit of spread, what has
// moved as a table, every row in the annex.
#include "base/number.h"
#include "base/text.h"
#include "report/build.h"
#include "report/words.h"

static const struct lw_compare_row *row_at(const struct lw_compare_result *result, size_t index)
{
    return &((const struct lw_compare_row *)result->rows.items)[index];
}

static bool belongs(const struct lw_compare_row *row, enum lw_compare_what what, const char *unit)
{
    return row->what == (int)what && strcmp(row->unit, unit) == 0;
}

static const char *title_of(enum lw_compare_what what)
{
    return what == LW_COMPARE_SUPPLY  ? _("Volts at the nodes, before and now")
           : what == LW_COMPARE_NOISE ? _("Spread of the readings, before and now")
                                      : _("Failed polls of the nodes, before and now");
}

static void series(struct lw_chart *chart, const struct lw_compare_result *result,
                   enum lw_compare_what what, const char *unit, bool now)
{
    size_t place = 0;
    lw_chart_series(chart, now ? _("now") : _("before"), now ? LW_INK_MEASURED : LW_INK_COMPUTED,
                    now ? LW_SHAPE_DOTS : LW_SHAPE_STEPS);
    for (size_t i = 0; i < result->rows.count; i++) {
        const struct lw_compare_row *row = row_at(result, i);
        if (belongs(row, what, unit)) {
            lw_chart_point(chart, (double)++place, now ? row->now : row->before);
        }
    }
}

static void figure(struct lw_document *document, const struct lw_compare_result *result,
                   enum lw_compare_what what, const char *unit)
{
    size_t count = 0, moved = 0, worse = 0;
    char words[300];
    for (size_t i = 0; i < result->rows.count; i++) {
        const struct lw_compare_row *row = row_at(result, i);
        count += belongs(row, what, unit);
        moved += belongs(row, what, unit) && row->outcome != LW_COMPARE_SAME;
        worse += belongs(row, what, unit) && row->outcome == LW_COMPARE_WORSE;
    }
    if (count < 2 || (what == LW_COMPARE_ERRORS && moved == 0)) {
        return;
    }
    lw_print(
        words, sizeof words,
        _("Of %zu nodes that both visits have measured, %zu have moved beyond the uncertainty, "
          "%zu of them for the worse."),
        count, moved, worse);
    struct lw_chart *chart = lw_chart_new(title_of(what), words);
    lw_chart_axes(chart, _("node, in the order of the chain"), NULL,
                  what == LW_COMPARE_SUPPLY  ? _("voltage between the rails")
                  : what == LW_COMPARE_NOISE ? _("standard deviation")
                                             : _("failed polls, share of all"),
                  what == LW_COMPARE_ERRORS ? NULL : unit);
    if (chart != NULL && what != LW_COMPARE_SUPPLY) {
        chart->y.low = 0;
        chart->y.high = what == LW_COMPARE_ERRORS ? 1 : (double)NAN;
    }
    for (size_t i = 0; i < result->rows.count; i++) {
        if (belongs(row_at(result, i), what, unit)) {
            lw_chart_name(chart, row_at(result, i)->node);
        }
    }
    series(chart, result, what, unit, false);
    series(chart, result, what, unit, true);
    lw_document_figure(document, chart);
}

static bool seen_before(const struct lw_compare_result *result, size_t index)
{
    const struct lw_compare_row *row = row_at(result, index);
    for (size_t i = 0; i < index; i++) {
        if (belongs(row_at(result, i), (enum lw_compare_what)row->what, row->unit)) {
            return true;
        }
    }
    return false;
}

static const char *outcome_word(const struct lw_compare_row *row)
{
    return row->outcome == LW_COMPARE_WORSE   ? _("worse")
           : row->outcome == LW_COMPARE_MOVED ? _("moved")
                                              : _("not proved");
}

static const char *what_word(const struct lw_compare_row *row)
{
    return row->what == LW_COMPARE_SUPPLY  ? _("volts")
           : row->what == LW_COMPARE_NOISE ? _("spread")
                                           : _("errors a poll");
}

static void table(struct lw_document *document, const struct lw_compare_result *result,
                  const char *title, bool all)
{
    const struct lw_column columns[] = {
        {_("Node"), NULL, false}, {_("What"), NULL, false},       {_("Before"), NULL, true},
        {_("Now"), NULL, true},   {_("Change from"), NULL, true}, {_("to"), NULL, true},
        {_("Unit"), NULL, false}, {_("Proved"), NULL, false},
    };
    lw_document_table(document, title, columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->rows.count; i++) {
        const struct lw_compare_row *row = row_at(result, i);
        const double values[] = {row->before, row->now, row->change_low, row->change_high};
        if (!all && row->outcome == LW_COMPARE_SAME) {
            continue;
        }
        lw_document_cell(document, row->node);
        lw_document_cell(document, what_word(row));
        for (size_t k = 0; k < 4; k++) {
            char text[LW_NUMBER_TEXT];
            lw_number_for_people(values[k], (row->change_high - row->change_low) / 4, text);
            lw_document_cell(document, text);
        }
        lw_document_cell(document, row->what == LW_COMPARE_ERRORS ? "" : row->unit);
        lw_document_cell(document, outcome_word(row));
    }
}

void lw_report_compare(struct lw_document *document, const struct lw_record *record,
                       const struct lw_compare_result *result)
{
    char opened[LW_TIME_TEXT];
    char *const *reasons = result->not_compared.items;
    bool moved = false;
    lw_report_section(document, _("Comparison with an earlier visit"), record);
    lw_report_time(result->earlier_opened, opened, sizeof opened);
    lw_report_fact(document, _("Earlier visit opened"), "%s", opened);
    lw_report_fact(document, _("Nodes exchanged since"), "%.0f", result->exchanged);
    for (size_t i = 0; i < result->rows.count; i++) {
        const struct lw_compare_row *row = row_at(result, i);
        moved |= row->outcome != LW_COMPARE_SAME;
        if (!seen_before(result, i)) {
            figure(document, result, (enum lw_compare_what)row->what, row->unit);
        }
    }
    if (moved) {
        table(document, result, _("What has moved beyond its uncertainty"), false);
    } else if (result->rows.count > 0) {
        lw_document_paragraph(document, _("Nothing has moved beyond its uncertainty."));
    }
    for (size_t i = 0; i < result->not_compared.count; i++) {
        lw_document_paragraph(document, "%s", _(reasons[i]));
    }
}

void lw_report_compare_annex(struct lw_document *document, const struct lw_compare_result *result)
{
    if (result->rows.count > 0) {
        table(document, result, _("Comparison, every value"), true);
    }
}
