// SPDX-License-Identifier: GPL-3.0-or-later
//
// Silent nodes, judged together: what silences several in a row is one thing at one place, a
// supply, a plug, a wire, and is looked for there rather than at each of them.
#ifndef LW_CHECK_SILENT_H
#define LW_CHECK_SILENT_H

#include "site/plan.h"
#include "site/record.h"

enum lw_silent_tap {
    LW_TAP_NOT_ASKED, // passive, or not selected: what is there is not known
    LW_TAP_ANSWERS,
    LW_TAP_SILENT,
    LW_TAP_TOLD, // silent, and named by a finding
};

// `taps` is an array of lw_plan_taps(), tap 1 first. Adds one finding (fail) where
// - all that were asked are silent, two at least: the line or its supply;
// - all nodes of a section that one supply feeds are silent, two at least: that supply;
// - two or more up to the last node are silent, and one before them answers: the span before them;
// - three or more in a row are silent elsewhere: what they share.
// `because` (NULL: none) is put to each. The taps that were named become LW_TAP_TOLD; the caller
// tells the others one by one.
void lw_silent_findings(const struct lw_plan *plan, enum lw_silent_tap *taps, const char *because,
                        struct lw_findings *findings);

#endif
