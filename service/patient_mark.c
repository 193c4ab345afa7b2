#include "service/patient_mark.h"

#include "adapters/hex.h"
#include "service/patient_names.h"
#include "service/patients.h"

#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <openssl/rand.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { KEY_SIZE = 65, HASH_SIZE = 32, ALIASES_AT_ONCE = 64 };

static const char key_name[] = "erasure_key";

/* The key of this store, made with the first erasure; ERR_ABSENT: none yet. */
static enum err read_key(struct db *db, char key[KEY_SIZE])
{
    enum err e = db_first(db, Q_META_GET, "s", key_name);

    if (e == ERR_OK)
        snprintf(key, KEY_SIZE, "%s", db_text(db, Q_META_GET, 0));
    db_done(db, Q_META_GET);
    return e;
}

static enum err make_key(struct db *db, char key[KEY_SIZE])
{
    unsigned char bytes[HASH_SIZE];
    enum err e = read_key(db, key);

    if (e != ERR_ABSENT)
        return e;
    if (RAND_bytes(bytes, sizeof(bytes)) != 1)
        return ERR_MEMORY;
    hex_write(bytes, sizeof(bytes), key);
    return db_run(db, Q_META_PUT, "ss", key_name, key);
}

static enum err hash(const char key[KEY_SIZE], const char *alias,
                     unsigned char out[HASH_SIZE])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned len = 0;

    if (HMAC(EVP_sha256(), key, (int)strlen(key), (const unsigned char *)alias,
             strlen(alias), digest, &len) == NULL ||
        len != HASH_SIZE)
        return ERR_MEMORY;
    memcpy(out, digest, HASH_SIZE);
    return ERR_OK;
}

/* Some aliases at a time: what is done with them uses the same connection. */
struct some {
    size_t count;
    char list[ALIASES_AT_ONCE][ALIAS_SIZE];
};

static enum err take(struct db *db, enum query q, struct some *some)
{
    enum err e = ERR_OK;

    some->count = 0;
    while (some->count < ALIASES_AT_ONCE && (e = db_next(db, q)) == ERR_OK)
        snprintf(some->list[some->count++], ALIAS_SIZE, "%s",
                 db_text(db, q, 0));
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err patient_mark(struct db *db, int64_t patient, int64_t erasure)
{
    struct patient_names names = { .list = NULL };
    unsigned char mark[HASH_SIZE];
    char key[KEY_SIZE] = "";
    enum err e = make_key(db, key);

    if (e == ERR_OK)
        e = patient_names_read(db, patient, &names);
    for (size_t i = 0; e == ERR_OK && i < names.count; i++) {
        e = hash(key, names.list[i].alias, mark);
        if (e == ERR_OK)
            e = db_run(db, Q_ERASED_KEY, "bi", (const void *)mark,
                       (size_t)HASH_SIZE, erasure);
    }
    patient_names_free(&names);
    return e;
}

static enum err look_up(struct db *db, const char *key, const char *alias,
                        int64_t *erasure)
{
    const enum query q = Q_ERASED_FIND;
    unsigned char mark[HASH_SIZE];
    enum err e = hash(key, alias, mark);

    if (e == ERR_OK)
        e = db_first(db, q, "b", (const void *)mark, (size_t)HASH_SIZE);
    if (e == ERR_OK)
        *erasure = db_int(db, q, 0);
    db_done(db, q);
    return e;
}

enum err patient_marked_each(struct db *marks, struct db *db,
                             void (*visit)(void *arg, int64_t erasure,
                                           const char *alias),
                             void *arg)
{
    struct some *some = malloc(sizeof(*some));
    char key[KEY_SIZE] = "", last[ALIAS_SIZE] = "";
    enum err e = some != NULL ? read_key(marks, key) : ERR_MEMORY;

    if (e == ERR_ABSENT) { /* nobody was removed */
        free(some);
        return ERR_OK;
    }
    do {
        if (e == ERR_OK)
            e = db_query(db, Q_ALIAS_ALL, "si", last, INT64(ALIASES_AT_ONCE));
        if (e == ERR_OK)
            e = take(db, Q_ALIAS_ALL, some);
        for (size_t i = 0; e == ERR_OK && i < some->count; i++) {
            int64_t erasure = 0;

            e = look_up(marks, key, some->list[i], &erasure);
            if (e == ERR_OK)
                visit(arg, erasure, some->list[i]);
            if (e == ERR_ABSENT)
                e = ERR_OK;
            snprintf(last, sizeof(last), "%s", some->list[i]);
        }
    } while (e == ERR_OK && some->count == ALIASES_AT_ONCE);
    free(some);
    return e;
}

/* ---- from one store into another ------------------------------------------- */

/* One key for both, or no hash of the one is found in the other. */
static enum err carry_key(struct db *from, struct db *to)
{
    char theirs[KEY_SIZE] = "", ours[KEY_SIZE] = "";
    enum err e = read_key(from, theirs);

    if (e == ERR_OK)
        e = read_key(to, ours);
    else
        return e; /* ERR_ABSENT: nobody was removed there */
    if (e == ERR_ABSENT)
        return db_run(to, Q_META_PUT, "ss", key_name, theirs);
    return e == ERR_OK && strcmp(theirs, ours) != 0 ? ERR_CONFLICT : e;
}

/* The row that is read, under a number of this store: theirs may be given to
 * something else here.  Their file is not written anew here: it is not this
 * one. */
static enum err carry_row(struct db *from, struct db *to, int64_t *id,
                          int64_t *carried)
{
    const enum query q = Q_ERASED_LIST, same = Q_ERASED_SAME;
    enum err e = db_first(to, same, "iss", db_int(from, q, 1),
                          db_text(from, q, 2), db_text(from, q, 3));

    if (e == ERR_OK)
        *id = db_int(to, same, 0);
    db_done(to, same);
    if (e != ERR_ABSENT)
        return e;
    e = db_new_id(to, id);
    if (e == ERR_OK)
        e = db_run(to, Q_ERASED_TAKE, "iisss", *id, db_int(from, q, 1),
                   db_text(from, q, 2), db_text(from, q, 3),
                   db_text(from, q, 4));
    if (e == ERR_OK)
        ++*carried;
    return e;
}

static enum err carry_hashes(struct db *from, struct db *to, int64_t theirs,
                             int64_t ours)
{
    const enum query q = Q_ERASED_KEYS;
    enum err e = db_query(from, q, "i", theirs);

    while (e == ERR_OK && (e = db_next(from, q)) == ERR_OK) {
        size_t len = 0;
        const void *mark = db_blob(from, q, 0, &len);

        e = db_run(to, Q_ERASED_KEY, "bi", mark, len, ours);
    }
    db_done(from, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err carry_all(struct db *from, struct db *to, int64_t *carried)
{
    const enum query q = Q_ERASED_LIST;
    enum err e = db_query(from, q, "");

    while (e == ERR_OK && (e = db_next(from, q)) == ERR_OK) {
        int64_t id = 0;

        e = carry_row(from, to, &id, carried);
        if (e == ERR_OK)
            e = carry_hashes(from, to, db_int(from, q, 0), id);
    }
    db_done(from, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err patient_marks_carry(struct db *from, struct db *to, int64_t *carried)
{
    enum err e = db_run(to, Q_BEGIN, ""), back;

    *carried = 0;
    if (e != ERR_OK)
        return e;
    e = carry_key(from, to);
    if (e == ERR_OK)
        e = carry_all(from, to, carried);
    if (e == ERR_OK)
        e = db_run(to, Q_COMMIT, "");
    if (e == ERR_OK)
        return ERR_OK;
    back = db_run(to, Q_ROLLBACK, "");
    db_forget_ids(to);
    *carried = 0;
    if (e == ERR_ABSENT) /* nobody was removed there */
        e = ERR_OK;
    return e == ERR_OK ? back : e;
}
