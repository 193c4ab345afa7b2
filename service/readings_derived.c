/* Observations that were calculated from others. */
#include "service/readings_work.h"

#include "service/news.h"
#include "service/resources.h"

#include <stdio.h>
#include <string.h>

enum { OWNERS_MAX = 16 };

enum err readings_withdraw_derived(struct db *db, const char *fid,
                                   int64_t patient, int64_t now_ms)
{
    char literal[FID_SIZE + 16];
    int64_t resources[OWNERS_MAX], owners[OWNERS_MAX];
    size_t count = 0, owner_count;
    enum err e;

    snprintf(literal, sizeof(literal), "Observation/%s", fid);
    e = db_query(db, Q_DERIVED_LIST, "s", literal);
    while (e == ERR_OK && (e = db_next(db, Q_DERIVED_LIST)) == ERR_OK) {
        if (count < OWNERS_MAX)
            resources[count++] = db_int(db, Q_DERIVED_LIST, 0);
    }
    if (e != ERR_ABSENT)
        return e;
    e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        owner_count = 0;
        e = db_query(db, Q_READING_OWNERS, "i", resources[i]);
        while (e == ERR_OK && (e = db_next(db, Q_READING_OWNERS)) == ERR_OK) {
            if (owner_count < OWNERS_MAX)
                owners[owner_count++] = db_int(db, Q_READING_OWNERS, 0);
        }
        e = e == ERR_ABSENT ? db_run(db, Q_READING_WITHDRAW, "ii", resources[i],
                                     INT64(READING_WITHDRAWN))
                            : e;
        for (size_t k = 0; e == ERR_OK && k < owner_count; k++)
            e = news_mark_owner(db, owners[k], patient, now_ms);
    }
    return e;
}

/* Was the Observation of this literal reference withdrawn before? */
static enum err is_withdrawn(struct db *db, const char *literal, bool *gone)
{
    static const char type[] = "Observation/";
    struct resource row = { .id = 0 };
    enum err e = ERR_ABSENT;

    if (strncmp(literal, type, strlen(type)) == 0)
        e = resource_by_fid(db, FHIR_OBSERVATION, literal + strlen(type), &row);
    *gone = e == ERR_OK && row.status == READING_WITHDRAWN;
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err readings_note_sources(struct db *db, const struct fhir_observation *o,
                               int64_t resource)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < o->derived_count; i++) {
        bool gone = false;

        e = db_run(db, Q_DERIVED_ADD, "si", o->derived_from[i], resource);
        if (e == ERR_OK)
            e = is_withdrawn(db, o->derived_from[i], &gone);
        if (e == ERR_OK && gone)
            e = db_run(db, Q_READING_WITHDRAW, "ii", resource,
                       INT64(READING_WITHDRAWN));
    }
    return e;
}
