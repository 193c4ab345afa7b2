/*
 * random - a small seeded generator, the same on every machine
 *
 * PCG32 (XSH RR 64/32).  Not for secrets: the demo needs noise that is equal
 * for an equal seed, and nothing else.
 *
 * Source: O'Neill, PCG: a family of simple fast space-efficient
 * statistically good algorithms for random number generation, Harvey Mudd
 * College HMC-CS-2014-0905.
 */
#ifndef HEADGATE_TESTS_DEMO_RANDOM_H
#define HEADGATE_TESTS_DEMO_RANDOM_H

#include <stdint.h>

struct rng {
    uint64_t state, increment;
    double spare; /* the second number of a Box-Muller pair; NAN: none */
};

/* Different streams of one seed are independent of each other. */
void rng_init(struct rng *r, uint64_t seed, uint64_t stream);

uint32_t rng_u32(struct rng *r);

/* Uniform in [0, 1). */
double rng_unit(struct rng *r);

/* Uniform in [low, high). */
double rng_between(struct rng *r, double low, double high);

/* Uniform whole number in low..high, both included; low <= high. */
int rng_int(struct rng *r, int low, int high);

/* Standard normal, by the transform of Box and Muller. */
double rng_normal(struct rng *r);

#endif
