// SPDX-License-Identifier: GPL-3.0-or-later
//
// The report's sections, one file each. They add blocks to a document from what a visit holds and
// decide nothing: verdicts and findings come from the checks. Private to this room.
#ifndef LW_REPORT_BUILD_H
#define LW_REPORT_BUILD_H

#include "check/acceptance.h"
#include "check/assign.h"
#include "check/checklist.h"
#include "check/compare.h"
#include "check/link.h"
#include "check/meter.h"
#include "check/noise.h"
#include "check/restart.h"
#include "check/roster.h"
#include "check/scan.h"
#include "check/supply.h"
#include "check/touch.h"
#include "check/watch.h"
#include "report/album.h"
#include "report/chart.h"
#include "report/document.h"
#include "report/sentences.h"
#include "site/signature.h"
#include "site/visit.h"

// A record that the report tells of, and its result as the check's own struct (lw_supply_result for
// "supply", ...); NULL when there is none, it cannot be read, or no section tells of that check.
struct lw_report_counted {
    const struct lw_record *record;
    void *result;
};

// All that the sections may look at; borrowed.
struct lw_report_view {
    const struct lw_visit_facts *facts;
    const struct lw_plan *plan;     // may be NULL
    const struct lw_list *records;  // all, of struct lw_record
    const struct lw_list *counting; // of struct lw_report_counted
    const struct lw_acceptance *acceptance;
    int broken;                     // first record that does not fit the chain of digests, 0: none
    const char *last_digest;        // of the last record's file; NULL: not known
    const struct lw_anchor *anchor; // what stands for the visit
    const struct lw_list *signatures; // of struct lw_signature_state
    const struct lw_list *album;      // of struct lw_album_picture; NULL: no pictures
    int64_t now_utc_ns;
    const char *version;
    const char *language;
    const struct lw_sentences *sentences; // NULL: English
};

const struct lw_report_counted *lw_report_counted_at(const struct lw_report_view *view,
                                                     size_t index);
bool lw_report_simulated(const struct lw_report_view *view);
const struct lw_record *lw_report_record_at(const struct lw_list *records, size_t index);
// "2026-11-25 08:31 UTC" of an RFC 3339 time; what is none stays as it is.
void lw_report_time(const char *rfc3339, char *text, size_t size);
// What a check is for, in a few words: "scan: which nodes answer".
const char *lw_report_check_words(const char *check);
// Heading 2 of a check's section with its record's number, state and verdict below.
void lw_report_section(struct lw_document *document, const char *title,
                       const struct lw_record *record);
// One fact of formatted text.
void lw_report_fact(struct lw_document *document, const char *label, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
// A fact with a number and its unit; nothing when the value is not finite.
void lw_report_figure_fact(struct lw_document *document, const char *label, double value,
                           int decimals, const char *unit);

// Which records count: the last one of a check, a finished one before a cut one; link and noise
// once for each machine state; notes and the visit's own records all. Results are left NULL. False
// when memory is out.
bool lw_report_choose(const struct lw_list *records, struct lw_list *counting);
// All sections in their order.
void lw_report_tell(struct lw_document *document, const struct lw_report_view *view);

void lw_report_front(struct lw_document *document, const struct lw_report_view *view);
void lw_report_checked(struct lw_document *document, const struct lw_report_view *view);
void lw_report_findings(struct lw_document *document, const struct lw_report_view *view);
void lw_report_supply(struct lw_document *document, const struct lw_record *record,
                      const struct lw_supply_result *result);
void lw_report_link(struct lw_document *document, const struct lw_plan *plan,
                    const struct lw_record *record, const struct lw_link_result *result);
void lw_report_noise(struct lw_document *document, const struct lw_sentences *sentences,
                     const struct lw_record *record, const struct lw_noise_result *result);
void lw_report_restart(struct lw_document *document, const struct lw_plan *plan,
                       const struct lw_record *record, const struct lw_restart_result *result);
void lw_report_restart_annex(struct lw_document *document, const struct lw_restart_result *result);
void lw_report_checklist(struct lw_document *document, const struct lw_report_view *view,
                         const struct lw_record *record, const struct lw_checklist_result *result);
void lw_report_meter(struct lw_document *document, const struct lw_record *record,
                     const struct lw_meter_result *result);
void lw_report_scan(struct lw_document *document, const struct lw_record *record,
                    const struct lw_scan_result *result);
void lw_report_roster(struct lw_document *document, const struct lw_record *record,
                      const struct lw_roster_result *result);
void lw_report_compare(struct lw_document *document, const struct lw_record *record,
                       const struct lw_compare_result *result);
void lw_report_touch(struct lw_document *document, const struct lw_record *record,
                     const struct lw_touch_result *result);
void lw_report_watch(struct lw_document *document, const struct lw_report_view *view,
                     const struct lw_record *record, const struct lw_live_result *result);
// All that was written to nodes, by every record of the visit.
void lw_report_assign(struct lw_document *document, const struct lw_report_view *view);
void lw_report_plan_nodes(struct lw_document *document, const struct lw_plan *plan);
// How the plan was revised to what was found; nothing where it was not.
void lw_report_revisions(struct lw_document *document, const struct lw_report_view *view);
// Tables of every value, for the annex.
void lw_report_findings_annex(struct lw_document *document, const struct lw_report_view *view);
void lw_report_supply_annex(struct lw_document *document, const struct lw_supply_result *result);
void lw_report_scan_annex(struct lw_document *document, const struct lw_scan_result *result);
void lw_report_compare_annex(struct lw_document *document, const struct lw_compare_result *result);
void lw_report_link_annex(struct lw_document *document, const struct lw_link_result *result);
// Figures behind one node's noise, and one of what its kind shares along the chain; `unit` is that
// of the nodes.
void lw_report_noise_cause(struct lw_document *document, const struct lw_noise_node *node);
void lw_report_noise_along(struct lw_document *document, const struct lw_noise_along *along,
                           const char *unit);
void lw_report_noise_annex(struct lw_document *document, const struct lw_noise_result *result);
// The cautions that plan and findings call for, the gravest first, at most `most`.
void lw_report_cautions(struct lw_document *document, const struct lw_report_view *view,
                        size_t most);
// The open points for the first page, and the section of all notes; nothing where there are none.
void lw_report_open_points(struct lw_document *document, const struct lw_report_view *view);
void lw_report_notes(struct lw_document *document, const struct lw_report_view *view);
// "2 fail, 1 undecided", or that there are none.
void lw_report_count_findings(const struct lw_report_view *view, char *text, size_t size);
void lw_report_evidence(struct lw_document *document, const struct lw_report_view *view);
void lw_report_methods(struct lw_document *document, const struct lw_report_view *view);

#endif
