#include "service/clock_back.h"

enum { MINUTE_S = 60 }; /* less is no wrong clock */

bool clock_watch_look(struct clock_watch *w, int64_t wall_ms, int64_t steady_ms,
                      int64_t *was_ms)
{
    bool looked = w->steady_ms != 0;

    *was_ms = w->wall_ms + (steady_ms - w->steady_ms);
    w->wall_ms = wall_ms;
    w->steady_ms = steady_ms;
    return looked && *was_ms - wall_ms >= CLOCK_BACK_LEAST_MS;
}

enum err clock_back_last(struct db *db, int64_t *last_ms)
{
    enum err e = db_first(db, Q_CLOCK_LAST, "");

    *last_ms = e == ERR_OK ? db_int(db, Q_CLOCK_LAST, 0) : 0;
    db_done(db, Q_CLOCK_LAST);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err clock_back_mend(struct db *db, int64_t was_ms, int64_t now_ms)
{
    enum err e = db_run(db, Q_CLOCK_NEWS, "ii", was_ms, now_ms);

    if (e == ERR_OK)
        e = db_run(db, Q_CLOCK_OUTBOX, "ii", was_ms, now_ms);
    if (e == ERR_OK)
        e = db_run(db, Q_CLOCK_FETCH, "ii", was_ms, now_ms);
    if (e == ERR_OK)
        e = db_run(db, Q_CLOCK_EPISODE, "ii", now_ms / 1000, INT64(MINUTE_S));
    /* what was judged by the wrong date is judged again */
    return e == ERR_OK && db_changes(db) > 0 ? db_run(db, Q_NEWS_OF_ALL, "")
                                             : e;
}
