// SPDX-License-Identifier: GPL-3.0-or-later
//
// Takes the processor time of the fast periodogram and gives its powers. Standard input: N COUNT
// LOW_HZ STEP_HZ, then N times and N values. Output: the best of five in seconds, then COUNT
// powers, one a line.
#include "stats/spectrum.h"
#include "stats/setup.h"

static double number(void)
{
    double value;
    if (scanf("%lf", &value) != 1) {
        fprintf(stderr, "a number is missing\n");
        exit(1);
    }
    return value;
}

static double now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

int main(void)
{
    lw_stats_setup();
    size_t n = (size_t)number(), count = (size_t)number();
    double low_hz = number(), step_hz = number();
    double *time_s = calloc(2 * n + count, sizeof *time_s);
    if (!time_s) {
        return 1;
    }
    double *value = time_s + n, *power = value + n;
    for (size_t i = 0; i < 2 * n; i++) {
        time_s[i] = number();
    }
    double best_s = INFINITY;
    for (int i = 0; i < 5; i++) {
        double start_s = now_s();
        if (lw_lomb_band(time_s, value, n, low_hz, step_hz, count, power, NULL)) {
            return 1;
        }
        best_s = fmin(best_s, now_s() - start_s);
    }
    printf("%.6f\n", best_s);
    for (size_t i = 0; i < count; i++) {
        printf("%.17g\n", power[i]);
    }
    free(time_s);
    return 0;
}
