// SPDX-License-Identifier: GPL-3.0-or-later
//
// Kept apart from the statistics, so that none of them changes global state behind its caller.
#include "stats/setup.h"

#include <gsl/gsl_errno.h>

void lw_stats_setup(void)
{
    gsl_set_error_handler_off();
}
