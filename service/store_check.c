#include "service/store_check.h"

#include "adapters/catalogue.h"
#include "adapters/policy_file.h"
#include "service/db_copy.h"
#include "service/file.h"
#include "service/maps.h"
#include "service/review.h"
#include "service/store_faults.h"
#include "service/store_files.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

/* ---- file and manifest ---------------------------------------------------- */

static enum err read_manifest(const char *path, struct store_manifest *m,
                              struct buf *why)
{
    char beside[STORE_PATH_SIZE];
    struct buf text;
    enum err e;

    if (!store_manifest_path(path, beside, sizeof(beside))) {
        buf_puts(why, _("the name of the file is too long"));
        return ERR_LIMIT;
    }
    if (access(beside, F_OK) != 0) {
        buf_printf(why,
                   _("%s: the manifest is not there: without it nobody can "
                     "tell whether the backup is what it was"),
                   beside);
        return ERR_ABSENT;
    }
    buf_init(&text, MANIFEST_SIZE_MAX);
    e = file_read(beside, &text, why);
    if (e == ERR_OK) {
        e = store_manifest_read(text.data, text.len, m);
        if (e != ERR_OK)
            buf_printf(why, _("%s: this is not the manifest of a backup"),
                       beside);
    }
    buf_clear(&text);
    return e;
}

static enum err compare(const char *path, const struct store_manifest *says,
                        const struct store_manifest *is, struct buf *why)
{
    if (says->bytes != is->bytes || strcmp(says->sha256, is->sha256) != 0) {
        buf_printf(why,
                   _("%s: this is not the file that was made: its SHA-256 is "
                     "another one than its manifest says"),
                   path);
        return ERR_CONFLICT;
    }
    if (says->schema != is->schema || says->newest != is->newest) {
        buf_printf(why, _("%s: the manifest is of another backup"), path);
        return ERR_CONFLICT;
    }
    for (int i = 0; i < MANIFEST_TABLES; i++) {
        if (says->rows[i] == is->rows[i])
            continue;
        /* TRANSLATORS: %s a file, a table of the database */
        buf_printf(why,
                   _("%s: table %s has %lld rows, and %lld by its manifest"),
                   path, store_manifest_table(i), (long long)is->rows[i],
                   (long long)says->rows[i]);
        return ERR_CONFLICT;
    }
    return ERR_OK;
}

/* ---- what a start does ------------------------------------------------------ */

static int64_t now_ms(void)
{
    struct timespec now;

    clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* The next accesses behind one; their numbers first, since looking at one uses
 * the same connection. */
enum { ACCESSES_AT_ONCE = 256 };

static enum err next_accesses(struct db *db, int64_t after,
                              int64_t list[ACCESSES_AT_ONCE], size_t *count)
{
    const enum query q = Q_ACCESS_BEHIND;
    enum err e = db_query(db, q, "ii", after, INT64(ACCESSES_AT_ONCE));

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (*count < ACCESSES_AT_ONCE)
            list[(*count)++] = db_int(db, q, 0);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err look_at_all(struct db *db, const struct review *review,
                            int64_t *accesses)
{
    int64_t list[ACCESSES_AT_ONCE];
    int64_t after = 0;
    size_t count = 1;
    enum err e = ERR_OK;

    while (e == ERR_OK && count > 0) {
        e = next_accesses(db, after, list, &count);
        for (size_t i = 0; e == ERR_OK && i < count; i++) {
            struct look look;

            e = look_at(db, review, list[i], &look);
            if (e == ERR_OK)
                look_clear(&look);
            after = list[i];
            (*accesses)++;
        }
    }
    return e;
}

static enum err start_on(struct db *db, const struct config *config,
                         struct store_check *check, struct buf *why)
{
    struct policy policy;
    struct zone *zone = NULL;
    struct codes *codes = NULL;
    struct review review = { .policy = &policy, .now_ms = now_ms };
    enum err e = policy_file_read(config->policy_path, &policy, why);

    if (e == ERR_OK) {
        e = zone_load(config->zone, &zone);
        if (e != ERR_OK)
            buf_printf(why, "[site] zone: %s", config->zone);
    }
    review.zone = zone;
    review.base = config->fhir_base;
    if (e == ERR_OK)
        e = maps_load(config, &codes, why);
    if (e == ERR_OK)
        e = maps_learn_stored(db, codes, why);
    if (e == ERR_OK)
        e = look_at_all(db, &review, &check->accesses);
    codes_free(codes);
    zone_free(zone);
    return e;
}

/* What does not fit is cut: there is enough wrong then. */
static enum err look_for_faults(struct db *db, struct store_check *check)
{
    struct buf found;
    enum err e;

    buf_init(&found, (size_t)2 * STORE_FAULTS_SIZE);
    e = store_faults_shape(db, &found);
    if (e == ERR_OK)
        e = store_faults_chain(db, &found);
    snprintf(check->faults, sizeof(check->faults), "%s",
             found.data != NULL ? found.data : "");
    buf_clear(&found);
    return e;
}

enum err store_check(const char *path, const struct config *config,
                     struct store_check *check, struct buf *why)
{
    struct store_manifest is = { .schema = 0 };
    struct db *db = NULL;
    int64_t version = 0;
    enum err e;

    *check = (struct store_check){ .accesses = 0 };
    e = read_manifest(path, &check->manifest, why);
    if (e == ERR_OK)
        e = store_manifest_of(path, &is, why);
    if (e == ERR_OK)
        e = compare(path, &check->manifest, &is, why);
    if (e != ERR_OK)
        return e;
    check->older = is.schema < db_schema_newest();
    if (check->older)
        return ERR_OK;
    e = db_open_still(path, &db, &version);
    if (e == ERR_OK)
        e = start_on(db, config, check, why);
    if (e == ERR_OK)
        e = look_for_faults(db, check);
    db_close(db);
    if (e != ERR_OK && why->len == 0)
        buf_printf(why, _("%s: no service could work with it (%s)"), path,
                   err_word(e));
    return e;
}
