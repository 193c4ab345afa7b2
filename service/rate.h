/*
 * rate - token buckets, one for each of many clients, in a fixed room
 *
 * A bucket holds up to `burst` permits and gets `count` of them every
 * `period_ms`, evenly; what is asked for takes one.  So in any time t no more
 * than burst + count * t / period_ms are given.
 *
 * The table has RATE_SLOTS buckets and never grows.  A client that has no
 * bucket begins with a full one, in the place of that of its set which has
 * rested longest.  Which set a client falls into is known to nobody outside
 * (keyed hash), so that no one can be pushed out on purpose.
 *
 * Source: token bucket of RFC 3290, appendix A.
 */
#ifndef HEADGATE_SERVICE_RATE_H
#define HEADGATE_SERVICE_RATE_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { RATE_SLOTS = 1024 };

struct rate_table;

struct rate_limit {
    int64_t count;     /* permits ... */
    int64_t period_ms; /* ... in this time, 1 to 60000 */
    int64_t burst;     /* 1 to 1000000 */
};

/* ERR_MEMORY; ERR_IO: no random numbers are to be had */
MUST_CHECK enum err rate_open(struct rate_table **table);
void rate_close(struct rate_table *table);

/*
 * rate_take - one permit
 *
 * now_ms  of a clock that does not jump
 *
 * Returns 0: taken; else the milliseconds until there is one again, and
 * nothing was taken.
 */
int64_t rate_take(struct rate_table *table, const struct rate_limit *limit,
                  const void *key, size_t len, int64_t now_ms);

/* The same without taking it. */
int64_t rate_wait(const struct rate_table *table,
                  const struct rate_limit *limit, const void *key, size_t len,
                  int64_t now_ms);

#endif
