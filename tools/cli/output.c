// SPDX-License-Identifier: GPL-3.0-or-later
//
// Findings and verdicts in words.
#include "cli/output.h"

#include "base/text.h"
#include "cli/cli.h"

static const char *paint(enum lw_verdict verdict)
{
    if (!lw_cli_colour()) {
        return "";
    }
    switch (verdict) {
    case LW_FAIL:
        return "\033[1;31m";
    case LW_UNDECIDED:
    case LW_ATTENTION:
        return "\033[1;33m";
    case LW_PASS:
        return "\033[1;32m";
    case LW_NOT_TESTED:
        break;
    }
    return "\033[1m";
}

static const char *unpaint(void)
{
    return lw_cli_colour() ? "\033[0m" : "";
}

static void wrap(FILE *to, int at, int indent, const char *text)
{
    int columns = lw_cli_columns();
    bool first = true;
    while (*text != '\0') {
        size_t word = strcspn(text, " ");
        char piece[1024];
        lw_print(piece, sizeof piece, "%.*s", (int)word, text);
        int width = (int)lw_text_columns(piece);
        if (!first && columns > indent + 10 && at + 1 + width > columns) {
            fprintf(to, "\n%*s", indent, "");
            at = indent;
        } else if (!first) {
            putc(' ', to);
            at++;
        }
        fputs(piece, to);
        at += width;
        first = false;
        text += word;
        text += strspn(text, " ");
    }
}

void lw_print_wrapped(const char *lead, int at, int indent, const char *text)
{
    fputs(lead, stdout);
    wrap(stdout, at, indent, text);
    putchar('\n');
}

void lw_ask_wrapped(const char *text)
{
    wrap(stderr, 0, 0, text);
    fflush(stderr);
}

static void print_says(const struct lw_finding *finding)
{
    enum lw_verdict severity = (enum lw_verdict)finding->severity;
    char lead[80], line[1200];
    lw_print(lead, sizeof lead, "%s%-11s%s ", paint(severity), lw_verdict_shown(severity),
             unpaint());
    lw_print_wrapped(lead, 12, 12, finding->says);
    char *const *because = finding->because.items;
    for (size_t i = 0; i < finding->because.count; i++) {
        lw_print(line, sizeof line, "because %s", because[i]);
        lw_print_wrapped("            ", 12, 20, line);
    }
}

static void print_what_to_do(const struct lw_finding *finding, const char *likewise)
{
    char line[1200];
    if (finding->next != NULL) {
        lw_print(line, sizeof line, "next: %s%s", finding->next, likewise);
        lw_print_wrapped("            ", 12, 18, line);
    }
    if (finding->caution != NULL) {
        lw_print(line, sizeof line, "caution: %s", finding->caution);
        lw_print_wrapped("            ", 12, 21, line);
    }
}

static bool same_kind(const struct lw_finding *a, const struct lw_finding *b)
{
    return a->severity == b->severity && strcmp(a->code, b->code) == 0;
}

static bool same_advice(const struct lw_finding *a, const struct lw_finding *b)
{
    return a->next == NULL || b->next == NULL || strcmp(a->next, b->next) == 0;
}

// " (likewise P10, P11)", or how many others when there are many or not all of them have a name;
// nothing where the advice names nobody.
static void name_likewise(const struct lw_findings *findings, size_t first, char *text, size_t size)
{
    enum { SPELT_OUT = 6 };
    const struct lw_finding *items = findings->list.items;
    size_t others = 0, named = 0, used = 0;
    char names[200] = "";
    for (size_t i = first + 1; i < findings->list.count; i++) {
        if (!same_kind(&items[i], &items[first]) || same_advice(&items[i], &items[first])) {
            continue;
        }
        others++;
        if (items[i].node != NULL && named < SPELT_OUT) {
            lw_print(names + used, sizeof names - used, "%s%s", named > 0 ? ", " : "",
                     items[i].node);
            used += strlen(names + used);
            named++;
        }
    }
    text[0] = '\0';
    if (others > 0 && named == others) {
        lw_print(text, size, " (likewise %s)", names);
    } else if (others == 1) {
        lw_print(text, size, " (likewise the other)");
    } else if (others > 1) {
        lw_print(text, size, " (likewise the %zu others)", others);
    }
}

// Several findings of one code and severity share one advice, printed behind the last of them and
// worded for the first: twenty silent nodes are one thing to do.
static void print_code(const struct lw_findings *findings, size_t first)
{
    const struct lw_finding *items = findings->list.items;
    char likewise[240];
    for (size_t i = first; i < findings->list.count; i++) {
        if (same_kind(&items[i], &items[first])) {
            print_says(&items[i]);
        }
    }
    name_likewise(findings, first, likewise, sizeof likewise);
    print_what_to_do(&items[first], likewise);
}

static bool said_before(const struct lw_findings *findings, size_t index)
{
    const struct lw_finding *items = findings->list.items;
    for (size_t i = 0; i < index; i++) {
        if (same_kind(&items[i], &items[index])) {
            return true;
        }
    }
    return false;
}

void lw_print_findings(const struct lw_findings *findings)
{
    static const enum lw_verdict order[] = {LW_FAIL, LW_UNDECIDED, LW_ATTENTION, LW_NOT_TESTED};
    const struct lw_finding *items = findings->list.items;
    if (findings->list.count > 0) {
        putchar('\n');
    }
    for (size_t k = 0; k < sizeof order / sizeof *order; k++) {
        for (size_t i = 0; i < findings->list.count; i++) {
            if (items[i].severity == (int)order[k] && !said_before(findings, i)) {
                print_code(findings, i);
            }
        }
    }
}

void lw_print_verdict(const char *check, enum lw_verdict verdict, bool simulated,
                      const char *record_name)
{
    printf("\n%s: %s%s%s%s", check, paint(verdict), lw_verdict_shown(verdict), unpaint(),
           simulated ? _(" (simulated)") : "");
    if (record_name[0] != '\0') {
        printf(", %s", record_name);
    }
    putchar('\n');
    fflush(stdout);
}
