// SPDX-License-Identifier: GPL-3.0-or-later
//
// The checks as steps of a session: each measures, judges, records and prints. A command runs one,
// a commissioning walk runs many on one open line. All return an exit status.
#ifndef LW_TOOLS_CHECKS_H
#define LW_TOOLS_CHECKS_H

#include "check/noise.h"
#include "check/scan.h"
#include "check/supply.h"
#include "cli/dialog.h"
#include "cli/session.h"

int lw_do_scan(struct lw_session *session, const struct lw_scan_options *options, bool required);

struct lw_roster_request {
    const char *draft_plan; // file to write a drafted plan to; NULL: none
    const char *as_built;   // file to write the revised plan to; NULL: none
    const char *reason;     // why it is revised; NULL: not said
    const char *answers;    // --answers
};
int lw_do_roster(struct lw_session *session, const struct lw_roster_request *request,
                 bool required);

struct lw_restart_request {
    int cycles;
    double off_s, watch_s, warm_up_s;
    struct lw_talk_request talk;
};
int lw_do_restart(struct lw_session *session, const struct lw_restart_request *request,
                  bool required);

struct lw_link_request {
    double seconds, most_s; // 0: until the errors decide; at most
    const char *from;       // a capture instead of the line; NULL: none
};
int lw_do_link(struct lw_session *session, const struct lw_link_request *request, bool required);

struct lw_supply_request {
    bool computed; // only from the plan, without a word on the line
    int draws, seed;
    // What if: texts as lib/check/supply_what_if.h takes them, NULL and NAN: not asked. Such a run
    // is a question to the plan: it asks no line and leaves no record.
    const char *add, *feed, *without;
    double ambient_c;
    bool advise;
    double supply_cost, cable_cost;
    const char *meter;   // a file of hand-meter values; NULL: none
    double load_step_a;  // known load at the far end, switched by a dialog; 0: none
    const char *against; // folder of an earlier visit; NULL: none
    struct lw_talk_request talk;
};
int lw_do_supply(struct lw_session *session, const struct lw_supply_request *request,
                 bool required);

struct lw_noise_request {
    double seconds, readings; // 0: by the profiles
    bool decide, allan;
    const char *from;                 // readings in a capture or a CSV file instead of the line
    const char *source;               // to be switched off, on, on, off; NULL: none
    struct lw_talk_request talk;      // who answers then
    const char *between, *and_record; // numbers of two records to compare
    const char *unit;                 // of that file, when it names none
    double limit;                     // without a plan; NAN: none
};
int lw_do_noise(struct lw_session *session, const struct lw_noise_request *request, bool required);

struct lw_touch_request {
    struct lw_talk_request talk;
    bool any_order, large;
    int returns;
    double wait_s;       // nothing moves for so long: a question
    double return_limit; // NAN: the maker's permitted error
};
int lw_do_touch(struct lw_session *session, const struct lw_touch_request *request, bool required);

// Writes the report of the session's visit as it stands now and says where; prints its verdict.
// `units` is mm or inch for measured lengths, NULL as they were measured; `path` NULL: in the
// visit.
int lw_do_report(struct lw_session *session, const char *units, const char *path);

#endif
