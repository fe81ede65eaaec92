// SPDX-License-Identifier: GPL-3.0-or-later
//
// Which records the report tells of, and in which order it tells them.
#include "base/list.h"
#include "base/text.h"
#include "report/build.h"
#include "report/words.h"

#include <stdint.h>

static bool same_text(const char *a, const char *b)
{
    return strcmp(a == NULL ? "" : a, b == NULL ? "" : b) == 0;
}

static bool is_one_of(const char *check, const char *a, const char *b)
{
    return strcmp(check, a) == 0 || strcmp(check, b) == 0;
}

// Whether a later record takes the place of an earlier one. A link or noise measured in another
// machine state says something else, so both stand.
static bool replaces(const struct lw_record *later, const struct lw_record *earlier)
{
    if (strcmp(later->check, earlier->check) != 0 || is_one_of(later->check, "note", "visit")) {
        return false;
    }
    if (strcmp(later->check, "assign") == 0) {
        return lw_assign_covers(later, earlier);
    }
    if (later->skipped != NULL || (earlier->complete && !later->complete)) {
        return false;
    }
    if (later->part != NULL && !same_text(later->part, earlier->part)) {
        return false; // it says nothing of the rest
    }
    return !is_one_of(later->check, "link", "noise") || same_text(later->state, earlier->state);
}

static bool is_replaced(const struct lw_list *records, size_t index)
{
    const struct lw_record *record = lw_report_record_at(records, index);
    for (size_t i = 0; i < records->count; i++) {
        const struct lw_record *other = lw_report_record_at(records, i);
        bool later = i > index && replaces(other, record);
        bool finished_before = i < index && strcmp(record->check, "assign") != 0 &&
                               !record->complete && other->complete && replaces(other, record);
        if (later || finished_before) {
            return true;
        }
    }
    return false;
}

bool lw_report_choose(const struct lw_list *records, struct lw_list *counting)
{
    for (size_t i = 0; i < records->count; i++) {
        if (is_replaced(records, i)) {
            continue;
        }
        struct lw_report_counted *counted = lw_list_add(counting, sizeof *counted);
        if (counted == NULL) {
            return false;
        }
        counted->record = lw_report_record_at(records, i);
    }
    return true;
}

static void tell_supply(struct lw_document *document, const struct lw_report_view *view,
                        const struct lw_report_counted *counted)
{
    (void)view;
    lw_report_supply(document, counted->record, counted->result);
}

static void tell_link(struct lw_document *document, const struct lw_report_view *view,
                      const struct lw_report_counted *counted)
{
    lw_report_link(document, view->plan, counted->record, counted->result);
}

static void tell_noise(struct lw_document *document, const struct lw_report_view *view,
                       const struct lw_report_counted *counted)
{
    lw_report_noise(document, view->sentences, counted->record, counted->result);
}

static void tell_roster(struct lw_document *document, const struct lw_report_view *view,
                        const struct lw_report_counted *counted)
{
    (void)view;
    lw_report_roster(document, counted->record, counted->result);
}

static void tell_scan(struct lw_document *document, const struct lw_report_view *view,
                      const struct lw_report_counted *counted)
{
    (void)view;
    lw_report_scan(document, counted->record, counted->result);
}

static void tell_restart(struct lw_document *document, const struct lw_report_view *view,
                         const struct lw_report_counted *counted)
{
    lw_report_restart(document, view->plan, counted->record, counted->result);
}

static void tell_compare(struct lw_document *document, const struct lw_report_view *view,
                         const struct lw_report_counted *counted)
{
    (void)view;
    lw_report_compare(document, counted->record, counted->result);
}

static void tell_touch(struct lw_document *document, const struct lw_report_view *view,
                       const struct lw_report_counted *counted)
{
    (void)view;
    lw_report_touch(document, counted->record, counted->result);
}

static void tell_watch(struct lw_document *document, const struct lw_report_view *view,
                       const struct lw_report_counted *counted)
{
    lw_report_watch(document, view, counted->record, counted->result);
}

static void tell_meter(struct lw_document *document, const struct lw_report_view *view,
                       const struct lw_report_counted *counted)
{
    (void)view;
    lw_report_meter(document, counted->record, counted->result);
}

static void tell_checklist(struct lw_document *document, const struct lw_report_view *view,
                           const struct lw_report_counted *counted)
{
    lw_report_checklist(document, view, counted->record, counted->result);
}

struct section {
    const char *check;
    void (*tell)(struct lw_document *document, const struct lw_report_view *view,
                 const struct lw_report_counted *counted);
};

static const struct section sections[] = {
    {"supply", tell_supply}, {"meter", tell_meter},     {"checklist", tell_checklist},
    {"link", tell_link},     {"noise", tell_noise},     {"touch", tell_touch},
    {"watch", tell_watch},   {"restart", tell_restart}, {"roster", tell_roster},
    {"scan", tell_scan},     {"compare", tell_compare}};

static bool tell_check(struct lw_document *document, const struct lw_report_view *view,
                       const struct section *section)
{
    bool told = false;
    for (size_t i = 0; i < view->counting->count; i++) {
        const struct lw_report_counted *counted = lw_report_counted_at(view, i);
        if (strcmp(counted->record->check, section->check) != 0) {
            continue;
        }
        if (counted->result != NULL) {
            section->tell(document, view, counted);
            told = true;
        } else if (counted->record->skipped == NULL) {
            lw_report_section(document, lw_report_check_words(section->check), counted->record);
            lw_document_paragraph(document, _("The record holds no result that can be read."));
        }
    }
    return told;
}

static void tell_checks(struct lw_document *document, const struct lw_report_view *view)
{
    for (size_t i = 0; i < sizeof sections / sizeof *sections; i++) {
        bool told = tell_check(document, view, &sections[i]);
        if (!told && view->plan != NULL && strcmp(sections[i].check, "roster") == 0) {
            lw_report_plan_nodes(document, view->plan);
        }
        if (strcmp(sections[i].check, "roster") == 0) {
            lw_report_revisions(document, view);
        }
    }
}

static void annex(struct lw_document *document, const struct lw_report_view *view)
{
    lw_document_page(document);
    lw_document_heading(document, 1, _("Annex: every value"));
    lw_document_paragraph(document,
                          _("The values behind the charts. The raw readings and exchanges "
                            "stand in the visit's files."));
    lw_report_findings_annex(document, view);
    for (size_t i = 0; i < view->counting->count; i++) {
        const struct lw_report_counted *counted = lw_report_counted_at(view, i);
        const char *check = counted->record->check;
        if (counted->result == NULL) {
            continue;
        }
        if (strcmp(check, "scan") == 0) {
            lw_report_scan_annex(document, counted->result);
        } else if (strcmp(check, "supply") == 0) {
            lw_report_supply_annex(document, counted->result);
        } else if (strcmp(check, "link") == 0) {
            lw_report_link_annex(document, counted->result);
        } else if (strcmp(check, "compare") == 0) {
            lw_report_compare_annex(document, counted->result);
        } else if (strcmp(check, "noise") == 0) {
            lw_report_noise_annex(document, counted->result);
        } else if (strcmp(check, "restart") == 0) {
            lw_report_restart_annex(document, counted->result);
        }
    }
}

static void begin(struct lw_document *document, const struct lw_report_view *view)
{
    char subtitle[LW_DOCUMENT_CELL];
    const char *machine = view->plan == NULL ? NULL : view->plan->site.machine;
    const char *customer = view->plan == NULL ? NULL : view->plan->site.customer;
    lw_print(subtitle, sizeof subtitle, "%s%s%s",
             machine == NULL ? _("machine not named") : machine, customer == NULL ? "" : ", ",
             customer == NULL ? "" : customer);
    lw_document_begin(document, _("Commissioning report of a sensor chain"), subtitle,
                      view->language);
    document->simulated = lw_report_simulated(view);
}

void lw_report_tell(struct lw_document *document, const struct lw_report_view *view)
{
    begin(document, view);
    lw_report_front(document, view);
    lw_report_checked(document, view);
    lw_report_findings(document, view);
    tell_checks(document, view);
    lw_report_assign(document, view);
    lw_report_notes(document, view);
    lw_document_heading(document, 1, _("Cautions"));
    lw_report_cautions(document, view, SIZE_MAX);
    lw_report_evidence(document, view);
    lw_report_methods(document, view);
    annex(document, view);
}
