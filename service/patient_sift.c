/* The first stage of an erasure: which messages name the patient, and what in
 * them is of others. */
#include "service/pack.h"
#include "service/patient_erase.h"
#include "service/patient_whole.h"
#include "service/resources.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    ROWS_AT_ONCE = 16,        /* bodies: some tens of microseconds each */
    RESOURCES_AT_ONCE = 2000, /* by number */
    STAGES = 1 + SIFT_SIEVES
};

/* One table of bodies: how it is read, and where what is found is noted. */
struct sieve {
    enum query read, add;
    int kind; /* of whole_doubt */
};
static const struct sieve sieves[SIFT_SIEVES] = {
    { Q_SIFT_JOURNAL, Q_WHOLE_ADD_JOURNAL, 1 },
    { Q_SIFT_MESSAGE, Q_WHOLE_ADD_MESSAGE, 2 },
    { Q_SIFT_ITEM, Q_WHOLE_ADD_ITEM, 3 },
};
static const struct sieve collected = { Q_SIFT_COLLECTED, Q_WHOLE_ADD_MESSAGE,
                                        2 };
static const struct sieve waiting = { Q_SIFT_WAITING, Q_WHOLE_ADD_MESSAGE, 2 };

/* ---- a row ---------------------------------------------------------------------- */

/* What is shown to people of an input that has no form any more: its numbers,
 * "4711 / 4712".  Of which system they are nothing says. */
static enum err look_at_shown(const struct seeking *s, const char *shown,
                              struct found *found)
{
    char *copy, *rest, *one;

    if (shown == NULL || found->how != SOUGHT_NOT)
        return ERR_OK;
    copy = rest = strdup(shown);
    if (copy == NULL)
        return ERR_MEMORY;
    while ((one = patient_sought_part(&rest, '/')) != NULL) {
        one += strspn(one, " ");
        one[strcspn(one, " ")] = '\0';
        if (patient_names_number(s->names, one))
            found->how = SOUGHT_PERHAPS;
    }
    free(copy);
    return ERR_OK;
}

static enum err look_into(const struct seeking *s, const struct sieve *sieve,
                          struct found *found)
{
    const enum query q = sieve->read;
    const char *source = sieve->kind != 1 ? db_text(s->db, q, 3) : NULL;
    size_t len;
    const void *packed = db_blob(s->db, q, 2, &len);
    struct buf body;
    enum err e = ERR_OK;

    *found = (struct found){ .how = SOUGHT_NOT };
    buf_init(&body, BODY_MAX);
    if (packed != NULL && len > 0)
        e = unpack(packed, len, (size_t)db_int(s->db, q, 1), &body);
    if (e == ERR_OK && body.len > 0)
        e = patient_sought(s, source, body.data, body.len, found);
    buf_clear(&body);
    if (e == ERR_OK && sieve->kind == 3)
        e = look_at_shown(s, db_text(s->db, q, 4), found);
    return e;
}

/* ---- rows ----------------------------------------------------------------------- */

struct finding {
    int64_t id;
    struct found found;
};

/* The patient's alone, for sure; or to be cut; or left for a person to look
 * at. */
static enum err take(struct db *db, const struct sieve *sieve,
                     const struct finding *f)
{
    if (f->found.how == SOUGHT_NOT)
        return ERR_OK;
    if (f->found.how == SOUGHT_SURE && !f->found.others)
        return db_run(db, sieve->add, "i", f->id);
    return db_run(db, Q_DOUBT_ADD, "iii", INT64(sieve->kind), f->id,
                  INT64(f->found.apart    ? 2
                        : f->found.others ? 1
                                          : 0));
}

static enum err sift_rows(const struct seeking *s, const struct sieve *sieve,
                          int64_t *after, bool *more)
{
    struct db *db = s->db;
    struct finding list[ROWS_AT_ONCE];
    size_t rows = 0;
    enum err e = db_query(db, sieve->read, "ii", *after, INT64(ROWS_AT_ONCE));

    while (e == ERR_OK && rows < ROWS_AT_ONCE &&
           (e = db_next(db, sieve->read)) == ERR_OK) {
        list[rows].id = *after = db_int(db, sieve->read, 0);
        e = look_into(s, sieve, &list[rows].found);
        rows++;
    }
    db_done(db, sieve->read);
    if (e == ERR_ABSENT)
        e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < rows; i++)
        e = take(db, sieve, &list[i]);
    *more = rows == ROWS_AT_ONCE;
    return e;
}

static enum err sift_all(const struct seeking *s, const struct sieve *sieve,
                         int64_t *after)
{
    bool more = true;
    enum err e = ERR_OK;

    while (e == ERR_OK && more)
        e = sift_rows(s, sieve, after, &more);
    return e;
}

enum err patient_sift_known(const struct seeking *s)
{
    int64_t after = 0;
    enum err e = sift_all(s, &waiting, &after);

    after = 0;
    if (e == ERR_OK)
        e = sift_all(s, &sieves[2], &after);
    after = 0;
    return e == ERR_OK ? sift_all(s, &collected, &after) : e;
}

/* ---- what is of others ------------------------------------------------------------ */

static enum err sift_kept(struct db *db, struct erase_sift *s, bool *more)
{
    enum err e =
        db_run(db, Q_SIFT_KEPT, "ii", s->after, s->after + RESOURCES_AT_ONCE);

    s->after += RESOURCES_AT_ONCE;
    *more = s->after < s->newest_resource;
    return e;
}

/* ---- piece by piece --------------------------------------------------------------- */

static struct seeking seeking_of(struct db *db, const struct erase_sift *s)
{
    return (struct seeking){ .db = db,
                             .names = s->names,
                             .senders = s->senders,
                             .base = s->base != NULL ? s->base : "" };
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
    const struct seeking seeking = seeking_of(db, s);
    bool here = false;
    enum err e;

    if (s->stage > 0 && (e = patient_whole_marked(db, s->mark)) != ERR_OK)
        return e;
    if (s->stage == 0)
        e = begin(db, s);
    else if (s->stage < STAGES)
        e = sift_rows(&seeking, &sieves[s->stage - 1], &s->last[s->stage - 1],
                      &here);
    else
        e = sift_kept(db, s, &here);
    if (s->stage == 1)
        s->looked = s->last[0];
    *more = here || s->stage < STAGES;
    if (e == ERR_OK && !here && ++s->stage == STAGES)
        e = db_run(db, Q_SIFT_SEEN, "");
    if (!here)
        s->after = 0;
    return e;
}

/* A patient who is called something more by now is looked for from the
 * beginning again. */
enum err patient_erase_sift_rest(struct db *db, struct erase_sift *s)
{
    const struct seeking seeking = seeking_of(db, s);
    size_t before = s->names->count;
    int64_t after = 0;
    enum err e = patient_names_read(db, s->patient, s->names);

    if (e == ERR_OK && s->names->count != before)
        memset(s->last, 0, sizeof(s->last));
    for (size_t i = 0; e == ERR_OK && i < SIFT_SIEVES; i++)
        e = sift_all(&seeking, &sieves[i], &s->last[i]);
    if (e == ERR_OK)
        e = patient_whole_collect(db, s->patient, s->mark);
    return e == ERR_OK ? sift_all(&seeking, &collected, &after) : e;
}
