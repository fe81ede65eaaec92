// SPDX-License-Identifier: GPL-3.0-or-later
//
// What the parts of a scan share while it goes on. Internal to lib/check.
#ifndef LW_CHECK_SCAN_INSIDE_H
#define LW_CHECK_SCAN_INSIDE_H

#include "check/scan.h"

enum lw_scan_seen { UNASKED, SILENT, GARBLED, FOUND };

struct lw_scan_tally {
    unsigned heard, damaged;
    double characters; // of requests and answers heard: a long exchange has more to be damaged
};

struct lw_scan_now {
    const struct lw_run *run;
    struct lw_client *client;
    const struct lw_plan *plan;
    const struct lw_scan_options *options;
    struct lw_scan_result *result;
    struct lw_error *error;
    enum lw_scan_seen seen[256];
    bool late[256], exception[256], doubled[256];
    double reply_ms[256];
    bool suspect[256];                 // silent, but bytes came later that may have been its answer
    int last_address;                  // asked last: a late answer of it is heard by nobody
    struct lw_scan_tally plain[256];   // reads that two like nodes answer alike
    struct lw_scan_tally telling[256]; // reads in which two nodes must differ
};

enum lw_status lw_scan_ask(struct lw_scan_now *scan, int address, const struct lw_pdu *request,
                           struct lw_exchange *exchange);
void lw_scan_note_late(struct lw_scan_now *scan, const struct lw_exchange *exchange);
const struct lw_profile *lw_scan_profile(const struct lw_scan_now *scan, int address);

// scan_double.c: two nodes at one address, told from a disturbed line. First all reads are counted,
// plain ones by the passes, telling ones by a look at each node; then each address is judged.
void lw_scan_count(struct lw_scan_tally *tally, const struct lw_exchange *exchange);
enum lw_status lw_scan_look_for_double(struct lw_scan_now *scan, struct lw_scan_node *node);
void lw_scan_judge_double(struct lw_scan_now *scan, int address);

#endif
