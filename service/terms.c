#include "service/terms.h"

enum err term_number(struct db *db, const char *system, const char *value,
                     int64_t *number)
{
    const enum query q = Q_TERM_FIND;
    enum err e = db_first(db, q, "ss", value, system);

    if (e == ERR_OK) {
        *number = db_int(db, q, 0);
        db_done(db, q);
    } else if (e == ERR_ABSENT) {
        e = db_run(db, Q_TERM_ADD, "ss", value, system);
        *number = db_added(db);
    }
    return e;
}
