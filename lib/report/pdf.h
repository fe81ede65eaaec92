// SPDX-License-Identifier: GPL-3.0-or-later
//
// A document as PDF: the same blocks and display lists as the page, drawn as vectors and real text,
// with bookmarks, "page x / y", table heads on every page and no row cut. A library of its own
// (lw_pdf), since cairo and pango are slow to start and only one program needs them.
#ifndef LW_REPORT_PDF_H
#define LW_REPORT_PDF_H

#include "base/text.h"
#include "report/document.h"

enum lw_paper { LW_PAPER_A4, LW_PAPER_LETTER };

// Adds the file's bytes to `pdf`. `made_utc_ns` is what the file says of its making.
enum lw_status lw_report_pdf(const struct lw_document *document, enum lw_paper paper,
                             int64_t made_utc_ns, struct lw_text *pdf, struct lw_error *error);

#endif
