/* The first stage of an erasure: which messages name the patient, and what in
 * them is of others. */
#include "service/pack.h"
#include "service/patient_erase.h"
#include "service/patient_whole.h"
#include "service/resources.h"

enum {
    ROWS_AT_ONCE = 16,        /* bodies: some tens of microseconds each */
    RESOURCES_AT_ONCE = 2000, /* by number */
    STAGES = 4
};

/* One table of bodies: how it is read, and where what is found is noted. */
struct sieve {
    enum query read, add;
};
static const struct sieve sieves[] = {
    { Q_SIFT_JOURNAL, Q_WHOLE_ADD_JOURNAL },
    { Q_SIFT_MESSAGE, Q_WHOLE_ADD_MESSAGE },
    { Q_SIFT_ITEM, Q_WHOLE_ADD_ITEM },
};

static enum err look_into(struct db *db, enum query q,
                          const struct patient_names *names, bool *found)
{
    size_t len;
    const void *packed = db_blob(db, q, 2, &len);
    struct buf body;
    enum err e;

    buf_init(&body, BODY_MAX);
    e = unpack(packed, len, (size_t)db_int(db, q, 1), &body);
    *found = e == ERR_OK && patient_names_in(names, body.data, body.len);
    buf_clear(&body);
    return e;
}

static enum err sift_rows(struct db *db, struct erase_sift *s,
                          const struct sieve *sieve, bool *more)
{
    int64_t found[ROWS_AT_ONCE];
    size_t rows = 0, count = 0;
    enum err e = db_query(db, sieve->read, "ii", s->after, INT64(ROWS_AT_ONCE));

    while (e == ERR_OK && (e = db_next(db, sieve->read)) == ERR_OK) {
        bool is_found = false;

        rows++;
        s->after = db_int(db, sieve->read, 0);
        e = look_into(db, sieve->read, s->names, &is_found);
        if (e == ERR_OK && is_found && count < ROWS_AT_ONCE)
            found[count++] = s->after;
    }
    db_done(db, sieve->read);
    if (e == ERR_ABSENT)
        e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = db_run(db, sieve->add, "i", found[i]);
    *more = rows == ROWS_AT_ONCE;
    return e;
}

static enum err sift_kept(struct db *db, struct erase_sift *s, bool *more)
{
    enum err e =
        db_run(db, Q_SIFT_KEPT, "ii", s->after, s->after + RESOURCES_AT_ONCE);

    s->after += RESOURCES_AT_ONCE;
    *more = s->after < s->newest_resource;
    return e;
}

static enum err begin(struct db *db, struct erase_sift *s)
{
    enum err e = patient_whole_collect(db, s->patient, s->mark);

    if (e == ERR_OK)
        e = patient_names_read(db, s->patient, s->names);
    if (e == ERR_OK)
        e = db_first(db, Q_SIFT_NEWEST, "");
    if (e == ERR_OK) {
        s->newest_resource = db_int(db, Q_SIFT_NEWEST, 0);
        s->total = db_int(db, Q_SIFT_NEWEST, 1);
    }
    db_done(db, Q_SIFT_NEWEST);
    return e;
}

enum err patient_erase_sift(struct db *db, struct erase_sift *s, bool *more)
{
    bool here = false;
    enum err e;

    if (s->stage > 0 && (e = patient_whole_marked(db, s->mark)) != ERR_OK)
        return e;
    if (s->stage == 0)
        e = begin(db, s);
    else if (s->stage < STAGES)
        e = sift_rows(db, s, &sieves[s->stage - 1], &here);
    else
        e = sift_kept(db, s, &here);
    if (s->stage == 1)
        s->looked = s->after;
    *more = here || s->stage < STAGES;
    if (e == ERR_OK && !here && ++s->stage == STAGES)
        e = db_run(db, Q_SIFT_SEEN, "");
    if (!here)
        s->after = 0;
    return e;
}
