// SPDX-License-Identifier: GPL-3.0-or-later
//
// Tones in one node's readings. Mains is looked for where it may be, anything else over the whole
// band; both share the same 1 % of false alarms over all nodes. Then each gets a name, the size it
// had before the node's averaging, and, where the node renews its reading regularly, the other
// frequencies that would look the same.
#include "check/noise_inside.h"
#include "stats/mains.h"
#include "stats/tones.h"

enum { FEWEST_FOR_MAINS = 16, FEWEST_FOR_TONES = 64, MOST_ALIASES = 4, MOST_HARMONIC = 12 };

// A tone counts when noise alone would give it in less than 1 of 100 runs over all nodes together:
// half of that for each search.
static const double false_alarm = 0.01;
// EN 50160 allows an interconnected grid of 50 Hz 1 % for 99.5 % of a year; 60 Hz taken alike.
static const double grid_tolerance = 0.01;
static const double highest_hz = 500; // searched, where the node's own update sets no end
static const double most_frequencies = 2e5;
// Less than this share of a tone's amplitude says nothing about the rest of it.
static const double least_left = 0.1;

struct filter {
    double averaging_s, update_s, timing_u_s; // 0: none, or not known
};

static double or_zero(double value)
{
    return isfinite(value) ? value : 0;
}

static struct filter filter_of(const struct lw_noise_case *one)
{
    return (struct filter){
        .averaging_s =
            one->profile != NULL ? or_zero(one->profile->metrology.averaging_ms / 1e3) : 0,
        .update_s = or_zero(one->update_s),
        .timing_u_s = one->facts != NULL ? or_zero(one->facts->timing_u_s) : 0,
    };
}

// What averaging, holding the value until the next update, and times known only to a standard
// uncertainty leave of an amplitude.
static double left_of(const struct filter *filter, double frequency_hz, double timing_u_s)
{
    return fabs(lw_tone_share_left(frequency_hz, filter->averaging_s, timing_u_s) *
                lw_tone_share_left(frequency_hz, filter->update_s, 0));
}

// The amplitude before all that: 95 % of the fit's uncertainty, and times that are known from
// exactly to twice as badly as said.
static void undo_filter(const struct filter *filter, struct lw_noise_tone *tone)
{
    double most = left_of(filter, tone->frequency_hz, 0);
    double least = left_of(filter, tone->frequency_hz, 2 * filter->timing_u_s);
    tone->left = left_of(filter, tone->frequency_hz, filter->timing_u_s);
    if (least > least_left) {
        tone->amplitude_low = fmax(0, tone->amplitude - 1.96 * tone->amplitude_u) / most;
        tone->amplitude_high = (tone->amplitude + 1.96 * tone->amplitude_u) / least;
    }
}

static enum lw_status add_alias(const struct lw_noise_judging *judging, const struct filter *filter,
                                double frequency_hz, struct lw_noise_tone *tone)
{
    if (fabs(lw_tone_share_left(frequency_hz, filter->averaging_s, 0)) < least_left) {
        return LW_OK; // averaging would have removed that one
    }
    double *at = lw_list_add(&tone->may_be, sizeof *at);
    if (at == NULL) {
        return lw_fail(judging->error, LW_MEMORY, "no memory for a frequency");
    }
    *at = frequency_hz;
    return LW_OK;
}

// Values renewed every 1/F look alike for f and all |k F +- f|: the node has made these aliases
// before anybody could ask it. The same holds for times that repeat.
static enum lw_status list_aliases(const struct lw_noise_judging *judging,
                                   const struct filter *filter, double repeat_hz,
                                   struct lw_noise_tone *tone)
{
    for (int k = 1; repeat_hz > 0 && tone->may_be.count < MOST_ALIASES && k <= 100; k++) {
        const double sides[2] = {fabs(k * repeat_hz - tone->frequency_hz),
                                 k * repeat_hz + tone->frequency_hz};
        for (int side = 0; side < 2; side++) {
            bool other = fabs(sides[side] - tone->frequency_hz) > 0.01 * tone->frequency_hz;
            enum lw_status status = other ? add_alias(judging, filter, sides[side], tone) : LW_OK;
            if (status != LW_OK) {
                return status;
            }
        }
    }
    return LW_OK;
}

static enum lw_status add_tone(const struct lw_noise_judging *judging, const struct filter *filter,
                               const struct lw_tone *found, double repeat_hz,
                               struct lw_noise_node *node)
{
    struct lw_noise_tone *tone = lw_list_add(&node->tones, sizeof *tone);
    if (tone == NULL) {
        return lw_fail(judging->error, LW_MEMORY, "no memory for a tone");
    }
    *tone = (struct lw_noise_tone){.frequency_hz = found->frequency_hz,
                                   .frequency_u_hz = found->frequency_u_hz,
                                   .amplitude = found->amplitude,
                                   .amplitude_u = found->amplitude_u,
                                   .false_alarm = found->false_alarm,
                                   .amplitude_low = NAN,
                                   .amplitude_high = NAN};
    undo_filter(filter, tone);
    return list_aliases(judging, filter, repeat_hz, tone);
}

// Of the two mains the one that is left more poorly, and whether the times can tell it at all.
static enum lw_status find_mains(const struct lw_noise_judging *judging,
                                 const struct lw_noise_case *one, const struct filter *filter,
                                 struct lw_noise_node *node)
{
    struct lw_mains mains;
    double left_50 = left_of(filter, 50, filter->timing_u_s);
    double left_60 = left_of(filter, 60, filter->timing_u_s);
    node->mains_left = fmin(left_50, left_60);
    if (one->n < FEWEST_FOR_MAINS) {
        return LW_OK;
    }
    enum lw_status status = lw_mains_find(judging->time_s, judging->value, one->n, &mains, NULL);
    if (status != LW_OK) {
        return status == LW_USAGE ? LW_OK : lw_fail(judging->error, status, "mains not searched");
    }
    node->mains_hidden = !mains.visible;
    if (!(mains.tone.false_alarm < false_alarm / 2 / judging->together)) {
        return LW_OK;
    }
    return add_tone(judging, filter, &mains.tone, 0, node);
}

static bool near(double a, double b, double tolerance)
{
    return fabs(a - b) <= tolerance;
}

// The same tone again, or one that the node's own updates have made of a stronger one.
static bool is_image(const struct lw_noise_node *node, const struct filter *filter,
                     const struct lw_tone *found)
{
    const struct lw_noise_tone *tones = node->tones.items;
    double tolerance = 3 / node->duration_s;
    for (size_t i = 0; i < node->tones.count; i++) {
        double f = tones[i].frequency_hz;
        bool weaker = found->amplitude < tones[i].amplitude;
        if (near(found->frequency_hz, f, tolerance)) {
            return true;
        }
        for (int k = 1; filter->update_s > 0 && weaker && k < 20; k++) {
            if (near(found->frequency_hz, fabs(k / filter->update_s - f), tolerance) ||
                near(found->frequency_hz, k / filter->update_s + f, tolerance)) {
                return true;
            }
        }
    }
    return false;
}

static enum lw_status find_others(const struct lw_noise_judging *judging,
                                  const struct lw_noise_case *one, const struct filter *filter,
                                  struct lw_noise_node *node)
{
    struct lw_tones tones;
    double nyquist_hz = filter->update_s > 0 ? fmax(65, 0.5 / filter->update_s) : highest_hz;
    double high_hz = fmin(fmin(nyquist_hz, highest_hz), most_frequencies / 4 / node->duration_s);
    if (one->n < FEWEST_FOR_TONES || !(high_hz > 40 / node->duration_s)) {
        return LW_OK;
    }
    enum lw_status status = lw_tones_find(judging->time_s, judging->value, one->n, high_hz,
                                          judging->together, false_alarm / 2, &tones, NULL);
    if (status != LW_OK) {
        return status == LW_USAGE ? LW_OK : lw_fail(judging->error, status, "tones not searched");
    }
    for (size_t i = 0; i < tones.count && status == LW_OK; i++) {
        double repeat_hz = tones.apparent         ? tones.repeat.repeat_hz
                           : filter->update_s > 0 ? 1 / filter->update_s
                                                  : 0;
        if (!is_image(node, filter, &tones.tone[i])) {
            status = add_tone(judging, filter, &tones.tone[i], repeat_hz, node);
        }
    }
    return status;
}

// Which multiple of a grid's frequency this is, 0: none.
static int grid_multiple(double frequency_hz, double grid_hz)
{
    double k = nearbyint(frequency_hz / grid_hz);
    bool fits =
        k >= 1 && k <= MOST_HARMONIC && fabs(frequency_hz / (k * grid_hz) - 1) <= grid_tolerance;
    return fits ? (int)k : 0;
}

static int mains_multiple(double frequency_hz)
{
    int of_50 = grid_multiple(frequency_hz, 50), of_60 = grid_multiple(frequency_hz, 60);
    return of_50 > 0 ? of_50 : of_60;
}

// Two or more tones side by side are one that swells and fades: something that rings.
static bool has_neighbour(const struct lw_noise_node *node, size_t index)
{
    const struct lw_noise_tone *tones = node->tones.items;
    for (size_t i = 0; i < node->tones.count; i++) {
        double apart = fabs(tones[i].frequency_hz - tones[index].frequency_hz);
        if (i != index && apart < 0.05 * tones[index].frequency_hz) {
            return true;
        }
    }
    return false;
}

// A whole multiple of a stronger one that is not mains: what a drive does at its own frequency
// comes with such.
static bool is_family(const struct lw_noise_node *node, size_t index)
{
    const struct lw_noise_tone *tones = node->tones.items;
    double f = tones[index].frequency_hz;
    for (size_t i = 0; i < index; i++) {
        double k = nearbyint(f / tones[i].frequency_hz);
        if (k >= 2 && near(f, k * tones[i].frequency_hz, 2 / node->duration_s)) {
            return true;
        }
    }
    return false;
}

static void name_tones(struct lw_noise_node *node)
{
    struct lw_noise_tone *tones = node->tones.items;
    for (size_t i = 0; i < node->tones.count; i++) {
        char name[24];
        int multiple = mains_multiple(tones[i].frequency_hz);
        lw_print(name, sizeof name, multiple > 1 ? "mains x%d" : "mains", multiple);
        tones[i].name = lw_duplicate(multiple > 0             ? name
                                     : has_neighbour(node, i) ? "vibration"
                                     : is_family(node, i)     ? "family"
                                                              : "tone");
    }
}

static int by_size(const void *a, const void *b)
{
    const struct lw_noise_tone *left = a, *right = b;
    return (left->amplitude < right->amplitude) - (left->amplitude > right->amplitude);
}

enum lw_status lw_noise_tones(const struct lw_noise_judging *judging,
                              const struct lw_noise_case *one, struct lw_noise_node *node)
{
    struct filter filter = filter_of(one);
    enum lw_status status = LW_OK;
    if (!(node->stdev > 0) || !(node->duration_s > 0)) {
        return LW_OK;
    }
    // A change of level that stays, and a flutter between two counts, are no sum of tones.
    if (node->jumps == LW_NOISE_STEADY) {
        status = find_mains(judging, one, &filter, node);
        status = status == LW_OK ? find_others(judging, one, &filter, node) : status;
    }
    if (node->tones.count > 1) {
        qsort(node->tones.items, node->tones.count, sizeof(struct lw_noise_tone), by_size);
    }
    name_tones(node);
    return status;
}
