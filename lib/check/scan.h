// SPDX-License-Identifier: GPL-3.0-or-later
//
// Scan: which addresses answer on this line, and as what. One pass asks every address for one
// holding register; any answer, an exception too, is presence. A second pass looks again, at one
// second and with another request, at planned but silent and at garbled addresses. Identities are
// read after the passes, since some nodes are upset by functions they do not know.
#ifndef LW_CHECK_SCAN_H
#define LW_CHECK_SCAN_H

#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

struct lw_scan_options {
    double slowest_reply_s; // 0: from the plan's profiles, else 0.050
    bool selected[256];     // addresses to ask; none set: 1..247
    bool gentle;            // no identity unless the profile declares it
    const struct lw_framing
        *framings; // candidates where the framing is unknown, in order of likelihood; may be NULL
    size_t framing_count;
};

struct lw_scan_identity {
    char *vendor, *product_code, *revision;
    struct lw_list more; // of struct lw_scan_object: everything beyond the first three objects
    bool simulated;      // carries the marker of a served virtual chain
};
struct lw_scan_object {
    int object;
    char *text;
};
struct lw_scan_node {
    int address;
    double reply_ms;
    struct lw_scan_identity *identity; // NULL when it has none
    bool doubled;                      // two answer at this address
    bool late;                         // only answered after slowest_reply
    bool exception;                    // answered with an exception
    char
        *server_id; // Report Server ID, cleaned text or hex, when there is no identity; may be NULL
};
struct lw_scan_result {
    char *framing;
    double elapsed_s; // whole scan
    double wire_s;    // what the wire itself takes for the address pass: characters, t3.5, latency,
                      // slowest reply per silence
    double pass_s;    // the address pass as it went
    int asked, garbled, late_replies;
    double slowest_reply_s;
    struct lw_list nodes; // of struct lw_scan_node, by address
    bool foreign;         // another master was heard; the scan stopped there
    bool simulated;       // some node carried the simulation marker
};
extern const struct lw_shape lw_scan_shape;

// Talks. `plan` may be NULL. Status LW_OK when it went through; LW_CANCELLED and LW_SYSTEM leave
// what was found so far in `result`; LW_REFUSED when another master was heard.
enum lw_status lw_scan_measure(const struct lw_run *run, struct lw_client *client,
                               const struct lw_plan *plan, const struct lw_scan_options *options,
                               struct lw_scan_result *result, struct lw_error *error);
// Pure. Without a plan only doubles, late ones and garbage are findings.
void lw_scan_findings(const struct lw_plan *plan, const struct lw_scan_options *options,
                      const struct lw_scan_result *result, struct lw_findings *findings);

#endif
