/*
 * One final report over another: is anything new in it, and what becomes of it?
 *
 * HL7 v2.5.1, table 0085: a final result is changed by a corrected one (C).
 * Senders that change it otherwise are told; a sign that was reported as final
 * is not taken back by a report that does not say so.
 */
#include "service/hl7_intake_work.h"

#include "adapters/fhir_said.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <string.h>

/* A message of the store, kept for the next result: those of one message were
 * mostly sent in one before, which is packed as a whole. */
static enum err open_stored(struct db *db, struct hl7_intake *in,
                            int64_t journal)
{
    enum err e;

    if (in->before_journal == journal)
        return ERR_OK;
    buf_clear(&in->before);
    buf_init(&in->before, BODY_MAX);
    in->before_journal = 0;
    e = journal_read(db, journal, &in->before);
    if (e == ERR_OK)
        in->before_journal = journal;
    return e;
}

static enum err said_before(struct db *db, struct hl7_intake *in,
                            const struct resource *row, struct buf *said)
{
    const enum query q = Q_VERSION_GET;
    enum err e = db_first(db, q, "ii", row->id, INT64(row->version));
    int64_t journal, updated_ms;
    size_t start, len;

    if (e != ERR_OK)
        return e;
    journal = db_int(db, q, 1);
    start = (size_t)db_int(db, q, 2);
    len = (size_t)db_int(db, q, 3);
    db_done(db, q);
    if (journal == 0) { /* kept by itself */
        buf_clear(&in->before);
        buf_init(&in->before, BODY_MAX);
        in->before_journal = 0;
        e = resource_body(db, row, 0, &in->before, &updated_ms);
        return e == ERR_OK
                   ? fhir_said_value(in->before.data, in->before.len, said)
                   : e;
    }
    e = open_stored(db, in, journal);
    if (e == ERR_OK && (start > in->before.len || len > in->before.len - start))
        e = ERR_STORE;
    return e == ERR_OK ? fhir_said_value(in->before.data + start, len, said)
                       : e;
}

/*
 * A sign that was reported as final stays until it is taken back; another
 * answer stands beside it, under a key that the answer makes, so that the same
 * answer sent again is the same result.
 */
static enum err put_beside(struct db *db, struct hl7_intake *in, size_t i,
                           const struct buf *said)
{
    struct fhir_item *item = fhir_doc_item(in->doc, i);
    struct hl7_match *match = &in->matches[i];
    unsigned char bytes[EVP_MAX_MD_SIZE];
    struct resource row;
    enum err e;

    if (EVP_Digest(said->data, said->len, bytes, NULL, EVP_sha256(), NULL) != 1)
        return ERR_MEMORY;
    if (snprintf(match->key, sizeof(match->key), "%s~%02x%02x%02x%02x",
                 item->identifiers[0].value, bytes[0], bytes[1], bytes[2],
                 bytes[3]) >= (int)sizeof(match->key))
        return ERR_LIMIT;
    hl7_put_key(item, match->key);
    e = hl7_find_result(db, item, &row);
    if (e == ERR_ABSENT)
        match->tie = HL7_BESIDE; /* told once */
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* A coded answer: of a sign perhaps, where the code is not mapped yet. */
static bool is_coded(const struct buf *said)
{
    static const char begin[] = "20:valueCodeableConcept";

    return strncmp(said->data, begin, sizeof(begin) - 1) == 0;
}

/* The stored one is final, and so is this: is anything new in it? */
enum err hl7_compare(struct db *db, struct hl7_intake *in, size_t i,
                     const struct resource *row)
{
    const struct fhir_item *item = fhir_doc_item(in->doc, i);
    struct buf before, now;
    enum err e;

    buf_init(&before, BODY_MAX);
    buf_init(&now, BODY_MAX);
    e = said_before(db, in, row, &before);
    if (e == ERR_OK)
        e = fhir_said_value(in->oru.bundle.data + item->offset, item->len,
                            &now);
    if (e == ERR_OK &&
        (before.len != now.len ||
         (now.len > 0 && memcmp(before.data, now.data, now.len) != 0))) {
        if (hl7_is_sign(in, &item->u.observation) || is_coded(&before) ||
            is_coded(&now))
            e = put_beside(db, in, i, &now);
        else
            in->matches[i].tie = HL7_REPLACES;
    }
    buf_clear(&now);
    buf_clear(&before);
    return e;
}
