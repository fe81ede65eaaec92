// SPDX-License-Identifier: GPL-3.0-or-later
//
// How often does a node renew its reading? Asked faster than that it repeats itself, and a repeat
// is no new evidence.
#ifndef LW_CHECK_NOISE_UPDATE_H
#define LW_CHECK_NOISE_UPDATE_H

#include <stddef.h>

// From readings in quick succession: the longest interval of which every change of value lies at a
// multiple (and one phase), when chance would offer such an interval less than once in 100 bursts;
// else NAN. Values that happen to be equal across an update do no harm. times ascending.
double lw_update_from_burst(const double *time_s, const double *value, size_t n);

// A 16-bit sample counter read three times, the first two close together: seconds per count over
// the whole time, turns of the counter counted by the rate of the first two. NAN when it stood.
double lw_update_from_counter(const double time_s[3], const double count[3]);

#endif
