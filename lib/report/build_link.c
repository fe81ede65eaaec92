// SPDX-License-Identifier: GPL-3.0-or-later
//
// The link: errors of the line against its limit, node beside node, and how fast they answer.
#include "base/number.h"
#include "base/text.h"
#include "report/build.h"
#include "report/words.h"

static const struct lw_link_node *node_at(const struct lw_link_result *result, size_t index)
{
    return &((const struct lw_link_node *)result->nodes.items)[index];
}

static const char *name_of(const struct lw_link_node *node, char text[32])
{
    if (node->node != NULL) {
        return node->node;
    }
    lw_print(text, 32, "@%d", node->address);
    return text;
}

static void rate_text(double rate, char text[LW_NUMBER_TEXT])
{
    lw_number_for_people(rate, NAN, text);
}

static void facts(struct lw_document *document, const struct lw_plan *plan,
                  const struct lw_link_result *result)
{
    char rate[LW_NUMBER_TEXT], upper[LW_NUMBER_TEXT];
    rate_text(result->line.error_rate, rate);
    rate_text(result->line.upper95, upper);
    lw_report_figure_fact(document, _("Polls"), result->line.polls, 0, NULL);
    lw_report_figure_fact(document, _("Errors"), result->line.errors, 0, NULL);
    lw_report_fact(document, _("Error rate"), _("%s, at most %s with 95 %% confidence"), rate,
                   upper);
    lw_report_figure_fact(document, _("Events"), result->line.events, 0, NULL);
    lw_report_figure_fact(document, _("Bursts"), result->line.bursts, 0, NULL);
    lw_report_figure_fact(document, _("Worst second"), result->line.worst_second, 0, NULL);
    lw_report_figure_fact(document, _("Cycle, median"), result->cycle_ms, 0, "ms");
    lw_report_figure_fact(document, _("Cycle, longest"), result->longest_cycle_ms, 0, "ms");
    lw_report_figure_fact(document, _("Cycle of the wire"), result->wire_cycle_ms, 0, "ms");
    if (plan != NULL) {
        lw_report_figure_fact(document, _("Cycle wanted"), plan->line.wanted_cycle_ms, 0, "ms");
    }
    lw_report_figure_fact(document, _("Duration"), result->elapsed_s, 0, "s");
    if (result->late_ms >= 0.05) {
        lw_report_fact(document, _("Adapter"), _("may keep each answer for up to %.1f ms"),
                       result->late_ms);
    }
}

static const struct lw_link_node *worst(const struct lw_link_result *result)
{
    const struct lw_link_node *found = node_at(result, 0);
    for (size_t i = 1; i < result->nodes.count; i++) {
        found = node_at(result, i)->error_rate > found->error_rate ? node_at(result, i) : found;
    }
    return found;
}

static void names(struct lw_chart *chart, const struct lw_link_result *result)
{
    for (size_t i = 0; i < result->nodes.count; i++) {
        char text[32];
        lw_chart_name(chart, name_of(node_at(result, i), text));
    }
}

// On a logarithmic axis no error has no place: only shares above 0 are drawn.
static void error_series(struct lw_chart *chart, const struct lw_link_result *result)
{
    lw_chart_series(chart, _("95 % upper bound of the node's share"), LW_INK_COMPUTED,
                    LW_SHAPE_STEPS);
    for (size_t i = 0; i < result->nodes.count; i++) {
        lw_chart_point(chart, (double)i + 1, node_at(result, i)->upper95);
    }
    if (!(worst(result)->error_rate > 0)) {
        return;
    }
    lw_chart_series(chart, _("share seen, where there was any"), LW_INK_MEASURED, LW_SHAPE_DOTS);
    for (size_t i = 0; i < result->nodes.count; i++) {
        double rate = node_at(result, i)->error_rate;
        lw_chart_point(chart, (double)i + 1, rate > 0 ? rate : (double)NAN);
    }
}

static void error_chart(struct lw_document *document, const struct lw_plan *plan,
                        const struct lw_link_result *result)
{
    char words[400], rate[LW_NUMBER_TEXT], name[32];
    rate_text(worst(result)->error_rate, rate);
    lw_print(words, sizeof words,
             _("Share of failed polls of each of %zu nodes with its upper bound. The highest share "
               "is %s, at %s."),
             result->nodes.count, rate, name_of(worst(result), name));
    struct lw_chart *chart = lw_chart_new(_("Errors per node"), words);
    lw_chart_axes(chart, _("node, in the order of the chain"), NULL,
                  _("failed polls, share of all"), NULL);
    if (chart != NULL) {
        chart->y.logarithmic = true;
        chart->y.high = worst(result)->upper95 > 0.1 ? 1 : (double)NAN;
    }
    names(chart, result);
    error_series(chart, result);
    double limit = plan == NULL ? (double)NAN : lw_plan_limits(plan, 0).error_rate;
    if (isfinite(limit) && limit > 0) {
        lw_chart_limit(chart, _("limit for the line as a whole"), limit, true);
    }
    lw_document_figure(document, chart);
    lw_document_paragraph(document,
                          _("The limit holds for all polls of the line together. A single node has "
                            "fewer polls, so its own bound lies higher: nodes are compared with "
                            "each other, not with the limit."));
}

static double reply_limit_ms(const struct lw_plan *plan, const struct lw_link_node *node)
{
    return plan == NULL || node->tap < 1 ? (double)NAN
                                         : lw_plan_limits(plan, (size_t)node->tap).reply_ms;
}

// One limit for all is a line; limits that differ are levels.
static void reply_limits(struct lw_chart *chart, const struct lw_plan *plan,
                         const struct lw_link_result *result)
{
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < result->nodes.count; i++) {
        least = fmin(least, reply_limit_ms(plan, node_at(result, i)));
        most = fmax(most, reply_limit_ms(plan, node_at(result, i)));
    }
    if (least == most) {
        char label[64];
        lw_print(label, sizeof label, _("limit %.6g ms"), least);
        lw_chart_limit(chart, label, least, true);
    } else if (least < most) {
        lw_chart_series(chart, _("limit of the node"), LW_INK_LIMIT, LW_SHAPE_STEPS);
        for (size_t i = 0; i < result->nodes.count; i++) {
            lw_chart_point(chart, (double)i + 1, reply_limit_ms(plan, node_at(result, i)));
        }
    }
}

static void reply_chart(struct lw_document *document, const struct lw_plan *plan,
                        const struct lw_link_result *result)
{
    const struct lw_link_node *slowest = node_at(result, 0);
    for (size_t i = 1; i < result->nodes.count; i++) {
        const struct lw_link_node *node = node_at(result, i);
        slowest = !(node->reply_ms.max <= slowest->reply_ms.max) ? node : slowest;
    }
    char words[400], name[32];
    lw_print(words, sizeof words,
             _("Reply time of each of %zu nodes: median, 95 %% and slowest. The slowest reply came "
               "from %s after %.1f ms."),
             result->nodes.count, name_of(slowest, name), slowest->reply_ms.max);
    struct lw_chart *chart = lw_chart_new(_("Reply time per node"), words);
    lw_chart_axes(chart, _("node, in the order of the chain"), NULL, _("reply time"), "ms");
    names(chart, result);
    if (chart != NULL) {
        chart->y.low = 0;
    }
    lw_chart_series(chart, _("median, up to 95 % of the replies"), LW_INK_COMPUTED,
                    LW_SHAPE_INTERVALS);
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_link_times *times = &node_at(result, i)->reply_ms;
        lw_chart_interval(chart, (double)i + 1, times->p50, times->p50, times->p95);
    }
    lw_chart_series(chart, _("slowest"), LW_INK_WORST, LW_SHAPE_DOTS);
    for (size_t i = 0; i < result->nodes.count; i++) {
        lw_chart_point(chart, (double)i + 1, node_at(result, i)->reply_ms.max);
    }
    reply_limits(chart, plan, result);
    lw_document_figure(document, chart);
}

void lw_report_link(struct lw_document *document, const struct lw_plan *plan,
                    const struct lw_record *record, const struct lw_link_result *result)
{
    lw_report_section(document, _("Link: errors and reply times"), record);
    facts(document, plan, result);
    if (result->nodes.count > 0) {
        error_chart(document, plan, result);
        reply_chart(document, plan, result);
    }
}

void lw_report_link_annex(struct lw_document *document, const struct lw_link_result *result)
{
    const struct lw_column columns[] = {
        {_("Node"), NULL, false},     {_("Address"), NULL, true},    {_("Polls"), NULL, true},
        {_("No answer"), NULL, true}, {_("CRC"), NULL, true},        {_("Wrong"), NULL, true},
        {_("Refused"), NULL, true},   {_("95 % bound"), NULL, true}, {_("Median"), "ms", true},
        {_("95 %"), "ms", true},      {_("Slowest"), "ms", true},
    };
    if (result->nodes.count == 0) {
        return;
    }
    lw_document_table(document, _("Link, every node"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_link_node *node = node_at(result, i);
        char name[32], upper[LW_NUMBER_TEXT];
        rate_text(node->upper95, upper);
        lw_document_cell(document, name_of(node, name));
        lw_document_number(document, node->address, 0);
        lw_document_number(document, node->polls, 0);
        lw_document_number(document, node->no_answer, 0);
        lw_document_number(document, node->crc_error, 0);
        lw_document_number(document, node->wrong_answer, 0);
        lw_document_number(document, node->exception, 0);
        lw_document_cell(document, upper);
        lw_document_number(document, node->reply_ms.p50, 1);
        lw_document_number(document, node->reply_ms.p95, 1);
        lw_document_number(document, node->reply_ms.max, 1);
    }
}
