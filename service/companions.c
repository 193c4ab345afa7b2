#include "service/companions.h"

#include "adapters/fhir_companion.h"

#include <stdio.h>
#include <string.h>

enum err companion_get(struct db *db, int64_t task, enum fhir_type kind,
                       struct companion *c)
{
    const enum query q = Q_COMPANION_GET;
    enum err e = db_first(db, q, "ii", task, INT64(kind));
    const char *key;
    int64_t id;

    *c = (struct companion){ .task = task, .kind = kind };
    c->row.kind = kind;
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    id = db_int(db, q, 0);
    key = db_text(db, q, 1);
    snprintf(c->key, sizeof(c->key), "%s", key != NULL ? key : "");
    db_done(db, q);
    return resource_get(db, id, &c->row);
}

/* Those that are sent by themselves, when the Task is there. */
static bool goes_alone(enum fhir_type kind)
{
    return kind == FHIR_FLAG || kind == FHIR_PROVENANCE;
}

enum err companion_put(struct db *db, struct companion *c, int64_t part,
                       int64_t now_ms, const struct buf *json, bool record)
{
    struct new_version v = { .body = json->data, .len = json->len };
    const char *key = c->key[0] != '\0' ? c->key : NULL;
    enum err e;

    c->row.kind = c->kind;
    e = resource_put(db, &c->row, NULL, part, now_ms, &v);
    if (e == ERR_OK)
        e = db_run(db, Q_COMPANION_PUT, "iiiis", c->task, INT64(c->kind),
                   c->row.id, part, key);
    return e == ERR_OK && record
               ? db_run(db, Q_OUTBOX_WANT_BESIDE, "iiiiisi", c->row.id, part,
                        INT64(c->row.version), now_ms, c->task, key,
                        INT64(goes_alone(c->kind)))
               : e;
}

enum err companion_body(struct db *db, const struct companion *c,
                        struct buf *out)
{
    int64_t updated_ms;

    return resource_body(db, &c->row, 0, out, &updated_ms);
}

/* ---- the end of a Flag ------------------------------------------------------ */

static enum err end_flag(struct db *db, struct companion *flag, int64_t part,
                         int64_t now_ms, bool record)
{
    struct buf old, json;
    enum err e;

    buf_init(&old, TASK_MAX);
    buf_init(&json, TASK_MAX);
    e = companion_body(db, flag, &old);
    if (e == ERR_OK)
        e = fhir_flag_end(old.data, old.len, now_ms, &json);
    /* one that has ended is left as it was, byte for byte */
    if (e == ERR_OK &&
        (json.len != old.len || memcmp(json.data, old.data, old.len) != 0))
        e = companion_put(db, flag, part, now_ms, &json, record);
    buf_clear(&old);
    buf_clear(&json);
    return e;
}

enum err companion_end_flag(struct db *db, int64_t task, int64_t part,
                            int64_t now_ms, bool record)
{
    struct companion flag;
    enum err e = companion_get(db, task, FHIR_FLAG, &flag);

    return e == ERR_OK && flag.row.id != 0
               ? end_flag(db, &flag, part, now_ms, record)
               : e;
}

enum err companion_follow(struct db *db, int64_t task, int64_t now_ms)
{
    struct companion flag;
    bool record = false;
    int64_t part = 0;
    enum err e = companion_get(db, task, FHIR_FLAG, &flag);

    if (e != ERR_OK || flag.row.id == 0)
        return e;
    e = db_first(db, Q_COMPANION_PLACE, "i", flag.row.id);
    if (e == ERR_OK) {
        part = db_int(db, Q_COMPANION_PLACE, 0);
        record = db_int(db, Q_COMPANION_PLACE, 1) != 0;
        db_done(db, Q_COMPANION_PLACE);
    }
    return e == ERR_OK ? end_flag(db, &flag, part, now_ms, record) : e;
}

enum err companion_catch_up(struct db *db, int64_t now_ms)
{
    return db_run(db, Q_COMPANION_CATCH_UP, "iii", now_ms, INT64(FHIR_FLAG),
                  INT64(FHIR_PROVENANCE));
}
