#include "service/news.h"

#include "service/accesses.h"
#include "service/resources.h"

enum { ACCESSES_MAX = 16 };

enum err news_mark(struct db *db, int64_t access, int64_t due_ms)
{
    return db_run(db, Q_NEWS_ADD, "iii", access, partition_of(access), due_ms);
}

enum err news_mark_owner(struct db *db, int64_t owner, int64_t patient,
                         int64_t now_ms)
{
    int64_t accesses[ACCESSES_MAX];
    struct access a;
    size_t count;
    enum err e;

    if (owner != patient) {
        e = access_get(db, owner, &a);
        if (e == ERR_OK)
            return news_mark(db, a.merged != 0 ? a.merged : owner, now_ms);
        if (e != ERR_ABSENT)
            return e;
        /* of another patient, before a correction: his accesses lose it */
    }
    e = access_list(db, owner, accesses, ACCESSES_MAX, &count);
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = news_mark(db, accesses[i], now_ms);
    return e;
}
