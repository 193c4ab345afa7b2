/* The second stage of an erasure: one transaction. */
#include "adapters/fhir_out.h"
#include "service/pack.h"
#include "service/patient_erase.h"
#include "service/patient_mark.h"
#include "service/patient_whole.h"
#include "service/resources.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- messages of several patients ------------------------------------------------ */

/* All but what is of others becomes blank; *any: there is something of them. */
static enum err blank(struct db *db, int64_t seq, char *body, size_t len,
                      bool *any)
{
    const enum query q = Q_ERASE_KEPT;
    size_t at = 0;
    enum err e = db_query(db, q, "i", seq);

    *any = false;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        size_t start = (size_t)db_int(db, q, 0);
        size_t end = start + (size_t)db_int(db, q, 1);

        if (end < start || end > len)
            e = ERR_STORE;
        if (e != ERR_OK)
            break;
        if (start > at)
            memset(body + at, ' ', start - at);
        at = end > at ? end : at;
        *any = true;
    }
    db_done(db, q);
    if (e != ERR_ABSENT)
        return e;
    memset(body + at, ' ', len - at);
    return ERR_OK;
}

static enum err clean_message(struct db *db, int64_t seq)
{
    struct buf body, packed;
    bool any = false;
    enum err e;

    buf_init(&body, BODY_MAX);
    buf_init(&packed, 2 * (size_t)BODY_MAX);
    e = journal_read(db, seq, &body);
    if (e == ERR_OK)
        e = blank(db, seq, body.data, body.len, &any);
    if (e == ERR_OK && any)
        e = pack(body.data, body.len, &packed);
    if (e == ERR_OK && any)
        e = db_run(db, Q_ERASE_REWRITE, "ib", seq, (const void *)packed.data,
                   packed.len);
    else if (e == ERR_OK)
        e = db_run(db, Q_ERASE_JOURNAL, "i", seq);
    buf_clear(&packed);
    buf_clear(&body);
    return e;
}

static enum err clean_journal(struct db *db, struct erase_rows *r)
{
    const enum query q = Q_ERASE_JOURNALS;
    int64_t seq = 0;
    enum err e = ERR_OK;

    while (e == ERR_OK && (e = db_first(db, q, "i", seq)) == ERR_OK) {
        seq = db_int(db, q, 0);
        db_done(db, q);
        e = clean_message(db, seq);
        r->counts[ERASE_JOURNAL]++;
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* The clock of what came may stand a little behind ours. */
enum { MARGIN_MS = 60000 };

/*
 * What came while the messages were gone through.  An older message may have
 * become one of the patient, too (two who were one): what in it is of others
 * was not looked for, and must not be lost.
 */
static enum err catch_up(struct db *db, struct erase_rows *r)
{
    const int64_t from_ms = r->since_ms - MARGIN_MS;
    enum err e = db_first(db, Q_SIFT_UNSEEN, "i", from_ms);
    bool unseen = e == ERR_OK && db_int(db, Q_SIFT_UNSEEN, 0) > 0;

    db_done(db, Q_SIFT_UNSEEN);
    if (e == ERR_OK && (unseen || r->since_ms == 0))
        e = db_run(db, Q_SIFT_KEPT, "ii", INT64(0), INT64_MAX);
    else if (e == ERR_OK)
        e = db_run(db, Q_SIFT_KEPT_SINCE, "i", from_ms);
    /* what has become the patient's meanwhile is not of others */
    return e == ERR_OK ? db_run(db, Q_SIFT_UNKEEP, "") : e;
}

/* ---- messages of HL7 v2 with several patients -------------------------------- */

static enum err keep_cut(struct db *db, int64_t id, const struct buf *body)
{
    struct buf packed;
    enum err e;

    buf_init(&packed, 2 * (size_t)BODY_MAX);
    e = pack(body->data, body->len, &packed);
    if (e == ERR_OK)
        e = db_run(db, Q_DOUBT_CUT, "iib", id, INT64(body->len),
                   (const void *)packed.data, packed.len);
    if (e == ERR_OK)
        e = db_run(db, Q_DOUBT_UNNAMED, "i", id);
    if (e == ERR_OK)
        e = db_run(db, Q_DOUBT_END, "i", id);
    buf_clear(&packed);
    return e;
}

/* The row that is read; *id: its number. */
static enum err cut_row(const struct seeking *s, int64_t *id, struct buf *body,
                        struct buf *rest)
{
    const enum query q = Q_DOUBT_APART;
    size_t len;
    const void *packed = db_blob(s->db, q, 2, &len);
    enum err e = unpack(packed, len, (size_t)db_int(s->db, q, 1), body);

    *id = db_int(s->db, q, 0);
    return e == ERR_OK ? patient_sought_without(s, db_text(s->db, q, 3),
                                                body->data, body->len, rest)
                       : e;
}

/* What cannot be cut is left, and told. */
static enum err cut_messages(struct db *db, struct erase_rows *r)
{
    const enum query q = Q_DOUBT_APART;
    int64_t id = 0;
    enum err e = r->seeking != NULL ? ERR_OK : ERR_ABSENT;

    while (e == ERR_OK && (e = db_first(db, q, "i", id)) == ERR_OK) {
        struct buf body, rest;

        buf_init(&body, BODY_MAX);
        buf_init(&rest, BODY_MAX);
        e = cut_row(r->seeking, &id, &body, &rest);
        db_done(db, q);
        if (e == ERR_OK) {
            e = keep_cut(db, id, &rest);
            r->counts[ERASE_MESSAGES]++;
        } else if (e == ERR_CONFLICT) {
            e = ERR_OK;
        }
        buf_clear(&rest);
        buf_clear(&body);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- rows -------------------------------------------------------------------------- */

/* In this order: what is looked up by another goes before it. */
static const struct {
    enum query q;
    int part; /* of the counts; -1: not counted */
} removals[] = {
    { Q_ERASE_TOKENS, -1 },
    { Q_ERASE_SPANS, -1 },
    { Q_ERASE_FETCH, -1 },
    { Q_ERASE_ORIGIN, -1 },
    { Q_ERASE_LOOKUP, -1 },
    { Q_ERASE_SAMPLES, -1 },
    { Q_ERASE_DERIVED, -1 },
    { Q_ERASE_VERSIONS, -1 },
    { Q_ERASE_IDENTIFIERS, -1 },
    { Q_ERASE_READINGS, ERASE_READINGS },
    { Q_ERASE_MORE_READINGS, ERASE_READINGS },
    { Q_ERASE_HELD, -1 },
    { Q_ERASE_VERDICTS, -1 },
    { Q_ERASE_UNMAPPED, -1 },
    { Q_ERASE_DEEDS, -1 },
    { Q_ERASE_NEWS, -1 },
    { Q_ERASE_EVIDENCE, -1 },
    { Q_ERASE_EPISODES, -1 },
    { Q_ERASE_REPEATS, -1 },
    { Q_ERASE_DECISIONS, ERASE_DECISIONS },
    { Q_ERASE_REMARKS, -1 },
    { Q_ERASE_TASKS, ERASE_TASKS },
    { Q_ERASE_COMPANIONS, -1 },
    { Q_ERASE_OUTBOX, ERASE_OUTBOX },
    { Q_ERASE_FOLLOWED, -1 },
    { Q_ERASE_ITEMS, ERASE_ITEMS },
    { Q_ERASE_MESSAGES, ERASE_MESSAGES },
    { Q_ERASE_RIVALS, -1 },
    { Q_ERASE_ACCESS_ALIASES, -1 },
    { Q_ERASE_RESOURCES, ERASE_RESOURCES },
    { Q_ERASE_ACCESSES, -1 },
    { Q_ERASE_ALIASES, -1 },
    { Q_ERASE_PATIENT, -1 },
};

static enum err remove_rows(struct db *db, struct erase_rows *r)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < COUNT(removals); i++) {
        e = db_run(db, removals[i].q, "i", r->patient);
        if (e == ERR_OK && removals[i].part >= 0)
            r->counts[removals[i].part] += db_changes(db);
    }
    return e;
}

/* ---- what was left --------------------------------------------------------------------- */

static enum err count_left(struct db *db, struct erase_left *left)
{
    static const enum query queries[LEFT_KINDS] = {
        [LEFT_ITEMS] = Q_DOUBT_ITEMS,
        [LEFT_MESSAGES] = Q_DOUBT_MESSAGES,
        [LEFT_JOURNAL] = Q_DOUBT_JOURNALS
    };
    enum err e = ERR_OK;

    memset(left, 0, sizeof(*left));
    for (size_t k = 0; e == ERR_OK && k < LEFT_KINDS; k++) {
        e = db_query(db, queries[k], "");
        while (e == ERR_OK && (e = db_next(db, queries[k])) == ERR_OK) {
            int64_t n = left->counts[k]++;

            if (n < LEFT_LISTED_MAX)
                left->ids[k][n] = db_int(db, queries[k], 0);
        }
        db_done(db, queries[k]);
        if (e == ERR_ABSENT)
            e = ERR_OK;
    }
    return e;
}

int64_t patient_erase_left(const struct erase_left *left)
{
    int64_t sum = 0;

    for (size_t k = 0; k < LEFT_KINDS; k++)
        sum += left->counts[k];
    return sum;
}

/* ---- that it was done ------------------------------------------------------------------ */

static void write_counts(const struct erase_rows *r, struct buf *out)
{
    static const char *const words[ERASE_PARTS] = {
        [ERASE_RESOURCES] = "resources", [ERASE_READINGS] = "readings",
        [ERASE_TASKS] = "tasks",         [ERASE_DECISIONS] = "decisions",
        [ERASE_MESSAGES] = "hl7",        [ERASE_ITEMS] = "quarantine",
        [ERASE_OUTBOX] = "outbox",       [ERASE_JOURNAL] = "journal"
    };
    fhir_out_open(out, NULL, '{');
    for (size_t i = 0; i < ERASE_PARTS; i++)
        fhir_out_int(out, words[i], (long long)r->counts[i]);
    fhir_out_int(out, "left", (long long)patient_erase_left(&r->left));
    fhir_out_close(out, '}');
}

static enum err keep(struct db *db, const struct erase_rows *r, int64_t id)
{
    struct buf counts;
    enum err e;

    buf_init(&counts, 1024);
    write_counts(r, &counts);
    e = buf_ok(&counts);
    if (e == ERR_OK)
        e = db_run(db, Q_ERASED_ADD, "iisss", id, r->now_ms, r->who, r->why,
                   counts.data);
    buf_clear(&counts);
    return e;
}

enum err patient_erase_rows(struct db *db, struct erase_rows *r)
{
    int64_t id = 0;
    enum err e = db_new_id(db, &id);

    memset(r->counts, 0, sizeof(r->counts));
    /* never what somebody else has collected meanwhile */
    if (e == ERR_OK && r->since_ms > 0)
        e = patient_whole_marked(db, r->mark);
    if (e == ERR_OK)
        e = patient_whole_collect(db, r->patient, r->mark);
    if (e == ERR_OK)
        e = patient_whole_settle(db);
    if (e == ERR_OK)
        e = cut_messages(db, r);
    if (e == ERR_OK)
        e = count_left(db, &r->left);
    if (e == ERR_OK)
        e = patient_mark(db, r->patient, id);
    if (e == ERR_OK)
        e = catch_up(db, r);
    if (e == ERR_OK)
        e = clean_journal(db, r);
    if (e == ERR_OK)
        e = remove_rows(db, r);
    return e == ERR_OK ? keep(db, r, id) : e;
}
