// SPDX-License-Identifier: GPL-3.0-or-later
//
// A document as a list of blocks in plain text, and charts as meaning. Renderers (HTML here, PDF
// elsewhere) draw both; no markup and no colour stands in a document. Text is cleaned when it is
// added: valid UTF-8, no control characters, no pile of combining marks, and a length that no
// layout breaks on (LW_DOCUMENT_FACT bytes in a fact's value, LW_DOCUMENT_CELL in a cell, label or
// caption, LW_DOCUMENT_SENTENCE elsewhere; cut with an ellipsis).
//
// A document is filled from top to bottom: reasons, facts, cells and the like belong to the block
// of their kind begun last. When memory runs out `failed` is set and what follows is dropped, so a
// caller asks once, at the end.
#ifndef LW_REPORT_DOCUMENT_H
#define LW_REPORT_DOCUMENT_H

#include "base/json.h"
#include "site/record.h"

#include <stdbool.h>

enum { LW_DOCUMENT_FACT = 120, LW_DOCUMENT_CELL = 400, LW_DOCUMENT_SENTENCE = 2000 };

enum lw_block_kind {
    LW_BLOCK_HEADING,
    LW_BLOCK_PARAGRAPH,
    LW_BLOCK_FACTS, // pairs of label and value
    LW_BLOCK_TABLE,
    LW_BLOCK_VERDICT,
    LW_BLOCK_FINDING,
    LW_BLOCK_FIGURE,
    LW_BLOCK_PICTURES, // photographs beside each other
    LW_BLOCK_CAUTION,
    LW_BLOCK_SIGNATURE,
    LW_BLOCK_EVIDENCE,
    LW_BLOCK_PAGE, // what follows begins on a new page
};

struct lw_chart; // chart.h

// One column of a table as it is asked for. NULL unit: none. Numeric columns stand right.
struct lw_column {
    const char *head, *unit;
    bool numeric;
};

struct lw_table {
    size_t columns;
    char **heads;
    char **units; // may hold NULLs
    bool *numeric;
    struct lw_list cells; // of char *, row by row
    struct lw_list marks; // of int, enum lw_verdict of each row
};

// A JPEG or PNG file as it is shown.
struct lw_picture {
    const char *bytes;
    size_t length; // of them
    bool png;
    int width_px, height_px; // as stored
    int orientation;         // 1..8 after CIPA DC-008, which way up it stands
    const char *caption, *source;
};

struct lw_document_block {
    enum lw_block_kind kind;
    int level;               // headings: 1..3
    enum lw_verdict verdict; // verdict, finding
    char *text;              // heading, paragraph, caution, verdict's word, table's caption, why a
                             // signature is refused (NULL: it is not)
    struct lw_list lines;    // of char *: facts (label, value, ...), reasons, evidence (name,
                             // digest, ...), signature roles
    char *digest;            // signature: of what is signed
    struct lw_table table;
    struct lw_chart *chart;
    struct lw_list pictures;   // of struct lw_picture, all of it owned
    struct lw_finding finding; // copied
};

struct lw_document {
    char *title, *subtitle, *language;
    char *anchor;          // one line that programs find again in what is rendered; NULL: none
    bool simulated;        // said on every page
    struct lw_list blocks; // of struct lw_document_block
    size_t bad_pictures;   // named in records, but missing, changed or damaged, and so not shown
    bool failed;           // memory ran out
};

// Start with `struct lw_document document = {0};`. `language` is a tag like "en".
void lw_document_begin(struct lw_document *document, const char *title, const char *subtitle,
                       const char *language);
// The line that programs look for (site/anchor.h); it goes into a page's head and a PDF's keywords.
void lw_document_anchor(struct lw_document *document, const char *anchor);
void lw_document_heading(struct lw_document *document, int level, const char *text);
void lw_document_paragraph(struct lw_document *document, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void lw_document_caution(struct lw_document *document, const char *text);
void lw_document_page(struct lw_document *document);

// A verdict in one word or three, of a severity that chooses how it is drawn, and its reasons.
void lw_document_verdict(struct lw_document *document, enum lw_verdict severity, const char *word);
void lw_document_reason(struct lw_document *document, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

// A fact joins the facts begun last when nothing stands between. NULL value: "-".
void lw_document_fact(struct lw_document *document, const char *label, const char *value);

// Cells fill a table row by row; a table must end with a full row. NULL: "-".
void lw_document_table(struct lw_document *document, const char *caption,
                       const struct lw_column *columns, size_t count);
void lw_document_cell(struct lw_document *document, const char *text);
// A number with so many decimals; one that is not finite is "-".
void lw_document_number(struct lw_document *document, double value, int decimals);
// The verdict that the row in filling is drawn with (LW_PASS when it is never called).
void lw_document_mark(struct lw_document *document, enum lw_verdict verdict);

void lw_document_finding(struct lw_document *document, const struct lw_finding *finding);
// Takes the chart over, in every case. NULL (memory ran out while it was made) fails the document.
void lw_document_figure(struct lw_document *document, struct lw_chart *chart);
// A picture joins those begun last when nothing stands between. Copies bytes and texts.
void lw_document_picture(struct lw_document *document, const struct lw_picture *picture);
// Its sides as it stands upright.
int lw_picture_width_px(const struct lw_picture *picture);
int lw_picture_height_px(const struct lw_picture *picture);
// Fields for ink signatures, one for each role; `refused` instead says why nobody may sign.
void lw_document_signature(struct lw_document *document, const char *refused);
// The digest of what is signed: its beginning in large type and the whole as a QR code beside the
// signatures.
void lw_document_seal(struct lw_document *document, const char *digest);
void lw_document_role(struct lw_document *document, const char *role);
void lw_document_evidence(struct lw_document *document, const char *name, const char *digest);

// "P07, tap 7, address 7, span 3", as far as the finding says; empty when it is about the whole
// line.
void lw_finding_where(const struct lw_finding *finding, struct lw_text *text);
// "value 0.0053, limit 0.001, standard uncertainty 0.0002, measured with DMM-3"; may be empty.
void lw_finding_figures(const struct lw_finding *finding, struct lw_text *text);

void lw_document_finish(struct lw_document *document);

// Text as a document keeps it, at most `most` bytes and an ellipsis; NULL when memory is out. For
// charts.
char *lw_document_text(const char *text, size_t most);

#endif
