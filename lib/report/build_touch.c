// SPDX-License-Identifier: GPL-3.0-or-later
//
// Touch walk: a table of places, who answered there, sign, travel and return; the readings of those
// that something is wrong with; what was not touched stands in the table as such.
#include "base/number.h"
#include "base/text.h"
#include "base/unit.h"
#include "report/build.h"
#include "report/words.h"

enum { TRACES_MOST = 4, SIGN_REVERSED = 2 };

static const struct lw_touch_node *node_at(const struct lw_touch_result *result, size_t index)
{
    return &((const struct lw_touch_node *)result->nodes.items)[index];
}

static const char *state_word(const struct lw_touch_node *node)
{
    switch ((enum lw_touch_state)node->state) {
    case LW_TOUCH_RIGHT:
        return _("right");
    case LW_TOUCH_ELSEWHERE:
        return _("another answered");
    case LW_TOUCH_SILENT:
        return _("no answer");
    case LW_TOUCH_SKIPPED:
        return _("left out");
    case LW_TOUCH_UNTOUCHED:
        break;
    }
    return _("not touched");
}

static const char *sign_word(const struct lw_touch_node *node)
{
    static const char *const words[] = {"-", N_("as planned"), N_("reversed"), N_("not planned")};
    return node->sign == 0 ? words[0] : _(words[node->sign]);
}

static double worst_return(const struct lw_touch_node *node)
{
    const double *returns = node->returns.items;
    double worst = NAN;
    for (size_t i = 0; i < node->returns.count; i++) {
        worst = isnan(worst) || fabs(returns[i]) > fabs(worst) ? returns[i] : worst;
    }
    return worst;
}

static void number_cell(struct lw_document *document, double value, double resolution)
{
    char text[LW_NUMBER_TEXT];
    lw_number_for_people(value, resolution, text);
    lw_document_cell(document, text);
}

static void row(struct lw_document *document, const struct lw_touch_node *node)
{
    char touches[24];
    lw_print(touches, sizeof touches, "%d", node->touches);
    lw_document_cell(document, node->node);
    lw_document_cell(document, node->place != NULL ? node->place : "-");
    lw_document_cell(document, state_word(node));
    lw_document_cell(document, node->answered_by != NULL ? node->answered_by : "-");
    lw_document_cell(document, sign_word(node));
    number_cell(document, node->deflection, NAN);
    number_cell(document, worst_return(node), node->return_u);
    number_cell(document, node->return_limit, NAN);
    lw_document_cell(document, node->unit != NULL ? lw_unit_shown(node->unit, true) : "-");
    lw_document_cell(document, touches);
}

static void table(struct lw_document *document, const struct lw_touch_result *result)
{
    const struct lw_column columns[] = {
        {_("Node"), NULL, false},     {_("Place"), NULL, false},  {_("Found"), NULL, false},
        {_("Answered"), NULL, false}, {_("Sign"), NULL, false},   {_("Moved by"), NULL, true},
        {_("Off after"), NULL, true}, {_("Allowed"), NULL, true}, {_("Unit"), NULL, false},
        {_("Touches"), NULL, true},
    };
    lw_document_table(document, _("Place by place"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->nodes.count; i++) {
        row(document, node_at(result, i));
    }
    lw_document_paragraph(document,
                          _("Moved by: the farthest from its rest, with sign. Off after: where it "
                            "came to rest, from its rest before the first deflection, the worst of "
                            "its returns."));
}

static bool is_troubled(const struct lw_touch_node *node)
{
    bool off = fabs(worst_return(node)) > node->return_limit;
    return node->trace_value.count > 2 &&
           (off || node->stayed || node->sign == SIGN_REVERSED || node->state == LW_TOUCH_SILENT ||
            node->state == LW_TOUCH_ELSEWHERE);
}

static void trace(struct lw_document *document, const struct lw_touch_node *node)
{
    char title[120], words[240];
    const double *time_s = node->trace_time_s.items, *value = node->trace_value.items;
    lw_print(title, sizeof title, _("%s while its place was touched"), node->node);
    lw_print(words, sizeof words,
             _("Readings of %s while the walk was at its place, %zu of them: %s."), node->node,
             node->trace_value.count, state_word(node));
    struct lw_chart *chart = lw_chart_new(title, words);
    lw_chart_axes(chart, _("time"), "s", _("reading"), node->unit);
    lw_chart_series(chart, _("readings"), LW_INK_MEASURED, LW_SHAPE_LINE);
    for (size_t i = 0; i < node->trace_value.count && i < node->trace_time_s.count; i++) {
        lw_chart_point(chart, time_s[i], value[i]);
    }
    lw_document_figure(document, chart);
}

void lw_report_touch(struct lw_document *document, const struct lw_record *record,
                     const struct lw_touch_result *result)
{
    size_t right = 0, shown = 0;
    lw_report_section(document, _("Touch walk: places, signs, returns"), record);
    for (size_t i = 0; i < result->nodes.count; i++) {
        right += node_at(result, i)->state == LW_TOUCH_RIGHT;
    }
    lw_report_fact(document, _("Places proved"), _("%zu of %zu"), right, result->nodes.count);
    lw_document_fact(document, _("Order"),
                     result->any_order ? _("any: whoever touched compared each name with the place")
                                       : _("that of the plan"));
    lw_document_fact(document, _("Drives off and locked out"),
                     result->drives_off_said_by != NULL ? result->drives_off_said_by
                                                        : _("not said"));
    table(document, result);
    for (size_t i = 0; i < result->nodes.count && shown < TRACES_MOST; i++) {
        if (is_troubled(node_at(result, i))) {
            trace(document, node_at(result, i));
            shown++;
        }
    }
}
