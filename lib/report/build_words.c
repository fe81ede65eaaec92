// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the sections share: times and checks in words, section heads, facts.
#include "base/clock.h"
#include "base/unit.h"
#include "report/build.h"
#include "report/words.h"

#include <stdarg.h>

const struct lw_record *lw_report_record_at(const struct lw_list *records, size_t index)
{
    return &((const struct lw_record *)records->items)[index];
}

const struct lw_report_counted *lw_report_counted_at(const struct lw_report_view *view,
                                                     size_t index)
{
    return &((const struct lw_report_counted *)view->counting->items)[index];
}

bool lw_report_simulated(const struct lw_report_view *view)
{
    for (size_t i = 0; i < view->records->count; i++) {
        const struct lw_record *record = lw_report_record_at(view->records, i);
        if (record->line != NULL && record->line->simulated) {
            return true;
        }
    }
    return view->acceptance->simulated;
}

void lw_report_time(const char *rfc3339, char *text, size_t size)
{
    int64_t utc_ns;
    char whole[LW_TIME_TEXT];
    if (rfc3339 == NULL || lw_time_parse(rfc3339, &utc_ns) != 0) {
        lw_print(text, size, "%s", rfc3339 == NULL ? "-" : rfc3339);
        return;
    }
    lw_time_format(utc_ns, 0, whole);
    lw_print(text, size, "%.10s %.5s UTC", whole, whole + 11);
}

const char *lw_report_check_words(const char *check)
{
    static const char *const words[][2] = {
        {"scan", N_("Scan: which nodes answer")},
        {"roster", N_("Roster: who they are, against the plan")},
        {"link", N_("Link: errors and reply times on the data pair")},
        {"supply", N_("Supply: voltage and current along the chain")},
        {"noise", N_("Noise: spread of the readings at rest")},
        {"watch", N_("Watching: the chain while plugs were moved")},
        {"restart", N_("Restart: behaviour when power returns")},
        {"touch", N_("Touch walk: each sensor at its place")},
        {"masters", N_("Masters: readings against known lengths or signals")},
        {"meter", N_("Hand meter: supply and data pair measured by hand")},
        {"checklist", N_("Checklist: fixing, earthing, routing, by eye")},
        {"compare", N_("Comparison: against an earlier visit")},
        {"assign", N_("Assign: addresses given to nodes")},
        {"note", N_("Notes and open points")},
        {"diagnose", N_("Diagnosis: likely causes")},
        {"listen", N_("Listening: the controller's own traffic")},
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        if (check != NULL && strcmp(words[i][0], check) == 0) {
            return _(words[i][1]);
        }
    }
    return check;
}

void lw_report_fact(struct lw_document *document, const char *label, const char *format, ...)
{
    char text[LW_DOCUMENT_CELL + 64];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    lw_document_fact(document, label, text);
}

void lw_report_figure_fact(struct lw_document *document, const char *label, double value,
                           int decimals, const char *unit)
{
    if (isfinite(value)) {
        lw_report_fact(document, label, "%.*f%s%s", decimals, value, unit == NULL ? "" : " ",
                       unit == NULL ? "" : lw_unit_shown(unit, true));
    }
}

void lw_report_section(struct lw_document *document, const char *title,
                       const struct lw_record *record)
{
    char started[64];
    lw_document_heading(document, 1, title);
    lw_report_time(record->started, started, sizeof started);
    lw_document_paragraph(document, _("Record %d, begun %s, machine state: %s. Result: %s%s."),
                          record->number, started,
                          record->state == NULL ? _("not stated") : record->state,
                          _(lw_verdict_shown((enum lw_verdict)record->verdict)),
                          record->complete ? "" : _("; the check was not finished"));
}
