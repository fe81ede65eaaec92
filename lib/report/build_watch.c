// SPDX-License-Identifier: GPL-3.0-or-later
//
// Watching: what happened while hands were on the chain, beside the marks that say what they did.
#include "base/text.h"
#include "report/build.h"
#include "report/words.h"

enum { EVENTS_MOST = 60 };

static const struct lw_live_result_node *node_at(const struct lw_live_result *result, size_t index)
{
    return &((const struct lw_live_result_node *)result->nodes.items)[index];
}

static const struct lw_live_result_event *event_at(const struct lw_live_result *result,
                                                   size_t index)
{
    return &((const struct lw_live_result_event *)result->events.items)[index];
}

static bool has_trouble(const struct lw_live_result_node *node)
{
    return node->silences + node->damaged + node->refusals + node->jumps + node->restarts +
               node->flags + node->low_polls + node->outside_polls >
           0;
}

static double longest_unasked_s(const struct lw_live_result *result)
{
    double longest_s = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        longest_s = fmax(longest_s, node_at(result, i)->longest_unasked_s);
    }
    return longest_s;
}

static void facts(struct lw_document *document, const struct lw_live_result *result)
{
    lw_report_figure_fact(document, _("Nodes"), (double)result->nodes.count, 0, NULL);
    lw_report_figure_fact(document, _("Duration"), result->seconds, 0, "s");
    lw_report_figure_fact(document, _("Polls"), result->polls, 0, NULL);
    lw_report_figure_fact(document, _("Polls a second"), result->polls_per_s, 0, NULL);
    lw_report_figure_fact(document, _("Longest without a look at a node"),
                          longest_unasked_s(result), 2, "s");
    lw_report_figure_fact(document, _("Events"), result->events_in_all, 0, NULL);
    lw_report_figure_fact(document, _("Marks"), result->marks, 0, NULL);
    if (result->made_sure_by != NULL) {
        lw_report_fact(document, _("Drives locked out, says"), "%s", result->made_sure_by);
    }
}

static void node_row(struct lw_document *document, const struct lw_live_result_node *node)
{
    lw_document_cell(document, node->node);
    lw_document_cell(document, node->place);
    lw_document_number(document, node->drop_outs, 0);
    lw_document_number(document, node->drop_outs > 0 ? node->longest_out_s : NAN, 2);
    lw_document_number(document, node->silences + node->damaged, 0);
    lw_document_number(document, node->polls, 0);
    lw_document_number(document, node->restarts, 0);
    lw_document_number(document, node->jumps, 0);
    lw_document_number(document, node->flags, 0);
    lw_document_mark(document, node->answers == 0 ? LW_FAIL : LW_ATTENTION);
}

static void nodes_table(struct lw_document *document, const struct lw_live_result *result)
{
    const struct lw_column columns[] = {
        {_("Node"), NULL, false},    {_("Place"), NULL, false}, {_("Drop-outs"), NULL, true},
        {_("Longest"), "s", true},   {_("Errors"), NULL, true}, {_("Polls"), NULL, true},
        {_("Restarts"), NULL, true}, {_("Jumps"), NULL, true},  {_("Status bits"), NULL, true}};
    size_t troubled = 0;
    for (size_t i = 0; i < result->nodes.count; i++) {
        troubled += has_trouble(node_at(result, i));
    }
    if (troubled == 0) {
        lw_document_paragraph(document, _("Nothing happened to any node while it was watched."));
        return;
    }
    lw_document_table(document, _("Nodes to which something happened"), columns,
                      sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->nodes.count; i++) {
        if (has_trouble(node_at(result, i))) {
            node_row(document, node_at(result, i));
        }
    }
}

// A single miss is counted above and told nowhere.
static bool is_told(const struct lw_live_result_event *event)
{
    return strcmp(event->what, "silent") != 0 || event->count > 1;
}

static void event_row(struct lw_document *document, const struct lw_sentences *sentences,
                      const struct lw_live_result_event *event)
{
    bool mark = strcmp(event->what, "mark") == 0;
    char *says = mark ? NULL : lw_sentences_say(sentences, event->says);
    lw_document_number(document, event->from_s, 2);
    lw_document_cell(document, mark ? _("mark") : NULL);
    lw_document_cell(document, says != NULL ? says : event->says);
    lw_document_mark(document, mark ? LW_PASS : LW_ATTENTION);
    free(says);
}

static void events_table(struct lw_document *document, const struct lw_sentences *sentences,
                         const struct lw_live_result *result)
{
    const struct lw_column columns[] = {
        {_("Time"), "s", true}, {_("By hand"), NULL, false}, {_("What"), NULL, false}};
    size_t told = 0, all = 0;
    for (size_t i = 0; i < result->events.count; i++) {
        all += is_told(event_at(result, i));
    }
    if (all == 0) {
        return;
    }
    lw_document_table(document, _("What happened, and what was marked"), columns,
                      sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->events.count && told < EVENTS_MOST; i++) {
        if (is_told(event_at(result, i))) {
            event_row(document, sentences, event_at(result, i));
            told++;
        }
    }
    if (all > told) {
        lw_document_paragraph(document, _("%zu more stand in the record."), all - told);
    }
}

void lw_report_watch(struct lw_document *document, const struct lw_report_view *view,
                     const struct lw_record *record, const struct lw_live_result *result)
{
    lw_report_section(document, _("Watching: the chain while plugs were moved"), record);
    facts(document, result);
    nodes_table(document, result);
    events_table(document, view->sentences, result);
}
