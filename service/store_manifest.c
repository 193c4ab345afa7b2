#include "service/store_manifest.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_form.h"
#include "adapters/fhir_out.h"
#include "adapters/hex.h"
#include "service/db_copy.h"
#include "service/db_fault.h"

#include <errno.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static const char format[] = "1";

/* Stored in manifests by their names: add at the end. */
static const char *const tables[MANIFEST_TABLES] = {
    "journal", "resource",   "version",     "patient", "access",
    "reading", "held",       "episode",     "task",    "decision",
    "outbox",  "quarantine", "hl7_message", "audit"
};

const char *store_manifest_table(int i)
{
    return tables[i];
}

bool store_manifest_path(const char *path, char *out, size_t size)
{
    int n = snprintf(out, size, "%s.json", path);

    return n > 0 && (size_t)n < size;
}

/* ---- from a file ------------------------------------------------------------ */

static enum err sum(FILE *f, EVP_MD_CTX *md, int64_t *bytes)
{
    enum { CHUNK = 1 << 18 };
    unsigned char *chunk = malloc(CHUNK);
    size_t n = 0;
    enum err e = chunk != NULL ? ERR_OK : ERR_MEMORY;

    *bytes = 0;
    while (e == ERR_OK && (n = fread(chunk, 1, CHUNK, f)) > 0) {
        *bytes += (int64_t)n;
        if (EVP_DigestUpdate(md, chunk, n) != 1)
            e = ERR_MEMORY;
    }
    if (e == ERR_OK && ferror(f))
        e = ERR_IO;
    free(chunk);
    return e;
}

static enum err hash(const char *path, struct store_manifest *m,
                     struct buf *why)
{
    FILE *f = fopen(path, "rb");
    EVP_MD_CTX *md = EVP_MD_CTX_new();
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned len = 0;
    enum err e = f == NULL ? ERR_IO : ERR_OK;

    if (e != ERR_OK)
        buf_printf(why, "%s: %s", path, strerror(errno));
    if (e == ERR_OK &&
        (md == NULL || EVP_DigestInit_ex(md, EVP_sha256(), NULL) != 1))
        e = ERR_MEMORY;
    if (e == ERR_OK)
        e = sum(f, md, &m->bytes);
    if (e == ERR_OK && EVP_DigestFinal_ex(md, digest, &len) != 1)
        e = ERR_MEMORY;
    if (e == ERR_OK)
        hex_write(digest, 32, m->sha256);
    EVP_MD_CTX_free(md);
    if (f != NULL)
        fclose(f);
    return e;
}

static enum err count(struct db *db, struct store_manifest *m)
{
    enum err e = db_first(db, Q_JOURNAL_NEWEST, "");

    if (e == ERR_OK)
        m->newest = db_int(db, Q_JOURNAL_NEWEST, 0);
    db_done(db, Q_JOURNAL_NEWEST);
    for (int i = 0; e == ERR_OK && i < MANIFEST_TABLES; i++) {
        e = db_rows(db, tables[i], &m->rows[i]);
        if (e == ERR_STORE && m->schema < db_schema_newest()) {
            m->rows[i] = 0; /* an older store does not have this table */
            e = ERR_OK;
        }
    }
    return e;
}

enum err store_manifest_of(const char *path, struct store_manifest *m,
                           struct buf *why)
{
    struct db *db = NULL;
    struct stat info;
    enum err e = ERR_OK;

    if (stat(path, &info) != 0) {
        buf_printf(why, "%s: %s", path, strerror(errno));
        return ERR_IO;
    }
    e = hash(path, m, why);
    if (e == ERR_OK)
        e = db_open_still(path, &db, &m->schema);
    if (e == ERR_OK)
        e = db_verify(db);
    if (e == ERR_OK)
        e = count(db, m);
    db_close(db);
    if (e != ERR_OK && why->len == 0)
        db_open_say(path, e, why);
    return e;
}

/* ---- as a line -------------------------------------------------------------- */

static void put_number(struct buf *out, const char *name, int64_t value)
{
    char text[24];

    snprintf(text, sizeof(text), "%lld", (long long)value);
    fhir_out_text(out, name, text);
}

void store_manifest_write(const struct store_manifest *m, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "format", format);
    fhir_out_text(out, "program", m->program);
    fhir_out_text(out, "made", m->made);
    put_number(out, "schema", m->schema);
    put_number(out, "newest", m->newest);
    put_number(out, "bytes", m->bytes);
    fhir_out_text(out, "sha256", m->sha256);
    for (int i = 0; i < MANIFEST_TABLES; i++)
        put_number(out, tables[i], m->rows[i]);
    fhir_out_close(out, '}');
    buf_puts(out, "\n");
}

struct reading_manifest {
    struct store_manifest *m;
    bool known; /* its format */
    bool wrong;
};

static void take_number(struct reading_manifest *r, const char *text,
                        int64_t *to)
{
    char *end = NULL;

    errno = 0;
    *to = strtoll(text, &end, 10);
    if (errno != 0 || end == text || *end != '\0')
        r->wrong = true;
}

static void take_text(struct reading_manifest *r, const char *text, char *to,
                      size_t size)
{
    if (strlen(text) >= size)
        r->wrong = true;
    else
        snprintf(to, size, "%s", text);
}

static void visit(void *arg, const char *name, const char *value)
{
    struct reading_manifest *r = arg;
    struct store_manifest *m = r->m;

    if (strcmp(name, "format") == 0)
        r->known = strcmp(value, format) == 0;
    else if (strcmp(name, "program") == 0)
        take_text(r, value, m->program, sizeof(m->program));
    else if (strcmp(name, "made") == 0)
        take_text(r, value, m->made, sizeof(m->made));
    else if (strcmp(name, "sha256") == 0)
        take_text(r, value, m->sha256, sizeof(m->sha256));
    else if (strcmp(name, "schema") == 0)
        take_number(r, value, &m->schema);
    else if (strcmp(name, "newest") == 0)
        take_number(r, value, &m->newest);
    else if (strcmp(name, "bytes") == 0)
        take_number(r, value, &m->bytes);
    for (int i = 0; i < MANIFEST_TABLES; i++) {
        if (strcmp(name, tables[i]) == 0)
            take_number(r, value, &m->rows[i]);
    }
}

enum err store_manifest_read(const char *json, size_t len,
                             struct store_manifest *m)
{
    struct reading_manifest r = { .m = m };
    enum err e;

    *m = (struct store_manifest){ .schema = 0 };
    e = fhir_form_each(json, len, visit, &r);
    if (e != ERR_OK || !r.known || r.wrong ||
        strlen(m->sha256) != MANIFEST_HASH_SIZE - 1)
        return ERR_FORM;
    return ERR_OK;
}
