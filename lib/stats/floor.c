// SPDX-License-Identifier: GPL-3.0-or-later
//
// Medians, because a tone in the neighbourhood must not hide the next one.
#include "stats/floor.h"

#include "stats/spread.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

double lw_floor_of(double *power, size_t count)
{
    return lw_median(power, count) / M_LN2;
}

// Floor at a place between the middles of blocks (of `block`, the last one may be longer).
static double between(const double *level, size_t blocks, size_t block, size_t at)
{
    double place = ((double)at + 0.5) / (double)block - 0.5;
    if (place <= 0) {
        return level[0];
    }
    size_t left = (size_t)place;
    if (left + 1 >= blocks) {
        return level[blocks - 1];
    }
    double part = place - (double)left;
    return exp((1 - part) * log(level[left]) + part * log(level[left + 1]));
}

enum lw_status lw_floor_under(const double *power, size_t count, size_t block, double *floor,
                              struct lw_error *error)
{
    block = block < 1 ? 1 : block;
    size_t blocks = count / block > 0 ? count / block : 1;
    double *level = malloc((blocks + count) * sizeof *level);
    if (!level) {
        return lw_fail(error, LW_MEMORY, "no memory for a floor under %zu powers", count);
    }
    double *scratch = level + blocks;
    memcpy(scratch, power, count * sizeof *scratch);
    for (size_t b = 0; b < blocks; b++) {
        size_t end = b + 1 < blocks ? (b + 1) * block : count;
        level[b] = lw_floor_of(scratch + b * block, end - b * block);
    }
    for (size_t i = 0; i < count; i++) {
        floor[i] = between(level, blocks, block, i);
    }
    free(level);
    return LW_OK;
}

double lw_floor_single(double ratio, double independent)
{
    double m = 0.48 * fmax(independent, 1);
    return exp(-m * log1p(ratio / m));
}

double lw_floor_false_alarm(double ratio, double independent, double width_hz, double duration_s,
                            unsigned together)
{
    double peaks = 1 + width_hz * duration_s * sqrt(M_PI / 3 * ratio);
    return -expm1(-peaks * together * lw_floor_single(ratio, independent));
}
