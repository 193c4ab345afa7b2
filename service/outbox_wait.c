#include "service/outbox_wait.h"

#define POSTING_KEY "posting_ms"

enum { STATE_WAITING = 0 };

/* The one number of a statement without places; 0: there is none. */
static enum err moment(struct db *db, enum query q, int64_t *at_ms)
{
    enum err e = db_first(db, q, "");

    *at_ms = e == ERR_OK && !db_is_null(db, q, 0) ? db_int(db, q, 0) : 0;
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Since when something is posted; 0: nothing is. */
static enum err posting_since(struct db *db, int64_t *at_ms)
{
    const enum query q = Q_META_GET;
    enum err e = db_first(db, q, "s", POSTING_KEY);

    *at_ms = e == ERR_OK ? db_int(db, q, 0) : 0;
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* What lies ahead is of a clock that has been set back since. */
static int64_t age_ms(int64_t now_ms, int64_t at_ms)
{
    return at_ms > 0 && at_ms < now_ms ? now_ms - at_ms : 0;
}

enum err outbox_wait_look(struct db *db, int64_t now_ms,
                          struct outbox_wait *wait)
{
    int64_t due_ms = 0, made_ms = 0, posting_ms = 0;
    enum err e = moment(db, Q_OUTBOX_OLDEST, &due_ms);

    if (e == ERR_OK)
        e = moment(db, Q_OUTBOX_LONGEST, &made_ms);
    if (e == ERR_OK)
        e = posting_since(db, &posting_ms);
    if (posting_ms == 0)
        made_ms = 0; /* what is left from before is not to be sent */
    else if (made_ms > 0 && made_ms < posting_ms && posting_ms <= now_ms)
        made_ms = posting_ms;
    *wait = (struct outbox_wait){ .late_ms = age_ms(now_ms, due_ms),
                                  .oldest_ms = age_ms(now_ms, made_ms) };
    return e;
}

enum err outbox_wait_began(struct db *db, bool posts, int64_t now_ms)
{
    int64_t since_ms;
    enum err e = posting_since(db, &since_ms);

    if (e != ERR_OK || posts == (since_ms > 0))
        return e;
    return db_run(db, Q_META_PUT, "si", POSTING_KEY, posts ? now_ms : 0);
}

enum err outbox_wait_end(struct db *db, int64_t now_ms, size_t *count)
{
    const enum query q = Q_OUTBOX_COUNTS;
    enum err e = db_run(db, Q_OUTBOX_HASTEN, "i", now_ms);

    *count = 0;
    if (e == ERR_OK)
        e = db_query(db, q, "");
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (db_int(db, q, 0) == STATE_WAITING)
            *count = (size_t)db_int(db, q, 1);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}
