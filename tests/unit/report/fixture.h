// SPDX-License-Identifier: GPL-3.0-or-later
//
// A visit made by hand: a chain of any number of nodes of three kinds, with results of every check
// and findings of every severity. All names are invented.
#ifndef LW_TESTS_REPORT_FIXTURE_H
#define LW_TESTS_REPORT_FIXTURE_H

#include "report/build.h"

struct fixture_options {
    size_t nodes;
    bool simulated;
    bool faulty;         // a weak span, a starved tail, a disturbed node
    const char *hostile; // stands in every text field; NULL: ordinary texts
    const char *photos;  // folder whose files are the pictures of a checklist; NULL: no checklist
    int broken;
};

struct fixture; // opaque

struct fixture *fixture_new(const struct fixture_options *options);
const struct lw_report_view *fixture_view(const struct fixture *fixture);
void fixture_free(struct fixture *fixture);

#endif
