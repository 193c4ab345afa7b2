#include "service/backtest_work.h"

#include "service/backtest_sort.h"
#include "service/resources.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { REFS_MAX = 4096 };

/* ---- what decisions name -------------------------------------------------- */

static bool has_ref(const struct backtest_raised *r,
                    const struct backtest_ref *ref)
{
    for (size_t i = 0; i < r->ref_count; i++) {
        if (r->refs[i].resource == ref->resource &&
            r->refs[i].slot == ref->slot)
            return true;
    }
    return false;
}

static enum err add_ref(struct backtest_raised *r,
                        const struct backtest_ref *ref)
{
    void *more;
    enum err e;

    if (has_ref(r, ref))
        return ERR_OK;
    if (r->ref_count == r->ref_size) {
        e = backtest_grow(r->refs, &r->ref_size, sizeof(*r->refs), REFS_MAX,
                          &more);
        if (e != ERR_OK)
            return e;
        r->refs = more;
    }
    r->refs[r->ref_count++] = *ref;
    return ERR_OK;
}

/* A number and the character that follows it; NULL: not so. */
static const char *number(const char *at, char after, long long *value)
{
    char *end;

    *value = strtoll(at, &end, 10);
    if (end == at || (after != '\0' && *end != after))
        return NULL;
    return after != '\0' ? end + 1 : end;
}

enum err backtest_refs_add(struct backtest_raised *r, const char *text,
                           bool later)
{
    const char *at = text;
    enum err e = ERR_OK;

    while (e == ERR_OK && *at != '\0') {
        long long resource, version, slot;

        at = number(at, '/', &resource);
        at = at != NULL ? number(at, '/', &version) : NULL;
        at = at != NULL ? number(at, '\0', &slot) : NULL;
        if (at == NULL)
            return ERR_FORM;
        e = add_ref(r, &(struct backtest_ref){ .resource = resource,
                                               .version = (int)version,
                                               .slot = (int)slot,
                                               .later = later });
        at += strspn(at, " ");
    }
    return e;
}

/* ---- what they said ------------------------------------------------------- */

/* As it stands in the table, if that is still the version meant. */
static enum err from_table(struct db *db, int64_t resource, int slot,
                           struct backtest_evidence *e)
{
    const enum query q = Q_BACKTEST_READING;
    enum err err =
        db_first(db, q, "iii", resource, INT64(slot), INT64(e->version));

    if (err != ERR_OK)
        return err == ERR_ABSENT ? ERR_OK : err;
    e->quantity = (enum quantity)db_int(db, q, 0);
    e->value = db_double(db, q, 1);
    e->bound = (enum bound)db_int(db, q, 2);
    e->sign = (enum sign)db_int(db, q, 3);
    e->present = db_int(db, q, 4) != 0;
    e->at_s = db_int(db, q, 5);
    e->precision = (enum precision)db_int(db, q, 6);
    e->known = true;
    db_done(db, q);
    return ERR_OK;
}

static void from_item(const struct fhir_item *item, int slot,
                      struct backtest_evidence *e)
{
    const struct fhir_observation *o = &item->u.observation;

    if (item->type != FHIR_OBSERVATION)
        return;
    for (size_t i = 0; i < o->reading_count; i++) {
        const struct reading *r = &o->readings[i].reading;

        if (r->slot != slot)
            continue;
        e->quantity = r->quantity;
        e->value = r->value;
        e->bound = r->bound;
        e->sign = r->sign;
        e->present = r->present;
        e->at_s = r->start_s;
        e->precision = r->precision;
        e->known = true;
    }
}

/* It has been corrected since: read again what came then. */
static enum err from_message(struct db *db, const struct fhir_reader *reader,
                             const struct resource *row, int slot,
                             struct backtest_evidence *e)
{
    struct fhir_reader then = *reader;
    struct fhir_doc *doc = NULL;
    struct outcome outcome;
    struct buf body;
    int64_t updated_ms = 0;
    enum err err;

    buf_init(&body, BODY_MAX);
    outcome_init(&outcome);
    err = resource_body(db, row, e->version, &body, &updated_ms);
    then.now_s = updated_ms / 1000; /* as it was read when it came */
    if (err == ERR_OK)
        err = fhir_read(&then, body.data, body.len, &outcome, &doc);
    if (err == ERR_OK)
        from_item(fhir_doc_item(doc, 0), slot, e);
    if (doc != NULL)
        fhir_doc_free(doc);
    buf_clear(&body);
    return err == ERR_FORM || err == ERR_ABSENT ? ERR_OK : err;
}

/* An id that we have made for one that came without is nobody's name. */
static bool may_be_ours(const char *fid)
{
    return strlen(fid) == 32 && strspn(fid, "0123456789abcdef") == 32;
}

static enum err is_ours(struct db *db, const struct resource *row, bool *ours)
{
    struct buf body;
    int64_t updated_ms;
    enum err e;

    *ours = false;
    if (!may_be_ours(row->fid))
        return ERR_OK;
    buf_init(&body, BODY_MAX);
    e = resource_body(db, row, 1, &body, &updated_ms);
    if (e == ERR_OK)
        *ours = strstr(body.data, row->fid) == NULL;
    buf_clear(&body);
    return e;
}

static enum err name_it(struct db *db, const struct resource *row,
                        struct backtest_evidence *e)
{
    struct buf system, value;
    bool ours;
    enum err err = is_ours(db, row, &ours);

    if (err != ERR_OK)
        return err;
    if (!ours)
        snprintf(e->reference, sizeof(e->reference), "Observation/%s",
                 row->fid);
    buf_init(&system, BODY_MAX);
    buf_init(&value, BODY_MAX);
    err = resource_first_identifier(db, row->id, &system, &value);
    if (err == ERR_OK)
        snprintf(e->identifier, sizeof(e->identifier), "%s", value.data);
    buf_clear(&system);
    buf_clear(&value);
    return err == ERR_ABSENT ? ERR_OK : err;
}

static enum err look_up(struct db *db, const struct fhir_reader *reader,
                        int64_t resource, int slot, struct backtest_evidence *e)
{
    struct resource row;
    enum err err = resource_get(db, resource, &row);

    if (err == ERR_OK)
        err = name_it(db, &row, e);
    if (err != ERR_OK)
        return err;
    e->value = NAN;
    err = from_table(db, resource, slot, e);
    if (err == ERR_OK && !e->known)
        err = from_message(db, reader, &row, slot, e);
    return err;
}

static int by_time(const void *a, const void *b)
{
    const struct backtest_evidence *x = a, *y = b;

    if (x->at_s != y->at_s)
        return x->at_s < y->at_s ? -1 : 1;
    if (strcmp(x->reference, y->reference) != 0)
        return strcmp(x->reference, y->reference);
    return strcmp(x->identifier, y->identifier);
}

enum err backtest_evidence(struct db *db, const struct fhir_reader *reader,
                           struct backtest_raised *r)
{
    struct backtest_suggestion *s = &r->s;
    enum err e = ERR_OK;

    s->evidence = calloc(r->ref_count + 1, sizeof(*s->evidence));
    if (s->evidence == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; e == ERR_OK && i < r->ref_count; i++) {
        s->evidence[i].version = r->refs[i].version;
        s->evidence[i].later = r->refs[i].later;
        e = look_up(db, reader, r->refs[i].resource, r->refs[i].slot,
                    &s->evidence[i]);
    }
    s->evidence_count = r->ref_count;
    qsort(s->evidence, s->evidence_count, sizeof(*s->evidence), by_time);
    return e;
}
