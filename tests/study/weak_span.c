// SPDX-License-Identifier: GPL-3.0-or-later
//
// How well the weak span is found: random chains of 5 to 200 taps of two kinds of node, one joint
// raised by 0.05 to 2 ohm, judged once from one state and once by a load step. Writes the table of
// docs/method/supply.md. Every other chain is healthy.
//
// Usage: study_weak_span CHAINS SEED
#include "../unit/power/meters.h"

#include "power/load_step.h"

enum { SIZES = 3, FAULTS = 4, PLACES = 3, WAYS = 2, ANSWERS = 4 };

static const char *const size_words[SIZES] = {"5 to 20 taps", "21 to 60 taps", "61 to 200 taps"};
static const size_t size_ends[SIZES] = {20, 60, 200};
static const char *const fault_words[FAULTS] = {"0.05 to 0.125", "0.125 to 0.32", "0.32 to 0.8",
                                                "0.8 to 2"};
static const char *const place_words[PLACES] = {"head", "middle", "tail"};
static const char *const way_words[WAYS] = {"one state", "load step"};

enum answer { RIGHT, WITHIN_ONE, HEALTHY_ACCUSED, CANNOT_SAY };

struct tally {
    int by_fault[WAYS][FAULTS][PLACES][ANSWERS];
    int by_size[WAYS][SIZES][ANSWERS];
    int fault_proved[WAYS][FAULTS][PLACES], size_proved[WAYS][SIZES]; // the right span, as a fail
    int visible[WAYS], visible_proved[WAYS]; // faults of the smallest visible size or more
    int wrong_proved[WAYS];                  // further than one span from the fault, as a fail
    int healthy, accused[WAYS], healthy_proved[WAYS];
};

static const double source_u_v[] = {0.24};
static const double source_u_ohm[] = {0.05};

static enum answer answer_of(const struct lw_weak_span *result, size_t span)
{
    if (!result->found) {
        return CANNOT_SAY;
    }
    if (result->span == span) {
        return RIGHT;
    }
    return result->span + 1 == span || result->span == span + 1 ? WITHIN_ONE : HEALTHY_ACCUSED;
}

static bool judge(const struct site *site, double step_a, struct lw_weak_span *result)
{
    struct lw_error error = {0};
    struct lw_weak_span_options options = {.source_u_v = source_u_v,
                                           .source_u_ohm = source_u_ohm,
                                           .draw_u = 0.1,
                                           .conductor_u = 0.06,
                                           .step_a = step_a};
    return lw_weak_span_find(&site->plan.ladder, site->states, site->meters, &options, result,
                             &error) == LW_OK;
}

// The step that leaves the tail 1 V above drop-out in the planned chain, at most 0.5 A.
static double size_step(const struct site *site)
{
    double minimum_v[MOST_TAPS];
    double step_a = 0.0;
    struct lw_error error = {0};
    for (size_t i = 0; i < site->plan.ladder.tap_count; i++) {
        minimum_v[i] = 17.0;
    }
    struct lw_carry_limits limits = {.minimum_v = minimum_v};
    return lw_load_step_size(&site->plan.ladder, site->states, &limits, 0.5, &step_a, &error) ==
                   LW_OK
               ? step_a
               : 0.0;
}

static size_t class_of(size_t taps)
{
    size_t size = 0;
    while (taps > size_ends[size]) {
        size++;
    }
    return size;
}

static void note(struct tally *tally, int way, const struct site *site, size_t fault,
                 const struct lw_weak_span *result)
{
    size_t taps = site->plan.ladder.tap_count;
    size_t place = (site->fault_span - 1) * PLACES / (taps - 1);
    enum answer answer = answer_of(result, site->fault_span);
    tally->by_fault[way][fault][place][answer]++;
    tally->by_size[way][class_of(taps)][answer]++;
    tally->fault_proved[way][fault][place] += answer == RIGHT && result->proved;
    tally->size_proved[way][class_of(taps)] += answer == RIGHT && result->proved;
    tally->wrong_proved[way] += answer == HEALTHY_ACCUSED && result->proved;
    if (site->fault_ohm >= result->fits[site->fault_span].smallest_visible_ohm) {
        tally->visible[way]++;
        tally->visible_proved[way] += result->proved;
    }
}

// One chain, healthy or with one bad joint; false when it does not stand and has to be drawn again.
static bool one_chain(struct tally *tally, bool healthy, uint64_t *seed)
{
    struct site site;
    size_t taps = (size_t)round(exp(draw_in(seed, log(5.0), log(200.0))));
    double fault_ohm = exp(draw_in(seed, log(0.05), log(2.0)));
    site_draw(&site, taps, seed);
    double step_a = size_step(&site);
    if (!healthy) {
        site_break(&site, 1 + draw_below(seed, taps - 1), fault_ohm);
    }
    size_t fault = (size_t)(log(fault_ohm / 0.05) / log(2.0 / 0.05) * FAULTS);
    struct lw_weak_span results[WAYS];
    if (!site_read_state(&site, seed) || !judge(&site, 0.0, &results[0])) {
        return false;
    }
    bool fine = site_read_step(&site, step_a, seed) && judge(&site, step_a, &results[1]);
    for (int way = 0; fine && way < WAYS; way++) {
        if (healthy) {
            tally->accused[way] += results[way].found;
            tally->healthy_proved[way] += results[way].proved;
        } else {
            note(tally, way, &site, fault, &results[way]);
        }
    }
    tally->healthy += fine && healthy;
    lw_weak_span_finish(&results[0]);
    if (fine) {
        lw_weak_span_finish(&results[1]);
    }
    return fine;
}

static void print_row(const char *one, const char *other, const char *third,
                      const int answers[ANSWERS], int proved)
{
    int sum = 0;
    for (int a = 0; a < ANSWERS; a++) {
        sum += answers[a];
    }
    printf("| %s | %s | %s | %d |", one, other, third, sum);
    for (int a = 0; a < ANSWERS; a++) {
        printf(" %.0f |", sum > 0 ? 100.0 * answers[a] / sum : 0.0);
    }
    printf(" %.0f |\n", sum > 0 ? 100.0 * proved / sum : 0.0);
}

static void print_tables(const struct tally *tally)
{
    static const char head[] = "chains | right span % | within one % | healthy accused % | "
                               "cannot say % | right, as a fail % |\n| --- | --- | --- | --- | --- "
                               "| --- | --- | --- | --- |\n";
    printf("| judged by | extra ohm | where | %s", head);
    for (int way = 0; way < WAYS; way++) {
        for (int fault = 0; fault < FAULTS; fault++) {
            for (int place = 0; place < PLACES; place++) {
                print_row(way_words[way], fault_words[fault], place_words[place],
                          tally->by_fault[way][fault][place],
                          tally->fault_proved[way][fault][place]);
            }
        }
    }
    printf("\n| judged by | chain | | %s", head);
    for (int way = 0; way < WAYS; way++) {
        for (int size = 0; size < SIZES; size++) {
            print_row(way_words[way], size_words[size], "", tally->by_size[way][size],
                      tally->size_proved[way][size]);
        }
    }
    printf("\n");
    for (int way = 0; way < WAYS; way++) {
        printf("* %s: of %d healthy chains %d with a remark, %d with a fail; %d fails at a healthy "
               "span of a faulty chain; of %d faults at or over their span's smallest visible size "
               "%d with a fail\n",
               way_words[way], tally->healthy, tally->accused[way], tally->healthy_proved[way],
               tally->wrong_proved[way], tally->visible[way], tally->visible_proved[way]);
    }
}

int main(int count, char **arguments)
{
    if (count != 3) {
        fprintf(stderr, "usage: study_weak_span CHAINS SEED\n");
        return 2;
    }
    static struct tally tally;
    uint64_t seed = strtoull(arguments[2], NULL, 10);
    for (long left = strtol(arguments[1], NULL, 10); left > 0;) {
        left -= one_chain(&tally, left % 2 == 0, &seed);
    }
    print_tables(&tally);
    return 0;
}
