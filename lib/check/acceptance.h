// SPDX-License-Identifier: GPL-3.0-or-later
//
// Acceptance: what a visit's records add up to. A pure function over records; the report only
// prints it.
#ifndef LW_CHECK_ACCEPTANCE_H
#define LW_CHECK_ACCEPTANCE_H

#include "site/plan.h"
#include "site/record.h"

enum lw_acceptance_verdict {
    LW_ACCEPTED,
    LW_ACCEPTED_WITH_REMARKS,
    LW_NOT_ACCEPTED,
    LW_INCOMPLETE,
};
const char *lw_acceptance_word(enum lw_acceptance_verdict verdict); // "accepted with remarks"

enum lw_outdated {
    LW_UP_TO_DATE,
    LW_BEFORE_WRITING, // addresses were written since
    LW_OTHER_PLAN,     // the newest check used another plan or another profile
};
enum { LW_ACCEPTANCE_CHECKS = 32 };
struct lw_acceptance_check {
    const char *check;
    bool required, done;       // done: a complete record is there
    enum lw_outdated outdated; // it was, and does not count any more
    bool partial;              // only a part of the chain was asked, so it is not done
    enum lw_verdict verdict;
    int number;          // of the record that counts: the last one of that check; 0: none
    const char *skipped; // reason, when it was skipped on purpose
};
struct lw_acceptance {
    enum lw_acceptance_verdict verdict;
    bool simulated; // some record was made on a virtual chain: it cannot be signed
    struct lw_acceptance_check checks[LW_ACCEPTANCE_CHECKS];
    size_t check_count;
    char because[8][200]; // reasons, worst first
    size_t because_count;
    char states[200]; // machine states under which noise and link were proved, "drives on; drives
                      // off"
};

// `plan` NULL: the default required checks. `records` is a list of struct lw_record in number
// order, and `broken` the first that does not fit the chain of digests (0: all fit): then nothing
// is proved, and the verdict is at best incomplete.
void lw_acceptance_judge(const struct lw_plan *plan, const struct lw_list *records, int broken,
                         struct lw_acceptance *acceptance);

#endif
