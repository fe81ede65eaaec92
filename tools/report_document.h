// SPDX-License-Identifier: GPL-3.0-or-later
//
// A session's visit as a document: what the page and the PDF have in common.
#ifndef LW_TOOLS_REPORT_DOCUMENT_H
#define LW_TOOLS_REPORT_DOCUMENT_H

#include "check/acceptance.h"
#include "cli/session.h"
#include "report/document.h"

// Builds the document from the visit's records as they are now and judges them. `acceptance` may be
// NULL; `made_utc_ns` gets the time that the document names as its making. A visit whose records do
// not fit together is no error: it is said on stderr and in the document.
// `length_unit` is what --units said.
enum lw_status lw_session_document(struct lw_session *session, const char *length_unit,
                                   struct lw_document *document, struct lw_acceptance *acceptance,
                                   int64_t *made_utc_ns, struct lw_error *error);

// What --units takes: mm, inch, or nothing.
enum lw_status lw_length_unit_check(const char *unit, struct lw_error *error);

#endif
