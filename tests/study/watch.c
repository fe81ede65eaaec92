// SPDX-License-Identifier: GPL-3.0-or-later
//
// How soon the watch shows what happens, on the virtual clock: one plug that lets go, one where the
// hands are said to be, and a break of the chain with its place. Usage: watch [DRAWS], 200 by
// default.
#include "check/watch.h"
#include "../unit/check/walk.h"
#include "stats/random.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

enum { SPACED_S = 20, FOR_S = 6, TOGETHER = 10, DRAWS_MOST = 2000 };
enum kind { ALONE, AT_HANDS, BREAK, KINDS };

struct rig {
    struct walk walk;
    struct lw_live *live;
};

static double now_s(const struct rig *rig)
{
    return lw_live_seconds(rig->live, lw_clock_now_ns(rig->walk.line->clock));
}

static void until(struct rig *rig, double seconds)
{
    while (now_s(rig) < seconds) {
        assert_int_equal(lw_live_step(rig->live, &rig->walk.run, rig->walk.client, NULL), LW_OK);
    }
}

static char supplies[2000], faults[400000];

static void fill_supplies(size_t nodes)
{
    size_t length = 0;
    for (size_t tap = 1; tap <= nodes; tap += 20) {
        lw_print(supplies + length, sizeof supplies - length,
                 "%s{\"name\": \"PS%zu\", \"nominal_v\": 24, \"output_ohm\": 0.02, "
                 "\"limit_a\": 10, \"feeds_tap\": %zu%s}%s",
                 tap > 1 ? "," : "[", tap, tap, tap > 1 ? ", \"cuts_before\": \"v_plus\"" : "",
                 tap + 20 > nodes ? "]" : "");
        length = strlen(supplies);
    }
}

struct draw {
    size_t tap;
    double from_s;
};

static void fill_faults(const struct draw draws[TOGETHER], size_t nodes, enum kind kind)
{
    size_t length = 0;
    for (size_t i = 0; i < TOGETHER; i++) {
        size_t last = kind == BREAK ? nodes : draws[i].tap;
        for (size_t tap = draws[i].tap; tap <= last; tap++) {
            lw_print(faults + length, sizeof faults - length,
                     "%s{\"kind\": \"dead_node\", \"tap\": %zu, \"from_s\": %.6f, \"to_s\": %.6f}",
                     length > 0 ? "," : "", tap, draws[i].from_s, draws[i].from_s + FOR_S);
            length += strlen(faults + length);
        }
    }
}

// Seconds until it shows; for a break until its place is known. FOR_S when it does not show at all.
static double seen_after(struct rig *rig, const struct draw *draw, enum kind kind, double *sign_s)
{
    size_t nodes = lw_live_count(rig->live);
    *sign_s = FOR_S;
    while (now_s(rig) < draw->from_s + FOR_S) {
        int64_t now_ns = lw_clock_now_ns(rig->walk.line->clock);
        size_t looked_at = kind == BREAK ? nodes - 1 : draw->tap - 1;
        bool sign = lw_live_state(rig->live, looked_at, now_ns) >= LW_LIVE_MISSED;
        *sign_s = sign ? fmin(*sign_s, now_s(rig) - draw->from_s) : *sign_s;
        if (kind == BREAK ? lw_live_break(rig->live) == draw->tap - 1 : sign) {
            return now_s(rig) - draw->from_s;
        }
        until(rig, now_s(rig) + 1e-9);
    }
    return FOR_S;
}

static int by_size(const void *a, const void *b)
{
    double one = *(const double *)a, other = *(const double *)b;
    return one < other ? -1 : one > other;
}

static void ten_draws(uint32_t run, size_t nodes, const char *framing, enum kind kind,
                      double seconds[TOGETHER], double signs[TOGETHER])
{
    const struct lw_random key = {1, run, lw_random_word("watch study")};
    struct draw draws[TOGETHER];
    struct rig rig = {0};
    const struct lw_live_options options = {0};
    for (size_t i = 0; i < TOGETHER; i++) {
        draws[i].tap = 1 + lw_random_below(key, 2 * i, (uint32_t)nodes - 2);
        draws[i].from_s = SPACED_S * (double)(i + 1) + 5 * lw_random_uniform(key, 2 * i + 1);
    }
    fill_supplies(nodes);
    fill_faults(draws, nodes, kind);
    const struct cell cell = {
        .probes = nodes, .framing = framing, .supplies = supplies, .faults = faults};
    walk_open_cell(&rig.walk, &cell, run + 1);
    assert_int_equal(lw_live_new(&rig.walk.plan, &options, lw_clock_now_ns(rig.walk.line->clock),
                                 &rig.live, NULL),
                     LW_OK);
    for (size_t i = 0; i < TOGETHER; i++) {
        lw_live_hands(rig.live, kind == AT_HANDS ? draws[i].tap - 1 : SIZE_MAX);
        until(&rig, draws[i].from_s);
        seconds[i] = seen_after(&rig, &draws[i], kind, &signs[i]);
    }
    lw_live_free(rig.live);
    walk_close(&rig.walk);
}

static void row(size_t nodes, const char *framing, enum kind kind, size_t draws)
{
    static const char *const words[KINDS] = {"one node", "one node, hands there",
                                             "break, and its place"};
    static double seconds[DRAWS_MOST], signs[DRAWS_MOST];
    for (size_t i = 0; i < draws; i += TOGETHER) {
        ten_draws((uint32_t)i, nodes, framing, kind, seconds + i, signs + i);
    }
    qsort(seconds, draws, sizeof *seconds, by_size);
    qsort(signs, draws, sizeof *signs, by_size);
    printf("| %zu | %s | %s | %.2f | %.2f | %.2f |", nodes, framing, words[kind],
           seconds[draws / 2], seconds[draws * 95 / 100], seconds[draws - 1]);
    printf(kind == BREAK ? " %.2f |\n" : "  |\n", signs[draws - 1]);
    fflush(stdout);
}

static void all_rows(void **state)
{
    size_t draws = *(const size_t *)*state;
    static const char *const framings[] = {"19200/8E1", "115200/8E1"};
    static const size_t nodes[] = {24, 200};
    printf("| nodes | line | what | median s | 95 %% s | longest s | first sign, longest s |\n"
           "| ---: | --- | --- | ---: | ---: | ---: | ---: |\n");
    for (size_t n = 0; n < 2; n++) {
        for (size_t f = 0; f < 2; f++) {
            for (int kind = 0; kind < KINDS; kind++) {
                row(nodes[n], framings[f], (enum kind)kind, draws);
            }
        }
    }
}

int main(int argc, char **argv)
{
    size_t draws = argc > 1 ? (size_t)strtoul(argv[1], NULL, 10) : 200;
    draws = draws > DRAWS_MOST ? DRAWS_MOST : draws / TOGETHER * TOGETHER;
    const struct CMUnitTest tests[] = {cmocka_unit_test_prestate(all_rows, &draws)};
    return draws > 0 ? cmocka_run_group_tests(tests, NULL, NULL) : 2;
}
