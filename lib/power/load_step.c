// SPDX-License-Identifier: GPL-3.0-or-later
//
// The known load is one more tap without a span; its size is found by halving.
#include "power/load_step.h"

#include "power/solver.h"

static const double step_a = 1e-3;

struct step {
    struct lw_ladder ladder; // one tap more than the chain's
    size_t taps;             // of the chain
    struct lw_solver solver;
    struct lw_point point;
    const enum lw_load_state *states;
    const struct lw_carry_limits *limits;
};

static bool source_holds(const struct step *step)
{
    for (size_t s = 0; s < step->ladder.source_count; s++) {
        enum lw_source_mode mode = step->point.source_mode[s];
        if (mode == LW_SOURCE_LIMITED || mode == LW_SOURCE_OFF) {
            return false;
        }
    }
    return true;
}

static bool tap_holds(const struct step *step, size_t tap)
{
    const double *rated_a = step->limits->rated_a;
    const double *minimum_v = step->limits->minimum_v;
    double needed_v = minimum_v ? minimum_v[tap] : step->ladder.taps[tap].load.drop_out_v;
    bool rated = tap == 0 || !rated_a ||
                 (fabs(step->point.span_plus_a[tap]) <= rated_a[tap] &&
                  fabs(step->point.span_zero_a[tap]) <= rated_a[tap]);
    return rated &&
           (step->states[tap] != LW_LOAD_RUNNING || lw_point_volts(&step->point, tap) >= needed_v);
}

static bool holds(struct step *step, double amperes)
{
    memcpy(step->point.load_state, step->states, step->taps * sizeof(*step->states));
    step->point.load_state[step->taps] = LW_LOAD_RUNNING;
    step->ladder.taps[step->taps].load = (struct lw_load){LW_LOAD_CURRENT, amperes, 0.0, 0.0, 0.0};
    for (size_t s = 0; s < step->ladder.source_count; s++) {
        step->point.source_mode[s] = LW_SOURCE_VOLTAGE;
    }
    lw_solver_run(&step->solver, &step->point);
    bool fine = step->point.exists && source_holds(step);
    for (size_t i = 0; fine && i < step->taps; i++) {
        fine = tap_holds(step, i);
    }
    return fine;
}

static double largest(struct step *step, double most_a)
{
    if (holds(step, most_a)) {
        return most_a;
    }
    double carried_a = 0.0;
    double fails_a = most_a;
    while (fails_a - carried_a > step_a) {
        double middle_a = 0.5 * (carried_a + fails_a);
        *(holds(step, middle_a) ? &carried_a : &fails_a) = middle_a;
    }
    return carried_a;
}

static enum lw_status step_init(struct step *step, const struct lw_ladder *ladder,
                                struct lw_error *error)
{
    step->ladder = *ladder;
    step->taps = ladder->tap_count;
    step->ladder.tap_count++;
    step->ladder.taps = calloc(step->ladder.tap_count, sizeof(struct lw_tap));
    if (!step->ladder.taps) {
        return lw_fail(error, LW_MEMORY, "no memory for a chain of %zu taps", step->taps);
    }
    memcpy(step->ladder.taps, ladder->taps, step->taps * sizeof(struct lw_tap));
    enum lw_status status = lw_point_init(&step->ladder, &step->point, error);
    return status == LW_OK ? lw_solver_init(&step->solver, &step->ladder, error) : status;
}

enum lw_status lw_load_step_size(const struct lw_ladder *ladder, const enum lw_load_state *states,
                                 const struct lw_carry_limits *limits, double most_a,
                                 double *amperes, struct lw_error *error)
{
    struct step step = {.states = states, .limits = limits};
    enum lw_status status = step_init(&step, ladder, error);
    if (status == LW_OK) {
        *amperes = largest(&step, most_a);
    }
    lw_solver_finish(&step.solver);
    lw_point_finish(&step.point);
    free(step.ladder.taps);
    return status;
}
