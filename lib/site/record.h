// SPDX-License-Identifier: GPL-3.0-or-later
//
// Findings and records. A finding is one judged fact; a record is one command's result in a visit.
// Codes, words, next steps and cautions of findings stand in one table (codes.c) that documentation
// and tests iterate.
#ifndef LW_SITE_RECORD_H
#define LW_SITE_RECORD_H

#include "base/json.h"

#include <stdbool.h>

enum lw_verdict { LW_PASS, LW_NOT_TESTED, LW_ATTENTION, LW_UNDECIDED, LW_FAIL }; // better to worse
const char *lw_verdict_word(enum lw_verdict verdict);  // "pass", "not_tested", ...
const char *lw_verdict_shown(enum lw_verdict verdict); // for people: "not tested"
enum lw_verdict lw_verdict_worse(enum lw_verdict a, enum lw_verdict b);

struct lw_finding {
    char *code;
    int severity; // enum lw_verdict; never LW_PASS
    char *node;
    int tap, address, span; // 0: none
    char *says;
    double value, limit, uncertainty; // NAN: null
    char *unit, *instrument;
    struct lw_list because; // of char *
    char *next, *caution;
};
struct lw_findings {
    struct lw_list list; // of struct lw_finding
    bool failed;         // memory ran out; lw_findings_check says so
};

extern const struct lw_shape lw_finding_shape;

// One row of the table. `next` and `caution` may hold one %s for what the finding is about: a node
// ("P03"), a span ("span 3"), a supply ("PS1").
struct lw_code {
    const char *code;    // "link_error_rate"
    const char *check;   // "link"
    const char *title;   // a few words for the report
    const char *next;    // what to do
    const char *caution; // NULL: none
};
extern const struct lw_code lw_codes[]; // ends with a NULL code
const struct lw_code *lw_code_find(const char *code);

// Adds a finding of a code in the table (assert) with its next step and caution filled from there;
// `says` is the sentence. Returns it for the caller to fill node, tap, value, ...; NULL when memory
// is out (findings->failed).
struct lw_finding *lw_findings_add(struct lw_findings *findings, const char *code,
                                   enum lw_verdict severity, const char *says, ...)
    __attribute__((format(printf, 4, 5)));
void lw_finding_because(struct lw_findings *findings, struct lw_finding *finding,
                        const char *reason, ...) __attribute__((format(printf, 3, 4)));
void lw_finding_node(struct lw_findings *findings, struct lw_finding *finding, const char *node,
                     size_t tap, int address);
// `finding` may be NULL in these calls (memory was out at lw_findings_add). Those that name what
// the finding is about fill next and caution from the table again: a caller with a better next step
// sets it after them.
void lw_finding_span(struct lw_findings *findings, struct lw_finding *finding, size_t span);
enum { LW_SUBJECT = 120 };
void lw_finding_about(struct lw_findings *findings, struct lw_finding *finding,
                      const char *subject);
// LW_MEMORY when a finding or a part of one was lost.
enum lw_status lw_findings_check(const struct lw_findings *findings, struct lw_error *error);
void lw_findings_free(struct lw_findings *findings);
// Worst severity; LW_PASS without findings.
enum lw_verdict lw_findings_worst(const struct lw_findings *findings);

struct lw_rule {
    double confidence; // 0.95
    int sided;         // 0 one, 1 two
    int corrected_for; // how many were judged together
    int proves;        // 0 conformity, 1 non_conformity
};
struct lw_record_tool {
    char *name, *version;
};
struct lw_record_line {
    char *on, *framing, *adapter;
    bool simulated;
    double listened_s; // before the first request; NAN: it could not be listened to (a gateway)
    double late_ms;    // the line's late_ns; NAN: not known
};
struct lw_record_controller {
    char *is, *said_by;
};
struct lw_record_file {
    char *name, *sha256;
};
struct lw_record {
    char *format; // "linewalk/record/1"
    char *check;
    int number;
    struct lw_record_tool tool;
    char *started, *finished;
    bool complete;
    char *state;
    char *part; // the nodes or addresses that the check was limited to; NULL: the whole chain
    struct lw_record_line *line; // NULL: the check needed none
    struct lw_record_controller *controller;
    struct lw_rule *rule;
    int verdict; // enum lw_verdict
    struct lw_findings findings;
    char *result;                 // compact JSON; read it with the check's own shape
    struct lw_list files, inputs; // of struct lw_record_file
    double sim_from_s, sim_to_s;  // simulated lines: the virtual chain's time; NAN else
    char *skipped;                // reason, for a check skipped on purpose
    char *previous_sha256;
};
extern const struct lw_shape lw_record_shape;

enum lw_status lw_record_read(const char *bytes, size_t length, const char *name,
                              struct lw_record *record, struct lw_error *error);

#endif
