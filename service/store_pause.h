/*
 * store_pause - how long background work waits after a commit that failed
 *
 * It is work that has to be done again, and would be at once, and fail as it
 * did, for as long as the disk is full.  So it waits for a second, then for two
 * and so on; a commit that has gone well ends the pause.  Store thread only.
 */
#ifndef HEADGATE_SERVICE_STORE_PAUSE_H
#define HEADGATE_SERVICE_STORE_PAUSE_H

#include <pthread.h>
#include <stdbool.h>
#include <stdint.h>

enum { STORE_PAUSE_FIRST_MS = 1000, STORE_PAUSE_LAST_MS = 30000 };

/* All zero: no pause. */
struct store_pause {
    uint64_t until_ns; /* of the clock that only goes on; 0: no pause */
    int64_t length_ms;
};

void store_pause_begin(struct store_pause *p);
void store_pause_end(struct store_pause *p);
bool store_pause_lasts(const struct store_pause *p);

/* The condition that store_pause_wait() waits for goes by the same clock. */
int store_pause_cond(pthread_cond_t *wake);
/* As pthread_cond_wait, until the end of the pause at most; without limit where
 * there is none. */
void store_pause_wait(const struct store_pause *p, pthread_cond_t *wake,
                      pthread_mutex_t *lock);

#endif
