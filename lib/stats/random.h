// SPDX-License-Identifier: GPL-3.0-or-later
//
// Random numbers that are looked up, not drawn: each is a function of seed, node, purpose and a
// running number k. So another node, or another poll of the same node, does not shift anybody
// else's numbers, and any of them can be had again. The generator is Philox 4x32 with ten rounds
// (Salmon, Moraes, Dror and Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC11, 2011).
#ifndef LW_STATS_RANDOM_H
#define LW_STATS_RANDOM_H

#include <stdint.h>

// Streams with different keys are independent of each other.
struct lw_random {
    uint64_t seed;
    uint32_t node;    // a tap, an address, or lw_random_word() of a name
    uint32_t purpose; // what the numbers are for; lw_random_word("white noise") or an enum
};

// A word of text as a number (FNV-1a, 32 bits), for node and purpose.
uint32_t lw_random_word(const char *text);

uint64_t lw_random_bits(struct lw_random key, uint64_t k);
double lw_random_uniform(struct lw_random key, uint64_t k);     // above 0, below 1; 52 bits
double lw_random_normal(struct lw_random key, uint64_t k);      // mean 0, standard deviation 1
double lw_random_exponential(struct lw_random key, uint64_t k); // mean 1
// A whole number 0..below-1, each equally likely to 2^-32; below >= 1.
uint32_t lw_random_below(struct lw_random key, uint64_t k, uint32_t below);

// The raw generator, for its published check values: ten rounds over a 128-bit counter and a 64-bit
// key, least significant word first.
void lw_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t out[4]);

#endif
