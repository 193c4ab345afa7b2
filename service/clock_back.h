/*
 * clock_back - what is due by a clock that was set back
 *
 * What waits stands in the store with the time at which it is due, since it
 * outlives the process.  Where the clock is set back (by hand, or a machine
 * that was given the time of last week), what is due now would be due only when
 * the clock has come there again: a review not for a week, a Task not sent.  So
 * a clock that goes back is noticed, by the one that cannot (CLOCK_MONOTONIC,
 * clock_gettime(3)), or at a start by what was written down last, and what
 * waits is moved back with it.
 */
#ifndef HEADGATE_SERVICE_CLOCK_BACK_H
#define HEADGATE_SERVICE_CLOCK_BACK_H

#include "service/db.h"

/* A clock that is slewed or stepped by less is left alone. */
enum { CLOCK_BACK_LEAST_MS = 2000 };

struct clock_watch {
    int64_t wall_ms, steady_ms; /* when it was looked at last; 0: never */
};

/*
 * clock_watch_look - is the wall clock earlier than it should be?
 *
 * was_ms  true: what it would say now if it had not been set back
 */
bool clock_watch_look(struct clock_watch *watch, int64_t wall_ms,
                      int64_t steady_ms, int64_t *was_ms);

/* Store thread: when somebody wrote something down last; 0: never. */
MUST_CHECK enum err clock_back_last(struct db *db, int64_t *last_ms);

/*
 * Store thread: the clock said was_ms, and says now_ms.  What was due by then
 * is due now; waits go on as long as they would have; what is due by a date
 * stays there.  But a suggestion that was told of at a time that has not come
 * yet is told of now, and is due as long after now as it was after that: what
 * must be seen to within hours is not due in a year.
 */
MUST_CHECK enum err clock_back_mend(struct db *db, int64_t was_ms,
                                    int64_t now_ms);

#endif
