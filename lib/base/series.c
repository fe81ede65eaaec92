// SPDX-License-Identifier: GPL-3.0-or-later
//
// The columns of readings and the small hash that finds a node's name, so that a file with many
// nodes costs no more a row than one with few.
#include "base/series.h"

#include "base/text.h"

#include <assert.h>
#include <stdbool.h>

enum { MOST_NAMES = 65536, FIRST_ROOM = 256, FIRST_SLOTS = 64 };

// FNV-1a (public description by Fowler, Noll and Vo).
static uint32_t hash_of(const char *name)
{
    uint32_t hash = 2166136261U;
    for (; *name != '\0'; name++) {
        hash = (hash ^ (unsigned char)*name) * 16777619U;
    }
    return hash;
}

// The slot that holds the name, or the free one where it belongs.
static uint32_t *slot_of(const struct lw_series *series, const char *name)
{
    size_t at = hash_of(name) & (series->slot_count - 1);
    while (series->slots[at] != 0 && strcmp(series->names[series->slots[at] - 1].node, name) != 0) {
        at = (at + 1) & (series->slot_count - 1);
    }
    return &series->slots[at];
}

int lw_series_find(const struct lw_series *series, const char *node)
{
    return series->slot_count == 0 ? -1 : (int)*slot_of(series, node) - 1;
}

static bool grow_names(struct lw_series *series)
{
    if (series->name_count * 2 < series->slot_count) {
        return true;
    }
    size_t count = series->slot_count == 0 ? FIRST_SLOTS : series->slot_count * 2;
    uint32_t *slots = calloc(count, sizeof *slots);
    struct lw_series_name *names = realloc(series->names, count / 2 * sizeof *names);
    series->names = names == NULL ? series->names : names;
    if (slots == NULL || names == NULL) {
        free(slots);
        return false;
    }
    free(series->slots);
    series->slots = slots;
    series->slot_count = count;
    for (size_t i = 0; i < series->name_count; i++) {
        *slot_of(series, names[i].node) = (uint32_t)(i + 1);
    }
    return true;
}

static enum lw_status add_name(struct lw_series *series, const char *node, const char *unit,
                               struct lw_error *error)
{
    struct lw_series_name name = {0};
    if (series->name_count == MOST_NAMES) {
        return lw_fail(error, LW_USAGE, "more than %d nodes in one series", MOST_NAMES);
    }
    if (!lw_copy(name.unit, sizeof name.unit, unit)) {
        return lw_fail(error, LW_USAGE, "the unit of a reading is too long");
    }
    name.node = lw_duplicate(node);
    if (name.node == NULL || !grow_names(series)) {
        free(name.node);
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    series->names[series->name_count] = name;
    *slot_of(series, node) = (uint32_t)++series->name_count;
    return LW_OK;
}

static bool grow_column(void **column, size_t room, size_t size)
{
    void *grown = realloc(*column, room * size);
    *column = grown == NULL ? *column : grown;
    return grown != NULL;
}

static bool grow_columns(struct lw_series *series)
{
    if (series->count < series->room) {
        return true;
    }
    size_t room = series->room == 0 ? FIRST_ROOM : series->room * 2;
    void *time_s = series->time_s, *node = series->node, *value = series->value;
    bool grown = grow_column(&time_s, room, sizeof *series->time_s) &&
                 grow_column(&node, room, sizeof *series->node) &&
                 grow_column(&value, room, sizeof *series->value);
    series->time_s = time_s;
    series->node = node;
    series->value = value;
    series->room = grown ? room : series->room;
    return grown;
}

enum lw_status lw_series_add(struct lw_series *series, const struct lw_reading *reading,
                             struct lw_error *error)
{
    assert(isfinite(reading->time_s) && isfinite(reading->value));
    const char *unit = reading->unit == NULL ? "" : reading->unit;
    if (!grow_columns(series)) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    int node = lw_series_find(series, reading->node);
    if (node < 0) {
        enum lw_status status = add_name(series, reading->node, unit, error);
        if (status != LW_OK) {
            return status;
        }
        node = (int)series->name_count - 1;
    } else if (strcmp(series->names[node].unit, unit) != 0) {
        return lw_fail(error, LW_USAGE, "the readings of one node change their unit");
    }
    series->time_s[series->count] = reading->time_s;
    series->node[series->count] = (uint16_t)node;
    series->value[series->count++] = reading->value;
    return LW_OK;
}

void lw_series_finish(struct lw_series *series)
{
    if (series == NULL) {
        return;
    }
    for (size_t i = 0; i < series->name_count; i++) {
        free(series->names[i].node);
    }
    free(series->names);
    free(series->slots);
    free(series->time_s);
    free(series->node);
    free(series->value);
    *series = (struct lw_series){0};
}

// While sorting, `row` holds row numbers as doubles, which are exact up to 2^53; with the row as
// the second key the order is total, so that equal times keep their order.
static bool later(const double *time_s, const double *row, size_t a, size_t b)
{
    return time_s[a] > time_s[b] || (time_s[a] == time_s[b] && row[a] > row[b]);
}

static void exchange(double *column, size_t a, size_t b)
{
    double kept = column[a];
    column[a] = column[b];
    column[b] = kept;
}

static void sift_down(double *time_s, double *row, size_t at, size_t count)
{
    for (size_t child = 2 * at + 1; child < count; child = 2 * at + 1) {
        if (child + 1 < count && later(time_s, row, child + 1, child)) {
            child++;
        }
        if (!later(time_s, row, child, at)) {
            return;
        }
        exchange(time_s, at, child);
        exchange(row, at, child);
        at = child;
    }
}

// Heap sort: both columns in place, no memory that could be refused.
static void sort_by_time(double *time_s, double *row, size_t count)
{
    for (size_t at = count / 2; at-- > 0;) {
        sift_down(time_s, row, at, count);
    }
    for (size_t last = count; last-- > 1;) {
        exchange(time_s, 0, last);
        exchange(row, 0, last);
        sift_down(time_s, row, 0, last);
    }
}

size_t lw_series_of(const struct lw_series *series, int node, double *time_s, double *value)
{
    size_t count = 0;
    bool sorted = true;
    for (size_t i = 0; i < series->count; i++) {
        if (series->node[i] == node) {
            time_s[count] = series->time_s[i];
            value[count] = (double)i;
            sorted = sorted && (count == 0 || time_s[count] >= time_s[count - 1]);
            count++;
        }
    }
    if (!sorted) {
        sort_by_time(time_s, value, count);
    }
    for (size_t i = 0; i < count; i++) {
        value[i] = series->value[(size_t)value[i]];
    }
    return count;
}
