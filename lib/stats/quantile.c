// SPDX-License-Identifier: GPL-3.0-or-later
//
// One search serves all distributions. It works on the logarithm of the probability against the
// logarithm of x, where all of these curves are smooth over hundreds of decades.
#include "stats/quantile.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_roots.h>
#include <gsl/gsl_sf_gamma.h>
#include <stdbool.h>

// A distribution on x > 0 with up to two parameters.
struct distribution {
    double (*below)(double x, const double *parameters); // NULL: only the upper tail is asked for
    double (*above)(double x, const double *parameters);
    double parameters[2];
    double start;  // somewhere near its middle
    double most_x; // 1 for beta, INFINITY else
};

struct search {
    const struct distribution *distribution;
    enum lw_tail tail;
    double log_probability;
};

static double normal_above(double x, const double *parameters)
{
    (void)parameters;
    return gsl_cdf_ugaussian_Q(x);
}

static double t_above(double x, const double *parameters)
{
    return gsl_cdf_tdist_Q(x, parameters[0]);
}

static double chi_square_below(double x, const double *parameters)
{
    return gsl_cdf_chisq_P(x, parameters[0]);
}

static double chi_square_above(double x, const double *parameters)
{
    return gsl_cdf_chisq_Q(x, parameters[0]);
}

static double beta_below(double x, const double *parameters)
{
    return gsl_cdf_beta_P(x, parameters[0], parameters[1]);
}

// Where GSL takes its approximation for very unequal shapes (Abramowitz and Stegun 26.5.17) it
// subtracts from 1 and loses a small upper tail; the same approximation gives it directly.
static double beta_above(double x, const double *parameters)
{
    double a = parameters[0], b = parameters[1];
    if (b > 1e5 && a < 10 && x < b / (a + b)) {
        return gsl_sf_gamma_inc_Q(a, -(b + (a - 1) / 2) * log1p(-x));
    }
    return gsl_cdf_beta_Q(x, a, b);
}

// Rises with log x for both tails. A probability that underflows counts as the smallest there is.
static double miss(double log_x, void *user)
{
    const struct search *search = user;
    const struct distribution *distribution = search->distribution;
    double x = fmin(exp(log_x), distribution->most_x);
    double probability = search->tail == LW_TAIL_BELOW
                             ? distribution->below(x, distribution->parameters)
                             : distribution->above(x, distribution->parameters);
    if (!isfinite(probability)) {
        return NAN;
    }
    double difference = log(fmax(probability, GSL_DBL_MIN)) - search->log_probability;
    return search->tail == LW_TAIL_BELOW ? difference : -difference;
}

// Widens low..high (logarithms) until the miss changes its sign between them.
static bool bracket(struct search *search, double *low, double *high)
{
    double most = log(search->distribution->most_x);
    double middle = log(search->distribution->start);
    *low = *high = fmin(middle, most);
    for (double step = 0.25; step < 2048; step *= 2) {
        bool low_done = miss(*low, search) <= 0;
        bool high_done = miss(*high, search) >= 0;
        if (low_done && high_done) {
            return true;
        }
        *low = low_done ? *low : fmax(middle - step, GSL_LOG_DBL_MIN);
        *high = high_done ? *high : fmin(fmin(middle + step, most), GSL_LOG_DBL_MAX);
    }
    return false;
}

static double brent(struct search *search, double low, double high)
{
    gsl_root_fsolver *solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
    if (!solver) {
        return NAN;
    }
    gsl_function function = {miss, search};
    double root = NAN;
    if (gsl_root_fsolver_set(solver, &function, low, high) == GSL_SUCCESS) {
        for (int i = 0; i < 200; i++) {
            if (gsl_root_fsolver_iterate(solver) != GSL_SUCCESS) {
                break;
            }
            root = gsl_root_fsolver_root(solver);
            if (fabs(miss(root, search)) < 1e-15 ||
                gsl_root_test_interval(gsl_root_fsolver_x_lower(solver),
                                       gsl_root_fsolver_x_upper(solver), 1e-15,
                                       GSL_DBL_EPSILON) == GSL_SUCCESS) {
                break;
            }
        }
    }
    gsl_root_fsolver_free(solver);
    return root;
}

// A result counts when the distribution function gives the probability back and changes sides
// within 1e-9 of it. Where it is itself computed with too few digits, one of the two fails.
static bool trustworthy(double log_x, struct search *search)
{
    return isfinite(log_x) && fabs(miss(log_x, search)) < 1e-8 && miss(log_x - 1e-9, search) <= 0 &&
           miss(log_x + 1e-9, search) >= 0;
}

static bool valid_probability(double probability)
{
    return probability > 0 && probability < 1;
}

static bool valid_shape(double shape)
{
    return isfinite(shape) && shape > 0;
}

static enum lw_status bad_argument(double *x, struct lw_error *error)
{
    *x = NAN;
    return lw_fail(error, LW_USAGE,
                   "a quantile needs a probability between 0 and 1 and shapes above 0");
}

static enum lw_status solve(const struct distribution *distribution, enum lw_tail tail,
                            double probability, double *x, struct lw_error *error)
{
    struct search search = {distribution, tail, log(probability)};
    double low = 0, high = 0;
    *x = NAN;
    if (bracket(&search, &low, &high)) {
        double log_x = low < high ? brent(&search, low, high) : low;
        if (trustworthy(log_x, &search)) {
            *x = fmin(exp(log_x), distribution->most_x);
            return LW_OK;
        }
    }
    return lw_fail(error, LW_GARBLED, "no trustworthy quantile at probability %g", probability);
}

// Both symmetric about 0: the search stands on x > 0 in the smaller tail.
static enum lw_status solve_symmetric(const struct distribution *distribution, enum lw_tail tail,
                                      double probability, double *x, struct lw_error *error)
{
    if (probability == 0.5) {
        *x = 0;
        return LW_OK;
    }
    bool small = probability < 0.5;
    // 1 - p is exact for p of 0.5 and more.
    double outer = small ? probability : 1 - probability;
    enum lw_status status = solve(distribution, LW_TAIL_ABOVE, outer, x, error);
    if (small == (tail == LW_TAIL_BELOW)) {
        *x = -*x;
    }
    return status;
}

enum lw_status lw_quantile_normal(enum lw_tail tail, double probability, double *x,
                                  struct lw_error *error)
{
    if (!valid_probability(probability)) {
        return bad_argument(x, error);
    }
    struct distribution distribution = {NULL, normal_above, {0}, 1, INFINITY};
    return solve_symmetric(&distribution, tail, probability, x, error);
}

enum lw_status lw_quantile_t(enum lw_tail tail, double probability, double dof, double *x,
                             struct lw_error *error)
{
    if (!valid_probability(probability) || !valid_shape(dof)) {
        return bad_argument(x, error);
    }
    struct distribution distribution = {NULL, t_above, {dof}, 1, INFINITY};
    return solve_symmetric(&distribution, tail, probability, x, error);
}

enum lw_status lw_quantile_chi_square(enum lw_tail tail, double probability, double dof, double *x,
                                      struct lw_error *error)
{
    if (!valid_probability(probability) || !valid_shape(dof)) {
        return bad_argument(x, error);
    }
    struct distribution distribution = {chi_square_below, chi_square_above, {dof}, dof, INFINITY};
    return solve(&distribution, tail, probability, x, error);
}

// Solves for x of the beta distribution and gives 1 - x with the same relative accuracy: the
// smaller of the two is searched.
static enum lw_status solve_beta(enum lw_tail tail, double probability, double a, double b,
                                 double *x, double *rest, struct lw_error *error)
{
    struct distribution straight = {beta_below, beta_above, {a, b}, a / (a + b), 1};
    struct distribution mirrored = {beta_below, beta_above, {b, a}, b / (a + b), 1};
    struct search search = {&straight, tail, log(probability)};
    enum lw_status status;
    if (miss(-M_LN2, &search) >= 0) {
        status = solve(&straight, tail, probability, x, error);
        *rest = 1 - *x;
    } else {
        enum lw_tail other = tail == LW_TAIL_BELOW ? LW_TAIL_ABOVE : LW_TAIL_BELOW;
        status = solve(&mirrored, other, probability, rest, error);
        *x = 1 - *rest;
    }
    return status;
}

enum lw_status lw_quantile_beta(enum lw_tail tail, double probability, double a, double b,
                                double *x, struct lw_error *error)
{
    if (!valid_probability(probability) || !valid_shape(a) || !valid_shape(b)) {
        return bad_argument(x, error);
    }
    double rest;
    return solve_beta(tail, probability, a, b, x, &rest, error);
}

// F is the ratio of the two parts of a beta distribution (Abramowitz and Stegun 26.6.2).
enum lw_status lw_quantile_f(enum lw_tail tail, double probability, double dof_above,
                             double dof_below, double *x, struct lw_error *error)
{
    if (!valid_probability(probability) || !valid_shape(dof_above) || !valid_shape(dof_below)) {
        return bad_argument(x, error);
    }
    double part, rest;
    enum lw_status status =
        solve_beta(tail, probability, dof_above / 2, dof_below / 2, &part, &rest, error);
    *x = dof_below / dof_above * part / rest;
    return status;
}
