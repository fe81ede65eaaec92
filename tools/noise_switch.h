// SPDX-License-Identifier: GPL-3.0-or-later
//
// The two ways to a source test: switching now, with somebody at the switch, and comparing two runs
// of a visit.
#ifndef LW_TOOLS_NOISE_SWITCH_H
#define LW_TOOLS_NOISE_SWITCH_H

#include "checks.h"

// Drives the dialog on the terminal, or from the file of answers, and measures. `stretches` gets
// those that were measured, after a failure too.
enum lw_status lw_noise_switch(struct lw_session *session, const struct lw_noise_request *request,
                               const struct lw_noise_options *options, struct lw_series *series,
                               struct lw_noise_facts *facts, struct lw_list *stretches,
                               struct lw_error *error);

// The readings of both records on one time axis; the first counts as off, the second as on.
enum lw_status lw_noise_between(struct lw_session *session, const struct lw_noise_request *request,
                                struct lw_series *series, struct lw_list *stretches,
                                struct lw_error *error);

#endif
