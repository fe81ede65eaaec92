// SPDX-License-Identifier: GPL-3.0-or-later
//
// One search serves all distributions. It works on the logarithm of the probability against the
// logarithm of x, where all of these curves are smooth over hundreds of decades.
#include "stats/quantile.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_roots.h>
#include <stdbool.h>

// A distribution on x > 0 with up to two parameters.
struct distribution {
    double (*below)(double x, const double *parameters);
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

static double normal_below(double x, const double *parameters)
{
    (void)parameters;
    return gsl_cdf_ugaussian_P(x);
}

static double normal_above(double x, const double *parameters)
{
    (void)parameters;
    return gsl_cdf_ugaussian_Q(x);
}

static double t_below(double x, const double *parameters)
{
    return gsl_cdf_tdist_P(x, parameters[0]);
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

static double f_below(double x, const double *parameters)
{
    return gsl_cdf_fdist_P(x, parameters[0], parameters[1]);
}

static double f_above(double x, const double *parameters)
{
    return gsl_cdf_fdist_Q(x, parameters[0], parameters[1]);
}

static double beta_below(double x, const double *parameters)
{
    return gsl_cdf_beta_P(x, parameters[0], parameters[1]);
}

static double beta_above(double x, const double *parameters)
{
    return gsl_cdf_beta_Q(x, parameters[0], parameters[1]);
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
        if (isfinite(log_x) && fabs(miss(log_x, &search)) < 1e-9) {
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
    struct distribution distribution = {normal_below, normal_above, {0}, 1, INFINITY};
    return solve_symmetric(&distribution, tail, probability, x, error);
}

enum lw_status lw_quantile_t(enum lw_tail tail, double probability, double dof, double *x,
                             struct lw_error *error)
{
    if (!valid_probability(probability) || !valid_shape(dof)) {
        return bad_argument(x, error);
    }
    struct distribution distribution = {t_below, t_above, {dof}, 1, INFINITY};
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

enum lw_status lw_quantile_f(enum lw_tail tail, double probability, double dof_above,
                             double dof_below, double *x, struct lw_error *error)
{
    if (!valid_probability(probability) || !valid_shape(dof_above) || !valid_shape(dof_below)) {
        return bad_argument(x, error);
    }
    struct distribution distribution = {f_below, f_above, {dof_above, dof_below}, 1, INFINITY};
    return solve(&distribution, tail, probability, x, error);
}

enum lw_status lw_quantile_beta(enum lw_tail tail, double probability, double a, double b,
                                double *x, struct lw_error *error)
{
    if (!valid_probability(probability) || !valid_shape(a) || !valid_shape(b)) {
        return bad_argument(x, error);
    }
    struct distribution distribution = {beta_below, beta_above, {a, b}, a / (a + b), 1};
    return solve(&distribution, tail, probability, x, error);
}
