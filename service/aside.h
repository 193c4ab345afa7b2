/*
 * aside - what was put aside on the way to the record, and a person's word
 * on it
 *
 * Store thread only.  Nothing is sent from here: a row that is to be tried
 * again is due at once, and the outbox takes it up.
 */
#ifndef HEADGATE_SERVICE_ASIDE_H
#define HEADGATE_SERVICE_ASIDE_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "service/db.h"

enum { ASIDE_LIST_MAX = 1000, ASIDE_WORDS_SIZE = 400 };

/*
 * aside_read - list it, the oldest first
 *
 * json      one object a line, else text for people
 * given_up  those that a person gave up, else those that wait for one
 * most      how many are listed; that there are more is said at the end, in
 *           JSON as {"more":17}.  ASIDE_ALL: however many
 */
#define ASIDE_ALL INT64_MAX
MUST_CHECK enum err aside_read(struct db *db, bool json, bool given_up,
                               int64_t most, const struct zone *zone,
                               struct buf *out);

/*
 * aside_again - try again: one row, or all that were put aside (row 0)
 *
 * count  out: how many are due now
 * ERR_ABSENT  there is no such row, or it was not put aside
 */
MUST_CHECK enum err aside_again(struct db *db, int64_t row, int64_t now_ms,
                                size_t *count);

/*
 * aside_give_up - never send it; who and why are kept with it
 *
 * A later version of the same resource (new evidence) is sent all the same.
 *
 * ERR_ABSENT  there is no such row, or it was not put aside
 */
MUST_CHECK enum err aside_give_up(struct db *db, int64_t row, const char *who,
                                  const char *why);

#endif
