// SPDX-License-Identifier: GPL-3.0-or-later
//
// Noise: the spread of each sensor at rest against its limit, one chart a unit, and the readings
// themselves where something is wrong.
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "report/build.h"
#include "report/words.h"

enum { TRACES_MOST = 4 };

// Spreads further apart than this share a chart only on a logarithmic axis.
#define RATIO_MOST 30.0

static const struct lw_noise_node *node_at(const struct lw_noise_result *result, size_t index)
{
    return &((const struct lw_noise_node *)result->nodes.items)[index];
}

static const char *unit_of(const struct lw_noise_node *node)
{
    return node->unit == NULL ? "1" : node->unit;
}

static bool is_peak_to_peak(const struct lw_noise_node *node)
{
    return isfinite(node->peak_to_peak);
}

// What the node's limit is held against.
static double judged(const struct lw_noise_node *node)
{
    return is_peak_to_peak(node) ? node->peak_to_peak : node->stdev;
}

static bool has_data(const struct lw_noise_node *node)
{
    return isfinite(judged(node));
}

// Whether a node belongs into the chart of another, which has data. One without data leaves its
// gap in the first chart of its unit.
static bool alike(const struct lw_noise_node *node, const struct lw_noise_node *like)
{
    return strcmp(unit_of(node), unit_of(like)) == 0 &&
           (!has_data(node) || is_peak_to_peak(node) == is_peak_to_peak(like));
}

struct spread {
    double low, high, limit_low, limit_high;
    size_t count, over;
    const struct lw_noise_node *worst; // nearest to its limit or furthest over it
};

static struct spread survey(const struct lw_noise_result *result, const struct lw_noise_node *like)
{
    struct spread spread = {INFINITY, -INFINITY, INFINITY, -INFINITY, 0, 0, NULL};
    double worst = -INFINITY;
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_noise_node *node = node_at(result, i);
        if (!alike(node, like)) {
            continue;
        }
        spread.count++;
        spread.over += node->verdict == (int)LW_FAIL;
        if (judged(node) > 0) {
            spread.low = fmin(spread.low, judged(node));
            spread.high = fmax(spread.high, judged(node));
        }
        spread.limit_low = fmin(spread.limit_low, node->limit);
        spread.limit_high = fmax(spread.limit_high, node->limit);
        double share = judged(node) / node->limit;
        if (share > worst) {
            worst = share;
            spread.worst = node;
        }
    }
    return spread;
}

static const char *quantity(const struct lw_noise_node *node)
{
    return is_peak_to_peak(node) ? _("Peak-to-peak spread") : _("Standard deviation");
}

static void alternative(const struct spread *spread, const struct lw_noise_node *like, char *text,
                        size_t size)
{
    const char *unit = lw_unit_shown(unit_of(like), true);
    if (spread->worst == NULL) {
        lw_print(text, size, _("%s of the readings of %zu nodes at rest."), quantity(like),
                 spread->count);
        return;
    }
    char value[LW_NUMBER_TEXT];
    lw_number_for_people(judged(spread->worst), NAN, value);
    lw_print(text, size,
             _("%s of the readings of %zu nodes at rest; %zu fail. Highest against its limit is "
               "%s: %s %s, limit %.6g %s."),
             quantity(like), spread->count, spread->over,
             spread->worst->node == NULL ? "-" : spread->worst->node, value, unit,
             spread->worst->limit, unit);
}

static void limits(struct lw_chart *chart, const struct lw_noise_result *result,
                   const struct lw_noise_node *like, const struct spread *spread)
{
    if (spread->limit_low > spread->limit_high) {
        return;
    }
    if (spread->limit_low == spread->limit_high) {
        char label[80];
        lw_print(label, sizeof label, _("limit %.6g %s"), spread->limit_low,
                 lw_unit_shown(unit_of(like), true));
        lw_chart_limit(chart, label, spread->limit_low, true);
        return;
    }
    lw_chart_series(chart, _("limit of the node"), LW_INK_LIMIT, LW_SHAPE_STEPS);
    double x = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (alike(node_at(result, i), like)) {
            lw_chart_point(chart, ++x, node_at(result, i)->limit);
        }
    }
}

static void spreads(struct lw_chart *chart, const struct lw_noise_result *result,
                    const struct lw_noise_node *like)
{
    bool bounded = !is_peak_to_peak(like);
    lw_chart_series(chart, bounded ? _("measured, with its 95 % bounds") : _("measured"),
                    LW_INK_MEASURED, bounded ? LW_SHAPE_INTERVALS : LW_SHAPE_DOTS);
    double x = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_noise_node *node = node_at(result, i);
        if (!alike(node, like)) {
            continue;
        }
        lw_chart_name(chart, node->node);
        lw_chart_interval(chart, ++x, judged(node), bounded ? node->stdev_low95 : judged(node),
                          bounded ? node->stdev_high95 : judged(node));
    }
}

static void spread_chart(struct lw_document *document, const struct lw_noise_result *result,
                         const struct lw_noise_node *like)
{
    struct spread spread = survey(result, like);
    char words[400], title[120];
    alternative(&spread, like, words, sizeof words);
    lw_print(title, sizeof title, _("Noise at rest per node, in %s"),
             lw_unit_shown(unit_of(like), true));
    struct lw_chart *chart = lw_chart_new(title, words);
    lw_chart_axes(chart, _("node, in the order of the chain"), NULL, quantity(like), unit_of(like));
    if (chart != NULL) {
        chart->y.logarithmic = fmax(spread.high, spread.limit_high) / spread.low > RATIO_MOST;
        chart->y.low = chart->y.logarithmic ? (double)NAN : 0;
    }
    spreads(chart, result, like);
    limits(chart, result, like, &spread);
    lw_document_figure(document, chart);
}

static bool seen_before(const struct lw_noise_result *result, size_t index)
{
    for (size_t i = 0; i < index; i++) {
        if (has_data(node_at(result, i)) && alike(node_at(result, i), node_at(result, index))) {
            return true;
        }
    }
    return false;
}

static void traces(struct lw_document *document, const struct lw_noise_result *result)
{
    int drawn = 0;
    for (size_t i = 0; i < result->nodes.count && drawn < TRACES_MOST; i++) {
        const struct lw_noise_node *node = node_at(result, i);
        if (node->verdict == (int)LW_FAIL && node->trace_value.count > 1) {
            lw_report_noise_cause(document, node);
            drawn++;
        }
    }
}

static const char *unit_of_node(const struct lw_noise_result *result, const char *name)
{
    for (size_t i = 0; name != NULL && i < result->nodes.count; i++) {
        const struct lw_noise_node *node = node_at(result, i);
        if (node->node != NULL && strcmp(node->node, name) == 0) {
            return node->unit;
        }
    }
    return NULL;
}

// What several nodes share, where it was found common or near.
static void shared(struct lw_document *document, const struct lw_noise_result *result)
{
    const struct lw_noise_along *along = result->along.items;
    for (size_t i = 0; i < result->along.count; i++) {
        const struct lw_noise_heard *heard = along[i].nodes.items;
        if (along[i].pattern != LW_NOISE_UNCLEAR && along[i].nodes.count > 0) {
            lw_report_noise_along(document, &along[i], unit_of_node(result, heard[0].node));
        }
    }
}

static void notes(struct lw_document *document, const struct lw_sentences *sentences,
                  const struct lw_noise_result *result)
{
    struct lw_list all = {0};
    if (lw_noise_notes(result, &all, NULL) == LW_OK) {
        for (size_t i = 0; i < all.count; i++) {
            char *said = lw_sentences_say_of(sentences, ((char *const *)all.items)[i]);
            lw_document_paragraph(document, "%s", said != NULL ? said : "");
            free(said);
        }
    }
    lw_noise_notes_free(&all);
}

void lw_report_noise(struct lw_document *document, const struct lw_sentences *sentences,
                     const struct lw_record *record, const struct lw_noise_result *result)
{
    lw_report_section(document, _("Noise of the readings at rest"), record);
    lw_report_figure_fact(document, _("Measured over"), result->seconds, 0, "s");
    lw_document_fact(document, _("Machine state"),
                     result->state == NULL ? _("not stated") : result->state);
    if (result->source != NULL) {
        lw_document_fact(document, _("Source switched off, on, on, off"), result->source);
    }
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (has_data(node_at(result, i)) && !seen_before(result, i)) {
            spread_chart(document, result, node_at(result, i));
        }
    }
    traces(document, result);
    shared(document, result);
    notes(document, sentences, result);
}

static void people_cell(struct lw_document *document, double value)
{
    char text[LW_NUMBER_TEXT];
    lw_number_for_people(value, NAN, text);
    lw_document_cell(document, text);
}

// A limit stands as it was set.
static void limit_cell(struct lw_document *document, double limit)
{
    char text[LW_NUMBER_TEXT];
    lw_print(text, sizeof text, "%.6g", limit);
    lw_document_cell(document, isfinite(limit) ? text : NULL);
}

void lw_report_noise_annex(struct lw_document *document, const struct lw_noise_result *result)
{
    const struct lw_column columns[] = {
        {_("Node"), NULL, false},       {_("Unit"), NULL, false},
        {_("Readings"), NULL, true},    {_("Std. dev."), NULL, true},
        {_("Lower bound"), NULL, true}, {_("Upper bound"), NULL, true},
        {_("Robust"), NULL, true},      {_("Peak-peak"), NULL, true},
        {_("Limit"), NULL, true},       {_("Outliers"), NULL, true},
        {_("Cause"), NULL, false},      {_("Result"), NULL, false},
    };
    if (result->nodes.count == 0) {
        return;
    }
    lw_document_table(document, _("Noise, every node"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_noise_node *node = node_at(result, i);
        lw_document_cell(document, node->node);
        lw_document_cell(document, lw_unit_shown(unit_of(node), true));
        lw_document_number(document, node->n, 0);
        people_cell(document, node->stdev);
        people_cell(document, node->stdev_low95);
        people_cell(document, node->stdev_high95);
        people_cell(document, node->robust_stdev);
        people_cell(document, node->peak_to_peak);
        limit_cell(document, node->limit);
        lw_document_number(document, node->outliers, 0);
        lw_document_cell(document, node->cause != NULL ? _(node->cause) : NULL);
        lw_document_cell(document, _(lw_verdict_shown((enum lw_verdict)node->verdict)));
        lw_document_mark(document, (enum lw_verdict)node->verdict);
    }
}
