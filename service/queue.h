/*
 * queue - the referral queue, read from the store
 *
 * Store thread only.
 *
 *     queue_rows.c  the rows, in order
 *     queue.c       what of them was asked for, and the answer
 */
#ifndef HEADGATE_SERVICE_QUEUE_H
#define HEADGATE_SERVICE_QUEUE_H

#include "adapters/buf.h"
#include "adapters/queue_filter.h"
#include "service/db.h"

enum {
    QUEUE_WORD_SIZE = 256,
    QUEUE_ACCESSES_MAX = 64,
    QUEUE_MARK_SIZE = 96,
    UNITS_MAX = 2000
};

/* What of the queue is asked for, and how it is written. */
struct queue_wish {
    bool table; /* for people; else NDJSON */
    struct queue_options options;
    char unit[QUEUE_WORD_SIZE];   /* "" any; see queue_asks_no_unit */
    char access[QUEUE_WORD_SIZE]; /* "" any; label, identifier, id */
    struct queue_filter filter;   /* state and rules: in; the rest: of read */
    int64_t accesses[QUEUE_ACCESSES_MAX]; /* of read */
    int feed_limit_d; /* report.silent_days; 0: the habit of each feed */
};

/*
 * queue_read - rows of queue_rows_read that were asked for, as a table or as
 * NDJSON
 *
 * held_from_s  see queue_rows_read
 *
 * ERR_ABSENT  there is no such unit or access: out says so, for people
 */
MUST_CHECK enum err queue_read(struct db *db, struct queue_wish *wish,
                               int64_t held_from_s, struct buf *out);

/*
 * queue_unit_known - is there a patient of a unit of this name?
 *
 * ERR_ABSENT  none; why says so, with the names that there are
 */
MUST_CHECK enum err queue_unit_known(struct db *db, const char *unit,
                                     struct buf *why);

/*
 * queue_mark - an entity tag that stays as long as the queue does
 *
 * It costs a row of a table.  The hour in the title is no change.
 */
MUST_CHECK enum err queue_mark(struct db *db,
                               const struct queue_options *options,
                               char mark[QUEUE_MARK_SIZE]);

#endif
