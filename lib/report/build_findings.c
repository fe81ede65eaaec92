// SPDX-License-Identifier: GPL-3.0-or-later
//
// Findings by severity, each with its next step. Many of one kind are told once in full, then
// listed: a chain of two hundred nodes must stay readable.
#include "base/text.h"
#include "report/build.h"
#include "report/words.h"

enum { TOLD_IN_FULL = 4, LISTED = 24 };

static const struct lw_finding *finding_at(const struct lw_list *all, size_t index)
{
    return ((const struct lw_finding **)all->items)[index];
}

static bool same_kind(const struct lw_finding *a, const struct lw_finding *b)
{
    return a->severity == b->severity && strcmp(a->code, b->code) == 0;
}

// What several checks say in the same words is one fact.
static bool was_said(const struct lw_list *all, const struct lw_finding *finding)
{
    for (size_t i = 0; i < all->count; i++) {
        const struct lw_finding *other = finding_at(all, i);
        if (same_kind(other, finding) && other->tap == finding->tap &&
            strcmp(other->says, finding->says) == 0) {
            return true;
        }
    }
    return false;
}

// All findings that count, as one list of pointers in the records' order.
static bool gather(const struct lw_report_view *view, struct lw_list *all)
{
    for (size_t i = 0; i < view->counting->count; i++) {
        const struct lw_list *list = &lw_report_counted_at(view, i)->record->findings.list;
        for (size_t k = 0; k < list->count; k++) {
            const struct lw_finding *finding = &((const struct lw_finding *)list->items)[k];
            if (was_said(all, finding)) {
                continue;
            }
            const struct lw_finding **item = lw_list_add(all, sizeof *item);
            if (item == NULL) {
                return false;
            }
            *item = finding;
        }
    }
    return true;
}

static bool told_before(const struct lw_list *all, size_t index)
{
    for (size_t i = 0; i < index; i++) {
        if (same_kind(finding_at(all, i), finding_at(all, index))) {
            return true;
        }
    }
    return false;
}

static size_t count_kind(const struct lw_list *all, const struct lw_finding *kind)
{
    size_t count = 0;
    for (size_t i = 0; i < all->count; i++) {
        count += same_kind(finding_at(all, i), kind);
    }
    return count;
}

static void listed_row(struct lw_document *document, const struct lw_finding *finding)
{
    struct lw_text where = {0};
    lw_finding_where(finding, &where);
    lw_document_cell(document, where.bytes);
    lw_document_cell(document, finding->says);
    lw_document_mark(document, (enum lw_verdict)finding->severity);
    document->failed = document->failed || where.failed;
    lw_text_finish(&where);
}

static void begin_listing(struct lw_document *document, const struct lw_finding *kind, size_t count)
{
    const struct lw_column columns[] = {{_("Where"), NULL, false}, {_("What"), NULL, false}};
    const struct lw_code *code = lw_code_find(kind->code);
    char caption[LW_DOCUMENT_CELL];
    lw_print(caption, sizeof caption, _("Likewise: %s (%zu)"),
             code == NULL ? kind->code : _(code->title), count);
    lw_document_table(document, caption, columns, 2);
}

static void list_kind(struct lw_document *document, const struct lw_list *all, size_t first,
                      size_t skipped)
{
    const struct lw_finding *kind = finding_at(all, first);
    begin_listing(document, kind, count_kind(all, kind) - skipped);
    for (size_t i = first; i < all->count; i++) {
        if (!same_kind(finding_at(all, i), kind)) {
            continue;
        }
        if (skipped > 0) {
            skipped--;
        } else {
            listed_row(document, finding_at(all, i));
        }
    }
}

static void name_kind(struct lw_document *document, const struct lw_list *all, size_t first)
{
    const struct lw_finding *kind = finding_at(all, first);
    struct lw_text names = {0};
    for (size_t i = first + 1; i < all->count; i++) {
        const struct lw_finding *finding = finding_at(all, i);
        if (same_kind(finding, kind)) {
            lw_text_add(&names, "%s%s", names.length == 0 ? "" : ", ",
                        finding->node == NULL ? "-" : finding->node);
        }
    }
    lw_document_paragraph(document, _("Likewise %zu more, told one by one in the annex: %s."),
                          count_kind(all, kind) - 1, names.bytes == NULL ? "" : names.bytes);
    document->failed = document->failed || names.failed;
    lw_text_finish(&names);
}

// A few are told in full; of more the first is, and the others are listed; of many they are named
// and listed in the annex.
static void tell_kind(struct lw_document *document, const struct lw_list *all, size_t first)
{
    const struct lw_finding *kind = finding_at(all, first);
    size_t count = count_kind(all, kind);
    size_t in_full = count <= TOLD_IN_FULL ? count : 1;
    for (size_t i = first, told = 0; i < all->count && told < in_full; i++) {
        if (same_kind(finding_at(all, i), kind)) {
            lw_document_finding(document, finding_at(all, i));
            told++;
        }
    }
    if (count > LISTED) {
        name_kind(document, all, first);
    } else if (count > in_full) {
        list_kind(document, all, first, in_full);
    }
}

void lw_report_findings_annex(struct lw_document *document, const struct lw_report_view *view)
{
    struct lw_list all = {0};
    document->failed = !gather(view, &all) || document->failed;
    for (size_t i = 0; i < all.count; i++) {
        if (!told_before(&all, i) && count_kind(&all, finding_at(&all, i)) > LISTED) {
            list_kind(document, &all, i, 0);
        }
    }
    free(all.items);
}

static void tell_severity(struct lw_document *document, const struct lw_list *all,
                          enum lw_verdict severity, const char *title)
{
    bool begun = false;
    for (size_t i = 0; i < all->count; i++) {
        if (finding_at(all, i)->severity != (int)severity || told_before(all, i)) {
            continue;
        }
        if (!begun) {
            lw_document_heading(document, 2, title);
            begun = true;
        }
        tell_kind(document, all, i);
    }
}

void lw_report_count_findings(const struct lw_report_view *view, char *text, size_t size)
{
    size_t counts[LW_FAIL + 1] = {0};
    struct lw_text told = {0};
    struct lw_list all = {0};
    told.failed = !gather(view, &all);
    for (size_t i = 0; i < all.count; i++) {
        counts[finding_at(&all, i)->severity]++;
    }
    free(all.items);
    const enum lw_verdict order[] = {LW_FAIL, LW_UNDECIDED, LW_ATTENTION, LW_NOT_TESTED};
    for (size_t i = 0; i < sizeof order / sizeof *order; i++) {
        if (counts[order[i]] > 0) {
            lw_text_add(&told, "%s%zu %s", told.length == 0 ? "" : ", ", counts[order[i]],
                        _(lw_verdict_shown(order[i])));
        }
    }
    lw_print(text, size, "%s", told.length == 0 ? _("none") : told.bytes);
    lw_text_finish(&told);
}

void lw_report_findings(struct lw_document *document, const struct lw_report_view *view)
{
    struct lw_list all = {0};
    lw_document_heading(document, 1, _("Findings and next steps"));
    if (!gather(view, &all)) {
        document->failed = true;
    } else if (all.count == 0) {
        lw_document_paragraph(document, _("The checks that were done found nothing to report."));
    }
    tell_severity(document, &all, LW_FAIL, _("Fails"));
    tell_severity(document, &all, LW_UNDECIDED, _("Undecided"));
    tell_severity(document, &all, LW_ATTENTION, _("Needs attention"));
    tell_severity(document, &all, LW_NOT_TESTED, _("Not tested"));
    free(all.items);
}
