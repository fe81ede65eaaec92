// SPDX-License-Identifier: GPL-3.0-or-later
//
// What lies behind a node's noise, in figures: its readings over time, how they are spread against
// the limit, their spectrum with the tones that were named; and what several nodes share, along the
// chain.
#include "base/unit.h"
#include "report/build.h"
#include "report/words.h"
#include "stats/spectrum.h"

enum { BINS = 24, BARS_MOST = 240, BAND_MOST = 20000 };

static const char *name_of(const struct lw_noise_node *node)
{
    return node->node == NULL ? "-" : node->node;
}

static const char *unit_of(const char *unit)
{
    return unit == NULL ? "1" : unit;
}

static void trace_chart(struct lw_document *document, const struct lw_noise_node *node)
{
    char title[200], words[300];
    const char *cause = node->cause == NULL ? "-" : _(node->cause);
    lw_print(title, sizeof title, _("Readings of %s at rest: %s"), name_of(node), cause);
    lw_print(words, sizeof words, _("Readings of %s over time, %zu points. Cause named: %s."),
             name_of(node), node->trace_value.count, cause);
    struct lw_chart *chart = lw_chart_new(title, words);
    lw_chart_axes(chart, _("time"), "s", _("reading"), unit_of(node->unit));
    lw_chart_series(chart, _("reading"), LW_INK_MEASURED, LW_SHAPE_LINE);
    const double *time_s = node->trace_time_s.items, *value = node->trace_value.items;
    for (size_t i = 0; i < node->trace_value.count && i < node->trace_time_s.count; i++) {
        lw_chart_point(chart, time_s[i], value[i]);
    }
    lw_document_figure(document, chart);
}

struct bins {
    double low, width, count[BINS];
    double outside; // share further than three limits from the mean
};

// Bins from three limits below the mean to three above, or as far as the readings go when there is
// no limit.
static bool sort_into(const struct lw_noise_node *node, struct bins *bins)
{
    const double *value = node->trace_value.items;
    double reach = 3 * node->limit;
    for (size_t i = 0; !(node->limit > 0) && i < node->trace_value.count; i++) {
        reach = fmax(reach, fabs(value[i] - node->mean));
    }
    *bins = (struct bins){.low = node->mean - reach, .width = 2 * reach / BINS};
    for (size_t i = 0; reach > 0 && i < node->trace_value.count; i++) {
        double at = (value[i] - bins->low) / bins->width;
        bool inside = at >= 0 && at < BINS;
        *(inside ? &bins->count[(int)at] : &bins->outside) += 1;
    }
    bins->outside /= (double)node->trace_value.count;
    return reach > 0;
}

static void histogram(struct lw_document *document, const struct lw_noise_node *node)
{
    char title[200], words[400];
    struct bins bins;
    double most = 0;
    if (node->trace_value.count < BINS || !sort_into(node, &bins)) {
        return;
    }
    for (size_t i = 0; i < BINS; i++) {
        most = fmax(most, bins.count[i]);
    }
    const char *unit = lw_unit_shown(unit_of(node->unit), true);
    lw_print(title, sizeof title, _("Readings of %s about their mean, with the limit"),
             name_of(node));
    lw_print(words, sizeof words,
             _("How many readings of %s lie how far from their mean. The limit of one standard "
               "deviation is %.6g %s; %.0f %% of the readings are further off than three times "
               "that."),
             name_of(node), node->limit, unit, 100 * bins.outside);
    struct lw_chart *chart = lw_chart_new(title, words);
    lw_chart_axes(chart, _("reading less its mean"), unit_of(node->unit), _("readings"), NULL);
    lw_chart_series(chart, _("readings"), LW_INK_MEASURED, LW_SHAPE_BARS);
    for (size_t i = 0; i < BINS; i++) {
        lw_chart_point(chart, bins.low - node->mean + ((double)i + 0.5) * bins.width,
                       bins.count[i]);
    }
    if (node->limit > 0) {
        lw_chart_series(chart, _("one limit from the mean"), LW_INK_LIMIT, LW_SHAPE_LINE);
        lw_chart_point(chart, -node->limit, 0);
        lw_chart_point(chart, -node->limit, most);
        lw_chart_point(chart, 0, NAN);
        lw_chart_point(chart, node->limit, most);
        lw_chart_point(chart, node->limit, 0);
    }
    lw_document_figure(document, chart);
}

// Powers of the band, each bar the largest of those it stands for.
static void draw_powers(struct lw_chart *chart, const double *power, size_t count, double low_hz,
                        double step_hz)
{
    size_t per_bar = (count + BARS_MOST - 1) / BARS_MOST;
    for (size_t i = 0; i < count; i += per_bar) {
        size_t largest = i;
        for (size_t k = i; k < i + per_bar && k < count; k++) {
            largest = power[k] > power[largest] ? k : largest;
        }
        lw_chart_point(chart, low_hz + step_hz * (double)largest, power[largest]);
    }
}

static double highest_hz(const struct lw_noise_node *node)
{
    const struct lw_noise_tone *tones = node->tones.items;
    double highest = 65;
    for (size_t i = 0; i < node->tones.count; i++) {
        highest = fmax(highest, 1.1 * tones[i].frequency_hz);
    }
    return highest;
}

static void mark_tones(struct lw_chart *chart, const struct lw_noise_node *node,
                       const double *power, size_t count, double low_hz, double step_hz)
{
    const struct lw_noise_tone *tones = node->tones.items;
    for (size_t i = 0; i < node->tones.count; i++) {
        size_t at = (size_t)fmax(0, nearbyint((tones[i].frequency_hz - low_hz) / step_hz));
        char label[80];
        lw_print(label, sizeof label, "%s %.2f Hz", tones[i].name == NULL ? "" : tones[i].name,
                 tones[i].frequency_hz);
        if (at < count) {
            lw_chart_mark(chart, label, tones[i].frequency_hz, power[at]);
        }
    }
}

static void spectrum(struct lw_document *document, const struct lw_noise_node *node)
{
    char title[200], words[400];
    size_t n = node->trace_value.count;
    double low_hz = 1 / node->duration_s, step_hz = low_hz / 4;
    double wanted = (highest_hz(node) - low_hz) / step_hz;
    if (node->tones.count == 0 || !(node->duration_s > 0) || n < BINS || !(wanted > 1) ||
        wanted > BAND_MOST) {
        return;
    }
    size_t count = (size_t)wanted;
    double *power = calloc(count, sizeof *power);
    if (power != NULL && lw_lomb_band(node->trace_time_s.items, node->trace_value.items, n, low_hz,
                                      step_hz, count, power, NULL) == LW_OK) {
        const struct lw_noise_tone *tones = node->tones.items;
        lw_print(title, sizeof title, _("Spectrum of the readings of %s"), name_of(node));
        lw_print(words, sizeof words,
                 _("Normalised power over frequency, white noise alone is about 1. Strongest tone "
                   "of %zu: %s, %.2f Hz."),
                 node->tones.count, tones[0].name == NULL ? "-" : tones[0].name,
                 tones[0].frequency_hz);
        struct lw_chart *chart = lw_chart_new(title, words);
        lw_chart_axes(chart, _("frequency"), "Hz", _("power over that of white noise"), NULL);
        lw_chart_series(chart, _("power"), LW_INK_MEASURED, LW_SHAPE_LINE);
        draw_powers(chart, power, count, low_hz, step_hz);
        mark_tones(chart, node, power, count, low_hz, step_hz);
        lw_document_figure(document, chart);
    }
    free(power);
}

void lw_report_noise_cause(struct lw_document *document, const struct lw_noise_node *node)
{
    trace_chart(document, node);
    histogram(document, node);
    spectrum(document, node);
}

static const char *pattern_words(const struct lw_noise_along *along, char *text, size_t size)
{
    if (along->pattern == LW_NOISE_COMMON) {
        lw_print(text, size, _("common to all"));
    } else if (along->nearest != NULL) {
        lw_print(text, size, _("the source is nearest to %s"), along->nearest);
    } else if (along->strongest != NULL) {
        lw_print(text, size, _("strongest at %s, %.1f times the next"), along->strongest,
                 along->times_next);
    } else {
        lw_print(text, size, _("no place proved"));
    }
    return text;
}

void lw_report_noise_along(struct lw_document *document, const struct lw_noise_along *along,
                           const char *unit)
{
    char title[200], words[400], what[60], pattern[160];
    const struct lw_noise_heard *nodes = along->nodes.items;
    pattern_words(along, pattern, sizeof pattern);
    if (isfinite(along->frequency_hz)) {
        lw_print(what, sizeof what, "%.2f Hz", along->frequency_hz);
    } else {
        lw_copy(what, sizeof what, along->what == NULL ? "-" : along->what);
    }
    lw_print(title, sizeof title, _("Along the chain, %s: %s"), along->kind, what);
    lw_print(words, sizeof words, _("Size of %s at each of %zu nodes of '%s': %s."), what,
             along->nodes.count, along->kind, pattern);
    struct lw_chart *chart = lw_chart_new(title, words);
    lw_chart_axes(chart, _("node, in the order of the chain"), NULL, _("size"), unit_of(unit));
    if (chart != NULL) {
        chart->y.low = 0;
    }
    lw_chart_series(chart, _("with its standard uncertainty"), LW_INK_MEASURED, LW_SHAPE_INTERVALS);
    for (size_t i = 0; i < along->nodes.count; i++) {
        lw_chart_name(chart, nodes[i].node);
        lw_chart_interval(chart, (double)i + 1, nodes[i].size,
                          fmax(0, nodes[i].size - nodes[i].size_u),
                          nodes[i].size + nodes[i].size_u);
    }
    lw_document_figure(document, chart);
}
