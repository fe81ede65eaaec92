// SPDX-License-Identifier: GPL-3.0-or-later
//
// All tones in readings, whatever their frequency: the strongest is found over the local noise
// floor, fitted, taken away, and the rest searched again, so that neither its side lobes nor its
// images count as more tones.
#ifndef LW_STATS_TONES_H
#define LW_STATS_TONES_H

#include "base/error.h"
#include "stats/spectrum.h"
#include "stats/times.h"

#include <stdbool.h>
#include <stddef.h>

enum { LW_MOST_TONES = 8 };

// What was found, the strongest over its floor first. low_hz..high_hz is what was searched: from 30
// / duration, up to what was asked for or, when the times repeat so much that higher frequencies
// can't be told from lower ones (`apparent`), up to half of repeat.repeat_hz; each frequency may
// then stand for any |frequency +- k repeat_hz|.
struct lw_tones {
    size_t count;
    struct lw_tone tone[LW_MOST_TONES];
    double low_hz, high_hz;
    struct lw_times_repeat repeat;
    bool apparent;
};

// Keeps the tones whose false-alarm probability, over the whole search and `together` (>= 1) nodes,
// is below `level` (0.05). Slow noise is taken away above a tenth of the mean poll rate. time_s
// ascending, n >= 64, readings not all equal, duration above 0, high_hz above 30 / duration: else
// LW_USAGE. LW_USAGE when the search has more than 1e6 frequencies (four per 1 / duration).
// LW_MEMORY. Time: a transform over the band per tone found, and one more, and a few
// least-squares fits per tone.
enum lw_status lw_tones_find(const double *time_s, const double *value, size_t n, double high_hz,
                             unsigned together, double level, struct lw_tones *tones,
                             struct lw_error *error);

// Share of a tone's amplitude that is left in readings: sinc(f a) of the node's own averaging over
// averaging_s (a plain mean) times exp(-(2 pi f u)^2 / 2) of times known only to a standard
// uncertainty u = timing_u_s (normal). Negative where averaging turns the tone's sign. Near 0
// the tone is as good as removed and its true size can't be told.
double lw_tone_share_left(double frequency_hz, double averaging_s, double timing_u_s);

#endif
