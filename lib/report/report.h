// SPDX-License-Identifier: GPL-3.0-or-later
//
// The commissioning report: from a visit's records, a year later or at once, into one document, and
// that into a page.
#ifndef LW_REPORT_REPORT_H
#define LW_REPORT_REPORT_H

#include "check/acceptance.h"
#include "report/document.h"
#include "report/sentences.h"
#include "site/visit.h"

// Builds the document from the visit's facts, its plan (may be NULL) and its records. `broken` is
// what lw_visit_records said. `language` is the tag of the language that gettext speaks now, and
// `sentences` (NULL: English) puts what stands in records into it. The findings in `records` are
// changed on the way. Borrows nothing afterwards.
struct lw_report_making {
    int64_t now_utc_ns;
    const char *version, *language;
    const struct lw_sentences *sentences;
    const char *length_unit; // "mm" or "inch" for measured lengths; NULL: as they were measured
};
enum lw_status lw_report_build(const struct lw_visit *visit, const struct lw_plan *plan,
                               struct lw_list *records, int broken,
                               const struct lw_report_making *making, struct lw_document *document,
                               struct lw_error *error);

// A self-contained page: no script, no outside request, prints cleanly on A4.
enum lw_status lw_report_html(const struct lw_document *document, struct lw_text *html,
                              struct lw_error *error);

#endif
