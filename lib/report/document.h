// SPDX-License-Identifier: GPL-3.0-or-later
//
// A document as a list of blocks in plain text, and charts as meaning. Renderers (HTML here, PDF
// elsewhere) draw both; no markup and no colour stands in a document. Text is cleaned when it is
// added.
#ifndef LW_REPORT_DOCUMENT_H
#define LW_REPORT_DOCUMENT_H

#include "base/json.h"
#include "site/record.h"

#include <stdbool.h>

enum lw_block_kind {
    LW_BLOCK_HEADING,
    LW_BLOCK_PARAGRAPH,
    LW_BLOCK_FACTS, // pairs of label and value
    LW_BLOCK_TABLE,
    LW_BLOCK_VERDICT,
    LW_BLOCK_FINDING,
    LW_BLOCK_FIGURE,
    LW_BLOCK_CAUTION,
    LW_BLOCK_SIGNATURE,
    LW_BLOCK_EVIDENCE,
};

struct lw_chart; // chart.h

struct lw_table {
    size_t columns;
    char **heads;
    char **units; // may hold NULLs
    bool *numeric;
    struct lw_list cells; // of char *, row by row
};

struct lw_document_block {
    enum lw_block_kind kind;
    int level;               // headings: 1..3
    enum lw_verdict verdict; // verdict, finding, and a table row's mark
    char *text;              // heading, paragraph, caution, verdict's sentence
    struct lw_list lines; // of char *: facts (label, value, ...), reasons, evidence (name, digest,
                          // ...), signature roles
    struct lw_table table;
    struct lw_chart *chart;
    struct lw_finding finding; // copied
};

struct lw_document {
    char *title, *subtitle, *language;
    bool simulated;        // said on every page
    struct lw_list blocks; // of struct lw_document_block
    bool failed;           // memory ran out
};

void lw_document_heading(struct lw_document *document, int level, const char *text);
void lw_document_paragraph(struct lw_document *document, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void lw_document_caution(struct lw_document *document, const char *text);
void lw_document_finish(struct lw_document *document);

#endif
