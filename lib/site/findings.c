// SPDX-License-Identifier: GPL-3.0-or-later
//
// Lists of findings. Sentences are cleaned on their way in, since they quote what nodes and files
// say; a memory failure is kept in the list and asked for once, at the end.
#include "base/text.h"
#include "site/record.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SENTENCE = 600 };

static char *keep(struct lw_findings *findings, const char *text)
{
    char *copy = lw_duplicate(text);
    findings->failed = findings->failed || !copy;
    return copy;
}

static char *sentence(struct lw_findings *findings, const char *format, va_list arguments)
{
    char raw[SENTENCE], clean[SENTENCE];
    vsnprintf(raw, sizeof raw, format, arguments);
    lw_text_clean(clean, sizeof clean, raw, strlen(raw));
    return keep(findings, clean);
}

// The table's text with `subject` where it holds %s.
static void fill(struct lw_findings *findings, char **to, const char *text, const char *subject)
{
    char whole[SENTENCE], clean[LW_SUBJECT];
    free(*to);
    *to = NULL;
    if (!text) {
        return;
    }
    const char *hole = strstr(text, "%s");
    if (hole) {
        lw_text_clean(clean, sizeof clean, subject, strlen(subject));
        lw_print(whole, sizeof whole, "%.*s%s%s", (int)(hole - text), text, clean, hole + 2);
        text = whole;
    }
    *to = keep(findings, text);
}

void lw_finding_about(struct lw_findings *findings, struct lw_finding *finding, const char *subject)
{
    assert(subject);
    if (!finding) {
        return;
    }
    const struct lw_code *code = finding->code ? lw_code_find(finding->code) : NULL;
    if (code) {
        fill(findings, &finding->next, code->next, subject);
        fill(findings, &finding->caution, code->caution, subject);
    }
}

struct lw_finding *lw_findings_add(struct lw_findings *findings, const char *code,
                                   enum lw_verdict severity, const char *says, ...)
{
    assert(severity != LW_PASS && lw_code_find(code));
    struct lw_finding *finding = lw_list_add(&findings->list, sizeof *finding);
    if (!finding) {
        findings->failed = true;
        return NULL;
    }
    lw_json_init(&lw_finding_shape, finding);
    finding->code = keep(findings, code);
    finding->severity = (int)severity;
    va_list arguments;
    va_start(arguments, says);
    finding->says = sentence(findings, says, arguments);
    va_end(arguments);
    lw_finding_about(findings, finding, "the node");
    return finding;
}

void lw_finding_because(struct lw_findings *findings, struct lw_finding *finding,
                        const char *reason, ...)
{
    if (!finding) {
        return;
    }
    va_list arguments;
    va_start(arguments, reason);
    char *text = sentence(findings, reason, arguments);
    va_end(arguments);
    char **place = text ? lw_list_add(&finding->because, sizeof *place) : NULL;
    if (!place) {
        findings->failed = true;
        free(text);
        return;
    }
    *place = text;
}

void lw_finding_node(struct lw_findings *findings, struct lw_finding *finding, const char *node,
                     size_t tap, int address)
{
    if (!finding) {
        return;
    }
    char subject[LW_SUBJECT];
    if (node) {
        lw_print(subject, sizeof subject, "%s", node);
    } else if (address > 0) {
        lw_print(subject, sizeof subject, "address %d", address);
    } else {
        lw_print(subject, sizeof subject, "tap %zu", tap);
    }
    free(finding->node);
    finding->node = node ? keep(findings, node) : NULL;
    finding->tap = (int)tap;
    finding->address = address;
    lw_finding_about(findings, finding, subject);
}

void lw_finding_span(struct lw_findings *findings, struct lw_finding *finding, size_t span)
{
    if (!finding) {
        return;
    }
    char subject[LW_SUBJECT];
    finding->span = (int)span;
    lw_print(subject, sizeof subject, "span %zu", span);
    lw_finding_about(findings, finding, subject);
}

enum lw_status lw_findings_check(const struct lw_findings *findings, struct lw_error *error)
{
    return findings->failed ? lw_fail(error, LW_MEMORY, "no memory for the findings") : LW_OK;
}

void lw_findings_free(struct lw_findings *findings)
{
    if (!findings) {
        return;
    }
    struct lw_finding *items = findings->list.items;
    for (size_t i = 0; i < findings->list.count; i++) {
        lw_json_free(&lw_finding_shape, &items[i]);
    }
    free(items);
    *findings = (struct lw_findings){0};
}

enum lw_verdict lw_findings_worst(const struct lw_findings *findings)
{
    enum lw_verdict worst = LW_PASS;
    const struct lw_finding *items = findings->list.items;
    for (size_t i = 0; i < findings->list.count; i++) {
        worst = lw_verdict_worse(worst, (enum lw_verdict)items[i].severity);
    }
    return worst;
}
