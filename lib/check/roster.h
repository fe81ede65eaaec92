// SPDX-License-Identifier: GPL-3.0-or-later
//
// Roster: who each node is, held against the plan: missing, unplanned, swapped, wrong kind,
// doubled, unreadable; old firmware, calibration due and stale identity are findings beside the
// state.
#ifndef LW_CHECK_ROSTER_H
#define LW_CHECK_ROSTER_H

#include "client/client.h"
#include "site/plan.h"
#include "site/record.h"

enum lw_roster_state {
    LW_ROSTER_PRESENT,
    LW_ROSTER_MISSING,
    LW_ROSTER_UNPLANNED,
    LW_ROSTER_SWAPPED,
    LW_ROSTER_WRONG_KIND,
    LW_ROSTER_DOUBLED,
    LW_ROSTER_UNREADABLE,
    LW_ROSTER_WRONG_FRAMING,
};

const char *lw_roster_state_word(enum lw_roster_state state); // "present", ...

struct lw_roster_node {
    int tap; // 0: not in the plan
    char *node, *place, *profile;
    int address;
    int state; // enum lw_roster_state
    char *vendor, *product_code, *revision, *serial, *sensor_serial,
        *calibrated_on;    // as read; NULL: not read
    char *calibration_due; // as read; NULL: not read
    char *planned_serial;
    char *framing;                            // with LW_ROSTER_WRONG_FRAMING: the one it answers at
    int status;                               // status register as read, -1: none
    double supply_v, temperature_c, uptime_s; // NAN: not read
};
struct lw_roster_result {
    struct lw_list nodes; // of struct lw_roster_node, by tap, then unplanned by address
    int planned, present;
    bool simulated;
};
extern const struct lw_shape lw_roster_shape;

struct lw_roster_options {
    bool gentle;
    bool *selected;      // per tap; NULL: all
    bool addresses[256]; // further addresses to look at (found by a scan); may be empty
};

enum lw_status lw_roster_measure(const struct lw_run *run, struct lw_client *client,
                                 const struct lw_plan *plan,
                                 const struct lw_roster_options *options,
                                 struct lw_roster_result *result, struct lw_error *error);
void lw_roster_findings(const struct lw_run *run, const struct lw_plan *plan,
                        const struct lw_roster_result *result, struct lw_findings *findings);
// The profile whose vendor and product code the node tells; NULL: none.
const struct lw_profile *lw_roster_kind(const struct lw_list *profiles,
                                        const struct lw_roster_node *node);
// A plan drafted from what is there: profiles matched by identity among `profiles` (struct
// lw_profile list), else "unknown". It can be read as a plan; its one supply and its spans are
// figures to be replaced, and a revision that begins with "draft" makes the supply check say so.
enum lw_status lw_roster_draft(const struct lw_roster_result *result,
                               const struct lw_list *profiles, const char *framing,
                               struct lw_text *plan_json, struct lw_error *error);

struct lw_roster_reviser {
    const char *made_by; // NULL: as in the plan
    const char *made_on; // a date
};
// The plan (as JSON) revised to what was found: serials, sensors, firmware, kinds among `profiles`
// (struct lw_profile list), nodes that it did not have, at the end of the chain. What is missing,
// swapped, doubled or unreadable stays as planned. `changes` (char *, caller frees with
// lw_names_free()) gets a sentence for each change and for each node that was left; *differs is
// false when there was no change.
enum lw_status lw_roster_as_built(const struct lw_roster_result *result, const char *plan_json,
                                  size_t length, const struct lw_list *profiles,
                                  const struct lw_roster_reviser *by, struct lw_list *changes,
                                  bool *differs, struct lw_text *revised_json,
                                  struct lw_error *error);

#endif
