// SPDX-License-Identifier: GPL-3.0-or-later
//
// Check values of the generator, its promise that streams do not disturb each other, and the plain
// statistics of what comes out, each against a bound that a good generator misses once in 10^5.
#include "stats/random.h"
#include "stats/setup.h"

#include <gsl/gsl_cdf.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { DRAWS = 200000, CELLS = 256 };

static const struct lw_random key = {.seed = 20261125, .node = 7, .purpose = 3};

static void philox_gives_its_known_answers(void **state)
{
    (void)state;
    // Known answers of philox4x32-10 as the authors' Random123 library lists them (from memory;
    // counter and key are all zeros, all ones, and digits of pi).
    static const struct {
        uint32_t counter[4], key[2], out[4];
    } known[] = {
        {{0}, {0}, {0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8}},
        {{0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff},
         {0xffffffff, 0xffffffff},
         {0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd}},
        {{0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344},
         {0xa4093822, 0x299f31d0},
         {0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1}},
    };
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        uint32_t out[4];
        lw_philox(known[i].counter, known[i].key, out);
        assert_memory_equal(out, known[i].out, sizeof out);
    }
}

static void every_part_of_the_key_changes_the_numbers(void **state)
{
    (void)state;
    struct lw_random other[] = {key, key, key};
    other[0].seed += (uint64_t)1 << 40;
    other[1].node++;
    other[2].purpose++;
    for (int i = 0; i < 3; i++) {
        assert_true(lw_random_bits(key, 0) != lw_random_bits(other[i], 0));
    }
    assert_true(lw_random_bits(key, 0) != lw_random_bits(key, (uint64_t)1 << 32));
    assert_true(lw_random_bits(key, 5) == lw_random_bits(key, 5));
    // Node and purpose do not stand in for each other or for k.
    struct lw_random a = {1, 2, 3}, b = {1, 3, 2}, c = {1, 2, 0};
    assert_true(lw_random_bits(a, 0) != lw_random_bits(b, 0));
    assert_true(lw_random_bits(a, 0) != lw_random_bits(c, 3));
}

static void words_follow_fnv_1a(void **state)
{
    (void)state;
    // draft-eastlake-fnv, test vectors of FNV-1a 32.
    assert_int_equal(lw_random_word(""), 0x811c9dc5);
    assert_int_equal(lw_random_word("a"), 0xe40c292c);
    assert_int_equal(lw_random_word("foobar"), 0xbf9cf968);
}

// Chi-square of counts over CELLS equally likely cells; its upper tail probability.
static double cells_p(double (*draw)(uint64_t k))
{
    static unsigned count[CELLS];
    for (int i = 0; i < CELLS; i++) {
        count[i] = 0;
    }
    for (uint64_t k = 0; k < DRAWS; k++) {
        double place = draw(k) * CELLS;
        assert_true(place >= 0 && place < CELLS);
        count[(int)place]++;
    }
    double expected = (double)DRAWS / CELLS, sum = 0;
    for (int i = 0; i < CELLS; i++) {
        sum += (count[i] - expected) * (count[i] - expected) / expected;
    }
    return gsl_cdf_chisq_Q(sum, CELLS - 1);
}

static double uniform(uint64_t k)
{
    return lw_random_uniform(key, k);
}

static double normal_as_uniform(uint64_t k)
{
    return gsl_cdf_ugaussian_P(lw_random_normal(key, k));
}

static double exponential_as_uniform(uint64_t k)
{
    return gsl_cdf_exponential_P(lw_random_exponential(key, k), 1);
}

static double below_as_uniform(uint64_t k)
{
    return lw_random_below(key, k, 1000 * CELLS) / (1000.0 * CELLS);
}

static double across_nodes(uint64_t k)
{
    return lw_random_uniform((struct lw_random){.node = (uint32_t)k}, 0);
}

static double across_seeds(uint64_t k)
{
    return lw_random_uniform((struct lw_random){.seed = k}, 0);
}

static void draws_have_their_distribution(void **state)
{
    (void)state;
    double (*draws[])(uint64_t) = {uniform,          normal_as_uniform, exponential_as_uniform,
                                   below_as_uniform, across_nodes,      across_seeds};
    for (size_t i = 0; i < sizeof draws / sizeof *draws; i++) {
        double p = cells_p(draws[i]);
        assert_true(p > 1e-5 && p < 1 - 1e-5);
    }
}

// Correlation of two streams of normal numbers, times sqrt(DRAWS): standard normal.
static double correlation(struct lw_random left, struct lw_random right, uint64_t lag)
{
    double sum = 0;
    for (uint64_t k = 0; k < DRAWS; k++) {
        sum += lw_random_normal(left, k) * lw_random_normal(right, k + lag);
    }
    return sum / sqrt(DRAWS);
}

static void streams_and_successive_draws_are_uncorrelated(void **state)
{
    (void)state;
    struct lw_random next_node = key, next_purpose = key, next_seed = key;
    next_node.node++;
    next_purpose.purpose++;
    next_seed.seed++;
    assert_true(fabs(correlation(key, key, 1)) < 4.4);
    assert_true(fabs(correlation(key, key, 2)) < 4.4);
    assert_true(fabs(correlation(key, next_node, 0)) < 4.4);
    assert_true(fabs(correlation(key, next_purpose, 0)) < 4.4);
    assert_true(fabs(correlation(key, next_seed, 0)) < 4.4);
}

static void pairs_fill_the_square(void **state)
{
    (void)state;
    static unsigned count[CELLS];
    for (int i = 0; i < CELLS; i++) {
        count[i] = 0;
    }
    for (uint64_t k = 0; k < DRAWS; k += 2) {
        int row = (int)(lw_random_uniform(key, k) * 16);
        int column = (int)(lw_random_uniform(key, k + 1) * 16);
        count[row * 16 + column]++;
    }
    double expected = DRAWS / 2.0 / CELLS, sum = 0;
    for (int i = 0; i < CELLS; i++) {
        sum += (count[i] - expected) * (count[i] - expected) / expected;
    }
    double p = gsl_cdf_chisq_Q(sum, CELLS - 1);
    assert_true(p > 1e-5 && p < 1 - 1e-5);
}

static void numbers_below_one_are_zero(void **state)
{
    (void)state;
    assert_int_equal(lw_random_below(key, 9, 1), 0);
}

int main(void)
{
    lw_stats_setup();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(philox_gives_its_known_answers),
        cmocka_unit_test(every_part_of_the_key_changes_the_numbers),
        cmocka_unit_test(words_follow_fnv_1a),
        cmocka_unit_test(draws_have_their_distribution),
        cmocka_unit_test(streams_and_successive_draws_are_uncorrelated),
        cmocka_unit_test(pairs_fill_the_square),
        cmocka_unit_test(numbers_below_one_are_zero),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
