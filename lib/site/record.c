// SPDX-License-Identifier: GPL-3.0-or-later
//
// The shape of a record, and reading one back. What the table cannot say is checked here: the
// format's name, times that are times, and that no finding is a pass (a pass is the absence of
// findings).
#include "site/record.h"

#include "base/words.h"
#include "site/fields.h"
#include "site/semantic.h"

#include <assert.h>

static const char *const verdict_words[] = {"pass",      "not_tested", "attention",
                                            "undecided", "fail",       NULL};
static const char *const verdict_shown[] = {N_("pass"), N_("not tested"), N_("attention"),
                                            N_("undecided"), N_("fail")};

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

#define OF struct lw_finding
static const struct lw_field finding_fields[] = {
    FIELD(LW_TEXT, "code", code, "what was found, a code of the table in docs/findings", REQUIRED),
    FIELD(LW_CHOICE, "severity", severity, "how much it matters; never pass", REQUIRED,
          WORDS(verdict_words)),
    FIELD(LW_TEXT, "node", node, "the node's name in the plan; null: not about one node", NULLABLE),
    FIELD(LW_INTEGER, "tap", tap,
          "the tap, counted from 1 at the head; absent or 0: not about one tap", RANGE(0, 1e6)),
    FIELD(LW_INTEGER, "address", address, "the node's address; absent or 0: not about one address",
          RANGE(0, 255)),
    FIELD(LW_INTEGER, "span", span,
          "the span that ends at the tap of the same number; absent or 0: not about a span",
          RANGE(0, 1e6)),
    FIELD(LW_TEXT, "says", says, "the finding as one sentence", REQUIRED),
    FIELD(LW_NUMBER, "value", value,
          "what was measured or computed, in `unit`; null: nothing that is a number", NULLABLE),
    FIELD(LW_NUMBER, "uncertainty", uncertainty,
          "the value's expanded uncertainty at 95 %, in `unit`; null: not known or bounded in "
          "another way",
          NULLABLE),
    FIELD(LW_NUMBER, "limit", limit, "what the value was judged against, in `unit`; null: no limit",
          NULLABLE),
    FIELD(LW_TEXT, "unit", unit, "unit of value, uncertainty and limit; 1 for a ratio; null: none",
          NULLABLE),
    FIELD(LW_TEXTS, "because", because,
          "the reasons, strongest first; empty: the sentence says it all", OPTIONAL),
    FIELD(LW_TEXT, "next", next, "what to do next; null: nothing", NULLABLE),
    FIELD(LW_TEXT, "caution", caution,
          "what can hurt while doing it; null: nothing beyond the usual", NULLABLE),
    FIELD(LW_TEXT, "instrument", instrument,
          "id of the instrument that gave the value; null: the nodes themselves", NULLABLE),
    {0}};
#undef OF
const struct lw_shape lw_finding_shape = SHAPE("finding", struct lw_finding, finding_fields);

#define OF struct lw_record_tool
static const struct lw_field tool_fields[] = {
    FIELD(LW_TEXT, "name", name, "the program's name", REQUIRED),
    FIELD(LW_TEXT, "version", version, "the program's version", REQUIRED),
    {0}};
#undef OF
static const struct lw_shape tool_shape = SHAPE("tool", struct lw_record_tool, tool_fields);

#define OF struct lw_record_line
static const struct lw_field line_fields[] = {
    FIELD(
        LW_TEXT, "on", on,
        "the line as it was named: a port, a gateway, a virtual chain; null: a capture was judged",
        NULLABLE),
    FIELD(LW_TEXT, "framing", framing,
          "rate, data bits, parity, stop bits; null: the line has none (a gateway)", NULLABLE),
    FIELD(LW_BOOLEAN, "simulated", simulated,
          "true: a virtual chain or a pseudo-terminal; such a record proves nothing about a "
          "machine",
          OPTIONAL),
    FIELD(LW_NUMBER, "listened_s", listened_s,
          "seconds of listening before the first request; null: a gateway cannot be listened to",
          NULLABLE),
    FIELD(LW_TEXT, "adapter", adapter, "what is known of the adapter; null: nothing", NULLABLE),
    FIELD(LW_NUMBER, "late_ms", late_ms,
          "ms that adapter, network and system may keep received bytes before they are dated: "
          "measured times are no better; null: not known",
          NULLABLE),
    {0}};
#undef OF
static const struct lw_shape line_shape = SHAPE("record_line", struct lw_record_line, line_fields);

#define OF struct lw_record_controller
static const struct lw_field controller_fields[] = {
    FIELD(LW_TEXT, "is", is, "what the machine's controller was doing: none, stopped, running",
          REQUIRED),
    FIELD(LW_TEXT, "said_by", said_by, "who said so; null: nobody was asked (a virtual line)",
          NULLABLE),
    {0}};
#undef OF
static const struct lw_shape controller_shape =
    SHAPE("record_controller", struct lw_record_controller, controller_fields);

static const char *const sided_words[] = {"one", "two", NULL};
static const char *const proves_words[] = {"conformity", "non_conformity", NULL};

#define OF struct lw_rule
static const struct lw_field rule_fields[] = {
    FIELD(LW_NUMBER, "confidence", confidence, "how sure a verdict has to be; absent: 0.95",
          DEFAULT(0.95), RANGE(0.5, 1)),
    FIELD(LW_CHOICE, "sided", sided,
          "whether the confidence lies on one side of the limit or is shared by two; absent: "
          "one",
          WORDS(sided_words)),
    FIELD(LW_INTEGER, "corrected_for", corrected_for, "how many were judged together; absent: 1",
          ABSENT(1), RANGE(1, 1e6)),
    FIELD(LW_CHOICE, "proves", proves,
          "what has to be proved (ISO 14253-1): conformity by the supplier, non-conformity by "
          "the customer; absent: conformity",
          WORDS(proves_words)),
    {0}};
#undef OF
static const struct lw_shape rule_shape = SHAPE("rule", struct lw_rule, rule_fields);

#define OF struct lw_record_file
static const struct lw_field file_fields[] = {
    FIELD(LW_TEXT, "name", name, "the file, relative to the visit's folder", REQUIRED),
    FIELD(LW_TEXT, "sha256", sha256, "SHA-256 of its bytes, 64 lower-case hexadecimal digits",
          REQUIRED),
    {0}};
#undef OF
static const struct lw_shape file_shape = SHAPE("record_file", struct lw_record_file, file_fields);

#define OF struct lw_record
static const struct lw_field record_fields[] = {
    FIELD(LW_TEXT, "format", format, "linewalk/record/1", REQUIRED),
    FIELD(LW_TEXT, "check", check, "the command that made the record", REQUIRED),
    FIELD(LW_INTEGER, "number", number,
          "its number in the visit, from 1 and never used twice; 0: made outside a visit", REQUIRED,
          RANGE(0, 9999)),
    FIELD(LW_OBJECT, "tool", tool, "what made it", REQUIRED, SUB(tool_shape)),
    FIELD(LW_TEXT, "started", started, "when, RFC 3339 in UTC", REQUIRED),
    FIELD(LW_TEXT, "finished", finished, "until when, RFC 3339 in UTC", REQUIRED),
    FIELD(LW_BOOLEAN, "complete", complete,
          "false: it was interrupted or the line failed; what is there is still true", REQUIRED),
    FIELD(LW_TEXT, "state", state,
          "the machine's state during the check, as the engineer put it; null: not said", NULLABLE),
    FIELD(
        LW_TEXT, "part", part,
        "the nodes or addresses that the check was limited to (--nodes, --addresses); absent: the "
        "whole chain",
        OPTIONAL),
    FIELD(LW_OPTIONAL, "line", line, "the line it was made on; null: it needed none", NULLABLE,
          SUB(line_shape)),
    FIELD(LW_OPTIONAL, "controller", controller,
          "the machine's controller at that time; null: not asked", NULLABLE,
          SUB(controller_shape)),
    FIELD(LW_OPTIONAL, "rule", rule,
          "how limits were judged; null: nothing was judged statistically", NULLABLE,
          SUB(rule_shape)),
    FIELD(LW_CHOICE, "verdict", verdict,
          "the worst finding, in the order fail, undecided, attention, not_tested, pass", REQUIRED,
          WORDS(verdict_words)),
    FIELD(LW_LIST, "findings", findings.list, "what was found; empty: nothing against it",
          SUB(lw_finding_shape)),
    FIELD(LW_RAW, "result", result,
          "the check's own figures; their keys stand in docs/formats under the check's name; "
          "null: none",
          NULLABLE),
    FIELD(LW_LIST, "files", files,
          "what was written beside the record: captures, readings; empty: nothing",
          SUB(file_shape)),
    FIELD(LW_LIST, "inputs", inputs, "the files that took part, as kept under inputs/; empty: none",
          SUB(file_shape)),
    FIELD(LW_NUMBER, "sim_from_s", sim_from_s,
          "the virtual chain's time at the start, s; absent: a real line", OPTIONAL),
    FIELD(LW_NUMBER, "sim_to_s", sim_to_s,
          "the virtual chain's time at the end, s; absent: a real line", OPTIONAL),
    FIELD(LW_TEXT, "skipped", skipped, "why the check was skipped on purpose; absent: it was not",
          OPTIONAL),
    FIELD(LW_TEXT, "previous_sha256", previous_sha256,
          "SHA-256 of the previous record's file, the first one's of visit.json; null: made "
          "outside a visit",
          NULLABLE),
    {0}};
#undef OF
const struct lw_shape lw_record_shape = SHAPE("record", struct lw_record, record_fields);

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
