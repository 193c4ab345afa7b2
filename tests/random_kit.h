/*
 * random_kit - numbers for tests that try many inputs
 *
 * A generator of its own, so that a test never shares the planner's: Marsaglia,
 * Xorshift RNGs, J Stat Softw 2003;8(14), the 64-bit one with shifts 13, 7, 17.
 * The seed is printed, so that what failed can be run again:
 *
 *     RANDOM_SEED=77 build/tests/test_plan_random
 */
#ifndef HEADGATE_TESTS_RANDOM_KIT_H
#define HEADGATE_TESTS_RANDOM_KIT_H

#include "tests/test.h"

#include <stdbool.h>

struct random {
    uint64_t state;
};

/* From the environment, else the usual one; never 0, which stays 0. */
static inline struct random random_start(uint64_t usual)
{
    const char *seed = getenv("RANDOM_SEED");
    struct random r = { usual };

    if (seed != NULL && strtoull(seed, NULL, 10) != 0)
        r.state = strtoull(seed, NULL, 10);
    print_message("    RANDOM_SEED=%llu\n", (unsigned long long)r.state);
    return r;
}

static inline uint64_t random_next(struct random *r)
{
    r->state ^= r->state << 13;
    r->state ^= r->state >> 7;
    r->state ^= r->state << 17;
    return r->state;
}

/* Evenly between the two. */
static inline double random_within(struct random *r, double least, double most)
{
    double u = (double)(random_next(r) >> 11) * 0x1p-53;

    return least + u * (most - least);
}

/* Evenly in the logarithm. */
static inline double random_log(struct random *r, double least, double most)
{
    return least * pow(most / least, random_within(r, 0.0, 1.0));
}

/* One of 0..count-1. */
static inline size_t random_below(struct random *r, size_t count)
{
    return (size_t)((random_next(r) >> 11) % count);
}

static inline bool random_chance(struct random *r, double chance)
{
    return random_within(r, 0.0, 1.0) < chance;
}

#endif
