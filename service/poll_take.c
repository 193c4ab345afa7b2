#include "service/poll_take_work.h"

#include "adapters/fhir_search.h"
#include "service/audit_feeds.h"
#include "service/quarantine_urgent.h"
#include "service/tally.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FETCHES_MAX = 10000 };

_Static_assert((int)TAKE_POLL == (int)QUARANTINE_POLL &&
                   (int)TAKE_BY_ID == (int)QUARANTINE_BY_ID,
               "the ways are stored");

enum err take_find_origin(struct db *db, enum fhir_type kind,
                          const char *remote, struct take_origin *row)
{
    const enum query q = Q_ORIGIN_GET;
    enum err e;

    *row = (struct take_origin){ .updated_ms = INT64_MIN };
    e = db_first(db, q, "is", INT64(kind), remote);
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    snprintf(row->version, FID_SIZE, "%s", db_text(db, q, 0));
    row->updated_ms = db_int(db, q, 1);
    row->resource = db_int(db, q, 2);
    db_done(db, q);
    return ERR_OK;
}

enum err record_origin(struct db *db, int64_t resource, char remote[FID_SIZE],
                       char version[FID_SIZE])
{
    const enum query q = Q_ORIGIN_OF;
    enum err e = db_first(db, q, "i", resource);

    if (e != ERR_OK)
        return e;
    snprintf(remote, FID_SIZE, "%s", db_text(db, q, 0));
    snprintf(version, FID_SIZE, "%s", db_text(db, q, 1));
    db_done(db, q);
    return ERR_OK;
}

/* A server without versions still says when. */
void take_version_of(const struct fhir_page_entry *e, char out[FID_SIZE])
{
    out[0] = '\0';
    if (e->version != NULL && strlen(e->version) < FID_SIZE)
        snprintf(out, FID_SIZE, "%s", e->version);
    else if (e->updated_ms != INT64_MIN)
        snprintf(out, FID_SIZE, "at-%lld", (long long)e->updated_ms);
    else if (e->deleted)
        snprintf(out, FID_SIZE, "gone");
}

/* Two versions that are counted; false where they are not numbers. */
static bool is_lower(const char *a, const char *b)
{
    char *end_a, *end_b;
    long long x = strtoll(a, &end_a, 10), y = strtoll(b, &end_b, 10);

    return end_a != a && end_b != b && *end_a == '\0' && *end_b == '\0' &&
           x < y;
}

static bool is_taken_type(enum fhir_type type)
{
    return type == FHIR_OBSERVATION || type == FHIR_BODY_STRUCTURE ||
           type == FHIR_PATIENT;
}

/* ---- what was not taken -------------------------------------------------- */

/* The record has it still: what there is no room for is only counted. */
static enum err count_full(struct db *db, const struct quarantine_row *row)
{
    const struct tally_row tally = { .at_ms = row->at_ms,
                                     .source = row->source,
                                     .way = row->way,
                                     .class = TALLY_REFUSED,
                                     .reason = row->reason,
                                     .place = row->place,
                                     .count = 1 };

    return tally_add(db, &tally);
}

static enum err keep_aside(struct db *db, const struct quarantine_row *row)
{
    struct tally_row tally = { .at_ms = row->at_ms,
                               .source = row->source,
                               .way = row->way,
                               .class = TALLY_QUARANTINED,
                               .reason = row->reason,
                               .place = row->place,
                               .count = 1 };
    char sample[FID_SIZE + 24];
    bool fresh = false;
    int64_t id;
    enum err e = quarantine_add_new(db, row, &id, &fresh);

    if (e == ERR_OK && row->remote != NULL) /* older versions of it */
        e = quarantine_close_remote(db, row->kind, row->remote, id, row->at_ms);
    if (e != ERR_OK)
        return e == ERR_LIMIT ? count_full(db, row) : e;
    if (!fresh) /* read again, as it was counted */
        return ERR_OK;
    if (row->remote != NULL)
        snprintf(sample, sizeof(sample), "%s/%s", search_type_word(row->kind),
                 row->remote);
    else
        snprintf(sample, sizeof(sample), "line %lld", (long long)row->line);
    tally.sample = row->remote != NULL || row->line > 0 ? sample : NULL;
    return tally_add(db, &tally);
}

static enum err not_taken(struct db *db, const struct poll_take *t,
                          size_t entry, int status, const char *reason,
                          const char *place, const char *text)
{
    const struct fhir_page_entry *p =
        entry < t->page->count ? &t->page->entries[entry] : NULL;
    const struct feed_entry *at = t->places != NULL ? &t->places[entry] : NULL;
    struct quarantine_row row = { .at_ms = t->now_ms,
                                  .way = (enum quarantine_way)t->source,
                                  .source = "record",
                                  .kind = p != NULL ? p->type : FHIR_OTHER,
                                  .remote = p != NULL ? p->id : NULL,
                                  .file = t->file,
                                  .line = at != NULL ? (int64_t)at->line : 0,
                                  .start = at != NULL ? (int64_t)at->offset : 0,
                                  .status = status,
                                  .reason = reason,
                                  .place = place,
                                  .text = text };

    if (p != NULL && p->len > 0 && t->body != NULL) {
        row.body = t->body + p->offset;
        row.len = p->len;
    } else if (p == NULL && at != NULL && at->len > 0 && t->body != NULL) {
        row.body = t->body + at->start; /* a line that is no resource */
        row.len = at->len;
    }
    /* an export is a history */
    row.urgent = row.way != QUARANTINE_BULK &&
                 quarantine_is_urgent(t->reader->codes, row.body, row.len);
    return keep_aside(db, &row);
}

enum err poll_not_taken(struct db *db, const struct poll_take *t, size_t entry,
                        int status, const char *place, const char *text)
{
    return not_taken(db, t, entry, status,
                     status == 409 ? "identity" : "json-syntax", place, text);
}

/* The first issue that refuses, or a word for none. */
enum err take_note_refusal(struct db *db, struct poll_take *t, size_t entry,
                           int status, const struct outcome *o)
{
    const struct issue *first = NULL;

    for (size_t i = 0; first == NULL && i < o->count; i++) {
        if (o->issues[i].severity >= SEV_ERROR)
            first = &o->issues[i];
    }
    t->refused++;
    return not_taken(db, t, entry, status,
                     first != NULL ? first->word : "bad-request",
                     first != NULL ? first->place : "",
                     first != NULL ? first->text : "Cannot be read");
}

/* ---- what is read by its id ---------------------------------------------- */

enum err poll_fetch_later(struct db *db, enum fhir_type kind,
                          const char *remote, int64_t now_ms)
{
    return db_run(db, Q_FETCH_ANEW, "isii", INT64(kind), remote, now_ms,
                  INT64(FETCHES_MAX));
}

/* "Patient/7" that nobody has told us of yet.  An address elsewhere is not
 * followed: whoever wrote it is not the record. */
static enum err want(struct db *db, struct poll_take *t, const char *literal)
{
    const char *slash = literal != NULL ? strchr(literal, '/') : NULL;
    char name[24];
    struct take_origin row;
    struct resource r;
    enum fhir_type kind;
    enum err e;

    if (slash == NULL || (size_t)(slash - literal) >= sizeof(name) ||
        !fhir_is_id(slash + 1))
        return ERR_OK;
    snprintf(name, sizeof(name), "%.*s", (int)(slash - literal), literal);
    kind = fhir_type_named(name);
    if (kind != FHIR_PATIENT && kind != FHIR_BODY_STRUCTURE)
        return ERR_OK;
    e = take_find_origin(db, kind, slash + 1, &row);
    if (e != ERR_OK || row.updated_ms != INT64_MIN || row.version[0] != '\0' ||
        row.resource != 0)
        return e;
    e = resource_by_fid(db, kind, slash + 1, &r);
    if (e != ERR_ABSENT)
        return e;
    t->fetches = true;
    return db_run(db, Q_FETCH_ADD, "isii", INT64(kind), slash + 1, t->now_ms,
                  INT64(FETCHES_MAX));
}

enum err take_want_all(struct db *db, struct poll_take *t,
                       const struct fhir_item *item)
{
    const struct fhir_observation *o = &item->u.observation;
    enum err e = ERR_OK;

    if (outcome_refuses(&item->outcome) && !item->only_held)
        return ERR_OK;
    if (item->type == FHIR_BODY_STRUCTURE)
        return want(db, t, item->u.access.patient.literal);
    if (item->type != FHIR_OBSERVATION)
        return ERR_OK;
    e = want(db, t, o->subject.literal);
    for (size_t i = 0; e == ERR_OK && i < o->name_count; i++)
        e = want(db, t, o->names[i].ref.literal);
    return e;
}

/* ---- which are new ------------------------------------------------------- */

/* We have a newer one. */
static bool is_older(const struct fhir_page_entry *e,
                     const struct take_origin *origin)
{
    char version[FID_SIZE];

    take_version_of(e, version);
    return (e->updated_ms != INT64_MIN && origin->updated_ms != INT64_MIN &&
            e->updated_ms < origin->updated_ms) ||
           (e->deleted && is_lower(version, origin->version));
}

static bool is_known(const struct fhir_page_entry *e,
                     const struct take_origin *origin)
{
    char version[FID_SIZE];

    take_version_of(e, version);
    return version[0] != '\0' && strcmp(version, origin->version) == 0 &&
           (e->updated_ms == origin->updated_ms || e->updated_ms == INT64_MIN ||
            origin->updated_ms == INT64_MIN);
}

/* false: nothing is to be done with it. */
static enum err choose(struct db *db, struct poll_take *t, size_t i,
                       struct take_origin *origin, bool *chosen)
{
    const struct fhir_page_entry *e = &t->page->entries[i];
    enum err err = ERR_OK;

    *chosen = false;
    *origin = (struct take_origin){ .updated_ms = INT64_MIN };
    if (e->outcome)
        return ERR_OK;
    if (!is_taken_type(e->type) || (e->len == 0 && !e->deleted)) {
        t->others++;
        return ERR_OK;
    }
    if (e->id != NULL)
        err = take_find_origin(db, e->type, e->id, origin);
    if (err != ERR_OK)
        return err;
    *chosen = !is_older(e, origin) && (t->anew || !is_known(e, origin));
    if (e->deleted && (origin->resource == 0 || e->type != FHIR_OBSERVATION)) {
        *chosen = false; /* there is nothing to withdraw */
        t->others++;
    } else if (!*chosen) {
        t->known++;
    }
    return ERR_OK;
}

enum err poll_take(struct db *db, struct poll_take *t)
{
    struct take_batch *b = calloc(1, sizeof(*b));
    enum err e = ERR_OK;

    if (b == NULL)
        return ERR_MEMORY;
    b->take = t;
    buf_init(&b->body, BODY_MAX);
    take_open_batch(b);
    if (t->source != TAKE_HOOK) /* that one's request has begun */
        e = audit_whom_begin(db);
    for (size_t i = 0; e == ERR_OK && i < t->page->count; i++) {
        const struct fhir_page_entry *p = &t->page->entries[i];
        struct take_origin origin;
        bool chosen;

        e = choose(db, t, i, &origin, &chosen);
        if (e != ERR_OK || !chosen)
            continue;
        if (b->count == TAKE_BATCH_ENTRIES ||
            (b->count > 0 && b->body.len + p->len > TAKE_BATCH_BYTES)) {
            e = take_close_batch(db, b);
            take_open_batch(b);
        }
        if (e == ERR_OK)
            take_add(b, i, &origin);
    }
    if (e == ERR_OK)
        e = take_close_batch(db, b);
    buf_clear(&b->body);
    free(b);
    return e == ERR_OK ? audit_taken(db, t) : e;
}
