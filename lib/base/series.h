// SPDX-License-Identifier: GPL-3.0-or-later
//
// Readings as columns: when, which node, what value. Every judge of readings takes a series,
// wherever it came from: a live line, a CSV file, a capture. Node names are kept once.
#ifndef LW_BASE_SERIES_H
#define LW_BASE_SERIES_H

#include "base/error.h"

#include <stddef.h>
#include <stdint.h>

// One reading, the currency between a check and its sinks. `time_s` counts from the record's start;
// value in the unit of the node's register.
struct lw_reading {
    double time_s;
    double timing_u_s; // standard uncertainty of time_s; 0 when unknown
    const char *node;  // borrowed
    const char *unit;  // borrowed
    double value;      // finite
};

struct lw_series_name {
    char *node;
    char unit[16];
};

// `node[i]` is an index into names. Open struct, grown by lw_series_add only.
struct lw_series {
    size_t count, room;
    double *time_s;
    uint16_t *node;
    double *value;
    struct lw_series_name *names;
    size_t name_count;
    uint32_t *slots; // hash of the names: index + 1, or 0 when free
    size_t slot_count;
};

// Start with `struct lw_series series = {0};`. LW_MEMORY; LW_USAGE for the 65537th node, for a unit
// other than that of the node's earlier readings (NULL counts as ""), and for one that does not
// fit.
enum lw_status lw_series_add(struct lw_series *series, const struct lw_reading *reading,
                             struct lw_error *error);
void lw_series_finish(struct lw_series *series);

// Index of a node's name, or -1.
int lw_series_find(const struct lw_series *series, const char *node);

// Gathers one node's columns in time order (equal times in the order of adding) into caller arrays
// of at least series->count; returns how many.
size_t lw_series_of(const struct lw_series *series, int node, double *time_s, double *value);

#endif
