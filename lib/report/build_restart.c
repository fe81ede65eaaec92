// SPDX-License-Identifier: GPL-3.0-or-later
//
// Restart: when each node came in each cycle, and what came back otherwise than it went.
#include "base/text.h"
#include "check/restart.h"
#include "report/build.h"
#include "report/words.h"

static const struct lw_restart_node *node_at(const struct lw_restart_result *result, size_t index)
{
    return &((const struct lw_restart_node *)result->nodes.items)[index];
}

static const struct lw_restart_cycle *cycle_at(const struct lw_restart_result *result, size_t index)
{
    return &((const struct lw_restart_cycle *)result->cycles.items)[index];
}

static const struct lw_restart_came *came_at(const struct lw_restart_node *node, size_t index)
{
    return &((const struct lw_restart_came *)node->cycles.items)[index];
}

static const char *order_says(int order)
{
    switch ((enum lw_restart_order)order) {
    case LW_RESTART_TOGETHER:
        return _("all together");
    case LW_RESTART_FORWARD:
        return _("from the head");
    case LW_RESTART_BACKWARD:
        return _("from the tail");
    }
    return "-";
}

static void cycles_table(struct lw_document *document, const struct lw_restart_result *result)
{
    const struct lw_column columns[] = {
        {_("Cycle"), NULL, true},        {_("Switched on"), NULL, false},
        {_("Off for"), "s", true},       {_("Watched for"), "s", true},
        {_("Came"), NULL, true},         {_("Stay away"), NULL, true},
        {_("Go down again"), NULL, true}};
    lw_document_table(document, _("Cycles"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->cycles.count; i++) {
        const struct lw_restart_cycle *cycle = cycle_at(result, i);
        lw_document_number(document, cycle->cycle, 0);
        lw_document_cell(document, order_says(cycle->order));
        lw_document_number(document, cycle->off_s, 0);
        lw_document_number(document, cycle->watched_s, 0);
        lw_document_number(document, cycle->came, 0);
        lw_document_number(document, cycle->away, 0);
        lw_document_number(document, cycle->again, 0);
        lw_document_mark(document, cycle->away + cycle->again > 0 ? LW_FAIL : LW_PASS);
    }
}

// The fastest and the slowest first answer of a node over all cycles, and how much earlier the
// fastest may have come. NAN: it never came.
struct span {
    double fastest_s, earlier_s, slowest_s;
};

static struct span span_of(const struct lw_restart_node *node)
{
    struct span span = {NAN, NAN, NAN};
    for (size_t i = 0; i < node->cycles.count; i++) {
        const struct lw_restart_came *came = came_at(node, i);
        if (isfinite(came->first_answer_s)) {
            span.earlier_s = fmin(span.earlier_s, came->first_answer_s - came->resolution_s);
            span.fastest_s = fmin(span.fastest_s, came->first_answer_s);
            span.slowest_s = fmax(span.slowest_s, came->first_answer_s);
        }
    }
    return span;
}

// One limit for all is a line; where limits differ there is none to draw.
static void limit(struct lw_chart *chart, const struct lw_plan *plan,
                  const struct lw_restart_result *result)
{
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < result->nodes.count && plan != NULL; i++) {
        double at_s = lw_plan_limits(plan, (size_t)node_at(result, i)->tap).first_answer_s;
        least = fmin(least, isnan(at_s) ? INFINITY : at_s);
        most = fmax(most, isnan(at_s) ? INFINITY : at_s);
    }
    if (isfinite(least) && least == most) {
        char label[64];
        lw_print(label, sizeof label, _("limit %.6g s"), least);
        lw_chart_limit(chart, label, least, true);
    }
}

static const struct lw_restart_node *slowest_of(const struct lw_restart_result *result)
{
    const struct lw_restart_node *found = NULL;
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_restart_node *node = node_at(result, i);
        double slowest_s = span_of(node).slowest_s;
        if (isfinite(slowest_s) && (found == NULL || slowest_s > span_of(found).slowest_s)) {
            found = node;
        }
    }
    return found;
}

static void chart(struct lw_document *document, const struct lw_plan *plan,
                  const struct lw_restart_result *result)
{
    const struct lw_restart_node *slowest = slowest_of(result);
    char words[400];
    if (slowest == NULL) {
        return;
    }
    lw_print(words, sizeof words,
             _("Time from switching on to the first answer of each of %zu nodes, over %zu cycles. "
               "The slowest was %s with %.2f s."),
             result->nodes.count, result->cycles.count, slowest->node, span_of(slowest).slowest_s);
    struct lw_chart *chart = lw_chart_new(_("First answers after switching on"), words);
    lw_chart_axes(chart, _("node, in the order of the chain"), NULL, _("time to the first answer"),
                  "s");
    for (size_t i = 0; i < result->nodes.count; i++) {
        lw_chart_name(chart, node_at(result, i)->node);
    }
    if (chart != NULL) {
        chart->y.low = 0;
    }
    lw_chart_series(chart, _("fastest to slowest cycle"), LW_INK_MEASURED, LW_SHAPE_INTERVALS);
    for (size_t i = 0; i < result->nodes.count; i++) {
        struct span span = span_of(node_at(result, i));
        lw_chart_interval(chart, (double)i + 1, span.slowest_s, span.earlier_s, span.slowest_s);
    }
    limit(chart, plan, result);
    lw_document_figure(document, chart);
    lw_document_paragraph(document,
                          _("Bars begin where the node was asked in vain before its fastest first "
                            "answer: between the two the polling cannot tell. A node without a bar "
                            "never came."));
}

void lw_report_restart(struct lw_document *document, const struct lw_plan *plan,
                       const struct lw_record *record, const struct lw_restart_result *result)
{
    lw_report_section(document, _("Restart: off and on again"), record);
    lw_report_fact(document, _("Cycles"), _("%zu of %d"), result->cycles.count,
                   result->cycles_asked);
    lw_report_fact(document, _("Drives off and locked out, made sure by"), "%s",
                   result->made_sure_by != NULL ? result->made_sure_by : "-");
    lw_report_figure_fact(document, _("Hand at the switch, within"),
                          result->hand_s > 0 ? result->hand_s : (double)NAN, 1, "s");
    lw_report_figure_fact(document, _("Duration"), result->elapsed_s, 0, "s");
    if (result->cycles.count > 0) {
        cycles_table(document, result);
        chart(document, plan, result);
    }
}

void lw_report_restart_annex(struct lw_document *document, const struct lw_restart_result *result)
{
    const struct lw_column columns[] = {
        {_("Node"), NULL, false},
        {_("Fastest"), "s", true},
        {_("Slowest"), "s", true},
        {_("Again"), NULL, true},
        {_("Lowest supply"), "V", true},
        {_("Reading before"), NULL, true},
        {_("First reading"), NULL, true},
        {_("Last reading"), NULL, true},
        {_("Drift per minute"), NULL, true},
        {_("Unit"), NULL, false},
    };
    if (result->nodes.count == 0 || result->cycles.count == 0) {
        return;
    }
    lw_document_table(document, _("Restart, every node"), columns,
                      sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_restart_node *node = node_at(result, i);
        struct span span = span_of(node);
        int again = 0;
        for (size_t k = 0; k < node->cycles.count; k++) {
            again += came_at(node, k)->again;
        }
        lw_document_cell(document, node->node);
        lw_document_number(document, span.fastest_s, 2);
        lw_document_number(document, span.slowest_s, 2);
        lw_document_number(document, again, 0);
        lw_document_number(document, node->lowest_v, 2);
        lw_document_number(document, node->reading_before, 4);
        lw_document_number(document, node->reading_first, 4);
        lw_document_number(document, node->reading_last, 4);
        lw_document_number(document, node->drift_per_min, 4);
        lw_document_cell(document, node->unit);
    }
}
