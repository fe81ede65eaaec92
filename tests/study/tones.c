// SPDX-License-Identifier: GPL-3.0-or-later
//
// How often noise alone is called a tone, how small a hum is still found, and whether 50 Hz is told
// from 49.5 Hz and from what both fold onto. Usage: tones [SERIES], 10000 by default for hum; the
// search for all tones, which is slower, gets a tenth of that, the power of the search a
// twentieth.
#include "stats/tones.h"
#include "stats/mains.h"
#include "stats/random.h"
#include "stats/setup.h"

enum { MOST = 4000, OCTAVES = 10, MOST_SERIES = 2000 };

static double time_s[MOST], value[MOST];

// How a node is read: polls a second, the dither of their times in intervals, a jitter of the times
// that nobody sees, and the node's own averaging.
struct reading {
    double rate_hz, dither, jitter_s, averaging_s;
    size_t n;
};

static struct lw_random key(uint32_t series, uint32_t purpose)
{
    return (struct lw_random){1, series, purpose};
}

static void make_times(uint32_t series, const struct reading *reading)
{
    for (size_t i = 0; i < reading->n; i++) {
        double off = reading->dither * lw_random_uniform(key(series, 1), i);
        time_s[i] = ((double)i + off) / reading->rate_hz;
    }
}

static void make_noise(uint32_t series, size_t n, double rho, bool pink)
{
    double level[OCTAVES + 1] = {0};
    for (size_t i = 0; i < n; i++) {
        value[i] = 0;
        for (uint32_t octave = 0; octave <= (pink ? OCTAVES : 0); octave++) {
            double keep = pink ? exp(-1.0 / (double)(1 << octave)) : rho;
            double fresh = lw_random_normal(key(series, 10 + octave), i);
            level[octave] = i == 0 ? fresh : keep * level[octave] + sqrt(1 - keep * keep) * fresh;
            value[i] += level[octave];
        }
    }
}

// A tone as the node shows it: averaged over its own time, read at a moment that is not quite the
// one that is noted.
static void add_tone(uint32_t series, const struct reading *reading, double frequency_hz,
                     double amplitude)
{
    double phase = 2 * M_PI * lw_random_uniform(key(series, 2), 0);
    double left = amplitude * lw_tone_share_left(frequency_hz, reading->averaging_s, 0);
    for (size_t i = 0; i < reading->n; i++) {
        double at_s = time_s[i] + reading->jitter_s * lw_random_normal(key(series, 3), i);
        value[i] += left * cos(2 * M_PI * frequency_hz * at_s + phase);
    }
}

static void false_alarms(uint32_t series)
{
    static const struct {
        const char *name;
        double rho;
        bool pink;
    } kinds[] = {{"white", 0, false},
                 {"AR(1) 0.6", 0.6, false},
                 {"AR(1) 0.9", 0.9, false},
                 {"1/f", 0, true}};
    struct reading reading = {10, 0.5, 0, 0, 600};
    printf("\nFalse alarms at a level of 1 %%, 600 readings in 60 s: hum in %u series, tones in "
           "%u, in %%\n\n",
           series, series / 10);
    printf("| noise     | dither | hum   | tones |\n| --------- | ------ | ----- | ----- |\n");
    for (size_t k = 0; k < 2 * sizeof kinds / sizeof *kinds; k++) {
        uint32_t hum = 0, tones = 0;
        reading.dither = k % 2 ? 1 : 0.5;
        for (uint32_t i = 0; i < series; i++) {
            struct lw_mains mains;
            struct lw_tones found;
            make_times(i, &reading);
            make_noise(i, reading.n, kinds[k / 2].rho, kinds[k / 2].pink);
            lw_mains_find(time_s, value, reading.n, &mains, NULL);
            hum += mains.tone.false_alarm < 0.01;
            if (i % 10 == 0) {
                lw_tones_find(time_s, value, reading.n, 70, 1, 0.01, &found, NULL);
                tones += found.count > 0;
            }
        }
        printf("| %-9s | %6.1f | %5.2f | %5.2f |\n", kinds[k / 2].name, reading.dither,
               100.0 * hum / series, 1000.0 * tones / series);
        fflush(stdout);
    }
}

static bool hum_found(uint32_t series, const struct reading *reading, double amplitude)
{
    struct lw_mains mains;
    make_times(series, reading);
    make_noise(series, reading->n, 0, false);
    add_tone(series, reading, 50, amplitude);
    lw_mains_find(time_s, value, reading->n, &mains, NULL);
    return mains.tone.false_alarm < 0.01 && fabs(mains.tone.frequency_hz - 50) < 0.05;
}

// The amplitude from which on the hum is found in this series, within 1 %; INFINITY above
// `highest`.
static double found_from(uint32_t series, const struct reading *reading, double highest)
{
    double low = highest / 4096, high = highest;
    if (!hum_found(series, reading, highest)) {
        return INFINITY;
    }
    while (high > 1.01 * low) {
        double middle = sqrt(low * high);
        *(hum_found(series, reading, middle) ? &high : &low) = middle;
    }
    return high;
}

static int ascending(const void *a, const void *b)
{
    double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

// The amplitudes of all series in order: the nine-in-ten one, and those between which it lies with
// 95 %, whatever their distribution: the ranks 1.96 binomial standard deviations below and above.
static void found_nine_in_ten(const struct reading *reading, uint32_t series, double amplitude[3])
{
    double from[MOST_SERIES];
    for (uint32_t i = 0; i < series; i++) {
        from[i] = found_from(i, reading, 16);
    }
    qsort(from, series, sizeof *from, ascending);
    double rank = 0.9 * series, reach = 1.96 * sqrt(0.09 * series);
    amplitude[0] = from[(size_t)ceil(rank) - 1];
    amplitude[1] = from[(size_t)floor(rank - reach) - 1];
    amplitude[2] = from[(size_t)fmin(ceil(rank + reach) + 1, series) - 1];
}

static void print_amplitude(const double amplitude[3])
{
    if (isfinite(amplitude[2])) {
        printf(" %.3f (%.3f to %.3f) |", amplitude[0], amplitude[1], amplitude[2]);
    } else {
        printf(" - |");
    }
}

static void power_of_search(uint32_t series)
{
    static const double rates_hz[] = {2, 10, 50}, jitters_s[] = {0.1e-3, 1e-3, 16e-3},
                        averagings_s[] = {0, 8e-3, 20e-3};
    series = series < MOST_SERIES ? series : MOST_SERIES;
    printf(
        "\nAmplitude of a 50 Hz hum, in standard deviations of white noise, that is found in "
        "nine of ten series, with its 95 %% interval\n(level 1 %%, 60 s, dither of one interval, "
        "%u series a point; - where none up to 16)\n\n",
        series);
    printf("| polls a s | jitter ms | averaging 0 ms | 8 ms | 20 ms |\n"
           "| --- | --- | --- | --- | --- |\n");
    for (int r = 0; r < 3; r++) {
        for (int j = 0; j < 3; j++) {
            printf("| %g | %g |", rates_hz[r], 1e3 * jitters_s[j]);
            for (int a = 0; a < 3; a++) {
                struct reading reading = {rates_hz[r], 1, jitters_s[j], averagings_s[a],
                                          (size_t)(60 * rates_hz[r])};
                double amplitude[3];
                found_nine_in_ten(&reading, series, amplitude);
                print_amplitude(amplitude);
            }
            printf("\n");
            fflush(stdout);
        }
    }
}

// Whether the strongest tone found is the one that is there, and said not to be apparent.
static void told_apart(uint32_t series)
{
    static const double frequencies_hz[] = {50, 49.5, 0.5, 10.5};
    printf("\nA tone of amplitude 1 in white noise of 1, 600 readings in 60 s: named right, said "
           "to be "
           "apparent, named wrong, in %% of %u\n\n",
           series);
    printf("| tone Hz | dither | right | apparent | wrong |\n| ------- | ------ | ----- | -------- "
           "| ----- |\n");
    for (int d = 0; d < 3; d++) {
        for (int f = 0; f < 4; f++) {
            struct reading reading = {10, 0.5 * d, 0, 0, 600};
            uint32_t right = 0, apparent = 0, wrong = 0;
            for (uint32_t i = 0; i < series; i++) {
                struct lw_tones found;
                make_times(i, &reading);
                make_noise(i, reading.n, 0, false);
                add_tone(i, &reading, frequencies_hz[f], 1);
                lw_tones_find(time_s, value, reading.n, 70, 1, 0.01, &found, NULL);
                bool there =
                    found.count > 0 && fabs(found.tone[0].frequency_hz - frequencies_hz[f]) < 0.05;
                apparent += found.apparent;
                right += !found.apparent && there;
                wrong += !found.apparent && found.count > 0 && !there;
            }
            printf("| %7g | %6.1f | %5.1f | %8.1f | %5.1f |\n", frequencies_hz[f], reading.dither,
                   100.0 * right / series, 100.0 * apparent / series, 100.0 * wrong / series);
            fflush(stdout);
        }
    }
}

int main(int argc, char **argv)
{
    lw_stats_setup();
    uint32_t series = argc > 1 ? (uint32_t)strtoul(argv[1], NULL, 10) : 10000;
    power_of_search(series / 20);
    false_alarms(series);
    told_apart(series / 50 + 1);
    return 0;
}
