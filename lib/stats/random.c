// SPDX-License-Identifier: GPL-3.0-or-later
//
// Philox is a keyed permutation of a counter. The counter carries the running number, the purpose
// and the node; the key is the seed.
#include "stats/random.h"

#include <assert.h>
#include <math.h>

// Multipliers and key increments as the paper gives them.
enum { ROUNDS = 10 };
static const uint32_t multiplier[2] = {0xD2511F53, 0xCD9E8D57};
static const uint32_t weyl[2] = {0x9E3779B9, 0xBB67AE85};

void lw_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t out[4])
{
    uint32_t c[4] = {counter[0], counter[1], counter[2], counter[3]};
    uint32_t k[2] = {key[0], key[1]};
    for (int round = 0; round < ROUNDS; round++) {
        uint64_t first = (uint64_t)multiplier[0] * c[0];
        uint64_t second = (uint64_t)multiplier[1] * c[2];
        c[0] = (uint32_t)(second >> 32) ^ c[1] ^ k[0];
        c[1] = (uint32_t)second;
        c[2] = (uint32_t)(first >> 32) ^ c[3] ^ k[1];
        c[3] = (uint32_t)first;
        k[0] += weyl[0];
        k[1] += weyl[1];
    }
    for (int i = 0; i < 4; i++) {
        out[i] = c[i];
    }
}

uint32_t lw_random_word(const char *text)
{
    uint32_t word = 2166136261U;
    for (const char *at = text; *at; at++) {
        word = (word ^ (uint8_t)*at) * 16777619U;
    }
    return word;
}

static void words(struct lw_random key, uint64_t k, uint64_t out[2])
{
    const uint32_t counter[4] = {(uint32_t)k, (uint32_t)(k >> 32), key.purpose, key.node};
    const uint32_t seed[2] = {(uint32_t)key.seed, (uint32_t)(key.seed >> 32)};
    uint32_t bits[4];
    lw_philox(counter, seed, bits);
    out[0] = bits[0] | (uint64_t)bits[1] << 32;
    out[1] = bits[2] | (uint64_t)bits[3] << 32;
}

// The middle of one of 2^53 equal cells of 0..1, so neither end is ever met; the topmost cell's
// middle would round to 1, so 52 bits and a half cell are used.
static double fraction(uint64_t bits)
{
    return ((double)(bits >> 12) + 0.5) * 0x1p-52;
}

uint64_t lw_random_bits(struct lw_random key, uint64_t k)
{
    uint64_t out[2];
    words(key, k, out);
    return out[0];
}

double lw_random_uniform(struct lw_random key, uint64_t k)
{
    return fraction(lw_random_bits(key, k));
}

double lw_random_normal(struct lw_random key, uint64_t k)
{
    uint64_t out[2];
    words(key, k, out);
    return sqrt(-2 * log(fraction(out[0]))) * cos(2 * M_PI * fraction(out[1]));
}

double lw_random_exponential(struct lw_random key, uint64_t k)
{
    return -log(lw_random_uniform(key, k));
}

uint32_t lw_random_below(struct lw_random key, uint64_t k, uint32_t below)
{
    assert(below >= 1);
    return (uint32_t)((lw_random_bits(key, k) >> 32) * below >> 32);
}
