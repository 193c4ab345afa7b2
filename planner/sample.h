/*
 * sample - the deterministic sample that stands for what is not known
 *
 * A Latin hypercube: each dimension is the row of centres (i + 1/2) / n in an
 * order of its own.  The orders come from a fixed generator, so that the same
 * question always gets the same answer.
 */
#ifndef HEADGATE_PLANNER_SAMPLE_H
#define HEADGATE_PLANNER_SAMPLE_H

#include <stddef.h>
#include <stdint.h>

/*
 * sample_order - the order of one dimension: a permutation of 0..n-1
 *
 * order[i] is the place of particle i.  Fisher and Yates' shuffle driven by
 * splitmix64, started with 0x9E3779B97F4A7C15 * (dimension + 1).
 *
 * Source: Knuth, The Art of Computer Programming 2, 3.4.2 (M); Steele, Lea and
 * Flood, OOPSLA 2014 (M).
 */
void sample_order(unsigned dimension, uint32_t *order, size_t n);

/*
 * sample_normal - quantile of the standard normal distribution
 *
 * u  above 0 and below 1
 *
 * Source: Wichura, algorithm AS 241 (PPND16), Appl Stat 1988;37:477-84 (M).
 */
double sample_normal(double u);

/* splitmix64: the next number, and the state moved on. */
uint64_t sample_next(uint64_t *state);

#endif
