// SPDX-License-Identifier: GPL-3.0-or-later
//
// Converting what stands in records for one report. The records stay as they are.
#include "report/units.h"

#include "base/number.h"
#include "base/unit.h"
#include "site/record.h"

#include <assert.h>
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const lengths[] = {"mm", "um", "µm", "inch"};

// The factor from a length's unit; false for what stays.
static bool factor_from(const char *from, const char *to, double *factor)
{
    for (size_t i = 0; from && i < sizeof lengths / sizeof *lengths; i++) {
        if (strcmp(from, lengths[i]) == 0 && strcmp(from, to) != 0) {
            return lw_unit_factor(strcmp(from, "µm") == 0 ? "um" : from, to, factor);
        }
    }
    return false;
}

// Digits that carry meaning: "0.0012" has two, "12.50" four.
static int digits_of(const char *number, size_t count)
{
    int digits = 0;
    bool begun = false;
    for (size_t i = 0; i < count && number[i] != 'e' && number[i] != 'E'; i++) {
        begun = begun || (number[i] >= '1' && number[i] <= '9');
        digits += begun && isdigit((unsigned char)number[i]);
    }
    return digits > 0 ? digits : 1;
}

static void put_number(struct lw_text *out, double value, int digits)
{
    int before = value == 0 ? 1 : (int)floor(log10(fabs(value))) + 1;
    lw_text_add(out, "%.*f", digits > before ? digits - before : 0, value);
}

// The unit behind a number, as a whole word; 0 when there is none. "z 40 mm" is a place, which
// stays.
static size_t unit_behind(const char *sentence, size_t number, size_t end, const char *to,
                          double *factor)
{
    bool place = number >= 2 && sentence[number - 1] == ' ' && sentence[number - 2] == 'z';
    for (size_t i = 0; !place && sentence[end] == ' ' && i < sizeof lengths / sizeof *lengths;
         i++) {
        size_t length = strlen(lengths[i]);
        unsigned char behind = (unsigned char)(strncmp(sentence + end + 1, lengths[i], length) == 0
                                                   ? sentence[end + 1 + length]
                                                   : 'x');
        if (!isalnum(behind) && behind < 0x80 && factor_from(lengths[i], to, factor)) {
            return 1 + length;
        }
    }
    return 0;
}

char *lw_units_sentence(const char *sentence, const char *unit)
{
    assert(sentence && unit);
    struct lw_text out = {0};
    lw_text_put(&out, "", 0);
    for (size_t at = 0; sentence[at] != '\0';) {
        bool starts = at == 0 || (!isalnum((unsigned char)sentence[at - 1]) &&
                                  sentence[at - 1] != '.' && sentence[at - 1] != '-');
        size_t count = starts ? lw_number_span(sentence + at, strlen(sentence + at)) : 0;
        double factor;
        size_t behind = count > 0 ? unit_behind(sentence, at, at + count, unit, &factor) : 0;
        if (behind > 0) {
            put_number(&out, lw_number_value(sentence + at, count) * factor,
                       digits_of(sentence + at, count));
            lw_text_add(&out, " %s", unit);
        }
        size_t taken = behind > 0 ? count + behind : 1;
        if (behind == 0) {
            lw_text_put(&out, sentence + at, 1);
        }
        at += taken;
    }
    if (out.failed) {
        lw_text_finish(&out);
        return NULL;
    }
    return out.bytes ? out.bytes : lw_duplicate("");
}

static bool change(char **sentence, const char *unit)
{
    char *changed = *sentence ? lw_units_sentence(*sentence, unit) : NULL;
    bool good = !*sentence || changed;
    if (changed) {
        free(*sentence);
        *sentence = changed;
    }
    return good;
}

static bool name_unit(char **name, const char *unit)
{
    char *copy = lw_duplicate(unit);
    if (copy) {
        free(*name);
        *name = copy;
    }
    return copy != NULL;
}

static bool change_finding(struct lw_finding *finding, const char *unit)
{
    double factor;
    bool good = change(&finding->says, unit);
    for (size_t i = 0; good && i < finding->because.count; i++) {
        good = change(&((char **)finding->because.items)[i], unit);
    }
    if (good && factor_from(finding->unit, unit, &factor)) {
        finding->value *= factor;
        finding->limit *= factor;
        finding->uncertainty *= factor;
        good = name_unit(&finding->unit, unit);
    }
    return good;
}

enum lw_status lw_units_findings(struct lw_list *records, const char *unit, struct lw_error *error)
{
    struct lw_record *items = records->items;
    for (size_t i = 0; i < records->count; i++) {
        struct lw_finding *findings = items[i].findings.list.items;
        bool written_by_people = strcmp(items[i].check, "note") == 0;
        for (size_t k = 0; !written_by_people && k < items[i].findings.list.count; k++) {
            if (!change_finding(&findings[k], unit)) {
                return lw_fail(error, LW_MEMORY, "out of memory");
            }
        }
    }
    return LW_OK;
}

static void scale_list(struct lw_list *list, double factor)
{
    double *values = list->items;
    for (size_t i = 0; i < list->count; i++) {
        values[i] *= factor;
    }
}

static void scale_node(struct lw_noise_node *node, double factor)
{
    double *const values[] = {
        &node->mean,          &node->stdev,      &node->stdev_low95,  &node->stdev_high95,
        &node->robust_stdev,  &node->limit,      &node->own_stdev,    &node->drift_per_s,
        &node->drift_u_per_s, &node->resolution, &node->peak_to_peak, &node->jump_step,
        &node->allan_stdev,   &node->shift,      &node->shift_u,
    };
    for (size_t i = 0; i < sizeof values / sizeof *values; i++) {
        *values[i] *= factor;
    }
    struct lw_noise_tone *tones = node->tones.items;
    for (size_t i = 0; i < node->tones.count; i++) {
        tones[i].amplitude *= factor;
        tones[i].amplitude_u *= factor;
        tones[i].amplitude_low *= factor;
        tones[i].amplitude_high *= factor;
    }
    scale_list(&node->trace_value, factor);
}

static void scale_along(struct lw_noise_result *result, const char *node, double factor)
{
    struct lw_noise_along *along = result->along.items;
    for (size_t i = 0; i < result->along.count; i++) {
        struct lw_noise_heard *heard = along[i].nodes.items;
        for (size_t k = 0; k < along[i].nodes.count; k++) {
            if (heard[k].node && node && strcmp(heard[k].node, node) == 0) {
                heard[k].size *= factor;
                heard[k].size_u *= factor;
            }
        }
    }
}

enum lw_status lw_units_noise(struct lw_noise_result *result, const char *unit,
                              struct lw_error *error)
{
    struct lw_noise_node *nodes = result->nodes.items;
    double factor;
    bool good = !factor_from(result->unit, unit, &factor) || name_unit(&result->unit, unit);
    for (size_t i = 0; good && i < result->nodes.count; i++) {
        if (factor_from(nodes[i].unit, unit, &factor)) {
            scale_node(&nodes[i], factor);
            scale_along(result, nodes[i].node, factor);
            good = name_unit(&nodes[i].unit, unit);
        }
        char **not_judged = nodes[i].not_judged.items;
        for (size_t k = 0; good && k < nodes[i].not_judged.count; k++) {
            good = change(&not_judged[k], unit);
        }
    }
    return good ? LW_OK : lw_fail(error, LW_MEMORY, "out of memory");
}
