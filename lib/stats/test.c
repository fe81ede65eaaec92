// SPDX-License-Identifier: GPL-3.0-or-later
//
// An analysis of variance on the distances of the values from their group's centre.
#include "stats/test.h"

#include "stats/spread.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static enum lw_status check_groups(const size_t *group_n, size_t groups, size_t *n,
                                   struct lw_error *error)
{
    if (groups < 2) {
        return lw_fail(error, LW_USAGE, "a comparison of spreads needs two groups or more");
    }
    *n = 0;
    for (size_t g = 0; g < groups; g++) {
        if (group_n[g] < 2) {
            return lw_fail(error, LW_USAGE, "a group needs two values or more to have a spread");
        }
        *n += group_n[g];
    }
    return LW_OK;
}

static double center_of(enum lw_center center, double *value, size_t n)
{
    return center == LW_ABOUT_MEAN ? lw_moments(value, n).mean : lw_median(value, n);
}

// Turns the values of one group into distances from its centre, in place (sorted, perhaps: order
// does not matter any more), and returns their mean.
static double to_distances(enum lw_center center, double *value, size_t n)
{
    double middle = center_of(center, value, n);
    for (size_t i = 0; i < n; i++) {
        value[i] = fabs(value[i] - middle);
    }
    return lw_moments(value, n).mean;
}

// Sums of squares of distances: between groups and within them.
static void sums(enum lw_center center, double *distance, size_t n, const size_t *group_n,
                 size_t groups, double *between, double *within)
{
    double *at = distance;
    double weighted = 0, weighted_square = 0;
    *within = 0;
    for (size_t g = 0; g < groups; g++) {
        double mean = to_distances(center, at, group_n[g]);
        weighted += (double)group_n[g] * mean;
        for (size_t i = 0; i < group_n[g]; i++) {
            *within += (at[i] - mean) * (at[i] - mean);
        }
        at += group_n[g];
    }
    double grand = weighted / (double)n;
    at = distance;
    for (size_t g = 0; g < groups; g++) {
        double off = lw_moments(at, group_n[g]).mean - grand;
        weighted_square += (double)group_n[g] * off * off;
        at += group_n[g];
    }
    *between = weighted_square;
}

enum lw_status lw_test_levene(enum lw_center center, const double *value, const size_t *group_n,
                              size_t groups, struct lw_test_result *result, struct lw_error *error)
{
    size_t n = 0;
    *result = (struct lw_test_result){NAN, NAN, NAN, NAN};
    enum lw_status status = check_groups(group_n, groups, &n, error);
    if (status) {
        return status;
    }
    double *distance = malloc(n * sizeof *distance);
    if (!distance) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu values", n);
    }
    memcpy(distance, value, n * sizeof *distance);
    double between = 0, within = 0;
    sums(center, distance, n, group_n, groups, &between, &within);
    free(distance);
    if (!(within > 0)) {
        return lw_fail(error, LW_GARBLED, "no group spreads about its centre");
    }
    result->dof_above = (double)(groups - 1);
    result->dof_below = (double)(n - groups);
    result->statistic = result->dof_below / result->dof_above * between / within;
    result->p = gsl_cdf_fdist_Q(result->statistic, result->dof_above, result->dof_below);
    return LW_OK;
}
