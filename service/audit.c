#include "service/audit.h"

#include "adapters/buf.h"
#include "adapters/hex.h"
#include "service/log.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <string.h>
#include <uv.h>

/* ---- the text that is hashed ---------------------------------------------- */

enum { CANON_MAX = 16 * 1024 };

static void add_field(struct buf *b, const char *text, size_t len)
{
    buf_printf(b, "%zu:", len);
    buf_add(b, text, len);
    buf_puts(b, "\n");
}

static void add_text(struct buf *b, const char *text)
{
    add_field(b, text, strlen(text));
}

static void add_number(struct buf *b, int64_t number)
{
    char text[24];
    int len = snprintf(text, sizeof(text), "%lld", (long long)number);

    add_field(b, text, (size_t)len);
}

static void add_row(struct buf *b, int64_t seq, const struct audit_entry *e)
{
    add_number(b, seq);
    add_number(b, e->at_ms);
    add_text(b, e->kind);
    add_text(b, e->actor);
    add_text(b, e->scope);
    add_text(b, e->who);
    add_text(b, e->action);
    add_text(b, e->type);
    add_text(b, e->key);
    add_number(b, e->patient);
    add_number(b, e->outcome);
    add_text(b, e->detail);
    add_text(b, e->patients);
}

static enum err hash_row(int64_t seq, const struct audit_entry *e,
                         const unsigned char prev[AUDIT_HASH_SIZE],
                         unsigned char hash[AUDIT_HASH_SIZE])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    char hex[AUDIT_HEX_SIZE];
    struct buf text;
    enum err err;

    buf_init(&text, CANON_MAX);
    buf_puts(&text, "headgate-audit-1\n");
    add_row(&text, seq, e);
    audit_hex(prev, hex);
    buf_puts(&text, hex);
    err = buf_ok(&text);
    if (err == ERR_OK &&
        EVP_Digest(text.data, text.len, digest, NULL, EVP_sha256(), NULL) != 1)
        err = ERR_MEMORY;
    if (err == ERR_OK)
        memcpy(hash, digest, AUDIT_HASH_SIZE);
    buf_clear(&text);
    return err;
}

void audit_hex(const unsigned char hash[AUDIT_HASH_SIZE],
               char hex[AUDIT_HEX_SIZE])
{
    hex_write(hash, AUDIT_HASH_SIZE, hex);
}

bool audit_unhex(const char *hex, unsigned char hash[AUDIT_HASH_SIZE])
{
    return hex_read(hex, strlen(hex), hash, AUDIT_HASH_SIZE);
}

/* ---- adding ----------------------------------------------------------------- */

static bool take_hash(struct db *db, enum query q, int column,
                      unsigned char hash[AUDIT_HASH_SIZE])
{
    size_t len;
    const void *bytes = db_blob(db, q, column, &len);

    memset(hash, 0, AUDIT_HASH_SIZE);
    if (bytes == NULL || len != AUDIT_HASH_SIZE)
        return false;
    memcpy(hash, bytes, AUDIT_HASH_SIZE);
    return true;
}

enum err audit_head(struct db *db, int64_t *seq,
                    unsigned char hash[AUDIT_HASH_SIZE])
{
    const enum query q = Q_AUDIT_LAST;
    enum err e = db_first(db, q, "");

    *seq = 0;
    memset(hash, 0, AUDIT_HASH_SIZE);
    if (e == ERR_OK) {
        *seq = db_int(db, q, 0);
        (void)take_hash(db, q, 1, hash); /* a walk tells of one that is none */
    }
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* A text that fits, not cut within a character (UTF-8). */
static const char *fit(const char *text, char out[AUDIT_TEXT_MAX + 1])
{
    size_t len;

    if (text == NULL)
        return "";
    len = strnlen(text, AUDIT_TEXT_MAX + 1);
    if (len <= AUDIT_TEXT_MAX)
        return text;
    len = AUDIT_TEXT_MAX;
    while (len > 0 && ((unsigned char)text[len] & 0xc0) == 0x80)
        len--;
    memcpy(out, text, len);
    out[len] = '\0';
    return out;
}

static enum err add_patients(struct db *db, int64_t seq,
                             const struct audit_whom *whom)
{
    enum err e = ERR_OK;

    if (whom == NULL || whom->count < 2)
        return ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < whom->count; i++)
        e = db_run(db, Q_AUDIT_PATIENT_ADD, "ii", seq, whom->patients[i]);
    return e;
}

static enum err fill_patients(struct audit_entry *e, char text[AUDIT_WHOM_SIZE])
{
    text[0] = '\0';
    e->patients = text;
    if (e->whom == NULL)
        return ERR_OK;
    e->patient = e->whom->count == 1 ? e->whom->patients[0] : 0;
    return audit_whom_text(e->whom, text);
}

/* Behind the last row; where lists of rows that are gone lie behind it, behind
 * those.  The gap stays, and with it what is left of them: a walk names it. */
static enum err next_number(struct db *db, int64_t last, int64_t *seq)
{
    enum err e = db_first(db, Q_AUDIT_NEXT, "");

    if (e == ERR_OK)
        *seq = db_int(db, Q_AUDIT_NEXT, 0);
    db_done(db, Q_AUDIT_NEXT);
    if (e == ERR_OK && *seq - 1 != last)
        log_event(LOG_ERROR, "audit.cut", KEY_INT("after", last),
                  KEY_INT("next", *seq));
    return e;
}

enum err audit_note(struct db *db, const struct audit_entry *given)
{
    char cut[8][AUDIT_TEXT_MAX + 1], patients[AUDIT_WHOM_SIZE];
    unsigned char prev[AUDIT_HASH_SIZE], hash[AUDIT_HASH_SIZE] = { 0 };
    struct audit_entry e = *given;
    int64_t last, seq = 0;
    enum err err = audit_head(db, &last, prev);

    if (err == ERR_OK)
        err = next_number(db, last, &seq);
    e.kind = fit(e.kind, cut[0]);
    e.actor = fit(e.actor, cut[1]);
    e.scope = fit(e.scope, cut[2]);
    e.who = fit(e.who, cut[3]);
    e.action = fit(e.action, cut[4]);
    e.type = fit(e.type, cut[5]);
    e.key = fit(e.key, cut[6]);
    e.detail = fit(e.detail, cut[7]);
    if (err == ERR_OK)
        err = fill_patients(&e, patients);
    if (err == ERR_OK)
        err = hash_row(seq, &e, prev, hash);
    if (err != ERR_OK)
        return err;
    err = db_run(db, Q_AUDIT_ADD, "iisssssssiissbb", seq, e.at_ms, e.kind,
                 e.actor, e.scope, e.who, e.action, e.type, e.key, e.patient,
                 INT64(e.outcome), e.detail, e.patients, (const void *)prev,
                 sizeof(prev), (const void *)hash, sizeof(hash));
    return err == ERR_OK ? add_patients(db, seq, e.whom) : err;
}

/* ---- reading ---------------------------------------------------------------- */

static const char *text_of(struct db *db, int column)
{
    const char *text = db_text(db, Q_AUDIT_ROWS, column);

    return text != NULL ? text : "";
}

void audit_row_get(struct db *db, struct audit_row *row)
{
    const enum query q = Q_AUDIT_ROWS;

    row->seq = db_int(db, q, 0);
    row->entry = (struct audit_entry){
        .at_ms = db_int(db, q, 1),
        .kind = text_of(db, 2),
        .actor = text_of(db, 3),
        .scope = text_of(db, 4),
        .who = text_of(db, 5),
        .action = text_of(db, 6),
        .type = text_of(db, 7),
        .key = text_of(db, 8),
        .patient = db_int(db, q, 9),
        .outcome = (enum audit_outcome)db_int(db, q, 10),
        .detail = text_of(db, 11),
        .patients = text_of(db, 12),
    };
    row->formed = take_hash(db, q, 13, row->prev);
    row->formed = take_hash(db, q, 14, row->hash) && row->formed;
    row->formed = row->formed && db_int(db, q, 15) == 1;
}

/* Is the list beside the row the one that it speaks of? */
static enum err compare_patients(struct db *db, const struct audit_row *row,
                                 bool *same)
{
    const char *said = row->entry.patients;
    struct audit_whom whom;
    char text[AUDIT_WHOM_SIZE];
    enum err e = audit_whom_read(db, row->seq, &whom);

    if (e == ERR_OK)
        e = audit_whom_text(&whom, text);
    if (e == ERR_OK)
        *same = said[0] == '\0' || said[0] == '>'
                    ? whom.count == 0 && !whom.more
                    : strcmp(text, said) == 0;
    return e;
}

static enum err look_at(struct db *db, struct audit_walk *w,
                        const struct audit_row *row)
{
    unsigned char hash[AUDIT_HASH_SIZE] = { 0 };
    bool same = false;
    enum err e = hash_row(row->seq, &row->entry, row->prev, hash);

    if (e == ERR_LIMIT) /* a text that is longer than we write */
        e = ERR_OK;
    if (e == ERR_OK)
        e = compare_patients(db, row, &same);
    if (row->seq != w->after + 1)
        w->why = "missing";
    else if (!row->formed)
        w->why = "form";
    else if (memcmp(row->prev, w->hash, AUDIT_HASH_SIZE) != 0)
        w->why = "chain";
    else if (memcmp(hash, row->hash, AUDIT_HASH_SIZE) != 0)
        w->why = "changed";
    else if (!same && e == ERR_OK)
        w->why = "patients";
    if (w->why != NULL)
        w->broken = row->seq;
    memcpy(w->hash, row->hash, AUDIT_HASH_SIZE);
    w->after = row->seq;
    if (w->anchored && w->broken == 0 && w->anchor_seq == 0 &&
        memcmp(w->anchor, row->hash, AUDIT_HASH_SIZE) == 0)
        w->anchor_seq = row->seq;
    return e;
}

/* At the end: lists of rows that are not there.  Where they lie behind the last
 * one, that was not always the last. */
static enum err look_for_lists(struct db *db, struct audit_walk *w)
{
    const enum query q = Q_AUDIT_LISTS;
    enum err e = db_first(db, q, "");

    if (e == ERR_OK && db_int(db, q, 0) > w->after) {
        w->broken = w->after + 1;
        w->why = "cut";
    } else if (e == ERR_OK && db_int(db, q, 1) < 1) {
        w->broken = 1;
        w->why = "stray";
    }
    db_done(db, q);
    return e;
}

/* There is always time for one row, so that a walk gets on. */
static bool is_time(const struct audit_walk *w)
{
    return w->until_ns == 0 || uv_hrtime() < w->until_ns;
}

enum err audit_walk_step(struct db *db, struct audit_walk *w)
{
    const enum query q = Q_AUDIT_ROWS;
    enum err e = db_query(db, q, "ii", w->after, INT64(AUDIT_STEP_ROWS));
    int count = 0;

    w->broken = 0;
    w->why = NULL;
    while (e == ERR_OK && w->broken == 0 && (count == 0 || is_time(w)) &&
           (e = db_next(db, q)) == ERR_OK) {
        struct audit_row row;

        audit_row_get(db, &row);
        e = look_at(db, w, &row);
        count++;
    }
    db_done(db, q);
    w->more = (count == AUDIT_STEP_ROWS || e == ERR_OK) && w->broken == 0;
    if (e == ERR_ABSENT)
        e = w->more ? ERR_OK : look_for_lists(db, w);
    return e;
}
