/*
 * tally_loop - what was refused and is kept nowhere, counted in memory
 *
 * Loop thread.  Written to the store every 30 seconds and at the end, so that
 * a flood of bad requests does not cost a commit each.  A crash loses at most
 * the counts of that time, never an input.
 */
#ifndef HEADGATE_SERVICE_TALLY_LOOP_H
#define HEADGATE_SERVICE_TALLY_LOOP_H

#include "adapters/outcome.h"
#include "service/store.h"
#include "service/tally.h"

struct tally_loop;

/* ERR_MEMORY.  now_ms: the wall clock. */
MUST_CHECK enum err tally_loop_open(uv_loop_t *loop, struct store *store,
                                    int64_t (*now_ms)(void),
                                    struct tally_loop **out);

/* An input was answered with an error of its content (not of its rights): the
 * first error counts.  sender NULL: not told apart.  t NULL: nothing is done. */
void tally_loop_refused(struct tally_loop *t, const char *sender,
                        enum quarantine_way way, const struct outcome *outcome);

/* Write what there is; on_closed is called from the loop, after the timer has
 * gone.  The store must be closed after it. */
void tally_loop_close(struct tally_loop *t, void (*on_closed)(void *arg),
                      void *arg);

#endif
