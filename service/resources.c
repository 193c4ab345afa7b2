#include "service/resources.h"

#include "adapters/fhir_write.h"
#include "adapters/hex.h"
#include "adapters/task_codes.h"
#include "service/audit_whom.h"
#include "service/pack.h"
#include "service/search_index.h"

#include <openssl/rand.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

int64_t partition_of(int64_t id)
{
    return id % 1024;
}

static void copy_fid(char fid[FID_SIZE], const char *text)
{
    snprintf(fid, FID_SIZE, "%s", text != NULL ? text : "");
}

enum err resource_by_fid(struct db *db, enum fhir_type kind, const char *fid,
                         struct resource *r)
{
    const enum query q = Q_RESOURCE_BY_FID;
    enum err e = db_first(db, q, "is", INT64(kind), fid);

    if (e != ERR_OK)
        return e;
    *r = (struct resource){ .id = db_int(db, q, 0),
                            .kind = kind,
                            .version = (int)db_int(db, q, 1),
                            .updated_ms = db_int(db, q, 2),
                            .status = (int)db_int(db, q, 3),
                            .issued_s = db_int(db, q, 4) };
    copy_fid(r->fid, fid);
    db_done(db, q);
    return ERR_OK;
}

enum err resource_shown(struct db *db, enum fhir_type kind, const char *fid,
                        struct resource *r)
{
    enum err e = resource_by_fid(db, kind, fid, r);
    bool silent;

    if (e != ERR_OK || kind != FHIR_TASK)
        return e;
    e = db_first(db, Q_TASK_GET, "i", r->id);
    silent = e == ERR_OK && db_int(db, Q_TASK_GET, 6) != 0;
    db_done(db, Q_TASK_GET);
    if (e != ERR_OK)
        return e;
    return silent ? ERR_ABSENT : ERR_OK;
}

enum err resource_by_ident(struct db *db, enum fhir_type kind,
                           const char *ident, struct resource *r)
{
    const enum query q = Q_RESOURCE_BY_IDENT;
    enum err e = db_first(db, q, "is", INT64(kind), ident);

    if (e != ERR_OK)
        return e;
    *r = (struct resource){ .id = db_int(db, q, 0),
                            .kind = kind,
                            .version = (int)db_int(db, q, 1),
                            .updated_ms = db_int(db, q, 2),
                            .status = (int)db_int(db, q, 3),
                            .issued_s = db_int(db, q, 4) };
    copy_fid(r->fid, db_text(db, q, 5));
    db_done(db, q);
    return ERR_OK;
}

enum err resource_get(struct db *db, int64_t id, struct resource *r)
{
    const enum query q = Q_RESOURCE_GET;
    enum err e = db_first(db, q, "i", id);

    if (e != ERR_OK)
        return e;
    *r = (struct resource){ .id = id,
                            .kind = (enum fhir_type)db_int(db, q, 0),
                            .version = (int)db_int(db, q, 2),
                            .updated_ms = db_int(db, q, 3),
                            .status = (int)db_int(db, q, 4),
                            .issued_s = db_int(db, q, 5) };
    copy_fid(r->fid, db_text(db, q, 1));
    db_done(db, q);
    return ERR_OK;
}

enum err resource_by_identifier(struct db *db, enum fhir_type kind,
                                const char *system, const char *value,
                                struct resource *r)
{
    const enum query q = Q_RESOURCE_IDENT_FIND;
    enum err e = db_first(db, q, "iss", INT64(kind), system, value);
    int64_t id;

    if (e != ERR_OK)
        return e;
    id = db_int(db, q, 0);
    e = db_next(db, q);
    db_done(db, q);
    if (e == ERR_OK)
        return ERR_AMBIGUOUS;
    return e == ERR_ABSENT ? resource_get(db, id, r) : e;
}

enum err resource_first_identifier(struct db *db, int64_t id,
                                   struct buf *system, struct buf *value)
{
    const enum query q = Q_RESOURCE_IDENT_FIRST;
    enum err e = db_first(db, q, "i", id);

    if (e != ERR_OK)
        return e;
    buf_puts(system, db_text(db, q, 0));
    buf_puts(value, db_text(db, q, 1));
    db_done(db, q);
    e = buf_ok(system);
    return e == ERR_OK ? buf_ok(value) : e;
}

enum err journal_add(struct db *db, enum message_source source,
                     int64_t received_ms, const char *body, size_t len,
                     int64_t *seq)
{
    struct buf packed;
    enum err e = db_new_id(db, seq);

    if (e != ERR_OK)
        return e;
    buf_init(&packed, 2 * (size_t)BODY_MAX);
    e = pack(body, len, &packed);
    if (e == ERR_OK)
        e = db_run(db, Q_JOURNAL_ADD, "iiiib", *seq, received_ms, INT64(source),
                   INT64(len), (const void *)packed.data, packed.len);
    buf_clear(&packed);
    return e;
}

static enum err add_version(struct db *db, const struct resource *r,
                            int64_t part, const struct new_version *v)
{
    struct buf packed;
    enum err e = ERR_OK;

    buf_init(&packed, 2 * (size_t)BODY_MAX);
    if (v->journal == 0)
        e = pack(v->body, v->len, &packed);
    if (e == ERR_OK)
        e = db_run(db, Q_VERSION_ADD, "iiiiiiibb", r->id, INT64(r->version),
                   part, r->updated_ms, v->journal, INT64(v->start),
                   INT64(v->len), (const void *)v->digest, (size_t)32,
                   v->journal == 0 ? (const void *)packed.data : NULL,
                   packed.len);
    buf_clear(&packed);
    return e;
}

enum err resource_put(struct db *db, struct resource *r, const char *ident,
                      int64_t part, int64_t now_ms, const struct new_version *v)
{
    static const struct search_site nowhere = { NULL, NULL };
    enum err e;

    /* lastUpdated never goes back, whatever the clock does */
    r->updated_ms = now_ms > r->updated_ms ? now_ms : r->updated_ms + 1;
    r->version++;
    if (r->id == 0) {
        e = db_new_id(db, &r->id);
        if (e == ERR_OK)
            e = db_run(db, Q_RESOURCE_ADD, "iiissiiii", r->id, part,
                       INT64(r->kind), r->fid, ident, INT64(r->version),
                       r->updated_ms, INT64(r->status), r->issued_s);
    } else {
        e = db_run(db, Q_RESOURCE_SET, "iiiiis", r->id, INT64(r->version),
                   r->updated_ms, INT64(r->status), r->issued_s, ident);
    }
    if (e == ERR_OK)
        e = add_version(db, r, part, v);
    if (e == ERR_OK)
        e = v->patient != 0 ? audit_saw(db, AUDIT_SAW_PATIENT, v->patient)
                            : audit_saw(db, AUDIT_SAW_RESOURCE, r->id);
    return e == ERR_OK && v->body != NULL
               ? search_index_put(db, r, v->body, v->len,
                                  v->site != NULL ? v->site : &nowhere)
               : e;
}

enum err resource_is_same(struct db *db, const struct resource *r,
                          const unsigned char digest[32], bool *same)
{
    const enum query q = Q_VERSION_DIGEST;
    enum err e = db_first(db, q, "ii", r->id, INT64(r->version));
    const void *stored;
    size_t len;

    if (e != ERR_OK)
        return e;
    stored = db_blob(db, q, 0, &len);
    *same = len == 32 && memcmp(stored, digest, 32) == 0;
    db_done(db, q);
    return ERR_OK;
}

enum err journal_read(struct db *db, int64_t seq, struct buf *out)
{
    const enum query q = Q_JOURNAL_GET;
    enum err e = db_first(db, q, "i", seq);
    const void *body;
    size_t len;

    if (e != ERR_OK)
        return e;
    body = db_blob(db, q, 1, &len);
    e = unpack(body, len, (size_t)db_int(db, q, 0), out);
    db_done(db, q);
    return e;
}

/* A slice of a message in the journal. */
static enum err journal_slice(struct db *db, int64_t seq, size_t start,
                              size_t len, struct buf *out)
{
    struct buf whole;
    enum err e;

    buf_init(&whole, BODY_MAX);
    e = journal_read(db, seq, &whole);
    if (e == ERR_OK && start + len > whole.len)
        e = ERR_STORE;
    if (e == ERR_OK) {
        buf_add(out, whole.data + start, len);
        e = buf_ok(out);
    }
    buf_clear(&whole);
    return e;
}

enum err resource_body(struct db *db, const struct resource *r, int version,
                       struct buf *out, int64_t *updated_ms)
{
    const enum query q = Q_VERSION_GET;
    int64_t journal;
    size_t start, len, body_len;
    const void *body;
    enum err e =
        db_first(db, q, "ii", r->id, INT64(version > 0 ? version : r->version));

    if (e != ERR_OK)
        return e;
    *updated_ms = db_int(db, q, 0);
    journal = db_int(db, q, 1);
    start = (size_t)db_int(db, q, 2);
    len = (size_t)db_int(db, q, 3);
    if (journal == 0) {
        body = db_blob(db, q, 4, &body_len);
        e = unpack(body, body_len, len, out);
    }
    db_done(db, q);
    return journal == 0 ? e : journal_slice(db, journal, start, len, out);
}

enum err resource_served(struct db *db, const char *base,
                         const struct resource *r, int version, struct buf *out,
                         int64_t *updated_ms)
{
    struct buf body, meta;
    enum err e;

    buf_init(&body, BODY_MAX);
    buf_init(&meta, 1024);
    e = resource_body(db, r, version, &body, updated_ms);
    if (e == ERR_OK) {
        fhir_write_meta(
            base, version > 0 ? version : r->version, *updated_ms,
            r->kind == FHIR_TASK ? task_code(TASK_CODE_SUGGESTED)->code : NULL,
            &meta);
        e = buf_ok(&meta);
    }
    if (e == ERR_OK)
        e = fhir_respell(body.data, body.len, r->fid, meta.data, out);
    if (e == ERR_OK)
        e = audit_saw(db, AUDIT_SAW_RESOURCE, r->id);
    if (e == ERR_OK && r->kind == FHIR_LIST)
        e = audit_saw_list(db, body.data, body.len);
    buf_clear(&body);
    buf_clear(&meta);
    return e;
}

/*
 * A UUID of version 7 without its dashes (RFC 9562, 5.7): it begins with the
 * time, so that what is made one after the other stands together in an index.
 */
void new_fid(char fid[FID_SIZE])
{
    static const unsigned char version = 0x70, variant = 0x80;
    unsigned char bytes[16];
    struct timespec now;
    uint64_t now_ms;

    clock_gettime(CLOCK_REALTIME, &now);
    now_ms = (uint64_t)now.tv_sec * 1000 + (uint64_t)now.tv_nsec / 1000000;
    if (RAND_bytes(bytes + 6, sizeof(bytes) - 6) != 1)
        abort(); /* without randomness ids could collide */
    for (size_t i = 0; i < 6; i++)
        bytes[i] = (unsigned char)(now_ms >> (40 - 8 * i));
    bytes[6] = (unsigned char)(version | (bytes[6] & 0x0f));
    bytes[8] = (unsigned char)(variant | (bytes[8] & 0x3f));
    hex_write(bytes, sizeof(bytes), fid);
}

void resource_urn(const char *fid, char urn[48])
{
    snprintf(urn, 48, "urn:uuid:%.8s-%.4s-%.4s-%.4s-%.12s", fid, fid + 8,
             fid + 12, fid + 16, fid + 20);
}
