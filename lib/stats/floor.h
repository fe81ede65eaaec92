// SPDX-License-Identifier: GPL-3.0-or-later
//
// How high the noise stands under a spectrum, and how improbable a peak over it is. Noise of real
// sensors is seldom white: a formula for white noise calls every drift a tone. So a peak is
// compared with its own neighbourhood.
#ifndef LW_STATS_FLOOR_H
#define LW_STATS_FLOOR_H

#include "base/error.h"

#include <stddef.h>

// Mean of the noise from powers that are mostly noise: their median over ln 2, the ratio of an
// exponential distribution. Sorts them. count >= 1.
double lw_floor_of(double *power, size_t count);

// The floor under each of `count` evenly spaced powers: that of blocks of `block` neighbours,
// interpolated between the blocks' middles in the logarithm. A block should be wide against a tone
// and narrow against the noise's own shape. LW_MEMORY.
enum lw_status lw_floor_under(const double *power, size_t count, size_t block, double *floor,
                              struct lw_error *error);

// Probability that one power of noise exceeds `ratio` times a floor that was estimated from
// `independent` frequencies: (1 + ratio/m)^-m, the mixture of exponentials that an estimated mean
// makes, with m = 0.48 independent, what a median is worth. Nears exp(-ratio).
double lw_floor_single(double ratio, double independent);

// The same for the highest peak in bands of together width_hz, searched without gaps over
// duration_s: times 1 + width x duration x sqrt(pi/3 ratio), the expected number of peaks of noise
// (Baluev 2008, for times spread evenly), once for each of `together` searches.
double lw_floor_false_alarm(double ratio, double independent, double width_hz, double duration_s,
                            unsigned together);

#endif
