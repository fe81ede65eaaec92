// SPDX-License-Identifier: GPL-3.0-or-later
//
// The noise check on virtual chains: ten situations and the cause it names, a field put anywhere
// and the node it names, and decisions while readings come in. Usage: noise [SEEDS [PLACES
// [RUNS]]], 100, 1000 and 1000 by default.
#include "../unit/check/walk.h"
#include "stats/random.h"
#include "stats/setup.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

enum { PROBES = 8, AT = 4, CAUSES = 15 };

// `cause` is what the node at tap 4 has to be called. '@' stands for a size that is drawn for each
// seed, evenly in its logarithm, from low to high.
struct situation {
    const char *says, *noise, *faults, *cause;
    double low, high;
};

static const struct situation situations[] = {
    {"nothing", "{}", "", "quiet", 0, 0},
    {"hum at all", "{\"mains\": @}", "", "mains", 0.0005, 0.005},
    {"alternating field", "{}",
     "{\"kind\": \"magnet_near\", \"tap\": 4, \"field\": @, \"reach_taps\": 0.6}", "mains", 0.0005,
     0.005},
    {"drive at 37 Hz", "{\"mains_hz\": 37}",
     "{\"kind\": \"magnet_near\", \"tap\": 4, \"field\": @, \"reach_taps\": 0.6}", "tone", 0.0005,
     0.005},
    {"magnet comes", "{}",
     "{\"kind\": \"magnet_near\", \"tap\": 4, \"steady\": @, \"reach_taps\": 0.6, \"from_s\": 7}",
     "step", 0.0005, 0.005},
    {"loose contact", "{}", NULL, "loose contact", 0.0005, 0.005},
    {"spikes", "{}", NULL, "spikes", 0.001, 0.01},
    {"drift", "{\"drift_per_min\": @}", "", "drift", 0.003, 0.03},
    {"frozen", "{}", "{\"kind\": \"stuck_reading\", \"tap\": 4}", "stuck", 0, 0},
    {"unplugged", "{}", "{\"kind\": \"unplugged_sensor\", \"tap\": 4}", "saturated", 0, 0},
};

static const char *with_size(const char *pattern, double size, char *text, size_t room)
{
    const char *at = strchr(pattern, '@');
    lw_print(text, room, "%.*s", (int)(at != NULL ? at - pattern : (ptrdiff_t)strlen(pattern)),
             pattern);
    if (at != NULL) {
        size_t used = strlen(text);
        lw_print(text + used, room - used, "%.6f%s", size, at + 1);
    }
    return text;
}

// A field at tap 4 that is there for a while, again and again, at times drawn from the seed.
static void pulses(char *text, size_t size, uint64_t seed, double size_mm, double on_s,
                   double off_s, double until_s)
{
    struct lw_random key = {seed, 0, 77};
    uint64_t k = 0;
    double at_s = 0.3;
    text[0] = '\0';
    while (at_s < until_s) {
        double from_s = at_s + off_s * (0.5 + lw_random_uniform(key, k++));
        double to_s = from_s + on_s * (0.7 + 0.6 * lw_random_uniform(key, k++));
        size_t used = strlen(text);
        lw_print(text + used, size - used,
                 "%s{\"kind\": \"magnet_near\", \"tap\": 4, \"steady\": %.6f, \"reach_taps\": 0.2, "
                 "\"from_s\": %.3f, \"to_s\": %.3f}",
                 used > 0 ? "," : "", size_mm, from_s, to_s);
        at_s = to_s;
    }
}

static const char *faults_of(const struct situation *situation, uint64_t seed, double size_mm,
                             char *text, size_t room)
{
    if (situation->faults != NULL) {
        return with_size(situation->faults, size_mm, text, room);
    }
    bool spikes = strcmp(situation->cause, "spikes") == 0;
    pulses(text, room, seed, size_mm, spikes ? 0.025 : 0.6, 1.2, 11);
    return text;
}

static const struct lw_noise_node *node(const struct lw_noise_result *result, size_t index)
{
    return (const struct lw_noise_node *)result->nodes.items + index;
}

static int pattern_of(const struct lw_noise_result *result)
{
    const struct lw_noise_along *along = result->along.items;
    return result->along.count > 0 ? along[0].pattern : (int)LW_NOISE_UNCLEAR;
}

static void situation_row(const struct situation *situation, uint64_t seeds)
{
    static char faults[16384], noise[100];
    static const char *const causes[CAUSES] = {
        "quiet",       "mains",       "tone",          "vibration", "drift",
        "stuck",       "spikes",      "loose contact", "step",      "saturated",
        "loop failed", "counts lost", "unexplained",   "no_data",   NULL};
    uint64_t count[CAUSES] = {0}, pattern[3] = {0}, others = 0;
    bool all = situation->faults != NULL && situation->faults[0] == '\0';
    for (uint64_t seed = 1; seed <= seeds; seed++) {
        struct walk walk;
        struct lw_noise_result result;
        struct lw_random key = {seed, 0, 79};
        double size_mm = situation->low > 0 ? situation->low * pow(situation->high / situation->low,
                                                                   lw_random_uniform(key, 0))
                                            : 0;
        struct cell cell = {.probes = PROBES,
                            .framing = "115200/8E1",
                            .noise = with_size(situation->noise, size_mm, noise, sizeof noise),
                            .faults = faults_of(situation, seed, size_mm, faults, sizeof faults)};
        walk_open_cell(&walk, &cell, seed);
        walk_noise(&walk, NULL, &result);
        for (size_t k = 0; k + 1 < CAUSES; k++) {
            count[k] += strcmp(causes[k], node(&result, AT - 1)->cause) == 0;
        }
        pattern[pattern_of(&result)]++;
        others += !all && strcmp(node(&result, PROBES - 1)->cause, "quiet") != 0;
        lw_json_free(&lw_noise_shape, &result);
        walk_close(&walk);
    }
    printf("| %-17s |", situation->says);
    size_t right = 0, open = 0;
    for (size_t k = 0; k + 1 < CAUSES; k++) {
        bool is = strcmp(causes[k], situation->cause) == 0;
        bool says_nothing =
            strcmp(causes[k], "quiet") == 0 || strcmp(causes[k], "unexplained") == 0;
        right += is ? count[k] : 0;
        open += !is && says_nothing ? count[k] : 0;
    }
    double share = 100.0 / (double)seeds;
    printf(" %-13s | %5.1f | %5.1f | %5.1f |", situation->cause, share * (double)right,
           share * (double)open, share * (double)(seeds - right - open));
    printf(" %3llu / %3llu / %3llu | %3llu |", (unsigned long long)pattern[LW_NOISE_COMMON],
           (unsigned long long)pattern[LW_NOISE_NEAR],
           (unsigned long long)pattern[LW_NOISE_UNCLEAR], (unsigned long long)others);
    for (size_t k = 0; k + 1 < CAUSES; k++) {
        if (count[k] > 0 && strcmp(causes[k], situation->cause) != 0) {
            printf(" %s %llu", causes[k], (unsigned long long)count[k]);
        }
    }
    printf(" |\n");
    fflush(stdout);
}

// Eight probes 100 mm apart, a field of drawn size and reach at a drawn tap.
struct hits {
    uint64_t strongest, wrong, silent, place, wrong_place, silent_place;
};

static void place_once(uint64_t seed, struct hits *hits)
{
    struct walk walk;
    struct lw_noise_result result;
    struct lw_random key = {seed, 0, 78};
    char faults[300], name[8];
    uint32_t tap = 1 + lw_random_below(key, 0, PROBES);
    lw_print(faults, sizeof faults,
             "{\"kind\": \"magnet_near\", \"tap\": %u, \"field\": %.6f, \"reach_taps\": %.3f}", tap,
             0.0004 * pow(10, lw_random_uniform(key, 1)), 0.3 + 2.2 * lw_random_uniform(key, 2));
    lw_print(name, sizeof name, "P%02u", tap);
    walk_open_cell(
        &walk,
        &(struct cell){
            .probes = PROBES, .framing = "115200/8E1", .faults = faults, .spaced_mm = 100},
        seed);
    walk_noise(&walk, NULL, &result);
    const struct lw_noise_along *along = result.along.items;
    const char *strongest = result.along.count > 0 ? along->strongest : NULL;
    const char *nearest = result.along.count > 0 ? along->nearest : NULL;
    hits->silent += strongest == NULL;
    hits->strongest += strongest != NULL && strcmp(strongest, name) == 0;
    hits->wrong += strongest != NULL && strcmp(strongest, name) != 0;
    hits->silent_place += nearest == NULL;
    hits->place += nearest != NULL && strcmp(nearest, name) == 0;
    hits->wrong_place += nearest != NULL && strcmp(nearest, name) != 0;
    lw_json_free(&lw_noise_shape, &result);
    walk_close(&walk);
}

static void places(uint64_t runs)
{
    struct hits hits = {0};
    for (uint64_t seed = 1; seed <= runs; seed++) {
        place_once(seed, &hits);
    }
    double share = 100.0 / (double)runs;
    printf("\n| named | right | wrong | not said |\n| --- | --- | --- | --- |\n");
    printf("| strongest node | %.1f | %.1f | %.1f |\n", share * (double)hits.strongest,
           share * (double)hits.wrong, share * (double)hits.silent);
    printf("| nearest node, by positions | %.1f | %.1f | %.1f |\n", share * (double)hits.place,
           share * (double)hits.wrong_place, share * (double)hits.silent_place);
}

static void decide_once(struct walk *walk, struct lw_noise_result *result)
{
    const struct lw_noise_options options = {.limit = NAN, .decide = true, .seconds = 80};
    struct lw_series series = {0};
    struct lw_noise_facts facts;
    struct lw_rule rule;
    if (lw_noise_measure(&walk->run, walk->client, &walk->plan, &options, &series, &facts, NULL) !=
            LW_OK ||
        lw_noise_judge(&walk->plan, &options, &series, &facts, result, &rule, NULL) != LW_OK) {
        exit(1);
    }
    lw_series_finish(&series);
    lw_noise_facts_finish(&facts);
}

// One probe whose limit stands at noise / ratio: what --decide says, and how long it took.
static void decide_row(double ratio, uint64_t runs)
{
    uint64_t kept = 0, broken = 0;
    double seconds = 0;
    for (uint64_t seed = 1; seed <= runs; seed++) {
        struct walk walk;
        struct lw_noise_result result;
        char limits[80];
        // The chain's own white noise, with the rounding to 0.0001 mm: sqrt(0.0005^2 +
        // 0.0001^2/12).
        double noise = sqrt(0.0005 * 0.0005 + 0.0001 * 0.0001 / 12);
        lw_print(limits, sizeof limits, "\"limits\": {\"noise_limit\": %.8f},", noise / ratio);
        walk_open_cell(&walk,
                       &(struct cell){.probes = 1,
                                      .framing = "115200/8E1",
                                      .noise = "{\"white\": 0.0005}",
                                      .more = limits},
                       seed);
        decide_once(&walk, &result);
        kept += node(&result, 0)->verdict == LW_PASS;
        broken += node(&result, 0)->verdict == LW_FAIL;
        seconds += result.seconds;
        lw_json_free(&lw_noise_shape, &result);
        walk_close(&walk);
    }
    double share = 100.0 / (double)runs;
    printf("| %5.2f | %6.2f | %6.2f | %6.2f | %6.1f |\n", ratio, share * (double)kept,
           share * (double)broken, share * (double)(runs - kept - broken), seconds / (double)runs);
    fflush(stdout);
}

int main(int argc, char **argv)
{
    lw_stats_setup();
    uint64_t seeds = argc > 1 ? strtoull(argv[1], NULL, 10) : 100;
    uint64_t placements = argc > 2 ? strtoull(argv[2], NULL, 10) : 1000;
    uint64_t runs = argc > 3 ? strtoull(argv[3], NULL, 10) : 1000;
    static const double ratios[] = {0.5, 0.8, 0.9, 1, 1.1, 1.25, 2};
    printf("| situation | cause | right | nothing said | wrong | common / near / unclear | "
           "at the last node | instead |\n"
           "| --- | --- | --- | --- | --- | --- | --- | --- |\n");
    for (size_t i = 0; seeds > 0 && i < sizeof situations / sizeof *situations; i++) {
        situation_row(&situations[i], seeds);
    }
    if (placements > 0) {
        places(placements);
    }
    printf("\n| noise | kept | broken | open | seconds |\n| --- | --- | --- | --- | --- |\n");
    for (size_t i = 0; runs > 0 && i < sizeof ratios / sizeof *ratios; i++) {
        decide_row(ratios[i], runs);
    }
    return 0;
}
