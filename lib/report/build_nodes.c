// SPDX-License-Identifier: GPL-3.0-or-later
//
// The nodes and their places: who stands where, as read from the chain; without a roster what the
// scan heard, and without that what the plan says.
#include "base/text.h"
#include "report/build.h"
#include "report/words.h"

static const char *state_word(int state)
{
    switch ((enum lw_roster_state)state) {
    case LW_ROSTER_PRESENT:
        return _("present");
    case LW_ROSTER_MISSING:
        return _("missing");
    case LW_ROSTER_UNPLANNED:
        return _("unplanned");
    case LW_ROSTER_SWAPPED:
        return _("swapped");
    case LW_ROSTER_WRONG_KIND:
        return _("wrong kind");
    case LW_ROSTER_DOUBLED:
        return _("doubled");
    case LW_ROSTER_UNREADABLE:
        return _("unreadable");
    case LW_ROSTER_WRONG_FRAMING:
        return _("wrong framing");
    }
    return "-";
}

static void roster_row(struct lw_document *document, const struct lw_roster_node *node)
{
    struct lw_text kind = {0};
    lw_text_add(&kind, "%s%s%s", node->product_code == NULL ? "" : node->product_code,
                node->product_code != NULL && node->revision != NULL ? ", " : "",
                node->revision == NULL ? "" : node->revision);
    lw_document_cell(document, node->node);
    lw_document_number(document, node->tap > 0 ? (double)node->tap : (double)NAN, 0);
    lw_document_cell(document, node->place);
    lw_document_number(document, node->address, 0);
    lw_document_cell(document, kind.bytes);
    lw_document_cell(document, node->serial);
    lw_document_cell(document, node->sensor_serial);
    lw_document_cell(document, node->calibrated_on);
    lw_document_cell(document, state_word(node->state));
    lw_document_mark(document, node->state == (int)LW_ROSTER_PRESENT ? LW_PASS : LW_FAIL);
    document->failed = document->failed || kind.failed;
    lw_text_finish(&kind);
}

void lw_report_roster(struct lw_document *document, const struct lw_record *record,
                      const struct lw_roster_result *result)
{
    const struct lw_column columns[] = {
        {_("Node"), NULL, false},   {_("Tap"), NULL, true},         {_("Place"), NULL, false},
        {_("Address"), NULL, true}, {_("Kind"), NULL, false},       {_("Serial"), NULL, false},
        {_("Sensor"), NULL, false}, {_("Calibrated"), NULL, false}, {_("State"), NULL, false}};
    lw_report_section(document, _("Nodes and their places"), record);
    lw_document_paragraph(document, _("%d of %d planned nodes are present."), result->present,
                          result->planned);
    if (result->nodes.count == 0) {
        return;
    }
    lw_document_table(document, _("Nodes, as read from the chain"), columns,
                      sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->nodes.count; i++) {
        roster_row(document, &((const struct lw_roster_node *)result->nodes.items)[i]);
    }
}

static void scan_row(struct lw_document *document, const struct lw_scan_node *node)
{
    const struct lw_scan_identity none = {0};
    const struct lw_scan_identity *identity = node->identity == NULL ? &none : node->identity;
    bool odd = node->doubled || node->late;
    lw_document_number(document, node->address, 0);
    lw_document_number(document, node->reply_ms, 1);
    lw_document_cell(document, identity->vendor);
    lw_document_cell(document,
                     identity->product_code == NULL ? node->server_id : identity->product_code);
    lw_document_cell(document, identity->revision);
    lw_document_cell(document, node->doubled ? _("doubled") : node->late ? _("late") : NULL);
    lw_document_mark(document, odd ? LW_ATTENTION : LW_PASS);
}

void lw_report_scan(struct lw_document *document, const struct lw_record *record,
                    const struct lw_scan_result *result)
{
    lw_report_section(document, _("Scan of the addresses"), record);
    lw_report_fact(document, _("Framing"), "%s", result->framing == NULL ? "-" : result->framing);
    lw_report_fact(document, _("Addresses asked"), "%d", result->asked);
    lw_report_fact(document, _("Nodes found"), "%zu", result->nodes.count);
    lw_report_figure_fact(document, _("Waited for each"), result->slowest_reply_s * 1000, 0, "ms");
    lw_report_fact(document, _("Damaged answers"), "%d", result->garbled);
    lw_report_fact(document, _("Late answers"), "%d", result->late_replies);
    lw_report_figure_fact(document, _("Duration"), result->elapsed_s, 1, "s");
}

void lw_report_scan_annex(struct lw_document *document, const struct lw_scan_result *result)
{
    const struct lw_column columns[] = {{_("Address"), NULL, true},   {_("Reply"), "ms", true},
                                        {_("Vendor"), NULL, false},   {_("Product"), NULL, false},
                                        {_("Revision"), NULL, false}, {_("Remark"), NULL, false}};
    if (result->nodes.count == 0) {
        return;
    }
    lw_document_table(document, _("Nodes that answered"), columns,
                      sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->nodes.count; i++) {
        scan_row(document, &((const struct lw_scan_node *)result->nodes.items)[i]);
    }
}

void lw_report_plan_nodes(struct lw_document *document, const struct lw_plan *plan)
{
    const struct lw_column columns[] = {{_("Node"), NULL, false},    {_("Tap"), NULL, true},
                                        {_("Place"), NULL, false},   {_("Address"), NULL, true},
                                        {_("Profile"), NULL, false}, {_("Serial"), NULL, false}};
    lw_document_heading(document, 1, _("Nodes and their places"));
    lw_document_paragraph(document, _("As planned; who is really there was not read."));
    if (lw_plan_nodes(plan) == 0) {
        return;
    }
    lw_document_table(document, _("Nodes, as planned"), columns, sizeof columns / sizeof *columns);
    for (size_t tap = 1; tap <= lw_plan_taps(plan); tap++) {
        const struct lw_chain_entry *entry = lw_plan_tap(plan, tap);
        if (entry->node != NULL) {
            lw_document_cell(document, entry->node);
            lw_document_number(document, (double)tap, 0);
            lw_document_cell(document, entry->place);
            lw_document_number(document, entry->address, 0);
            lw_document_cell(document, entry->profile);
            lw_document_cell(document, entry->serial);
        }
    }
}

void lw_report_revisions(struct lw_document *document, const struct lw_report_view *view)
{
    const struct lw_plan_revision *revisions = view->facts->revisions.items;
    const struct lw_column columns[] = {{_("As built"), NULL, false}};
    for (size_t i = 0; i < view->facts->revisions.count; i++) {
        char title[200];
        char *const *changes = revisions[i].changes.items;
        lw_print(title, sizeof title, _("Revision %s of the plan, after %s"), revisions[i].to,
                 revisions[i].from != NULL ? revisions[i].from : "-");
        lw_document_heading(document, 3, title);
        if (revisions[i].reason != NULL) {
            lw_document_paragraph(document, _("Reason: %s"), revisions[i].reason);
        }
        lw_document_table(document, title, columns, sizeof columns / sizeof *columns);
        for (size_t k = 0; k < revisions[i].changes.count; k++) {
            char *said = lw_sentences_say(view->sentences, changes[k]);
            lw_document_cell(document, said != NULL ? said : changes[k]);
            free(said);
        }
    }
}
