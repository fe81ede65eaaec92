// SPDX-License-Identifier: GPL-3.0-or-later
//
// The shape of a record, and reading one back. What the table cannot say is checked here: the
// format's name, times that are times, and that no finding is a pass (a pass is the absence of
// findings).
#include "site/record.h"
#include "site/semantic.h"

#include <assert.h>
#include <stddef.h>

static const char *const verdict_words[] = {"pass",      "not_tested", "attention",
                                            "undecided", "fail",       NULL};
static const char *const verdict_shown[] = {"pass", "not tested", "attention", "undecided", "fail"};

const char *lw_verdict_word(enum lw_verdict verdict)
{
    assert(verdict >= LW_PASS && verdict <= LW_FAIL);
    return verdict_words[verdict];
}

const char *lw_verdict_shown(enum lw_verdict verdict)
{
    assert(verdict >= LW_PASS && verdict <= LW_FAIL);
    return verdict_shown[verdict];
}

enum lw_verdict lw_verdict_worse(enum lw_verdict a, enum lw_verdict b)
{
    return a > b ? a : b;
}

#define AT(member) offsetof(struct lw_finding, member)
static const struct lw_field finding_fields[] = {
    {.key = "code",
     .kind = LW_TEXT,
     .offset = AT(code),
     .required = true,
     .says = "what was found, a code of the table in docs/findings"},
    {.key = "severity",
     .kind = LW_CHOICE,
     .offset = AT(severity),
     .required = true,
     .names = verdict_words,
     .says = "how much it matters; never pass"},
    {.key = "node",
     .kind = LW_TEXT,
     .offset = AT(node),
     .nullable = true,
     .says = "the node's name in the plan; null: not about one node"},
    {.key = "tap",
     .kind = LW_INTEGER,
     .offset = AT(tap),
     .ranged = true,
     .low = 0,
     .high = 1e6,
     .says = "the tap, counted from 1 at the head; absent or 0: not about one tap"},
    {.key = "address",
     .kind = LW_INTEGER,
     .offset = AT(address),
     .ranged = true,
     .low = 0,
     .high = 255,
     .says = "the node's address; absent or 0: not about one address"},
    {.key = "span",
     .kind = LW_INTEGER,
     .offset = AT(span),
     .ranged = true,
     .low = 0,
     .high = 1e6,
     .says = "the span that ends at the tap of the same number; absent or 0: not about a span"},
    {.key = "says",
     .kind = LW_TEXT,
     .offset = AT(says),
     .required = true,
     .says = "the finding as one sentence"},
    {.key = "value",
     .kind = LW_NUMBER,
     .offset = AT(value),
     .nullable = true,
     .says = "what was measured or computed, in `unit`; null: nothing that is a number"},
    {.key = "uncertainty",
     .kind = LW_NUMBER,
     .offset = AT(uncertainty),
     .nullable = true,
     .says = "the value's expanded uncertainty at 95 %, in `unit`; null: not known or bounded in "
             "another way"},
    {.key = "limit",
     .kind = LW_NUMBER,
     .offset = AT(limit),
     .nullable = true,
     .says = "what the value was judged against, in `unit`; null: no limit"},
    {.key = "unit",
     .kind = LW_TEXT,
     .offset = AT(unit),
     .nullable = true,
     .says = "unit of value, uncertainty and limit; 1 for a ratio; null: none"},
    {.key = "because",
     .kind = LW_TEXTS,
     .offset = AT(because),
     .says = "the reasons, strongest first; empty: the sentence says it all"},
    {.key = "next",
     .kind = LW_TEXT,
     .offset = AT(next),
     .nullable = true,
     .says = "what to do next; null: nothing"},
    {.key = "caution",
     .kind = LW_TEXT,
     .offset = AT(caution),
     .nullable = true,
     .says = "what can hurt while doing it; null: nothing beyond the usual"},
    {.key = "instrument",
     .kind = LW_TEXT,
     .offset = AT(instrument),
     .nullable = true,
     .says = "id of the instrument that gave the value; null: the nodes themselves"},
    {0}};
#undef AT
const struct lw_shape lw_finding_shape = {
    .name = "finding", .size = sizeof(struct lw_finding), .fields = finding_fields};

#define AT(member) offsetof(struct lw_record_tool, member)
static const struct lw_field tool_fields[] = {{.key = "name",
                                               .kind = LW_TEXT,
                                               .offset = AT(name),
                                               .required = true,
                                               .says = "the program's name"},
                                              {.key = "version",
                                               .kind = LW_TEXT,
                                               .offset = AT(version),
                                               .required = true,
                                               .says = "the program's version"},
                                              {0}};
#undef AT
static const struct lw_shape tool_shape = {
    .name = "tool", .size = sizeof(struct lw_record_tool), .fields = tool_fields};

#define AT(member) offsetof(struct lw_record_line, member)
static const struct lw_field line_fields[] = {
    {.key = "on",
     .kind = LW_TEXT,
     .offset = AT(on),
     .required = true,
     .says = "the line as it was named: a port, a gateway, a virtual chain"},
    {.key = "framing",
     .kind = LW_TEXT,
     .offset = AT(framing),
     .nullable = true,
     .says = "rate, data bits, parity, stop bits; null: the line has none (a gateway)"},
    {.key = "simulated",
     .kind = LW_BOOLEAN,
     .offset = AT(simulated),
     .says = "true: a virtual chain or a pseudo-terminal; such a record proves nothing about a "
             "machine"},
    {.key = "adapter",
     .kind = LW_TEXT,
     .offset = AT(adapter),
     .nullable = true,
     .says = "what is known of the adapter; null: nothing"},
    {0}};
#undef AT
static const struct lw_shape line_shape = {
    .name = "record_line", .size = sizeof(struct lw_record_line), .fields = line_fields};

#define AT(member) offsetof(struct lw_record_controller, member)
static const struct lw_field controller_fields[] = {
    {.key = "is",
     .kind = LW_TEXT,
     .offset = AT(is),
     .required = true,
     .says = "what the machine's controller was doing: none, stopped, running"},
    {.key = "said_by",
     .kind = LW_TEXT,
     .offset = AT(said_by),
     .nullable = true,
     .says = "who said so; null: nobody was asked (a virtual line)"},
    {0}};
#undef AT
static const struct lw_shape controller_shape = {.name = "record_controller",
                                                 .size = sizeof(struct lw_record_controller),
                                                 .fields = controller_fields};

static const char *const sided_words[] = {"one", "two", NULL};
static const char *const proves_words[] = {"conformity", "non_conformity", NULL};

#define AT(member) offsetof(struct lw_rule, member)
static const struct lw_field rule_fields[] = {
    {.key = "confidence",
     .kind = LW_NUMBER,
     .offset = AT(confidence),
     .has_default = true,
     .fallback = 0.95,
     .ranged = true,
     .above_low = true,
     .low = 0.5,
     .high = 1,
     .says = "how sure a verdict has to be; absent: 0.95"},
    {.key = "sided",
     .kind = LW_CHOICE,
     .offset = AT(sided),
     .names = sided_words,
     .says = "whether the confidence lies on one side of the limit or is shared by two; absent: "
             "one"},
    {.key = "corrected_for",
     .kind = LW_INTEGER,
     .offset = AT(corrected_for),
     .fallback = 1,
     .ranged = true,
     .low = 1,
     .high = 1e6,
     .says = "how many were judged together; absent: 1"},
    {.key = "proves",
     .kind = LW_CHOICE,
     .offset = AT(proves),
     .names = proves_words,
     .says = "what has to be proved (ISO 14253-1): conformity by the supplier, non-conformity by "
             "the customer; absent: conformity"},
    {0}};
#undef AT
static const struct lw_shape rule_shape = {
    .name = "rule", .size = sizeof(struct lw_rule), .fields = rule_fields};

#define AT(member) offsetof(struct lw_record_file, member)
static const struct lw_field file_fields[] = {
    {.key = "name",
     .kind = LW_TEXT,
     .offset = AT(name),
     .required = true,
     .says = "the file, relative to the visit's folder"},
    {.key = "sha256",
     .kind = LW_TEXT,
     .offset = AT(sha256),
     .required = true,
     .says = "SHA-256 of its bytes, 64 lower-case hexadecimal digits"},
    {0}};
#undef AT
static const struct lw_shape file_shape = {
    .name = "record_file", .size = sizeof(struct lw_record_file), .fields = file_fields};

#define AT(member) offsetof(struct lw_record, member)
static const struct lw_field record_fields[] = {
    {.key = "format",
     .kind = LW_TEXT,
     .offset = AT(format),
     .required = true,
     .says = "linewalk/record/1"},
    {.key = "check",
     .kind = LW_TEXT,
     .offset = AT(check),
     .required = true,
     .says = "the command that made the record"},
    {.key = "number",
     .kind = LW_INTEGER,
     .offset = AT(number),
     .required = true,
     .ranged = true,
     .low = 0,
     .high = 9999,
     .says = "its number in the visit, from 1 and never used twice; 0: made outside a visit"},
    {.key = "tool",
     .kind = LW_OBJECT,
     .offset = AT(tool),
     .required = true,
     .sub = &tool_shape,
     .says = "what made it"},
    {.key = "started",
     .kind = LW_TEXT,
     .offset = AT(started),
     .required = true,
     .says = "when, RFC 3339 in UTC"},
    {.key = "finished",
     .kind = LW_TEXT,
     .offset = AT(finished),
     .required = true,
     .says = "until when, RFC 3339 in UTC"},
    {.key = "complete",
     .kind = LW_BOOLEAN,
     .offset = AT(complete),
     .required = true,
     .says = "false: it was interrupted or the line failed; what is there is still true"},
    {.key = "state",
     .kind = LW_TEXT,
     .offset = AT(state),
     .nullable = true,
     .says = "the machine's state during the check, as the engineer put it; null: not said"},
    {.key = "line",
     .kind = LW_OPTIONAL,
     .offset = AT(line),
     .nullable = true,
     .sub = &line_shape,
     .says = "the line it was made on; null: it needed none"},
    {.key = "controller",
     .kind = LW_OPTIONAL,
     .offset = AT(controller),
     .nullable = true,
     .sub = &controller_shape,
     .says = "the machine's controller at that time; null: not asked"},
    {.key = "rule",
     .kind = LW_OPTIONAL,
     .offset = AT(rule),
     .nullable = true,
     .sub = &rule_shape,
     .says = "how limits were judged; null: nothing was judged statistically"},
    {.key = "verdict",
     .kind = LW_CHOICE,
     .offset = AT(verdict),
     .required = true,
     .names = verdict_words,
     .says = "the worst finding, in the order fail, undecided, attention, not_tested, pass"},
    {.key = "findings",
     .kind = LW_LIST,
     .offset = AT(findings.list),
     .sub = &lw_finding_shape,
     .says = "what was found; empty: nothing against it"},
    {.key = "result",
     .kind = LW_RAW,
     .offset = AT(result),
     .nullable = true,
     .says = "the check's own figures; their keys stand in docs/formats under the check's name; "
             "null: none"},
    {.key = "files",
     .kind = LW_LIST,
     .offset = AT(files),
     .sub = &file_shape,
     .says = "what was written beside the record: captures, readings; empty: nothing"},
    {.key = "inputs",
     .kind = LW_LIST,
     .offset = AT(inputs),
     .sub = &file_shape,
     .says = "the files that took part, as kept under inputs/; empty: none"},
    {.key = "sim_from_s",
     .kind = LW_NUMBER,
     .offset = AT(sim_from_s),
     .says = "the virtual chain's time at the start, s; absent: a real line"},
    {.key = "sim_to_s",
     .kind = LW_NUMBER,
     .offset = AT(sim_to_s),
     .says = "the virtual chain's time at the end, s; absent: a real line"},
    {.key = "skipped",
     .kind = LW_TEXT,
     .offset = AT(skipped),
     .says = "why the check was skipped on purpose; absent: it was not"},
    {.key = "previous_sha256",
     .kind = LW_TEXT,
     .offset = AT(previous_sha256),
     .nullable = true,
     .says = "SHA-256 of the previous record's file, the first one's of visit.json; null: made "
             "outside a visit"},
    {0}};
#undef AT
const struct lw_shape lw_record_shape = {
    .name = "record", .size = sizeof(struct lw_record), .fields = record_fields};

static enum lw_status findings_check(const struct lw_findings *findings, struct lw_error *error)
{
    const struct lw_finding *items = findings->list.items;
    for (size_t i = 0; i < findings->list.count; i++) {
        if (items[i].severity == LW_PASS) {
            return lw_fail(error, LW_BAD_FILE, "/findings/%zu/severity: a finding is never 'pass'",
                           i);
        }
    }
    return LW_OK;
}

static enum lw_status record_check(const struct lw_record *record, struct lw_error *error)
{
    enum lw_status status = lw_site_format(record->format, "linewalk/record/1", error);
    if (status == LW_OK) {
        status = lw_site_time(record->started, "/started", error);
    }
    if (status == LW_OK) {
        status = lw_site_time(record->finished, "/finished", error);
    }
    if (status == LW_OK) {
        status = findings_check(&record->findings, error);
    }
    return status;
}

enum lw_status lw_record_read(const char *bytes, size_t length, const char *name,
                              struct lw_record *record, struct lw_error *error)
{
    assert(name && record);
    enum lw_status status = lw_json_read(&lw_record_shape, bytes, length, record, error);
    if (status == LW_OK) {
        status = record_check(record, error);
        if (status != LW_OK) {
            lw_json_free(&lw_record_shape, record);
        }
    }
    return lw_site_within(status, "record", name, error);
}
