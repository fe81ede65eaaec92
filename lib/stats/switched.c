// SPDX-License-Identifier: GPL-3.0-or-later
//
// Effective numbers of readings take the place of their numbers everywhere, so that slow noise does
// not pass for an effect.
#include "stats/switched.h"

#include "stats/quantile.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

static enum lw_status check(const struct lw_spread stretch[4], struct lw_error *error)
{
    for (int i = 0; i < 4; i++) {
        if (!(stretch[i].noise > 0) || !(stretch[i].effective_n_mean > 2) ||
            !(stretch[i].effective_n_spread > 2)) {
            return lw_fail(error, LW_USAGE,
                           "stretch %d of four has too few independent readings to compare", i + 1);
        }
    }
    return LW_OK;
}

static void compare_means(const struct lw_spread stretch[4], struct lw_switched *switched)
{
    double variance = 0, over_dof = 0;
    for (int i = 0; i < 4; i++) {
        double part = stretch[i].mean_u * stretch[i].mean_u / 4;
        variance += part;
        over_dof += part * part / fmax(stretch[i].effective_n_mean - 2, 1);
    }
    switched->shift =
        (stretch[1].mean + stretch[2].mean) / 2 - (stretch[0].mean + stretch[3].mean) / 2;
    switched->shift_u = sqrt(variance);
    switched->shift_dof = variance * variance / over_dof;
    double t = fabs(switched->shift) / switched->shift_u;
    switched->shift_p = 2 * gsl_cdf_tdist_Q(t, switched->shift_dof);
}

// Pooled variance of two stretches and its degrees of freedom.
static double pool(const struct lw_spread *first, const struct lw_spread *second, double *dof)
{
    double first_dof = first->effective_n_spread - 1, second_dof = second->effective_n_spread - 1;
    *dof = first_dof + second_dof;
    return (first_dof * first->noise * first->noise + second_dof * second->noise * second->noise) /
           *dof;
}

static enum lw_status compare_spreads(const struct lw_spread stretch[4],
                                      struct lw_switched *switched, struct lw_error *error)
{
    double on_dof, off_dof, most = 0, least = 0;
    double on = pool(&stretch[1], &stretch[2], &on_dof);
    double off = pool(&stretch[0], &stretch[3], &off_dof);
    double f = on / off;
    enum lw_status status = lw_quantile_f(LW_TAIL_ABOVE, 0.05, on_dof, off_dof, &most, error);
    if (!status) {
        status = lw_quantile_f(LW_TAIL_BELOW, 0.05, on_dof, off_dof, &least, error);
    }
    double smaller = fmin(gsl_cdf_fdist_Q(f, on_dof, off_dof), gsl_cdf_fdist_P(f, on_dof, off_dof));
    switched->ratio = sqrt(f);
    switched->ratio_low95 = sqrt(f / most);
    switched->ratio_high95 = sqrt(f / least);
    switched->ratio_p = fmin(1, 2 * smaller);
    return status;
}

enum lw_status lw_switched_of(const struct lw_spread stretch[4], unsigned together,
                              struct lw_switched *switched, struct lw_error *error)
{
    *switched = (struct lw_switched){NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, false, false};
    enum lw_status status = check(stretch, error);
    if (!status) {
        compare_means(stretch, switched);
        status = compare_spreads(stretch, switched, error);
    }
    if (!status) {
        double level = 0.05 / 2 / together;
        switched->shifted = switched->shift_p < level;
        switched->changed = switched->ratio_p < level;
    }
    return status;
}
