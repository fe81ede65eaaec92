// SPDX-License-Identifier: GPL-3.0-or-later
//
// Tones in readings taken at uneven times. Uneven times are wanted: a regular poll folds 50 Hz onto
// a slow wave that nobody can tell from drift, a dithered one does not.
#ifndef LW_STATS_SPECTRUM_H
#define LW_STATS_SPECTRUM_H

#include "base/error.h"

#include <stddef.h>

// Lomb's normalised periodogram at `count` frequencies (above 0), by direct sums: the power is in
// units of the variance (divisor n - 1) of the readings, so that white noise alone has an
// exponential distribution of mean 1 (Lomb 1976, Scargle 1982; Press and Rybicki 1989). n >= 3,
// readings not all equal, else LW_USAGE. Time n x count.
enum lw_status lw_lomb(const double *time_s, const double *value, size_t n,
                       const double *frequency_hz, size_t count, double *power,
                       struct lw_error *error);

// The same at `count` evenly spaced frequencies from low_hz (above 0) in steps of step_hz (above
// 0), by fast transform: time goes with n and count log count, memory with 24 bytes a
// reading and 64 bytes a frequency.
// Within 1e-9 of the direct sums for powers of noise. LW_MEMORY beside what lw_lomb says.
enum lw_status lw_lomb_band(const double *time_s, const double *value, size_t n, double low_hz,
                            double step_hz, size_t count, double *power, struct lw_error *error);

// Probability that the largest of `independent` such powers of white noise exceeds `power`:
// 1 - (1 - exp(-power))^independent.
double lw_lomb_false_alarm(double power, double independent);

// One sinusoid, mean + amplitude cos(2 pi f t + phase). Standard uncertainties hold for white
// noise of the size left over. frequency_u_hz is the one of a least-squares fit of the frequency,
// sqrt(6) noise / (pi T amplitude sqrt(n)).
struct lw_tone {
    double frequency_hz, frequency_u_hz;
    double amplitude, amplitude_u; // peak, in the reading's unit
    double phase_rad;              // at time 0, -pi..pi
    double false_alarm; // probability that noise alone gives as much; NAN from a plain fit
};

// Least-squares fit of mean, cosine and sine at a known frequency. n >= 4; LW_GARBLED when the
// times can't tell the tone from a constant (all at the same phase); LW_USAGE, LW_MEMORY.
enum lw_status lw_tone_fit(const double *time_s, const double *value, size_t n, double frequency_hz,
                           struct lw_tone *tone, struct lw_error *error);

// Cosine and sine of 2 pi f t at each time, into arrays of n.
void lw_tone_waves(const double *time_s, size_t n, double frequency_hz, double *cosine,
                   double *sine);

// lw_tone_fit() to waves that the caller has prepared, so that readings that went through a filter
// are fitted with waves that went through the same one, and the tone keeps its size.
// tone->frequency_hz is given; duration_s is last time minus first.
enum lw_status lw_tone_fit_waves(const double *cosine, const double *sine, const double *value,
                                 size_t n, double duration_s, struct lw_tone *tone,
                                 struct lw_error *error);

#endif
