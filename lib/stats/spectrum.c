// SPDX-License-Identifier: GPL-3.0-or-later
//
// Times are counted from the first reading for the sums, which keeps the phases small; only a
// fitted phase is said at time 0.
#include "stats/spectrum.h"

#include "stats/nonuniform.h"
#include "stats/spread.h"

#include <complex.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

// What one frequency collects from the readings.
struct sums {
    double sine, cosine;         // of the value
    double sine_two, cosine_two; // of twice the frequency
};

static struct sums collect(const double *time_s, const double *value, size_t n, double mean,
                           double frequency_hz)
{
    struct sums sums = {0};
    double omega = 2 * M_PI * frequency_hz;
    for (size_t i = 0; i < n; i++) {
        double phase = omega * (time_s[i] - time_s[0]);
        double s = sin(phase), c = cos(phase);
        sums.sine += (value[i] - mean) * s;
        sums.cosine += (value[i] - mean) * c;
        sums.sine_two += 2 * s * c;
        sums.cosine_two += (c - s) * (c + s);
    }
    return sums;
}

// Where the sums leave next to nothing across the direction that they have most along.
static double power_along(const struct sums *sums, double n, double size, double variance)
{
    double cosine = sqrt(fmax(0, 0.5 + 0.5 * sums->cosine_two / size));
    double sine = copysign(sqrt(fmax(0, 0.5 - 0.5 * sums->cosine_two / size)), sums->sine_two);
    double along = sums->cosine * cosine + sums->sine * sine;
    double across = sums->sine * cosine - sums->cosine * sine;
    double power = along * along / ((n + size) / 2);
    double across_weight = (n - size) / 2;
    if (across_weight > 1e-10 * n) {
        power += across * across / across_weight;
    }
    return power / (2 * variance);
}

// Lomb's power from the sums, in units of `variance`: what a least-squares fit of cosine and sine
// takes off the squares. Where that system is near to singular, in the form of Press and Rybicki
// (1989), in which a part that no reading can carry (all at the same phase) counts nothing.
static double power_of(const struct sums *sums, double n, double variance)
{
    double square = sums->sine_two * sums->sine_two + sums->cosine_two * sums->cosine_two;
    double determinant = n * n - square;
    if (determinant < 0.01 * n * n) {
        return power_along(sums, n, sqrt(square), variance);
    }
    double c = sums->cosine, s = sums->sine;
    double taken =
        n * (c * c + s * s) - sums->cosine_two * (c * c - s * s) - 2 * sums->sine_two * c * s;
    return taken / determinant / variance;
}

static enum lw_status check_readings(const double *value, size_t n, struct lw_moments *moments,
                                     struct lw_error *error)
{
    if (n < 3) {
        return lw_fail(error, LW_USAGE, "%zu readings make no spectrum", n);
    }
    *moments = lw_moments(value, n);
    if (!(moments->stdev > 0)) {
        return lw_fail(error, LW_USAGE, "readings that are all equal make no spectrum");
    }
    return LW_OK;
}

enum lw_status lw_lomb(const double *time_s, const double *value, size_t n,
                       const double *frequency_hz, size_t count, double *power,
                       struct lw_error *error)
{
    struct lw_moments moments = {NAN, NAN, NAN};
    enum lw_status status = check_readings(value, n, &moments, error);
    for (size_t i = 0; i < count && !status; i++) {
        struct sums sums = collect(time_s, value, n, moments.mean, frequency_hz[i]);
        power[i] = power_of(&sums, (double)n, moments.stdev * moments.stdev);
    }
    return status;
}

// The arrays of one fast spectrum. The band's middle frequency is taken out of the readings first,
// so that the transform is as long as the band and not as its highest frequency.
struct band {
    double *turn;             // per reading
    double complex *strength; // per reading: turned back by the middle frequency
    double complex *sum[2]; // of the readings over their spread, and of ones at twice the frequency
};

static void band_finish(struct band *band)
{
    free(band->turn);
    free(band->strength);
    free(band->sum[0]);
    free(band->sum[1]);
}

static enum lw_status band_start(struct band *band, size_t n, size_t half, struct lw_error *error)
{
    *band = (struct band){.turn = malloc(n * sizeof(double)),
                          .strength = malloc(n * sizeof(double complex)),
                          .sum = {malloc((2 * half + 1) * sizeof(double complex)),
                                  malloc((2 * half + 1) * sizeof(double complex))}};
    bool whole = band->turn && band->strength && band->sum[0] && band->sum[1];
    return whole ? LW_OK : lw_fail(error, LW_MEMORY, "no memory for %zu frequencies", 2 * half);
}

// Readings over their spread, or ones (value NULL).
static void band_fill(struct band *band, const double *time_s, const double *value, size_t n,
                      const struct lw_moments *moments, double middle_hz, double step_hz)
{
    for (size_t j = 0; j < n; j++) {
        double since_s = time_s[j] - time_s[0];
        double phase = 2 * M_PI * middle_hz * since_s;
        double size = value != NULL ? (value[j] - moments->mean) / moments->stdev : 1;
        band->turn[j] = step_hz * since_s;
        band->strength[j] = CMPLX(size * cos(phase), -size * sin(phase));
    }
}

enum lw_status lw_lomb_band(const double *time_s, const double *value, size_t n, double low_hz,
                            double step_hz, size_t count, double *power, struct lw_error *error)
{
    struct lw_moments moments = {NAN, NAN, NAN};
    struct band band;
    size_t half = count / 2;
    double middle_hz = low_hz + step_hz * (double)half;
    enum lw_status status = check_readings(value, n, &moments, error);
    if (status) {
        return status;
    }
    status = band_start(&band, n, half, error);
    if (!status) {
        band_fill(&band, time_s, value, n, &moments, middle_hz, step_hz);
        status = lw_nonuniform_sums(band.turn, n, band.strength, half, band.sum[0], error);
    }
    if (!status) {
        band_fill(&band, time_s, NULL, n, NULL, 2 * middle_hz, 2 * step_hz);
        status = lw_nonuniform_sums(band.turn, n, band.strength, half, band.sum[1], error);
    }
    for (size_t i = 0; i < count && !status; i++) {
        double complex one = band.sum[0][i], two = band.sum[1][i];
        struct sums sums = {-cimag(one), creal(one), -cimag(two), creal(two)};
        power[i] = power_of(&sums, (double)n, 1);
    }
    band_finish(&band);
    return status;
}

double lw_lomb_false_alarm(double power, double independent)
{
    return -expm1(independent * log1p(-exp(-power)));
}

// Centred sums of squares and products of cosine, sine and value.
struct normal {
    double cc, ss, cs, cv, sv, vv;
};

static struct normal normal_equations(const double *cosine, const double *sine, const double *value,
                                      size_t n)
{
    double count = (double)n;
    double shift = value[0];
    double c1 = 0, s1 = 0, v1 = 0;
    struct normal sums = {0};
    for (size_t i = 0; i < n; i++) {
        c1 += cosine[i] / count;
        s1 += sine[i] / count;
        v1 += (value[i] - shift) / count;
    }
    for (size_t i = 0; i < n; i++) {
        double c = cosine[i] - c1;
        double s = sine[i] - s1;
        double v = (value[i] - shift) - v1;
        sums.cc += c * c;
        sums.ss += s * s;
        sums.cs += c * s;
        sums.cv += c * v;
        sums.sv += s * v;
        sums.vv += v * v;
    }
    return sums;
}

// Standard uncertainty of hypot(a, b) from the covariance of a and b.
static double amplitude_uncertainty(const struct normal *sums, double determinant, double variance,
                                    double a, double b)
{
    double amplitude2 = a * a + b * b;
    if (amplitude2 <= 0) {
        return sqrt(variance * fmax(sums->cc, sums->ss) / determinant);
    }
    double along = (a * a * sums->ss - 2 * a * b * sums->cs + b * b * sums->cc) / amplitude2;
    return sqrt(variance * along / determinant);
}

enum lw_status lw_tone_fit_waves(const double *cosine, const double *sine, const double *value,
                                 size_t n, double duration_s, struct lw_tone *tone,
                                 struct lw_error *error)
{
    double frequency_hz = tone->frequency_hz;
    *tone = (struct lw_tone){frequency_hz, NAN, NAN, NAN, NAN, NAN};
    if (n < 4) {
        return lw_fail(error, LW_USAGE, "a tone can't be fitted to %zu readings", n);
    }
    struct normal sums = normal_equations(cosine, sine, value, n);
    double determinant = sums.cc * sums.ss - sums.cs * sums.cs;
    if (!(determinant > 1e-9 * (double)n * (double)n)) {
        return lw_fail(error, LW_GARBLED,
                       "at these times a tone of %g Hz looks like a constant or another phase",
                       frequency_hz);
    }
    double a = (sums.cv * sums.ss - sums.sv * sums.cs) / determinant;
    double b = (sums.sv * sums.cc - sums.cv * sums.cs) / determinant;
    double left = fmax(0, sums.vv - a * sums.cv - b * sums.sv);
    double variance = left / (double)(n - 3);
    tone->amplitude = hypot(a, b);
    tone->amplitude_u = amplitude_uncertainty(&sums, determinant, variance, a, b);
    tone->phase_rad = atan2(-b, a);
    tone->frequency_u_hz = sqrt(6 * variance / (double)n) / (M_PI * duration_s * tone->amplitude);
    return LW_OK;
}

enum lw_status lw_tone_fit(const double *time_s, const double *value, size_t n, double frequency_hz,
                           struct lw_tone *tone, struct lw_error *error)
{
    *tone = (struct lw_tone){frequency_hz, NAN, NAN, NAN, NAN, NAN};
    double *cosine = malloc(2 * n * sizeof *cosine);
    if (n > 0 && !cosine) {
        return lw_fail(error, LW_MEMORY, "no memory for %zu readings", n);
    }
    double *sine = cosine + n;
    double duration_s = n > 0 ? time_s[n - 1] - time_s[0] : 0;
    lw_tone_waves(time_s, n, frequency_hz, cosine, sine);
    enum lw_status status = lw_tone_fit_waves(cosine, sine, value, n, duration_s, tone, error);
    free(cosine);
    return status;
}

void lw_tone_waves(const double *time_s, size_t n, double frequency_hz, double *cosine,
                   double *sine)
{
    for (size_t i = 0; i < n; i++) {
        double phase = 2 * M_PI * frequency_hz * time_s[i];
        cosine[i] = cos(phase);
        sine[i] = sin(phase);
    }
}
