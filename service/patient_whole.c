#include "service/patient_whole.h"

#include <string.h>

enum err patient_whole_find(struct db *db, const char *name, int64_t *patient)
{
    const enum query q = Q_WHOLE_FIND;
    enum err e;

    if (strncmp(name, "Patient/", 8) == 0)
        name += 8;
    e = db_first(db, q, "s", name);
    if (e != ERR_OK)
        return e;
    *patient = db_int(db, q, 0);
    e = db_next(db, q);
    db_done(db, q);
    if (e == ERR_OK)
        return ERR_AMBIGUOUS;
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- collecting ------------------------------------------------------------- */

static enum err run_all(struct db *db, const enum query *list, size_t count)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = db_run(db, list[i], "");
    return e;
}

static enum err empty_tables(struct db *db)
{
    static const enum query empty[] = { Q_WHOLE_NO_MARK,     Q_WHOLE_NO_ACCESS,
                                        Q_WHOLE_NO_RESOURCE, Q_WHOLE_NO_JOURNAL,
                                        Q_WHOLE_NO_KEPT,     Q_WHOLE_NO_MESSAGE,
                                        Q_WHOLE_NO_ITEM,     Q_WHOLE_NO_DOUBT };

    return run_all(db, empty, COUNT(empty));
}

enum err patient_whole_marked(struct db *db, int64_t mark)
{
    enum err e = db_first(db, Q_WHOLE_MARKED, "i", mark);

    db_done(db, Q_WHOLE_MARKED);
    return e == ERR_ABSENT ? ERR_CONFLICT : e;
}

static enum err prepare(struct db *db, int64_t mark)
{
    enum err e = patient_whole_marked(db, mark);

    if (e != ERR_CONFLICT && mark != 0)
        return e;
    e = empty_tables(db);
    return e == ERR_OK ? db_run(db, Q_WHOLE_MARK, "i", mark) : e;
}

enum err patient_whole_collect(struct db *db, int64_t patient, int64_t mark)
{
    static const enum query of_patient[] = { Q_WHOLE_ACCESSES, Q_WHOLE_OWN,
                                             Q_WHOLE_HELD,     Q_WHOLE_TASKS,
                                             Q_WHOLE_NAMED,    Q_WHOLE_NUMBERED,
                                             Q_WHOLE_PERSONS };
    /* after those: what goes with them */
    static const enum query of_those[] = { Q_WHOLE_BESIDE, Q_WHOLE_JOURNALS,
                                           Q_WHOLE_MESSAGES };
    enum err e = prepare(db, mark);

    for (size_t i = 0; e == ERR_OK && i < COUNT(of_patient); i++)
        e = db_run(db, of_patient[i], "i", patient);
    if (e == ERR_OK)
        e = db_run(db, Q_WHOLE_READINGS, "i", patient);
    if (e == ERR_OK)
        e = run_all(db, of_those, COUNT(of_those));
    return e == ERR_OK ? db_run(db, Q_WHOLE_REMOTES, "i", patient) : e;
}

enum err patient_whole_settle(struct db *db)
{
    static const enum query steps[] = { Q_WHOLE_ITEM_MESSAGES, Q_DOUBT_CLEARED,
                                        Q_DOUBT_NO_MESSAGE, Q_DOUBT_NO_ITEM,
                                        Q_WHOLE_ITEMS };

    return run_all(db, steps, COUNT(steps));
}
