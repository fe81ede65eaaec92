// SPDX-License-Identifier: GPL-3.0-or-later
//
// The two things every check asks of its run.
#include "client/run.h"

bool lw_run_cancelled(const struct lw_run *run)
{
    return run->cancel != NULL && run->cancel->flag != 0;
}

void lw_run_progress(const struct lw_run *run, const char *phase, double done, double total,
                     const char *unit, double eta_s)
{
    if (run->progress != NULL) {
        const struct lw_progress progress = {phase, done, total, unit, eta_s};
        run->progress(run->user, &progress);
    }
}
