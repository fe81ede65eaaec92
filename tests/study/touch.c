// SPDX-License-Identifier: GPL-3.0-or-later
//
// Touch walks on virtual chains with a person who makes mistakes: wrong ticks, how often the walk
// has to ask for another touch, and how long a tone takes. `study_touch WALKS SEED` makes so many
// walks of each scene and prints the table of docs/method/touch.md.
#include "../unit/check/hands.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static size_t walks = 1000;
static uint64_t first_seed = 20261125;

struct row {
    const char *title;
    struct hands_scene scene;
};

static const char thick[] = "{\"length_m\": 0.3, \"conductor\": {\"area_mm2\": 25}}";
// Eight supplies for 200 nodes, each for its own section.
static const char strong[] = "[{\"name\": \"PS1\", \"nominal_v\": 24, \"output_ohm\": 0.01, "
                             "\"limit_a\": 10, \"feeds_tap\": 1},"
                             "{\"name\": \"PS2\", \"nominal_v\": 24, \"output_ohm\": 0.01, "
                             "\"limit_a\": 10, \"feeds_tap\": 26, \"cuts_before\": \"v_plus\"},"
                             "{\"name\": \"PS3\", \"nominal_v\": 24, \"output_ohm\": 0.01, "
                             "\"limit_a\": 10, \"feeds_tap\": 51, \"cuts_before\": \"v_plus\"},"
                             "{\"name\": \"PS4\", \"nominal_v\": 24, \"output_ohm\": 0.01, "
                             "\"limit_a\": 10, \"feeds_tap\": 76, \"cuts_before\": \"v_plus\"},"
                             "{\"name\": \"PS5\", \"nominal_v\": 24, \"output_ohm\": 0.01, "
                             "\"limit_a\": 10, \"feeds_tap\": 101, \"cuts_before\": \"v_plus\"},"
                             "{\"name\": \"PS6\", \"nominal_v\": 24, \"output_ohm\": 0.01, "
                             "\"limit_a\": 10, \"feeds_tap\": 126, \"cuts_before\": \"v_plus\"},"
                             "{\"name\": \"PS7\", \"nominal_v\": 24, \"output_ohm\": 0.01, "
                             "\"limit_a\": 10, \"feeds_tap\": 151, \"cuts_before\": \"v_plus\"},"
                             "{\"name\": \"PS8\", \"nominal_v\": 24, \"output_ohm\": 0.01, "
                             "\"limit_a\": 10, \"feeds_tap\": 176, \"cuts_before\": \"v_plus\"}]";

static const struct row rows[] = {
    {"nothing wrong", {.cell = {.probes = 6}, .returns = 3}},
    {"all kinds of sensor", {.cell = {.probes = 3, .loops = 2, .airs = 2, .encoders = 2}}},
    {"swapped pair", {.cell = {.probes = 6}, .swapped = 3}},
    {"swapped pair, any order", {.cell = {.probes = 6}, .swapped = 3, .any_order = true}},
    {"reversed sign", {.cell = {.probes = 6}, .reversed = 4}},
    {"sticks by 30 um", {.cell = {.probes = 6}, .returns = 3, .sticking = 2, .stuck_by = 0.03}},
    {"sticks by 5 um", {.cell = {.probes = 6}, .returns = 3, .sticking = 2, .stuck_by = 0.005}},
    {"sensor dead", {.cell = {.probes = 6}, .dead = 5}},
    {"sensor dead, neighbours go with it by 12 %",
     {.cell = {.probes = 6}, .dead = 5, .coupled = 0.12}},
    {"node mute", {.cell = {.probes = 6}, .dead = 5, .mute = true}},
    {"two at once in 3 of 10 touches", {.cell = {.probes = 6}, .twice = 0.3}},
    {"wrong place in 2 of 10 touches", {.cell = {.probes = 6}, .slips = 0.2}},
    {"neighbours go with it by 12 %", {.cell = {.probes = 6}, .coupled = 0.12}},
    {"neighbours go with it by 30 %", {.cell = {.probes = 6}, .coupled = 0.3, .places = 3}},
    {"pushed slowly, 1 s to 4 s", {.cell = {.probes = 6}, .pushes_slowly = true}},
    {"vibration of 20 um from the first touch on",
     {.cell = {.probes = 6,
               .faults = "{\"kind\": \"magnet_near\", \"tap\": 3, \"field\": 0.02, "
                         "\"reach_taps\": 1000, \"from_s\": 6}"}}},
    {"drift of 50 um/min, 1/f noise",
     {.cell = {.probes = 6, .noise = "{\"drift_per_min\": 0.05, \"flicker\": 0.0005}"}}},
    {"slow polling, 1200 bit/s", {.cell = {.probes = 6, .framing = "1200/8E1"}}},
    {"swapped pair, two at once, wrong places, coupled by 12 %",
     {.cell = {.probes = 6},
      .returns = 3,
      .swapped = 3,
      .twice = 0.2,
      .slips = 0.2,
      .coupled = 0.12}},
    {"bit errors, 1 in 2000",
     {.cell = {.probes = 6,
               .faults = "{\"kind\": \"noisy_span\", \"span\": 2, \"bit_error_rate\": 0.0005}"}}},
};

static const struct row large[] = {
    {"24 nodes, 19200/8E1", {.cell = {.probes = 24}}},
    {"24 nodes, 115200/8E1", {.cell = {.probes = 24, .framing = "115200/8E1"}}},
    {"200 nodes, 19200/8E1",
     {.cell = {.probes = 200, .span = thick, .supplies = strong}, .places = 4}},
    {"200 nodes, 115200/8E1",
     {.cell = {.probes = 200, .span = thick, .supplies = strong, .framing = "115200/8E1"},
      .places = 4}},
};

struct sum {
    struct hands_outcome all;
    double *answer_s;
    size_t answers, room;
    double cycle_s;
};

static void add(struct sum *sum, const struct hands_outcome *one)
{
    sum->all.places += one->places;
    sum->all.right += one->right;
    sum->all.elsewhere += one->elsewhere;
    sum->all.silent += one->silent;
    sum->all.skipped += one->skipped;
    sum->all.wrong += one->wrong;
    sum->all.wrong_signs += one->wrong_signs;
    sum->all.sticks += one->sticks;
    sum->all.wrong_sticks += one->wrong_sticks;
    sum->all.open_sticks += one->open_sticks;
    sum->all.named_of_two += one->named_of_two;
    sum->all.presses += one->presses;
    sum->all.again += one->again;
    sum->cycle_s = fmax(sum->cycle_s, one->cycle_s);
    for (size_t i = 0; i < one->answers; i++) {
        if (sum->answers == sum->room) {
            sum->room = sum->room > 0 ? 2 * sum->room : 1024;
            sum->answer_s = realloc(sum->answer_s, sum->room * sizeof *sum->answer_s);
            assert_non_null(sum->answer_s);
        }
        sum->answer_s[sum->answers++] = one->answer_s[i];
    }
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double quantile(const struct sum *sum, double share)
{
    return sum->answers > 0 ? sum->answer_s[(size_t)(share * (double)(sum->answers - 1))]
                            : (double)NAN;
}

static size_t total_wrong, total_walks;

static void walk_row(const struct row *row, size_t count)
{
    struct sum sum = {0};
    for (size_t k = 0; k < count; k++) {
        struct hands_outcome outcome;
        hands_walk(&row->scene, first_seed + k, &outcome, NULL);
        if (outcome.wrong + outcome.named_of_two > 0) {
            fprintf(stderr, "wrong tick: %s, seed %llu\n", row->title,
                    (unsigned long long)(first_seed + k));
        }
        add(&sum, &outcome);
    }
    if (sum.answers > 0) {
        qsort(sum.answer_s, sum.answers, sizeof *sum.answer_s, by_size);
    }
    total_wrong += sum.all.wrong + sum.all.named_of_two;
    total_walks += count;
    printf("| %s | %zu | %zu | %zu | %zu | %zu | %zu | %zu | %.2f | %.2f | %.2f | %.2f |\n",
           row->title, count, sum.all.presses, sum.all.wrong + sum.all.named_of_two,
           sum.all.wrong_signs, sum.all.sticks, sum.all.wrong_sticks, sum.all.open_sticks,
           (double)sum.all.again / (double)sum.all.presses, quantile(&sum, 0.5),
           quantile(&sum, 0.95), sum.cycle_s);
    fflush(stdout);
    free(sum.answer_s);
}

static void table(void **state)
{
    (void)state;
    size_t scenes = sizeof rows / sizeof *rows;
    printf("| scene | walks | touches | wrong ticks | wrong signs | sticking proved | sticking "
           "blamed wrongly | return not decided | again, a touch | tone after, s, median | 95 %% | "
           "longest round, s |\n"
           "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n");
    for (size_t i = 0; i < scenes; i++) {
        walk_row(&rows[i], (walks + scenes - 1) / scenes);
    }
    for (size_t i = 0; i < sizeof large / sizeof *large; i++) {
        walk_row(&large[i], walks / 200 + 1);
    }
    printf("\n%zu wrong ticks in %zu walks\n", total_wrong, total_walks);
    assert_int_equal(total_wrong, 0);
}

int main(int argc, char **argv)
{
    if (argc > 1) {
        walks = (size_t)strtoul(argv[1], NULL, 10);
    }
    if (argc > 2) {
        first_seed = strtoull(argv[2], NULL, 10);
    }
    const struct CMUnitTest tests[] = {cmocka_unit_test(table)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
