/*
 * silence_loop - feeds that have fallen silent, said in the log
 *
 * Loop thread.  Looked at every hour, the first time a minute after the start;
 * what is said is how many there are and the days of the longest, whenever that
 * number has changed.  Names are in headgate queue, not in a log.
 */
#ifndef HEADGATE_SERVICE_SILENCE_LOOP_H
#define HEADGATE_SERVICE_SILENCE_LOOP_H

#include "service/store.h"

struct silence_loop;

/* limit_d: see silence_read.  ERR_MEMORY. */
MUST_CHECK enum err silence_loop_open(uv_loop_t *loop, struct store *store,
                                      int limit_d, int64_t (*now_ms)(void),
                                      struct silence_loop **out);

/* on_closed is called from the loop, when nothing of it is left.  The store
 * must be closed after it. */
void silence_loop_close(struct silence_loop *l, void (*on_closed)(void *arg),
                        void *arg);

#endif
