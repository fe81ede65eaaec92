// SPDX-License-Identifier: GPL-3.0-or-later
//
// A chain of the virtual kind with a client on it, and the checks run on it in process: what the
// tests of lib/check share.
#ifndef TESTS_CHECK_WALK_H
#define TESTS_CHECK_WALK_H

#include "chain/chain.h"
#include "check/link.h"
#include "check/noise.h"
#include "check/roster.h"
#include "check/scan.h"
#include "check/supply.h"

struct walk {
    struct lw_plan plan; // what the checks are told
    struct lw_plan real; // what the chain is built from
    struct lw_chain *chain;
    struct lw_line *line;
    struct lw_client *client;
    struct lw_run run;
    struct lw_scan_options scan_options; // as the last walk_scan() used them
    struct lw_findings findings;         // of all checks so far
    struct lw_rule rule;                 // of the last check
};

// Opens a plan file with its profiles. Fails the test when it does not load. `seed` 0: the plan's.
void walk_open(struct walk *walk, const char *path, const char *profiles, uint64_t seed);
// A small chain on one supply, with the profiles that ship.
struct cell {
    size_t probes, loops, airs, encoders; // taps in this order, P01 ..., addresses from 1
    const char *faults;                   // JSON objects, comma between; NULL: none
    const char *framing;                  // NULL: 19200/8E1
    const char *supplies;                 // JSON array; NULL: one strong 24 V at tap 1
    const char *span;                     // JSON object; NULL: half a metre of 0.5 mm2
    const char *line;  // further keys of line, beginning with a comma; NULL: none
    const char *more;  // further keys of the plan, each followed by a comma
    const char *noise; // JSON object of virtual.noise; NULL: by the profiles
    double spaced_mm;  // places of the nodes along x, so far apart; 0: none
    size_t unplanned;  // the chain has so many probes more than the plan
};
void walk_open_cell(struct walk *walk, const struct cell *cell, uint64_t seed);
// Makes the chain of `real` and a client on it, as the two above do; for a test that has changed
// `real` after lw_client_free() and lw_chain_free().
void walk_connect(struct walk *walk, uint64_t seed);
void walk_close(struct walk *walk);

// Each runs a check to its end, adds its findings and hands out the result, which the caller frees
// with lw_json_free() of its shape; `result` NULL: not wanted. Every result is written as JSON and
// read back on the way, and must come back the same.
void walk_scan(struct walk *walk, struct lw_scan_result *result);
void walk_roster(struct walk *walk, struct lw_roster_result *result);
void walk_link(struct walk *walk, const struct lw_link_options *options,
               struct lw_link_result *result);
void walk_supply(struct walk *walk, struct lw_supply_result *result);
void walk_noise(struct walk *walk, const struct lw_noise_options *options,
                struct lw_noise_result *result);

// The first finding of that code (and of that node, when given); NULL: none.
const struct lw_finding *walk_found(const struct walk *walk, const char *code, const char *node);
size_t walk_count(const struct walk *walk, const char *code); // NULL: of all codes
void walk_forget(struct walk *walk);                          // drops the findings so far
void walk_show(const struct walk *walk);                      // prints them, for a failing test

// Fails the test unless writing the value as JSON and reading it back gives the same JSON.
void walk_comes_back(const struct lw_shape *shape, const void *value);

#endif
