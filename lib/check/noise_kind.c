// SPDX-License-Identifier: GPL-3.0-or-later
//
// What each kind of device shows of its own at rest. A probe or an air gauge at the end of its
// range is silent there, not quiet. A loop of 4 to 20 mA says by its current that its transmitter
// has failed. An encoder on the edge between two counts flutters, which is harmless; counts that
// are lost or won stay. An air gauge is as steady as its feed pressure.
#include "check/noise_inside.h"

#include <string.h>

// NAMUR NE 43: 3.8 to 20.5 mA carry information, at 3.6 mA and below and at 21 mA and above a
// transmitter signals its failure; what lies between says neither.
static const double loop_fails_low_ma = 3.6, loop_measures_low_ma = 3.8,
                    loop_measures_high_ma = 20.5, loop_fails_high_ma = 21;

static void count_loop(double low_ma, double high_ma, double share, struct lw_noise_node *node)
{
    bool failed = low_ma <= loop_fails_low_ma || high_ma >= loop_fails_high_ma;
    bool guard = low_ma < loop_measures_low_ma || high_ma > loop_measures_high_ma;
    node->loop_failed += failed ? share : 0;
    node->loop_guard += guard && !failed ? share : 0;
}

static enum lw_status judge_loop(const struct lw_noise_judging *judging,
                                 const struct lw_noise_case *one, struct lw_noise_node *node)
{
    node->loop_failed = node->loop_guard = 0;
    if (strcmp(node->unit != NULL ? node->unit : "", "mA") == 0) {
        for (size_t i = 0; i < one->n; i++) {
            count_loop(judging->value[i], judging->value[i], 1 / (double)one->n, node);
        }
        return LW_OK;
    }
    if (one->facts != NULL && one->facts->side_n > 0) {
        count_loop(one->facts->side_low, one->facts->side_high, 1, node);
        return LW_OK;
    }
    node->loop_failed = node->loop_guard = NAN;
    return lw_noise_not_judged(judging, node, "loop current: no readings in mA");
}

// A place that lasts: the middle one of five readings. A flutter changes it by one count at most.
static double middle_of_five(const double *value)
{
    double five[5];
    memcpy(five, value, sizeof five);
    qsort(five, 5, sizeof *five, lw_noise_ascending);
    return five[2];
}

static void judge_encoder(const struct lw_noise_judging *judging, const struct lw_noise_case *one,
                          struct lw_noise_node *node)
{
    const double *value = judging->value;
    double count = one->spread.resolution, direction = 0;
    node->count_jumps = node->count_flutter = 0;
    if (!(count > 0)) {
        node->count_jumps = node->count_flutter = NAN;
        return;
    }
    for (size_t i = 1; i < one->n; i++) {
        double counts = nearbyint((value[i] - value[i - 1]) / count);
        if (counts != 0) {
            node->count_flutter += direction * counts < 0;
            direction = counts;
        }
    }
    for (size_t i = 10; i <= one->n; i += 5) {
        double moved = middle_of_five(value + i - 5) - middle_of_five(value + i - 10);
        node->count_jumps += fabs(moved) > 1.5 * count;
    }
}

static void judge_range(const struct lw_noise_judging *judging, const struct lw_noise_case *one,
                        struct lw_noise_node *node)
{
    const struct lw_list *range = &one->profile->metrology.range;
    if (range->count != 2) {
        return;
    }
    const double *ends = range->items;
    double slack = one->spread.resolution > 0 ? one->spread.resolution : 0;
    size_t at = 0;
    for (size_t i = 0; i < one->n; i++) {
        at += judging->value[i] <= ends[0] || judging->value[i] >= ends[1];
        node->beyond_range = node->beyond_range || judging->value[i] < ends[0] - slack ||
                             judging->value[i] > ends[1] + slack;
    }
    node->at_range_end = (double)at / (double)one->n;
}

static enum lw_status judge_air(const struct lw_noise_judging *judging,
                                const struct lw_noise_case *one, struct lw_noise_node *node)
{
    judge_range(judging, one, node);
    if (one->facts == NULL || one->facts->side_n < 2) {
        return lw_noise_not_judged(judging, node, "feed pressure: no readings of it");
    }
    node->pressure_low_kpa = one->facts->side_low;
    node->pressure_high_kpa = one->facts->side_high;
    return LW_OK;
}

enum lw_status lw_noise_kind(const struct lw_noise_judging *judging,
                             const struct lw_noise_case *one, struct lw_noise_node *node)
{
    switch (one->profile != NULL ? one->profile->kind : (int)LW_KIND_NONE) {
    case LW_DISPLACEMENT:
        judge_range(judging, one, node);
        return LW_OK;
    case LW_LOOP_4_20:
        return judge_loop(judging, one, node);
    case LW_ENCODER:
        judge_encoder(judging, one, node);
        return LW_OK;
    case LW_AIR:
        return judge_air(judging, one, node);
    default:
        return LW_OK;
    }
}
