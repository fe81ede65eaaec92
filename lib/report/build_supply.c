// SPDX-License-Identifier: GPL-3.0-or-later
//
// The supply along the chain: what each node should get, in the worst case, and what it says it
// gets, against the least it needs.
#include "base/text.h"
#include "report/build.h"
#include "report/words.h"

// Two standard uncertainties, drawn as an interval (JCGM 100:2008, 6.2.1: coverage factor 2).
#define COVERAGE 2.0

static const struct lw_supply_tap *tap_at(const struct lw_supply_result *result, size_t index)
{
    return &((const struct lw_supply_tap *)result->taps.items)[index];
}

// The tap with the least volts above its minimum, NULL when none has both.
static const struct lw_supply_tap *tightest(const struct lw_supply_result *result, bool measured)
{
    const struct lw_supply_tap *found = NULL;
    double least = INFINITY;
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_supply_tap *tap = tap_at(result, i);
        double margin_v = (measured ? tap->measured_v : tap->volts) - tap->minimum_v;
        if (isfinite(margin_v) && margin_v < least) {
            least = margin_v;
            found = tap;
        }
    }
    return found;
}

static const char *name_of(const struct lw_supply_tap *tap)
{
    return tap->node == NULL ? _("passive") : tap->node;
}

static void alternative(const struct lw_supply_result *result, struct lw_text *text)
{
    const struct lw_supply_tap *computed = tightest(result, false);
    const struct lw_supply_tap *measured = tightest(result, true);
    lw_text_add(text, _("Supply voltage at each of %zu taps."), result->taps.count);
    if (computed != NULL) {
        lw_text_add(text, _(" Computed, %s has the least margin: %.2f V where it needs %.2f V."),
                    name_of(computed), computed->volts, computed->minimum_v);
    }
    if (measured != NULL) {
        lw_text_add(text, _(" Measured, %s has the least margin: %.2f V where it needs %.2f V."),
                    name_of(measured), measured->measured_v, measured->minimum_v);
    }
}

static bool any(const struct lw_supply_result *result, double (*of)(const struct lw_supply_tap *))
{
    for (size_t i = 0; i < result->taps.count; i++) {
        if (isfinite(of(tap_at(result, i)))) {
            return true;
        }
    }
    return false;
}

static double computed_v(const struct lw_supply_tap *tap)
{
    return tap->volts;
}
static double worst_v(const struct lw_supply_tap *tap)
{
    return tap->worst_volts;
}
static double measured_v(const struct lw_supply_tap *tap)
{
    return tap->measured_v;
}
static double minimum_v(const struct lw_supply_tap *tap)
{
    return tap->minimum_v;
}

static void series(struct lw_chart *chart, const struct lw_supply_result *result, const char *label,
                   enum lw_ink ink, enum lw_mark_shape shape,
                   double (*of)(const struct lw_supply_tap *))
{
    if (!any(result, of)) {
        return;
    }
    lw_chart_series(chart, label, ink, shape);
    for (size_t i = 0; i < result->taps.count; i++) {
        lw_chart_point(chart, (double)i + 1, of(tap_at(result, i)));
    }
}

static void measured_series(struct lw_chart *chart, const struct lw_supply_result *result)
{
    if (!any(result, measured_v)) {
        return;
    }
    lw_chart_series(chart, _("measured, with 2 standard uncertainties"), LW_INK_MEASURED,
                    LW_SHAPE_INTERVALS);
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_supply_tap *tap = tap_at(result, i);
        double half_v = isfinite(tap->measured_u_v) ? COVERAGE * tap->measured_u_v : 0;
        lw_chart_interval(chart, (double)i + 1, tap->measured_v, tap->measured_v - half_v,
                          tap->measured_v + half_v);
    }
}

// One minimum for all is a limit; minima that differ are a stair.
static void minimum(struct lw_chart *chart, const struct lw_supply_result *result)
{
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < result->taps.count; i++) {
        least = fmin(least, tap_at(result, i)->minimum_v);
        most = fmax(most, tap_at(result, i)->minimum_v);
    }
    if (least == most) {
        char label[64];
        lw_print(label, sizeof label, _("least voltage that the nodes need, %.2f V"), least);
        lw_chart_limit(chart, label, least, false);
    } else {
        series(chart, result, _("least voltage that the node needs"), LW_INK_LIMIT, LW_SHAPE_STEPS,
               minimum_v);
    }
}

// The ring stands at the first tap behind the span.
static void mark_weak_span(struct lw_chart *chart, const struct lw_supply_result *result)
{
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_supply_tap *tap = tap_at(result, i);
        double volts = isfinite(tap->measured_v) ? tap->measured_v : tap->volts;
        if (tap->tap == (int)result->weak_span && isfinite(volts)) {
            lw_chart_mark(chart,
                          result->weak_proved ? _("weak span ends here")
                                              : _("span in question ends here"),
                          (double)i + 1, volts);
        }
    }
}

static void voltage_chart(struct lw_document *document, const struct lw_supply_result *result)
{
    struct lw_text words = {0};
    alternative(result, &words);
    struct lw_chart *chart =
        lw_chart_new(_("Supply voltage along the chain"), words.bytes == NULL ? "" : words.bytes);
    lw_chart_axes(chart, _("node, in the order of the chain"), NULL, _("voltage at the node"), "V");
    for (size_t i = 0; i < result->taps.count; i++) {
        lw_chart_name(chart, name_of(tap_at(result, i)));
    }
    series(chart, result, _("computed, as planned"), LW_INK_COMPUTED, LW_SHAPE_LINE, computed_v);
    series(chart, result, _("computed, worst case of the tolerances"), LW_INK_WORST, LW_SHAPE_LINE,
           worst_v);
    measured_series(chart, result);
    minimum(chart, result);
    mark_weak_span(chart, result);
    lw_document_figure(document, chart);
    lw_text_finish(&words);
}

static const struct lw_supply_span *span_at(const struct lw_supply_result *result, size_t index)
{
    return &((const struct lw_supply_span *)result->spans.items)[index];
}

static void span_series(struct lw_chart *chart, const struct lw_supply_result *result)
{
    lw_chart_series(chart, _("planned"), LW_INK_COMPUTED, LW_SHAPE_STEPS);
    for (size_t i = 0; i < result->spans.count; i++) {
        lw_chart_point(chart, (double)i + 1, span_at(result, i)->ohm_plan);
    }
    lw_chart_series(chart, _("measured, with its 95 % interval"), LW_INK_MEASURED,
                    LW_SHAPE_INTERVALS);
    for (size_t i = 0; i < result->spans.count; i++) {
        const struct lw_supply_span *span = span_at(result, i);
        lw_chart_interval(chart, (double)i + 1, span->ohm_measured,
                          span->ohm_measured - span->ohm_u95, span->ohm_measured + span->ohm_u95);
    }
}

static void span_chart(struct lw_document *document, const struct lw_supply_result *result)
{
    size_t measured = 0;
    for (size_t i = 0; i < result->spans.count; i++) {
        measured += isfinite(span_at(result, i)->ohm_measured);
    }
    if (measured == 0) {
        return;
    }
    char words[200], name[32];
    lw_print(words, sizeof words,
             _("Resistance of each span, planned and measured; %zu of %zu spans were measured."),
             measured, result->spans.count);
    struct lw_chart *chart = lw_chart_new(_("Resistance of the spans, both rails"), words);
    lw_chart_axes(chart, _("span, ends at the tap of this number"), NULL, _("resistance"), "ohm");
    for (size_t i = 0; i < result->spans.count; i++) {
        lw_print(name, sizeof name, "%d", span_at(result, i)->span);
        lw_chart_name(chart, name);
    }
    span_series(chart, result);
    lw_document_figure(document, chart);
}

static void supplies(struct lw_document *document, const struct lw_supply_result *result)
{
    const struct lw_column columns[] = {{_("Supply"), NULL, false}, {_("Feeds tap"), NULL, true},
                                        {_("Current"), "A", true},  {_("Limit"), "A", true},
                                        {_("Load"), "%", true},     {_("Mode"), NULL, false}};
    if (result->supplies.count == 0) {
        return;
    }
    lw_document_table(document, _("Supplies, computed"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->supplies.count; i++) {
        const struct lw_supply_supply *supply =
            &((const struct lw_supply_supply *)result->supplies.items)[i];
        lw_document_cell(document, supply->name);
        lw_document_number(document, supply->tap, 0);
        lw_document_number(document, supply->amps, 3);
        lw_document_number(document, supply->limit_a, 3);
        lw_document_number(document, supply->load_pct, 0);
        lw_document_cell(document, supply->mode);
    }
}

static void margin_fact(struct lw_document *document, const char *label,
                        const struct lw_supply_tap *tap, bool measured)
{
    if (tap != NULL) {
        double volts = measured ? tap->measured_v : tap->volts;
        lw_report_fact(document, label, _("%s: %.2f V, needs %.2f V, margin %.2f V"), name_of(tap),
                       volts, tap->minimum_v, volts - tap->minimum_v);
    }
}

// A span with its extra resistance and the spans that look like it.
static void span_fact(struct lw_document *document, const char *label, double span, double low,
                      double high, double extra_ohm)
{
    char extra[48] = "";
    if (isfinite(extra_ohm)) {
        lw_print(extra, sizeof extra, _(", %.3g \u03a9 more than planned"), extra_ohm);
    }
    if (low < high) {
        lw_report_fact(document, label, _("span %.0f%s; spans %.0f to %.0f look alike"), span,
                       extra, low, high);
    } else {
        lw_report_fact(document, label, _("span %.0f%s"), span, extra);
    }
}

static void weak_span(struct lw_document *document, const struct lw_supply_result *result)
{
    if (result->weak_span > 0) {
        span_fact(document, result->weak_proved ? _("Weak span") : _("Span in question"),
                  result->weak_span, result->weak_span_low, result->weak_span_high,
                  result->weak_extra_ohm);
    }
    if (result->since_opened != NULL && result->since_span > 0) {
        lw_report_fact(document, _("Grown since the earlier visit"), _("span %.0f by %.3g \u03a9"),
                       result->since_span, result->since_extra_ohm);
    }
}

// The largest of what would stay unseen, of the spans that the readings see.
static void visible(struct lw_document *document, const struct lw_supply_result *result)
{
    double largest_ohm = NAN;
    int at = 0;
    for (size_t i = 0; i < result->spans.count; i++) {
        const struct lw_supply_span *span = span_at(result, i);
        if (isfinite(span->smallest_visible_ohm) && !(span->smallest_visible_ohm <= largest_ohm)) {
            largest_ohm = span->smallest_visible_ohm;
            at = span->span;
        }
    }
    if (at > 0) {
        lw_report_fact(document, _("Smallest visible fault"),
                       _("%.2f \u03a9 in span %d, less in the others; all in the annex"),
                       largest_ohm, at);
    }
}

static void how_measured(struct lw_document *document, const struct lw_supply_result *result)
{
    lw_report_figure_fact(document, _("Voltages read"), result->measured_nodes, 0, NULL);
    if (result->step_a > 0) {
        lw_report_fact(document, _("Load step"), _("%.2f A at the far end, off, on, on, off"),
                       result->step_a);
    }
    if (result->hand_meter != NULL) {
        lw_report_fact(document, _("Hand meter"), _("%s, %.0f values used"), result->hand_meter,
                       result->hand_used);
    }
    if (isfinite(result->zero_v_ratio)) {
        lw_report_fact(document, _("0 V against V+"),
                       _("drop %.2f times, standard uncertainty %.2f; 1 is as planned"),
                       result->zero_v_ratio, result->zero_v_ratio_u);
    }
    visible(document, result);
    weak_span(document, result);
}

static void facts(struct lw_document *document, const struct lw_supply_result *result)
{
    lw_document_fact(document, _("All nodes on"),
                     result->operating_point ? _("the supply carries them")
                                             : _("no operating point: it can't carry them"));
    margin_fact(document, _("Least, computed"), tightest(result, false), false);
    margin_fact(document, _("Least, measured"), tightest(result, true), true);
    lw_report_figure_fact(document, _("Carries"), result->carries_nodes, 0, NULL);
    lw_report_figure_fact(document, _("Load factor"), result->load_factor, 2, NULL);
    how_measured(document, result);
    if (result->cold_start_trap) {
        lw_document_fact(document, _("Cold start"), _("some nodes stay off after switching on"));
    }
    if (result->resets_in_turn) {
        lw_document_fact(document, _("Running"), _("nodes reset in turn"));
    }
    lw_report_figure_fact(document, _("Idle voltage D1-D0"), result->idle_v, 3, "V");
    lw_report_figure_fact(document, _("Unit loads"), result->unit_loads, 1, NULL);
}

void lw_report_supply(struct lw_document *document, const struct lw_record *record,
                      const struct lw_supply_result *result)
{
    lw_report_section(document, _("Supply along the chain"), record);
    voltage_chart(document, result);
    facts(document, result);
    supplies(document, result);
    span_chart(document, result);
}

static void tap_rows(struct lw_document *document, const struct lw_supply_result *result)
{
    const struct lw_column columns[] = {
        {_("Node"), NULL, false},    {_("Tap"), NULL, true},     {_("Needs"), "V", true},
        {_("Computed"), "V", true},  {_("Worst"), "V", true},    {_("Measured"), "V", true},
        {_("Std. unc."), "V", true}, {_("0 V rise"), "V", true}, {_("Runs"), NULL, false}};
    lw_document_table(document, _("Supply voltage of every tap"), columns,
                      sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->taps.count; i++) {
        const struct lw_supply_tap *tap = tap_at(result, i);
        lw_document_cell(document, name_of(tap));
        lw_document_number(document, tap->tap, 0);
        lw_document_number(document, tap->minimum_v, 2);
        lw_document_number(document, tap->volts, 2);
        lw_document_number(document, tap->worst_volts, 2);
        lw_document_number(document, tap->measured_v, 2);
        lw_document_number(document, tap->measured_u_v, 3);
        lw_document_number(document, tap->zero_rise_v, 3);
        lw_document_cell(document, tap->on ? _("on") : _("off"));
        bool low = tap->volts < tap->minimum_v || tap->measured_v < tap->minimum_v;
        lw_document_mark(document, low || !tap->on ? LW_FAIL : LW_PASS);
    }
}

static void span_rows(struct lw_document *document, const struct lw_supply_result *result)
{
    const struct lw_column columns[] = {
        {_("Span"), NULL, true},          {_("Current"), "A", true},
        {_("Rated"), "A", true},          {_("Planned"), "ohm", true},
        {_("Measured"), "ohm", true},     {_("95 % interval, half"), "ohm", true},
        {_("Ratio to plan"), NULL, true}, {_("Smallest visible fault"), "ohm", true}};
    lw_document_table(document, _("Every span"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->spans.count; i++) {
        const struct lw_supply_span *span = span_at(result, i);
        lw_document_number(document, span->span, 0);
        lw_document_number(document, span->amps, 3);
        lw_document_number(document, span->rated_a, 2);
        lw_document_number(document, span->ohm_plan, 4);
        lw_document_number(document, span->ohm_measured, 4);
        lw_document_number(document, span->ohm_u95, 4);
        lw_document_number(document, span->ratio_to_plan, 2);
        lw_document_number(document, span->smallest_visible_ohm, 3);
        lw_document_mark(document, span->amps > span->rated_a ? LW_FAIL : LW_PASS);
    }
}

void lw_report_supply_annex(struct lw_document *document, const struct lw_supply_result *result)
{
    if (result->taps.count > 0) {
        tap_rows(document, result);
    }
    if (result->spans.count > 0) {
        span_rows(document, result);
    }
}
