/*
 * technique_run - learning from the finished cases of a store, step by step
 *
 * Store thread only.  Finding the cases, replaying and weighing them takes
 * seconds where there are many; each step is a bounded piece of it, so that
 * what comes in meanwhile is answered between two of them.
 *
 *     LIST (accesses with a band) --> FIND (their cases) -->
 *     REPLAY (the newest) --> LEARN --> DONE
 */
#ifndef HEADGATE_SERVICE_TECHNIQUE_RUN_H
#define HEADGATE_SERVICE_TECHNIQUE_RUN_H

#include "adapters/technique_write.h"
#include "service/review.h"
#include "service/technique_store.h"

struct technique_run;

/* Some 35 MB, until it is closed. */
MUST_CHECK enum err technique_run_open(struct technique_run **run);
void technique_run_close(struct technique_run *run); /* NULL does nothing */

/* One piece.  *done: there is nothing more to do. */
MUST_CHECK enum err technique_run_step(struct technique_run *run, struct db *db,
                                       const struct review *review, bool *done);

/* What was learnt; once it is done. */
const struct technique *technique_run_result(const struct technique_run *run);

/* "ACCESS/SECOND ..." of each case that was learnt from. */
MUST_CHECK enum err technique_run_evidence(const struct technique_run *run,
                                           struct buf *out);

/*
 * technique_run_write - the document, with what is in use now
 */
MUST_CHECK enum err technique_run_write(const struct technique_run *run,
                                        struct db *db, const struct zone *zone,
                                        bool json, struct buf *out);

#endif
