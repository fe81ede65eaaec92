// SPDX-License-Identifier: GPL-3.0-or-later
//
// What a sensor measures and how it disturbs itself. A node reports the mean over its averaging
// time, renewed at its update interval; so white noise is drawn per update slot and averaged, and a
// sine loses what a boxcar takes from it, sin(x)/x with x = pi f T.
#include "chain/inside.h"

#include <assert.h>

enum { SLOTS_MAX = 16 };

static const double default_update_ms = 1.0;
static const double first_octave_s = 0.01;  // 2^16 times this, 655 s, is the slowest process
static const double unplugged_share = 1.05; // of the range: an open input drifts to its rail
static const double octaves_per_decade = 3.321928094887362; // log2(10)
static const double pi = 3.14159265358979323846;

static double given(double value, double otherwise)
{
    return isnan(value) ? otherwise : value;
}

static void range_of(const struct lw_profile *profile, double *low, double *high)
{
    const struct lw_list *range = &profile->metrology.range;
    *low = 0;
    *high = 1;
    if (range->count == 2) {
        *low = ((const double *)range->items)[0];
        *high = ((const double *)range->items)[1];
    }
}

static struct lw_random stream(const struct lw_sensor *sensor, enum lw_purpose purpose)
{
    return (struct lw_random){sensor->seed, sensor->key, (uint32_t)purpose};
}

static void set_noise(struct lw_sensor *sensor, const struct lw_virtual_noise *noise)
{
    double repeatability = given(sensor->profile->metrology.repeatability_1s, 0);
    struct lw_virtual_noise none = {NAN, NAN, NAN, NAN, NAN};
    const struct lw_virtual_noise *use = noise ? noise : &none;
    sensor->white = given(use->white, repeatability);
    sensor->flicker = given(use->flicker, 0);
    sensor->mains_hz = given(use->mains_hz, 50);
    sensor->mains = given(use->mains, 0);
    sensor->drift_per_min = given(use->drift_per_min, 0);
}

void lw_sensor_init(struct lw_sensor *sensor, const struct lw_profile *profile,
                    const struct lw_virtual_noise *noise, uint64_t seed, uint32_t key)
{
    *sensor = (struct lw_sensor){.profile = profile, .seed = seed, .key = key, .octave_ns = -1};
    double low, high;
    range_of(profile, &low, &high);
    double place = 0.45 + 0.1 * lw_random_uniform(stream(sensor, LW_FOR_REST), 0);
    sensor->rest = low + place * (high - low);
    double update_ms = given(profile->metrology.update_ms, default_update_ms);
    double averaging_ms = given(profile->metrology.averaging_ms, update_ms);
    sensor->update_ns = (int64_t)(fmax(update_ms, 0.01) * 1e6);
    sensor->averaging_ns = (int64_t)(fmax(averaging_ms, 0) * 1e6);
    double phase = lw_random_uniform(stream(sensor, LW_FOR_PHASE), 0);
    sensor->phase_ns = (int64_t)(phase * (double)sensor->update_ns);
    set_noise(sensor, noise);
}

// The mean of the update slots that the averaging time covers: neighbours share slots, as the real
// ones do.
static double white_noise(const struct lw_sensor *sensor, int64_t update)
{
    int64_t slots = sensor->averaging_ns / sensor->update_ns;
    int64_t newest = update;
    if (slots > SLOTS_MAX) {
        newest = update * sensor->update_ns / (sensor->averaging_ns / SLOTS_MAX);
        slots = SLOTS_MAX;
    }
    slots = slots < 1 ? 1 : slots;
    double sum = 0;
    for (int64_t i = 0; i < slots; i++) {
        sum += lw_random_normal(stream(sensor, LW_FOR_WHITE), (uint64_t)(newest - i));
    }
    return sensor->white * sum / sqrt((double)slots);
}

// Sum of Ornstein-Uhlenbeck processes with time constants an octave apart, each stepped over the
// elapsed time exactly (Uhlenbeck and Ornstein 1930); together close to 1/f between their corners.
static double flicker_noise(struct lw_sensor *sensor, int64_t now_ns)
{
    if (!(sensor->flicker > 0)) {
        return 0;
    }
    bool fresh = sensor->octave_ns < 0;
    bool same = now_ns == sensor->octave_ns;
    double elapsed_s = fresh ? INFINITY : 1e-9 * (double)(now_ns - sensor->octave_ns);
    uint64_t k = sensor->octave_steps * LW_OCTAVES;
    sensor->octave_steps += !same;
    double sum = 0, tau_s = first_octave_s;
    for (unsigned i = 0; i < LW_OCTAVES; i++, tau_s *= 2) {
        double keep = exp(-elapsed_s / tau_s);
        double normal = lw_random_normal(stream(sensor, LW_FOR_FLICKER), k + i);
        sensor->octave[i] = keep * sensor->octave[i] + sqrt(1 - keep * keep) * normal;
        sum += sensor->octave[i];
    }
    sensor->octave_ns = now_ns;
    return sensor->flicker * sum / sqrt(octaves_per_decade);
}

static double boxcar(double hz, double window_s)
{
    double x = pi * hz * window_s;
    return fabs(x) < 1e-9 ? 1 : sin(x) / x;
}

// The mains of the hall (one phase for all, its sign by how a sensor lies) and a magnet's or
// drive's field, after averaging.
static double sines(const struct lw_sensor *sensor, double at_s)
{
    double window_s = 1e-9 * (double)sensor->averaging_ns;
    struct lw_random hall = {sensor->seed, 0, LW_FOR_MAINS};
    double turns = sensor->mains_hz * (at_s - window_s / 2);
    double phase = 2 * pi * (turns - floor(turns) + lw_random_uniform(hall, 0));
    double sign = lw_random_uniform(stream(sensor, LW_FOR_MAINS), 1) < 0.5 ? -1 : 1;
    double peak = sensor->mains * sign + sensor->field;
    return peak * boxcar(sensor->mains_hz, window_s) * sin(phase);
}

static double resolved(const struct lw_sensor *sensor, double value)
{
    double step = sensor->profile->metrology.resolution;
    return step > 0 ? step * nearbyint(value / step) : value;
}

// An open input: a loop that carries nothing, an encoder that does not count, else the upper rail.
static double open_input(const struct lw_sensor *sensor)
{
    double low, high;
    range_of(sensor->profile, &low, &high);
    if (sensor->profile->kind == LW_LOOP_4_20 || sensor->profile->kind == LW_ENCODER) {
        return 0;
    }
    return low + unplugged_share * (high - low);
}

struct lw_measured lw_sensor_measure(struct lw_sensor *sensor, double deflection, int64_t now_ns)
{
    int64_t at_ns = sensor->stuck && sensor->stuck_ns < now_ns ? sensor->stuck_ns : now_ns;
    int64_t update = (at_ns + sensor->update_ns - sensor->phase_ns) / sensor->update_ns;
    int64_t update_ns = (update - 1) * sensor->update_ns + sensor->phase_ns;
    double at_s = 1e-9 * (double)update_ns;
    struct lw_measured measured = {
        .updates = (uint64_t)((now_ns + sensor->update_ns - sensor->phase_ns) / sensor->update_ns)};
    if (sensor->unplugged) {
        measured.value = open_input(sensor);
    } else {
        double value = deflection + sensor->drift_per_min * at_s / 60 + sensor->steady;
        value += white_noise(sensor, update + SLOTS_MAX) + sines(sensor, at_s);
        value += sensor->stuck ? 0 : flicker_noise(sensor, now_ns);
        measured.value = resolved(sensor, value);
    }
    double low, high;
    range_of(sensor->profile, &low, &high);
    measured.over_range = measured.value < low || measured.value > high;
    return measured;
}
