// SPDX-License-Identifier: GPL-3.0-or-later
//
// The statistics as a filter, so that another program can ask them and compare: one question a
// line, one answer a line, numbers separated by blanks, "garbled" where there is no number.
// Questions:
//   quantile NAME below|above PROBABILITY A B
//   levene mean|median GROUPS N... VALUES...
//   autocorrelation N LAGS VALUES...
//   lomb N COUNT TIMES... VALUES... FREQUENCIES...
#include "stats/correlation.h"
#include "stats/quantile.h"
#include "stats/setup.h"
#include "stats/spectrum.h"
#include "stats/test.h"

static double number(void)
{
    double value;
    if (scanf("%lf", &value) != 1) {
        fprintf(stderr, "a number is missing\n");
        exit(1);
    }
    return value;
}

static size_t whole(void)
{
    return (size_t)number();
}

static void word(char text[32])
{
    if (scanf("%31s", text) != 1) {
        fprintf(stderr, "a word is missing\n");
        exit(1);
    }
}

static double *numbers(size_t count)
{
    double *value = calloc(count + 1, sizeof *value);
    for (size_t i = 0; value && i < count; i++) {
        value[i] = number();
    }
    return value;
}

static void answer(enum lw_status status, const double *value, size_t count)
{
    for (size_t i = 0; i < count && !status; i++) {
        printf("%s%.17g", i ? " " : "", value[i]);
    }
    printf("%s\n", status ? "garbled" : "");
}

static void quantile(void)
{
    char name[32], side[32];
    word(name);
    word(side);
    enum lw_tail tail = strcmp(side, "below") == 0 ? LW_TAIL_BELOW : LW_TAIL_ABOVE;
    double p = number(), a = number(), b = number(), x = 0;
    enum lw_status status = LW_USAGE;
    if (strcmp(name, "normal") == 0) {
        status = lw_quantile_normal(tail, p, &x, NULL);
    } else if (strcmp(name, "t") == 0) {
        status = lw_quantile_t(tail, p, a, &x, NULL);
    } else if (strcmp(name, "chi_square") == 0) {
        status = lw_quantile_chi_square(tail, p, a, &x, NULL);
    } else if (strcmp(name, "f") == 0) {
        status = lw_quantile_f(tail, p, a, b, &x, NULL);
    } else if (strcmp(name, "beta") == 0) {
        status = lw_quantile_beta(tail, p, a, b, &x, NULL);
    }
    answer(status, &x, 1);
}

static void levene(void)
{
    char center[32];
    word(center);
    size_t groups = whole(), n = 0;
    size_t *group_n = calloc(groups + 1, sizeof *group_n);
    for (size_t g = 0; group_n && g < groups; g++) {
        group_n[g] = whole();
        n += group_n[g];
    }
    double *value = numbers(n);
    struct lw_test_result result;
    enum lw_status status =
        lw_test_levene(strcmp(center, "mean") == 0 ? LW_ABOUT_MEAN : LW_ABOUT_MEDIAN, value,
                       group_n, groups, &result, NULL);
    answer(status, (double[]){result.statistic, result.p}, 2);
    free(value);
    free(group_n);
}

static void autocorrelation(void)
{
    size_t n = whole(), lags = whole();
    double *value = numbers(n);
    double *rho = calloc(lags + 1, sizeof *rho);
    enum lw_status status = lw_autocorrelation(value, n, lags, rho, NULL);
    answer(status, rho, lags + 1);
    free(value);
    free(rho);
}

static void lomb(void)
{
    size_t n = whole(), count = whole();
    double *time_s = numbers(n), *value = numbers(n), *frequency_hz = numbers(count);
    double *power = calloc(count + 1, sizeof *power);
    enum lw_status status = lw_lomb(time_s, value, n, frequency_hz, count, power, NULL);
    answer(status, power, count);
    free(time_s);
    free(value);
    free(frequency_hz);
    free(power);
}

int main(void)
{
    lw_stats_setup();
    char question[32];
    while (scanf("%31s", question) == 1) {
        if (strcmp(question, "quantile") == 0) {
            quantile();
        } else if (strcmp(question, "levene") == 0) {
            levene();
        } else if (strcmp(question, "autocorrelation") == 0) {
            autocorrelation();
        } else if (strcmp(question, "lomb") == 0) {
            lomb();
        } else {
            fprintf(stderr, "'%s' is no question\n", question);
            return 1;
        }
    }
    return 0;
}
