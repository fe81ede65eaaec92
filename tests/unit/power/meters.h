// SPDX-License-Identifier: GPL-3.0-or-later
//
// A chain as it stands in a machine, for the tests of the weak span: a plan, what is really there,
// and what the nodes' voltmeters say about it. Makes faults; knows nothing of how they are found.
#ifndef LW_TESTS_POWER_METERS_H
#define LW_TESTS_POWER_METERS_H

#include "chains.h"

#include "power/weak_span.h"

#include <math.h>

struct site {
    struct chain plan, real;
    struct lw_voltmeter meters[MOST_TAPS];
    enum lw_load_state states[MOST_TAPS];
    double offset_v[MOST_TAPS + 1]; // true constant errors
    size_t fault_span;              // 0: none
    double fault_ohm;
};

// Marsaglia's polar method.
static inline double draw_normal(uint64_t *state)
{
    for (;;) {
        double x = draw_in(state, -1.0, 1.0);
        double y = draw_in(state, -1.0, 1.0);
        double square = x * x + y * y;
        if (square > 0.0 && square < 1.0) {
            return x * sqrt(-2.0 * log(square) / square);
        }
    }
}

// One feed at the head, two kinds of node with their own offsets (0.01 V a kind, 0.015 V a node,
// one standard deviation), readings in steps of 0.01 V; really the copper is up to 12 % under the
// plan, all nodes together draw 0.85 to 1.15 of it and the source is off by 1 %.
static inline void site_draw(struct site *site, size_t taps, uint64_t *state)
{
    chain_begin(&site->plan, taps);
    double span_ohm = fmin(0.024, 1.2 / (double)taps);
    chain_fill(&site->plan, span_ohm, span_ohm, power_load(0.9));
    chain_feed(&site->plan, 0, 24.0, 0.1, 0.06, INFINITY);
    double kind_v[2] = {0.01 * draw_normal(state), 0.01 * draw_normal(state)};
    for (size_t i = 0; i < taps; i++) {
        int kind = draw(state) < 0.5;
        site->states[i] = LW_LOAD_RUNNING;
        site->plan.taps[i].load.value = kind == 0 ? 0.5 : 0.9;
        site->plan.taps[i].load.value *= fmin(1.0, 60.0 / (double)taps);
        site->offset_v[i] = kind_v[kind] + 0.015 * draw_normal(state);
        site->meters[i] = (struct lw_voltmeter){.kind = kind};
    }
    site->real = site->plan;
    site->real.ladder.taps = site->real.taps;
    site->real.ladder.sources = site->real.sources;
    double copper = draw_in(state, 0.88, 1.0);
    double draw_scale = draw_in(state, 0.85, 1.15);
    for (size_t i = 0; i < taps; i++) {
        site->real.taps[i].span_plus_ohm *= copper;
        site->real.taps[i].span_zero_ohm *= copper;
        site->real.taps[i].load.value *= draw_scale;
    }
    site->real.sources[0].volts *= 1.0 + 0.01 * draw_normal(state);
    site->fault_span = 0;
}

static inline void site_break(struct site *site, size_t span, double ohm)
{
    site->fault_span = span;
    site->fault_ohm = ohm;
    site->real.taps[span].span_plus_ohm += ohm;
}

static inline double stepped(double volts, double step_v)
{
    return step_v * round(volts / step_v);
}

// One reading of every meter with the real chain in its present loads; the mean of eight, whose
// scatter of 4 mV lets the steps average. False: the chain does not stand.
static inline bool site_read(const struct site *site, uint64_t *state, double *volts)
{
    struct lw_point point;
    struct lw_error error = {0};
    if (lw_point_init(&site->real.ladder, &point, &error) != LW_OK) {
        return false;
    }
    all_run(&site->real.ladder, &point);
    bool fine = lw_ladder_solve(&site->real.ladder, &point, &error) == LW_OK && point.exists;
    for (size_t i = 0; fine && i < site->real.ladder.tap_count; i++) {
        double true_v = point.plus_v[i] - point.zero_v[i];
        volts[i] = 0.0;
        for (int k = 0; k < 8; k++) {
            volts[i] +=
                stepped(true_v + site->offset_v[i] + 0.004 * draw_normal(state), 0.01) / 8.0;
        }
    }
    lw_point_finish(&point);
    return fine;
}

static inline bool site_read_state(struct site *site, uint64_t *state)
{
    double volts[MOST_TAPS + 1];
    bool fine = site_read(site, state, volts);
    for (size_t i = 0; fine && i < site->plan.ladder.tap_count; i++) {
        site->meters[i].volts = volts[i];
        site->meters[i].node_u_v = 0.015;
        site->meters[i].kind_u_v = 0.01;
        site->meters[i].noise_u_v = 0.004 / sqrt(8.0);
        site->meters[i].step_v = 0.01 / sqrt(8.0);
    }
    return fine;
}

// Off, on, on, off with a known load plugged at the last tap.
static inline bool site_read_step(struct site *site, double amperes, uint64_t *state)
{
    double volts[4][MOST_TAPS + 1];
    size_t taps = site->plan.ladder.tap_count;
    struct lw_tap plug = {.load = {.kind = LW_LOAD_CURRENT, .value = amperes}};
    bool fine = site_read(site, state, volts[0]);
    site->real.taps[taps] = plug;
    site->real.ladder.tap_count = taps + 1;
    fine = fine && site_read(site, state, volts[1]) && site_read(site, state, volts[2]);
    site->real.ladder.tap_count = taps;
    fine = fine && site_read(site, state, volts[3]);
    for (size_t i = 0; fine && i < taps; i++) {
        site->meters[i].volts = 0.5 * (volts[0][i] - volts[1][i] - volts[2][i] + volts[3][i]);
        site->meters[i].noise_u_v = 0.004 / sqrt(16.0);
        site->meters[i].step_v = 0.01 / sqrt(16.0);
    }
    return fine;
}

#endif
