// SPDX-License-Identifier: GPL-3.0-or-later
//
// The first page, which stands alone: who, where, what, when, the verdict and why, under which
// conditions, what can hurt, and who signs.
#include "base/clock.h"
#include "report/build.h"
#include "report/words.h"

enum { FRONT_CAUTIONS = 3 };

static enum lw_verdict severity_of(enum lw_acceptance_verdict verdict)
{
    switch (verdict) {
    case LW_ACCEPTED:
        return LW_PASS;
    case LW_ACCEPTED_WITH_REMARKS:
        return LW_ATTENTION;
    case LW_NOT_ACCEPTED:
        return LW_FAIL;
    case LW_INCOMPLETE:
        return LW_UNDECIDED;
    }
    return LW_UNDECIDED;
}

// "link: not done": the check's name is that of its command in every language.
static void acceptance_reason(struct lw_document *document, const struct lw_report_view *view,
                              const char *reason)
{
    const char *colon = strstr(reason, ": ");
    int name = colon == NULL ? 0 : (int)(colon + 2 - reason);
    char *said = lw_sentences_say(view->sentences, reason + name);
    lw_document_reason(document, "%.*s%s", name, reason, said == NULL ? "" : said);
    document->failed = document->failed || said == NULL;
    free(said);
}

static void verdict(struct lw_document *document, const struct lw_report_view *view)
{
    const struct lw_acceptance *acceptance = view->acceptance;
    enum lw_verdict severity = severity_of(acceptance->verdict);
    lw_document_verdict(document, view->broken > 0 ? LW_FAIL : severity,
                        _(lw_acceptance_word(acceptance->verdict)));
    for (size_t i = 0; i < acceptance->because_count; i++) {
        acceptance_reason(document, view, acceptance->because[i]);
    }
    lw_document_reason(document, _("machine state while line and noise were proved: %s"),
                       acceptance->states[0] == '\0' ? _("not stated") : acceptance->states);
}

static const char *first_of(const char *a, const char *b)
{
    return a != NULL && a[0] != '\0' ? a : b;
}

static void who_and_where(struct lw_document *document, const struct lw_report_view *view)
{
    const struct lw_plan_site none = {0};
    const struct lw_plan_site *site = view->plan == NULL ? &none : &view->plan->site;
    lw_document_fact(document, _("Customer"), site->customer);
    lw_document_fact(document, _("Contact"), view->facts->customer_contact);
    lw_document_fact(document, _("Machine"), site->machine);
    lw_document_fact(document, _("Machine serial"), view->facts->machine_serial);
    lw_document_fact(document, _("Location"), site->location);
    lw_document_fact(document, _("Job"), site->job);
    lw_document_fact(document, _("Engineer"), view->facts->engineer);
    lw_document_fact(document, _("Company"), view->facts->company);
}

static const struct lw_record *last_with_line(const struct lw_list *records)
{
    for (size_t i = records->count; i > 0; i--) {
        const struct lw_record *record = lw_report_record_at(records, i - 1);
        if (record->line != NULL) {
            return record;
        }
    }
    return NULL;
}

static void line_facts(struct lw_document *document, const struct lw_record *record)
{
    if (record == NULL) {
        lw_document_fact(document, _("Line"), _("none was used"));
        return;
    }
    lw_report_fact(document, _("Line"), "%s, %s%s%s",
                   first_of(record->line->framing, _("framing not stated")),
                   first_of(record->line->on, "-"), record->line->adapter == NULL ? "" : ", ",
                   record->line->adapter == NULL ? "" : record->line->adapter);
    if (record->controller != NULL) {
        lw_report_fact(document, _("Controller"), _("%s, said by %s"),
                       first_of(record->controller->is, "-"),
                       first_of(record->controller->said_by, "-"));
    } else {
        lw_document_fact(document, _("Controller"), _("not asked"));
    }
}

static void what_and_when(struct lw_document *document, const struct lw_report_view *view)
{
    char from[64], to[64], made[LW_TIME_TEXT], made_text[64], findings[LW_DOCUMENT_FACT],
        digest[40];
    const struct lw_list *records = view->records;
    if (view->plan != NULL) {
        lw_report_fact(document, _("Plan"), _("revision %s, drawing %s, %zu nodes"),
                       first_of(view->plan->revision, "-"), first_of(view->plan->drawing, "-"),
                       lw_plan_nodes(view->plan));
    } else {
        lw_document_fact(document, _("Plan"), _("none"));
    }
    line_facts(document, last_with_line(records));
    lw_report_count_findings(view, findings, sizeof findings);
    lw_document_fact(document, _("Findings"), findings);
    if (records->count > 0) {
        lw_report_time(lw_report_record_at(records, 0)->started, from, sizeof from);
        lw_report_time(lw_report_record_at(records, records->count - 1)->finished, to, sizeof to);
        lw_document_fact(document, _("First record"), from);
        lw_document_fact(document, _("Last record"), to);
    }
    lw_time_format(view->now_utc_ns, 0, made);
    lw_report_time(made, made_text, sizeof made_text);
    lw_report_fact(document, _("Report made"), _("%s, linewalk %s"), made_text, view->version);
    lw_digest_shown(view->anchor->digest, 4, digest, sizeof digest);
    lw_document_fact(document, _("Digest"), digest);
}

static void conditions(struct lw_document *document, const struct lw_report_view *view)
{
    lw_document_paragraph(
        document,
        _("The verdict holds for the chain as it was at the times and in the machine states named "
          "here, against the plan named here, and for nothing that is listed as not tested. Each "
          "limit is proved or disproved at one-sided 95 %% confidence; what lies between is called "
          "undecided."));
    lw_document_paragraph(
        document, _("A point stands before decimals, and nothing between thousands. Dates are "
                    "year-month-day, times UTC."));
    double offset_s = view->facts->clock_offset_s;
    if (isfinite(offset_s) && offset_s != 0) {
        lw_document_paragraph(document,
                              _("The recording clock was off by %.1f s; times are as it "
                                "showed them."),
                              offset_s);
    }
}

static void signatures(struct lw_document *document, const struct lw_report_view *view)
{
    if (lw_report_simulated(view)) {
        lw_document_signature(document, _("simulated: cannot be signed off"));
        return;
    }
    if (view->broken > 0) {
        lw_document_signature(document, _("the records do not fit together: cannot be signed off"));
        return;
    }
    char role[LW_DOCUMENT_CELL];
    lw_document_signature(document, NULL);
    lw_document_seal(document, view->anchor->digest);
    lw_print(role, sizeof role, _("Carried out by %s"), first_of(view->facts->engineer, "-"));
    lw_document_role(document, role);
    lw_print(role, sizeof role, _("For the customer %s"),
             first_of(view->facts->customer_contact, "-"));
    lw_document_role(document, role);
    lw_document_role(document, _("Reservations"));
}

// A signature by key stands in words: what it proves is less than what ink on this page does.
static void key_signatures(struct lw_document *document, const struct lw_report_view *view)
{
    const struct lw_signature_state *states = view->signatures->items;
    for (size_t i = 0; i < view->signatures->count; i++) {
        if (states[i].good) {
            char at[64];
            lw_report_time(states[i].signed_at, at, sizeof at);
            lw_document_paragraph(document,
                                  _("Signed by key %s, %s, %s by the signer's own clock (record "
                                    "%d). A key proves no time."),
                                  states[i].fingerprint, states[i].owner, at, states[i].record);
        } else {
            lw_document_paragraph(document, _("The signature of record %d is not good: %s."),
                                  states[i].record, _(states[i].why));
        }
    }
}

void lw_report_front(struct lw_document *document, const struct lw_report_view *view)
{
    verdict(document, view);
    who_and_where(document, view);
    what_and_when(document, view);
    conditions(document, view);
    lw_report_cautions(document, view, FRONT_CAUTIONS);
    lw_report_open_points(document, view);
    signatures(document, view);
    key_signatures(document, view);
    lw_document_page(document);
}

static const struct lw_record *record_numbered(const struct lw_list *records, int number)
{
    for (size_t i = 0; i < records->count; i++) {
        if (lw_report_record_at(records, i)->number == number) {
            return lw_report_record_at(records, i);
        }
    }
    return NULL;
}

static void checked_row(struct lw_document *document, const struct lw_report_view *view,
                        const struct lw_acceptance_check *check)
{
    const struct lw_record *record = record_numbered(view->records, check->number);
    char number[16] = "-", started[64] = "-", part[160] = "";
    if (record != NULL && record->part != NULL) {
        lw_print(part, sizeof part, _("only %s"), record->part);
    }
    if (record != NULL) {
        lw_print(number, sizeof number, "%d", record->number);
        lw_report_time(record->started, started, sizeof started);
    }
    lw_document_cell(document, lw_report_check_words(check->check));
    lw_document_cell(document, check->required ? _("required") : _("beyond"));
    lw_document_cell(document, number);
    lw_document_cell(document, started);
    lw_document_cell(document, record == NULL ? NULL : record->state);
    lw_document_cell(document, _(lw_verdict_shown(check->verdict)));
    lw_document_cell(document, check->skipped != NULL ? check->skipped
                               : record == NULL       ? _("not done")
                               : check->outdated == LW_BEFORE_WRITING
                                   ? _("before addresses were written")
                               : check->outdated == LW_OTHER_PLAN ? _("with another plan")
                               : record->part != NULL             ? part
                               : !check->done                     ? _("not finished")
                                                                  : NULL);
    lw_document_mark(document, check->verdict);
}

static void not_tested(struct lw_document *document, const struct lw_acceptance *acceptance)
{
    struct lw_text names = {0};
    for (size_t i = 0; i < acceptance->check_count; i++) {
        const struct lw_acceptance_check *check = &acceptance->checks[i];
        if (!check->done || check->verdict == LW_NOT_TESTED) {
            lw_text_add(&names, "%s%s", names.length == 0 ? "" : ", ", check->check);
        }
    }
    if (names.length > 0) {
        lw_document_paragraph(document, _("Not tested, and so not vouched for: %s."), names.bytes);
    }
    document->failed = document->failed || names.failed;
    lw_text_finish(&names);
}

void lw_report_checked(struct lw_document *document, const struct lw_report_view *view)
{
    const struct lw_column columns[] = {
        {_("Check"), NULL, false},   {_("Needed"), NULL, false},        {_("Record"), NULL, true},
        {_("Started"), NULL, false}, {_("Machine state"), NULL, false}, {_("Result"), NULL, false},
        {_("Remark"), NULL, false},
    };
    lw_document_heading(document, 1, _("What was checked, and what was not"));
    lw_document_table(document, _("Checks of this visit"), columns,
                      sizeof columns / sizeof *columns);
    for (size_t i = 0; i < view->acceptance->check_count; i++) {
        checked_row(document, view, &view->acceptance->checks[i]);
    }
    not_tested(document, view->acceptance);
}
