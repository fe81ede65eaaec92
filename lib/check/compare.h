// SPDX-License-Identifier: GPL-3.0-or-later
//
// This visit against an earlier one to the same machine: what has moved beyond its uncertainty, and
// what of that is for the worse. Pure: it works on the results that both visits hold.
#ifndef LW_CHECK_COMPARE_H
#define LW_CHECK_COMPARE_H

#include "check/link.h"
#include "check/noise.h"
#include "check/roster.h"
#include "check/supply.h"

// What a visit holds; NULL: nothing of that kind. Borrowed.
struct lw_compare_side {
    const char *opened; // RFC 3339
    const struct lw_roster_result *roster;
    const struct lw_supply_result *supply;
    const struct lw_noise_result *noise;
    const struct lw_link_result *link;
};

enum lw_compare_what { LW_COMPARE_SUPPLY, LW_COMPARE_NOISE, LW_COMPARE_ERRORS };
enum lw_compare_outcome {
    LW_COMPARE_SAME,  // not proved to have moved
    LW_COMPARE_MOVED, // proved
    LW_COMPARE_WORSE, // proved, for the worse, and enough to matter
};

struct lw_compare_row {
    char *node, *unit;
    int tap, what, outcome; // the enums above
    double before, now;
    double change, change_low, change_high; // now - before with its bounds
    bool other_serial;                      // another node stands there now
};
struct lw_compare_result {
    char *earlier_opened, *earlier_folder;
    struct lw_list rows;         // of struct lw_compare_row: by what, then by tap
    struct lw_list not_compared; // of char *: what could not be, and why
    double exchanged;            // nodes with another serial than before
};
extern const struct lw_shape lw_compare_shape;
const char *lw_compare_word(enum lw_compare_what what); // "supply"

// Rows for every node that both visits have measured. Bounds are two-sided, 95 % for all rows
// together (Bonferroni). Volts: a voltmeter's constant error cancels when the serial is the same,
// its step stays (rectangular, JCGM 100:2008 4.3.7); spreads: the F distribution on effective
// degrees of freedom; error rates: Clopper-Pearson bounds of both. Worse is: volts lower by a tenth
// of what the node had above its minimum; a spread or a rate that has grown by a quarter. `plan`
// may be NULL: the voltmeters' steps are then not known, and their errors do not cancel. LW_MEMORY.
enum lw_status lw_compare(const struct lw_plan *plan, const struct lw_compare_side *before,
                          const struct lw_compare_side *now, struct lw_compare_result *result,
                          struct lw_rule *rule, struct lw_error *error);
void lw_compare_findings(const struct lw_compare_result *result, struct lw_findings *findings);

#endif
