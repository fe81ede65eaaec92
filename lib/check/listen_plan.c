// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a controller's polling says, held against the plan.
#include "check/listen.h"

static void judge_traffic(const struct lw_listen_result *result, struct lw_findings *findings)
{
    if (result->crossed > 0) {
        struct lw_finding *finding = lw_findings_add(
            findings, "listen_crossed", LW_ATTENTION,
            "%.0f questions came while another was still to be answered", result->crossed);
        lw_finding_because(findings, finding, "one master asks one thing at a time");
    }
}

void lw_listen_findings(const struct lw_plan *plan, const struct lw_listen_result *result,
                        struct lw_findings *findings)
{
    if (plan == NULL) {
        return;
    }
    judge_traffic(result, findings);
}
