#include "service/audit_whom.h"

#include "service/audit.h"
#include "service/patients.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <string.h>

enum err audit_whom_begin(struct db *db)
{
    return db_run(db, Q_AUDIT_SEEN_NONE, "");
}

enum err audit_saw(struct db *db, enum audit_seen kind, int64_t id)
{
    return id > 0 ? db_run(db, Q_AUDIT_SEEN_ADD, "ii", INT64(kind), id)
                  : ERR_OK;
}

/* The text up to the next quote, behind these words, cut to its room; what is
 * behind it.  NULL: the words are not here. */
static const char *text_behind(const char *at, const char *end,
                               const char *words, char *out, size_t size)
{
    size_t len = strlen(words);
    const char *stop;

    if ((size_t)(end - at) < len || memcmp(at, words, len) != 0)
        return NULL;
    at += len;
    stop = memchr(at, '"', (size_t)(end - at));
    if (stop == NULL)
        return NULL;
    snprintf(out, size, "%.*s", (int)(stop - at), at);
    return stop + 1;
}

/* A reference to a patient, or an identifier; false: neither begins here. */
static bool read_alias(const char *at, const char *end, char *alias,
                       size_t size)
{
    char text[ALIAS_SIZE], value[ALIAS_SIZE];

    if (text_behind(at, end, "\"reference\":\"", text, sizeof(text)) != NULL) {
        snprintf(alias, size, "r:%s", text);
        return true;
    }
    at = text_behind(at, end, "\"system\":\"", text, sizeof(text));
    if (at == NULL ||
        text_behind(at, end, ",\"value\":\"", value, sizeof(value)) == NULL)
        return false;
    snprintf(alias, size, "i:%s|%s", text, value);
    return true;
}

enum err audit_saw_list(struct db *db, const char *json, size_t len)
{
    const char *end = json + len;
    enum err e = ERR_OK;

    for (const char *at = json; e == ERR_OK; at++) {
        char alias[2 * ALIAS_SIZE + 4];

        at = memchr(at, '"', (size_t)(end - at));
        if (at == NULL)
            break;
        if (read_alias(at, end, alias, sizeof(alias)))
            e = db_run(db, Q_AUDIT_SEEN_ALIAS, "s", alias);
    }
    return e;
}

/* The rows of a statement, one more of which was asked for than we take. */
static enum err gather(struct db *db, enum query q, enum err e,
                       struct audit_whom *whom)
{
    whom->count = 0;
    whom->more = false;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (whom->count == AUDIT_PATIENTS_MAX)
            whom->more = true;
        else
            whom->patients[whom->count++] = db_int(db, q, 0);
    }
    db_done(db, q);
    if (whom->more)
        whom->count = 0;
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err audit_whom_take(struct db *db, struct audit_whom *whom)
{
    /* of what came in the patients are known: nothing is to be looked up */
    enum err e = db_first(db, Q_AUDIT_SEEN_OTHERS, "");
    const enum query q = e == ERR_ABSENT ? Q_AUDIT_SEEN_PATIENTS : Q_AUDIT_SEEN;

    db_done(db, Q_AUDIT_SEEN_OTHERS);
    if (e == ERR_OK || e == ERR_ABSENT)
        e = db_query(db, q, "i", INT64(AUDIT_PATIENTS_MAX + 1));
    e = gather(db, q, e, whom);
    return e == ERR_OK ? audit_whom_begin(db) : e;
}

enum err audit_whom_read(struct db *db, int64_t seq, struct audit_whom *whom)
{
    const enum query q = Q_AUDIT_PATIENTS;
    enum err e = db_query(db, q, "ii", seq, INT64(AUDIT_PATIENTS_MAX + 1));

    return gather(db, q, e, whom);
}

enum err audit_whom_text(const struct audit_whom *whom,
                         char text[AUDIT_WHOM_SIZE])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    char hex[AUDIT_HEX_SIZE], line[24];
    EVP_MD_CTX *context;
    bool fine;

    text[0] = '\0';
    if (whom->more)
        snprintf(text, AUDIT_WHOM_SIZE, ">%d", AUDIT_PATIENTS_MAX);
    if (whom->more || whom->count < 2)
        return ERR_OK;
    context = EVP_MD_CTX_new();
    fine =
        context != NULL && EVP_DigestInit_ex(context, EVP_sha256(), NULL) == 1;
    for (size_t i = 0; fine && i < whom->count; i++) {
        int n = snprintf(line, sizeof(line), "%lld\n",
                         (long long)whom->patients[i]);

        fine = EVP_DigestUpdate(context, line, (size_t)n) == 1;
    }
    fine = fine && EVP_DigestFinal_ex(context, digest, NULL) == 1;
    EVP_MD_CTX_free(context);
    if (!fine)
        return ERR_MEMORY;
    audit_hex(digest, hex);
    snprintf(text, AUDIT_WHOM_SIZE, "%zu %s", whom->count, hex);
    return ERR_OK;
}
