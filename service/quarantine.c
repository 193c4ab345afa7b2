#include "service/quarantine.h"

#include "service/pack.h"
#include "service/resources.h"

#include <openssl/evp.h>
#include <string.h>

enum { DONE_MAX = 20000, DIGEST_SIZE = 32 };

/* As long as what people did with it may be asked for. */
static const int64_t done_kept_ms = INT64_C(180) * 86400000;

const char *quarantine_way_word(enum quarantine_way way)
{
    static const char *const words[] = {
        [QUARANTINE_POLL] = "poll",   [QUARANTINE_HOOK] = "call",
        [QUARANTINE_BULK] = "export", [QUARANTINE_BY_ID] = "by-id",
        [QUARANTINE_HL7] = "hl7",     [QUARANTINE_FILE] = "file",
        [QUARANTINE_HTTP] = "http"
    };
    int n = (int)way;

    return n > 0 && n < (int)COUNT(words) ? words[n] : "";
}

static const char *source_of(const struct quarantine_row *row)
{
    return row->source != NULL ? row->source : "";
}

/* A full list would hide what comes next: then the sender keeps it. */
static enum err check_room(struct db *db, bool urgent)
{
    const int64_t most = QUARANTINE_MAX + (urgent ? QUARANTINE_URGENT_MAX : 0);
    const enum query q = Q_QUARANTINE_OPEN_COUNT;
    enum err e = db_first(db, q, "");
    bool full = e == ERR_OK && db_int(db, q, 0) >= most;

    db_done(db, q);
    return full ? ERR_LIMIT : e;
}

/* The same, from the same sender, which still waits or was discarded. */
static enum err find_same(struct db *db, const struct quarantine_row *row,
                          const unsigned char digest[DIGEST_SIZE], int64_t *id)
{
    const enum query q = Q_QUARANTINE_SAME;
    enum err e = db_first(db, q, "bs", (const void *)digest,
                          (size_t)DIGEST_SIZE, source_of(row));

    if (e == ERR_OK)
        *id = db_int(db, q, 0);
    db_done(db, q);
    return e;
}

static const char *text_or(const char *text, const char *otherwise)
{
    return text != NULL ? text : otherwise;
}

static enum err insert(struct db *db, const struct quarantine_row *row,
                       const unsigned char *digest, const struct buf *body,
                       int64_t *id)
{
    int64_t number = 0;
    enum err e = db_new_id(db, &number);

    if (e == ERR_OK)
        e = db_run(db, Q_QUARANTINE_ADD, "iiiisisiiiisssiibbis", number,
                   partition_of(number), row->at_ms, INT64(row->way),
                   source_of(row), INT64(row->kind), row->remote, row->file,
                   row->line, row->start, INT64(row->status),
                   text_or(row->reason, "internal"), text_or(row->place, ""),
                   text_or(row->text, ""), row->message,
                   INT64(row->body != NULL ? row->len : 0),
                   (const void *)digest, (size_t)DIGEST_SIZE,
                   row->body != NULL ? (const void *)body->data : NULL,
                   body->len, INT64(row->urgent), row->patient);
    if (e == ERR_OK)
        *id = number;
    return e;
}

enum err quarantine_add(struct db *db, const struct quarantine_row *row,
                        int64_t *id)
{
    bool fresh;

    return quarantine_add_new(db, row, id, &fresh);
}

enum err quarantine_add_new(struct db *db, const struct quarantine_row *row,
                            int64_t *id, bool *fresh)
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    bool whole = row->body != NULL;
    struct buf body;
    unsigned len = 0;
    enum err e;

    if (whole &&
        EVP_Digest(row->body, row->len, digest, &len, EVP_sha256(), NULL) != 1)
        return ERR_MEMORY;
    e = whole ? find_same(db, row, digest, id) : ERR_ABSENT;
    *fresh = e == ERR_ABSENT;
    if (e != ERR_ABSENT)
        return e;
    buf_init(&body, 2 * (size_t)BODY_MAX);
    e = check_room(db, row->urgent || row->carries);
    if (e == ERR_OK && whole)
        e = pack(row->body, row->len, &body);
    if (e == ERR_OK)
        e = insert(db, row, whole ? digest : NULL, &body, id);
    buf_clear(&body);
    return e;
}

enum err quarantine_close_remote(struct db *db, enum fhir_type kind,
                                 const char *remote, int64_t but,
                                 int64_t now_ms)
{
    return db_run(db, Q_QUARANTINE_REMOTE, "isiii", INT64(kind), remote,
                  INT64(QUARANTINE_CAME_AGAIN), now_ms, but);
}

enum err quarantine_trim(struct db *db, int64_t now_ms)
{
    return db_run(db, Q_QUARANTINE_TRIM, "ii", now_ms - done_kept_ms,
                  INT64(DONE_MAX));
}

enum err quarantine_close_message(struct db *db, int64_t message,
                                  enum quarantine_state state, int64_t now_ms)
{
    enum err e = db_run(db, Q_QUARANTINE_CLOSE_MESSAGE, "iii", message,
                        INT64(state), now_ms);

    return e == ERR_OK ? quarantine_trim(db, now_ms) : e;
}

enum err quarantine_close(struct db *db, int64_t id,
                          enum quarantine_state state, const char *who,
                          const char *why, int64_t now_ms)
{
    enum err e = db_run(db, Q_QUARANTINE_CLOSE, "iissi", id, INT64(state), who,
                        why, now_ms);

    if (e == ERR_OK && db_changes(db) == 0)
        return ERR_ABSENT;
    return e == ERR_OK ? quarantine_trim(db, now_ms) : e;
}
