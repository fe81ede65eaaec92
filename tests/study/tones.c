// SPDX-License-Identifier: GPL-3.0-or-later
//
// How often noise alone is called a tone, how small a hum is still found, and whether 50 Hz is told
// from 49.5 Hz and from what both fold onto. Usage: tones [SERIES], 10000 by default for hum; the
// search for all tones, which is slower, gets a tenth of that.
#include "stats/tones.h"
#include "stats/mains.h"
#include "stats/random.h"
#include "stats/setup.h"

enum { MOST = 4000, OCTAVES = 10 };

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

// Smallest amplitude that is found in nine of ten series, by halves; INFINITY above 100.
static double found_nine_in_ten(const struct reading *reading, uint32_t series)
{
    double low = 0, high = 0.125;
    bool enough = false;
    for (int step = 0; step < 20 && (!enough || high - low > 0.03 * high); step++) {
        double amplitude = enough ? (low + high) / 2 : 2 * high;
        uint32_t found = 0;
        for (uint32_t i = 0; i < series; i++) {
            found += hum_found(i, reading, amplitude);
        }
        bool often = 10 * found >= 9 * series;
        if (!enough) {
            enough = often;
            low = high;
            high = amplitude;
        } else if (often) {
            high = amplitude;
        } else {
            low = amplitude;
        }
        if (!enough && high > 100) {
            return INFINITY;
        }
    }
    return high;
}

static void print_amplitude(double amplitude, int width)
{
    if (isfinite(amplitude)) {
        printf(" %*.2f |", width, amplitude);
    } else {
        printf(" %*s |", width, "-");
    }
}

static void power_of_search(uint32_t series)
{
    static const double rates_hz[] = {2, 10, 50}, jitters_s[] = {0.1e-3, 1e-3, 16e-3},
                        averagings_s[] = {0, 8e-3, 20e-3};
    printf("\nAmplitude of a 50 Hz hum, in standard deviations of white noise, that is found in "
           "nine of ten "
           "series\n(level 1 %%, 60 s, dither of one interval, %u series a point; - where none up "
           "to 100)\n\n",
           series);
    printf("| polls a s | jitter ms | averaging 0 ms |  8 ms | 20 ms |\n"
           "| --------- | --------- | -------------- | ----- | ----- |\n");
    for (int r = 0; r < 3; r++) {
        for (int j = 0; j < 3; j++) {
            printf("| %9g | %9g |", rates_hz[r], 1e3 * jitters_s[j]);
            for (int a = 0; a < 3; a++) {
                struct reading reading = {rates_hz[r], 1, jitters_s[j], averagings_s[a],
                                          (size_t)(60 * rates_hz[r])};
                double amplitude = found_nine_in_ten(&reading, series);
                print_amplitude(amplitude, a ? 5 : 14);
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
    false_alarms(series);
    told_apart(series / 50 + 1);
    power_of_search(series / 50 + 1);
    return 0;
}
