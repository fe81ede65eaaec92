// SPDX-License-Identifier: GPL-3.0-or-later
//
// What was written to nodes: every register, by all records of the visit, since a later assignment
// does not undo an earlier one.
#include "base/text.h"
#include "report/build.h"
#include "report/words.h"

static const char *state_word(int state)
{
    switch ((enum lw_assign_state)state) {
    case LW_ASSIGN_OPEN:
        return _("not come to");
    case LW_ASSIGN_ASSIGNED:
        return _("assigned");
    case LW_ASSIGN_ALREADY:
        return _("was there before");
    case LW_ASSIGN_UNDONE:
        return _("undone");
    case LW_ASSIGN_LEFT:
        return _("left as it was");
    case LW_ASSIGN_REFUSED:
        return _("refused by the node");
    case LW_ASSIGN_UNPROVED:
        return _("written, not proved");
    case LW_ASSIGN_LOST:
        return _("not found afterwards");
    }
    return "-";
}

static const char *outcome_word(const struct lw_assign_write *write)
{
    const char *outcome = write->outcome == NULL ? "" : write->outcome;
    if (strcmp(outcome, lw_outcome_word(LW_ANSWERED)) == 0) {
        return _("confirmed");
    }
    return write->exception != 0 ? _("refused") : _("not confirmed");
}

static void place_cell(struct lw_document *document, int address, const char *framing)
{
    char text[64];
    lw_print(text, sizeof text, "%d, %s", address, framing == NULL ? "-" : framing);
    lw_document_cell(document, address > 0 ? text : NULL);
}

static void node_row(struct lw_document *document, const struct lw_assign_node *node)
{
    bool good = node->state == LW_ASSIGN_ASSIGNED || node->state == LW_ASSIGN_ALREADY;
    lw_document_cell(document, node->node);
    lw_document_cell(document, node->place);
    lw_document_cell(document, node->serial);
    place_cell(document, node->before_address, node->before_framing);
    place_cell(document, node->after_address, node->after_framing);
    lw_document_cell(document, state_word(node->state));
    lw_document_mark(document, good ? LW_PASS : LW_ATTENTION);
}

static void nodes_table(struct lw_document *document, const struct lw_assign_result *result)
{
    const struct lw_column columns[] = {{_("Node"), NULL, false},   {_("Place"), NULL, false},
                                        {_("Serial"), NULL, false}, {_("Before"), NULL, false},
                                        {_("After"), NULL, false},  {_("State"), NULL, false}};
    lw_document_table(document, _("Addresses given"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->nodes.count; i++) {
        node_row(document, &((const struct lw_assign_node *)result->nodes.items)[i]);
    }
}

static void write_row(struct lw_document *document, const struct lw_assign_node *node,
                      const struct lw_assign_write *write)
{
    char time[64], what[64];
    const char *when = write->time != NULL ? write->time : "";
    bool whole = strlen(when) >= sizeof "2026-11-25T08:31:02" - 1;
    lw_print(time, sizeof time, "%.10s %.8s UTC", when, whole ? when + 11 : "");
    lw_print(what, sizeof what, "%s%s", _(write->what), write->undo ? _(" (undo)") : "");
    lw_document_cell(document, whole ? time : NULL);
    lw_document_cell(document, node->node);
    place_cell(document, write->to_address, write->to_framing);
    lw_document_cell(document, what);
    lw_document_number(document, write->at, 0);
    lw_document_number(document, write->before, 0);
    lw_document_number(document, write->value, 0);
    lw_document_cell(document, outcome_word(write));
    lw_document_mark(document, strcmp(write->outcome == NULL ? "" : write->outcome, "answered") == 0
                                   ? LW_PASS
                                   : LW_ATTENTION);
}

static size_t count_writes(const struct lw_assign_result *result)
{
    size_t count = 0;
    const struct lw_assign_node *nodes = result->nodes.items;
    for (size_t i = 0; i < result->nodes.count; i++) {
        count += nodes[i].writes.count;
    }
    return count;
}

static void writes_table(struct lw_document *document, const struct lw_assign_result *result)
{
    const struct lw_column columns[] = {
        {_("Time"), NULL, false},   {_("Node"), NULL, false},         {_("Sent to"), NULL, false},
        {_("What"), NULL, false},   {_("Register"), NULL, true},      {_("Held"), NULL, true},
        {_("Written"), NULL, true}, {_("Node's answer"), NULL, false}};
    const struct lw_assign_node *nodes = result->nodes.items;
    if (count_writes(result) == 0) {
        lw_document_paragraph(document, _("Nothing was written."));
        return;
    }
    lw_document_table(document, _("Registers written"), columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->nodes.count; i++) {
        const struct lw_assign_write *writes = nodes[i].writes.items;
        for (size_t k = 0; k < nodes[i].writes.count; k++) {
            write_row(document, &nodes[i], &writes[k]);
        }
    }
}

static void tell_record(struct lw_document *document, const struct lw_record *record)
{
    struct lw_assign_result result;
    if (record->result == NULL || lw_json_read(&lw_assign_shape, record->result,
                                               strlen(record->result), &result, NULL) != LW_OK) {
        return;
    }
    lw_report_section(document, _("What was written to nodes"), record);
    lw_report_fact(document, _("Writing allowed by"), "%s",
                   result.allowed_by == NULL ? "-" : result.allowed_by);
    lw_report_fact(document, _("Drives off and locked out, made sure by"), "%s",
                   result.made_sure_by == NULL ? "-" : result.made_sure_by);
    if (result.nodes.count > 0) {
        nodes_table(document, &result);
        writes_table(document, &result);
    }
    lw_json_free(&lw_assign_shape, &result);
}

void lw_report_assign(struct lw_document *document, const struct lw_report_view *view)
{
    for (size_t i = 0; i < view->records->count; i++) {
        const struct lw_record *record = lw_report_record_at(view->records, i);
        if (strcmp(record->check, "assign") == 0) {
            tell_record(document, record);
        }
    }
}
