/* A Task at the record was seen: is it one of ours, and new? */
#include "service/follow.h"

#include "adapters/fhir_read.h"

#include <string.h>

enum {
    SETTLED_MS = 5000, /* a search may lag behind what was written */
    ROUNDED_MS = 2000, /* times to the second, on both sides */
};

/* The Task of ours that is meant; ERR_ABSENT: none.  *twin: it is another one
 * with the key of ours. */
static enum err find_ours(struct db *db, const char *key, const char *remote,
                          int64_t *task, bool *twin)
{
    enum query q = key != NULL ? Q_FOLLOW_FIND : Q_FOLLOW_REMOTE;
    const char *ours;
    enum err e = key != NULL ? db_first(db, q, "s", key)
                             : db_first(db, q, "si", remote, INT64(FHIR_TASK));

    if (e != ERR_OK)
        return e;
    *task = db_int(db, q, 0);
    ours = db_text(db, q, 1);
    *twin = ours != NULL && strcmp(ours, remote) != 0;
    e = ours != NULL ? ERR_OK : ERR_ABSENT; /* its delivery will find it */
    db_done(db, q);
    return e;
}

static enum err is_known(struct db *db, const char *remote, const char *version,
                         int64_t updated_ms, bool *known)
{
    const enum query q = Q_ORIGIN_GET;
    enum err e = db_first(db, q, "is", INT64(FHIR_TASK), remote);

    *known = false;
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    *known = strcmp(db_text(db, q, 0), version) == 0 &&
             db_int(db, q, 1) == updated_ms &&
             (version[0] != '\0' || updated_ms != INT64_MIN);
    db_done(db, q);
    return ERR_OK;
}

enum err follow_seen(struct db *db, const char *key, const char *remote,
                     const char *version, int64_t updated_ms, int64_t now_ms,
                     bool *marked)
{
    int64_t task = 0;
    bool twin = false, known;
    enum err e;

    *marked = false;
    if (version == NULL)
        version = "";
    e = is_known(db, remote, version, updated_ms, &known);
    if (e != ERR_OK || known)
        return e;
    e = find_ours(db, key, remote, &task, &twin);
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    e = db_run(db, Q_OUTBOX_LOOK, "iii", task, now_ms, INT64(twin ? 1 : 0));
    if (e == ERR_OK)
        e = db_run(db, Q_ORIGIN_PUT, "issii", INT64(FHIR_TASK), remote, version,
                   updated_ms, task);
    if (e == ERR_OK)
        e = db_run(db, Q_FOLLOW_PUT, "isi", task, version, now_ms);
    *marked = e == ERR_OK;
    return e;
}

enum err follow_should_find(struct db *db, int64_t since_ms, int64_t now_ms,
                            bool *should)
{
    const enum query q = Q_FOLLOW_FRESH;
    enum err e = db_first(db, q, "iii", INT64(FHIR_TASK), since_ms + ROUNDED_MS,
                          now_ms - SETTLED_MS);

    *should = e == ERR_OK;
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}
