/*
 * queue_rows - what is in the queue, read from the store and put in order
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_QUEUE_ROWS_H
#define HEADGATE_SERVICE_QUEUE_ROWS_H

#include "adapters/queue_write.h"
#include "service/db.h"

enum { QUEUE_ROWS_MAX = 20000 };

/* Rows, and the copies of all text they point to. */
struct queue_rows {
    struct queue_row *rows;
    size_t count, size;
    char **texts;
    size_t text_count, text_size;
    bool cut; /* there are more than QUEUE_ROWS_MAX */
    enum err err;
};

/*
 * queue_rows_read - signs of emergency that are held, then open referrals, the
 * most urgent first and by the day they are due, then open reminders, then what
 * a person has in hand though its ground has gone, then what was put off
 *
 * Within the immediate ones: bleeding, hand, low flow, infection, others.
 *
 * held_from_s  what was measured before is not put to people any more, see
 *              general.historic_d of the policy; it stays held
 *
 * ERR_MEMORY, and errors of the store.  Clear it in any case.
 */
MUST_CHECK enum err queue_rows_read(struct db *db, int64_t held_from_s,
                                    int64_t now_s, struct queue_rows *rows);
void queue_rows_clear(struct queue_rows *rows);

#endif
