// SPDX-License-Identifier: GPL-3.0-or-later
//
// Where a disturbance comes from. How a field falls off is not known beforehand: a magnet's falls
// with the cube of the distance once it is far, beside iron and in a cabinet it is another law. So
// every place is tried with two families of laws and many reaches, and a place is named only when
// all laws that fit agree on the node nearest to it.
#include "check/noise_inside.h"
#include "stats/quantile.h"

enum { FEWEST_PLACES = 4, REACHES = 14 };

// Sensors of one kind, and the law itself, differ by so much; an assumption.
static const double sensors_differ = 0.15;
// A tone or step is there when it is so many standard uncertainties high.
static const double present = 3.5;
// "Common": all but a few have it, none twice as much as the middle one.
static const double most_share = 0.8, most_times = 2;
static const double sure = 0.9;

struct places {
    size_t count;
    const struct lw_noise_heard **heard;
    double (*at_mm)[3];
    double *weight; // of a place of the source, by the node nearest to it
    double low_mm[3], high_mm[3];
    int points[3];
    double spacing_mm, extent_mm;
    double total, best_chi2, mean_mm[3];
};

static double law(bool exponential, double distance_mm, double reach_mm)
{
    double x = distance_mm / reach_mm;
    return exponential ? exp(-x) : pow(1 + x * x, -1.5);
}

static double distance(const double a[3], const double b[3])
{
    double sum = 0;
    for (int k = 0; k < 3; k++) {
        sum += (a[k] - b[k]) * (a[k] - b[k]);
    }
    return sqrt(sum);
}

// How badly a source there, with that law and the best strength, explains what was heard.
static double misfit(const struct places *places, const double source_mm[3], bool exponential,
                     double reach_mm)
{
    double sg = 0, gg = 0, ss = 0;
    for (size_t i = 0; i < places->count; i++) {
        const struct lw_noise_heard *heard = places->heard[i];
        double g = law(exponential, distance(source_mm, places->at_mm[i]), reach_mm);
        double u = hypot(1.4142 * heard->size_u, sensors_differ * heard->size);
        sg += heard->size * g / (u * u);
        gg += g * g / (u * u);
        ss += heard->size * heard->size / (u * u);
    }
    return gg > 0 ? ss - sg * sg / gg : ss;
}

static size_t nearest_to(const struct places *places, const double source_mm[3])
{
    size_t nearest = 0;
    for (size_t i = 1; i < places->count; i++) {
        if (distance(source_mm, places->at_mm[i]) < distance(source_mm, places->at_mm[nearest])) {
            nearest = i;
        }
    }
    return nearest;
}

static void try_place(struct places *places, const double source_mm[3])
{
    double weight = 0;
    for (int i = 0; i < 2 * REACHES; i++) {
        double share = (double)(i / 2) / (REACHES - 1);
        double reach_mm =
            places->spacing_mm / 6 * pow(18 * places->extent_mm / places->spacing_mm, share);
        double chi2 = misfit(places, source_mm, i % 2 == 1, reach_mm);
        places->best_chi2 = fmin(places->best_chi2, chi2);
        weight += exp(-chi2 / 2);
    }
    places->weight[nearest_to(places, source_mm)] += weight;
    places->total += weight;
    for (int k = 0; k < 3; k++) {
        places->mean_mm[k] += weight * source_mm[k];
    }
}

static double on_grid(const struct places *places, int axis, int index)
{
    int points = places->points[axis];
    double share = points > 1 ? (double)index / (points - 1) : 0.5;
    return places->low_mm[axis] + share * (places->high_mm[axis] - places->low_mm[axis]);
}

static void try_all(struct places *places)
{
    for (int x = 0; x < places->points[0]; x++) {
        for (int y = 0; y < places->points[1]; y++) {
            for (int z = 0; z < places->points[2]; z++) {
                const double source_mm[3] = {on_grid(places, 0, x), on_grid(places, 1, y),
                                             on_grid(places, 2, z)};
                try_place(places, source_mm);
            }
        }
    }
}

// The box of all places, half a spacing wider where it is wide at all, and a grid in it.
static void lay_grid(struct places *places)
{
    static const int points[4] = {1, 61, 25, 13};
    int axes = 0;
    places->spacing_mm = INFINITY;
    places->extent_mm = 0;
    for (size_t i = 0; i < places->count; i++) {
        for (size_t j = 0; j < i; j++) {
            double apart = distance(places->at_mm[i], places->at_mm[j]);
            places->spacing_mm = apart > 0 ? fmin(places->spacing_mm, apart) : places->spacing_mm;
            places->extent_mm = fmax(places->extent_mm, apart);
        }
    }
    for (int k = 0; k < 3; k++) {
        places->low_mm[k] = INFINITY;
        places->high_mm[k] = -INFINITY;
        for (size_t i = 0; i < places->count; i++) {
            places->low_mm[k] = fmin(places->low_mm[k], places->at_mm[i][k]);
            places->high_mm[k] = fmax(places->high_mm[k], places->at_mm[i][k]);
        }
        axes += places->high_mm[k] > places->low_mm[k];
    }
    for (int k = 0; k < 3; k++) {
        bool wide = places->high_mm[k] > places->low_mm[k];
        places->points[k] = wide ? points[axes] : 1;
        places->low_mm[k] -= wide ? places->spacing_mm / 2 : 0;
        places->high_mm[k] += wide ? places->spacing_mm / 2 : 0;
    }
}

static size_t gather_places(const struct lw_plan *plan, const struct lw_noise_along *along,
                            struct places *places)
{
    const struct lw_noise_heard *nodes = along->nodes.items;
    for (size_t i = 0; i < along->nodes.count; i++) {
        const struct lw_list *at = &lw_plan_tap(plan, (size_t)nodes[i].tap)->position_mm;
        if (at->count == 3 && nodes[i].size_u > 0) {
            memcpy(places->at_mm[places->count], at->items, sizeof *places->at_mm);
            places->heard[places->count++] = &nodes[i];
        }
    }
    return places->count;
}

static enum lw_status say_place(const struct places *places, struct lw_noise_along *along)
{
    size_t best = 0;
    for (size_t i = 1; i < places->count; i++) {
        best = places->weight[i] > places->weight[best] ? i : best;
    }
    double worst = (double)places->count + 3 * sqrt(2 * (double)places->count);
    if (!(places->total > 0) || places->best_chi2 > worst) {
        return LW_OK; // not one source, or no such law
    }
    along->confidence = places->weight[best] / places->total;
    if (along->confidence < sure) {
        return LW_OK;
    }
    along->nearest = lw_duplicate(places->heard[best]->node);
    for (int k = 0; k < 3; k++) {
        double *mm = lw_list_add(&along->place_mm, sizeof *mm);
        if (mm == NULL) {
            return LW_MEMORY;
        }
        *mm = places->mean_mm[k] / places->total;
    }
    return LW_OK;
}

static enum lw_status find_place(const struct lw_plan *plan, struct lw_noise_along *along)
{
    struct places places = {.best_chi2 = INFINITY};
    size_t room = along->nodes.count;
    places.heard = calloc(room, sizeof *places.heard);
    places.at_mm = calloc(room, sizeof *places.at_mm);
    places.weight = calloc(room, sizeof *places.weight);
    enum lw_status status = LW_MEMORY;
    if (places.heard != NULL && places.at_mm != NULL && places.weight != NULL) {
        status = LW_OK;
        if (gather_places(plan, along, &places) >= FEWEST_PLACES) {
            lay_grid(&places);
            if (places.extent_mm > 0) {
                try_all(&places);
                status = say_place(&places, along);
            }
        }
    }
    free(places.heard);
    free(places.at_mm);
    free(places.weight);
    return status;
}

static double middle_size(const struct lw_noise_along *along)
{
    const struct lw_noise_heard *nodes = along->nodes.items;
    double *sizes = calloc(along->nodes.count, sizeof *sizes), middle = NAN;
    for (size_t i = 0; sizes != NULL && i < along->nodes.count; i++) {
        sizes[i] = nodes[i].size;
    }
    if (sizes != NULL) {
        middle = lw_median(sizes, along->nodes.count);
    }
    free(sizes);
    return middle;
}

static bool is_common(const struct lw_noise_along *along, double largest)
{
    const struct lw_noise_heard *nodes = along->nodes.items;
    size_t have = 0;
    for (size_t i = 0; i < along->nodes.count; i++) {
        have += nodes[i].size > present * nodes[i].size_u;
    }
    return (double)have >= most_share * (double)along->nodes.count &&
           largest < most_times * middle_size(along);
}

enum lw_status lw_noise_locate(const struct lw_plan *plan, unsigned together,
                               struct lw_noise_along *along, struct lw_error *error)
{
    const struct lw_noise_heard *nodes = along->nodes.items, *most = NULL, *next = NULL;
    double z = 0;
    for (size_t i = 0; i < along->nodes.count; i++) {
        if (most == NULL || nodes[i].size > most->size) {
            next = most;
            most = &nodes[i];
        } else if (next == NULL || nodes[i].size > next->size) {
            next = &nodes[i];
        }
    }
    if (next == NULL || !(most->size > present * most->size_u)) {
        return LW_OK;
    }
    if (is_common(along, most->size)) {
        along->pattern = LW_NOISE_COMMON;
        return LW_OK;
    }
    enum lw_status status = lw_quantile_normal(LW_TAIL_ABOVE, 0.05 / together, &z, error);
    if (status == LW_OK && most->size - next->size > z * hypot(most->size_u, next->size_u)) {
        along->pattern = LW_NOISE_NEAR;
        along->strongest = lw_duplicate(most->node);
        along->times_next = most->size / fmax(next->size, next->size_u);
    }
    // Two nodes alike with the source between them leave no strongest, yet may name a place.
    status = status == LW_OK && plan != NULL ? find_place(plan, along) : status;
    if (along->nearest != NULL) {
        along->pattern = LW_NOISE_NEAR;
    }
    return status == LW_MEMORY ? lw_fail(error, status, "no memory for a place") : status;
}
