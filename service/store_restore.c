#include "service/store_restore.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "service/audit.h"
#include "service/db_copy.h"
#include "service/db_fault.h"
#include "service/patient_mark.h"
#include "service/upkeep.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

/* "headgate.db.before-20261126T113000Z" */
static enum err name_before(const char *store, int64_t now_s,
                            struct store_restored *r, struct buf *why)
{
    time_t at = now_s;
    struct stat info;
    struct tm t;
    int n;

    gmtime_r(&at, &t);
    n = snprintf(r->before, sizeof(r->before),
                 "%s.before-%04d%02d%02dT%02d%02d%02dZ", store,
                 1900 + t.tm_year, t.tm_mon + 1, t.tm_mday, t.tm_hour, t.tm_min,
                 t.tm_sec);
    if (n < 0 || (size_t)n >= sizeof(r->before)) {
        buf_puts(why, _("the name of the file is too long"));
        return ERR_LIMIT;
    }
    if (lstat(r->before, &info) != 0)
        return ERR_OK;
    buf_printf(why, _("%s: this file is there already, and is not overwritten"),
               r->before);
    return ERR_CONFLICT;
}

/* The copy lies beside the store, and is what was verified. */
static enum err bring(const char *backup, const char *store,
                      const struct store_manifest *m, struct buf *why)
{
    char part[STORE_PATH_SIZE];
    struct store_manifest is = { .schema = 0 };
    enum err e = store_part_path(store, part, sizeof(part), why);

    if (e == ERR_OK)
        e = store_room(store, m->bytes, why);
    if (e == ERR_OK)
        e = store_part_fill(backup, store, why);
    if (e == ERR_OK)
        e = store_manifest_of(part, &is, why);
    if (e == ERR_OK && strcmp(is.sha256, m->sha256) != 0) {
        buf_printf(why, _("%s: the copy is not what was copied"), part);
        e = ERR_IO;
    }
    return e;
}

/* Where the trail of the store that goes away ends, as far as it can be read. */
static void say_head(struct db *held, const struct store_restored *r, char *out,
                     size_t size)
{
    unsigned char hash[AUDIT_HASH_SIZE];
    char hex[AUDIT_HEX_SIZE];
    int64_t seq = 0;

    if (held == NULL) {
        snprintf(out, size, "%s",
                 r->damaged ? "a store that cannot be read" : "none");
    } else if (audit_head(held, &seq, hash) != ERR_OK) {
        snprintf(out, size, "one without a trail that can be read");
    } else {
        audit_hex(hash, hex);
        snprintf(out, size, "row %lld %s", (long long)seq, hex);
    }
}

static enum err note(struct db *db, struct db *held,
                     const struct store_restored *r, int64_t now_s)
{
    char actor[32], head[AUDIT_HEX_SIZE + 40], detail[AUDIT_TEXT_MAX];
    char carried[64] = "";
    const struct audit_entry row = { .at_ms = now_s * 1000,
                                     .kind = "local",
                                     .actor = actor,
                                     .action = "restored",
                                     .type = "store",
                                     .detail = detail };

    say_head(held, r, head, sizeof(head));
    snprintf(actor, sizeof(actor), "uid %ld", (long)getuid());
    if (held != NULL && r->ledger != ERR_OK)
        snprintf(carried, sizeof(carried), "; its erasures were not to be had");
    else if (r->carried > 0)
        snprintf(carried, sizeof(carried), "; erasures taken over: %lld",
                 (long long)r->carried);
    snprintf(detail, sizeof(detail), "backup %s, in place of %s%s",
             r->check.manifest.sha256, head, carried);
    return audit_note(db, &row);
}

/* A store that is damaged is put away for that reason: it stops nothing here. */
static void carry(struct db *db, struct db *held, struct store_restored *r)
{
    if (held != NULL)
        r->ledger = patient_marks_carry(held, db, &r->carried);
    else
        r->ledger = r->damaged ? ERR_STORE : ERR_ABSENT;
}

/* The copy began before its own backup was noted in it. */
static enum err keep_backup_time(struct db *db, const struct store_manifest *m)
{
    struct fhir_time made;

    if (fhir_instant_read(m->made, strlen(m->made), &made) != ERR_OK)
        return ERR_OK; /* what it says of an earlier one stands */
    return upkeep_backed_up(db, made.start_s * 1000);
}

/* Before it takes its place: a store that was put back, and says nothing of it,
 * is never there.  Its tables are brought up to date by that, as the service
 * would do. */
static enum err record(const char *store, struct db *held,
                       struct store_restored *r, int64_t now_s, struct buf *why)
{
    char part[STORE_PATH_SIZE], log[STORE_PATH_SIZE + 8];
    struct db *db = NULL;
    enum err e = store_part_path(store, part, sizeof(part), why);

    if (e != ERR_OK)
        return e;
    e = db_open(part, &db);
    if (e == ERR_OK)
        carry(db, held, r);
    if (e == ERR_OK)
        e = note(db, held, r, now_s);
    if (e == ERR_OK)
        e = keep_backup_time(db, &r->check.manifest);
    if (e == ERR_OK)
        e = upkeep_made(db, 0); /* it does not begin with nothing */
    if (e == ERR_OK)
        e = db_cut_log(db);
    if (e != ERR_OK)
        buf_printf(why,
                   _("%s: it cannot be written into the audit trail that "
                     "this store was put back"),
                   part);
    db_close(db);
    snprintf(log, sizeof(log), "%s-wal", part);
    unlink(log); /* empty by now, or of no use */
    return e;
}

static enum err system_error(const char *path, struct buf *why)
{
    buf_printf(why, "%s: %s", path, strerror(errno));
    return ERR_IO;
}

/* A second name for the old store; where there are no such names its only one
 * changes, and for a moment there is no store. */
static enum err put_aside(const char *store, const char *before,
                          struct buf *why)
{
    if (link(store, before) == 0)
        return ERR_OK;
    if ((errno == EPERM || errno == ENOSYS || errno == EOPNOTSUPP) &&
        rename(store, before) == 0)
        return ERR_OK;
    return system_error(before, why);
}

/* A log that is not of the new store would spoil it. */
static enum err put_log_aside(const char *store, const char *before,
                              struct buf *why)
{
    char from[STORE_PATH_SIZE + 8], to[STORE_PATH_SIZE + 8];

    snprintf(from, sizeof(from), "%s-wal", store);
    snprintf(to, sizeof(to), "%s-wal", before);
    return rename(from, to) == 0 || errno == ENOENT ? ERR_OK
                                                    : system_error(from, why);
}

static enum err swap(const char *store, struct store_restored *r,
                     struct buf *why)
{
    struct stat info;
    bool there = lstat(store, &info) == 0;
    enum err e = there ? put_aside(store, r->before, why) : ERR_OK;

    /* once it was held, there is no log; of a damaged store, or of one that is
     * gone, it goes away */
    if (e == ERR_OK && (r->damaged || !there))
        e = put_log_aside(store, r->before, why);
    if (!there)
        r->before[0] = '\0';
    return e == ERR_OK ? store_part_settle(store, true, why) : e;
}

/* Nobody else has it open, and what is in its log is in it. */
static enum err hold(const char *store, struct store_restored *r,
                     struct db **held, struct buf *why)
{
    struct stat info;
    enum err e;

    if (lstat(store, &info) != 0)
        return ERR_OK;
    e = db_hold(store, held);
    if (e == ERR_DENIED || e == ERR_FULL || e == ERR_MEMORY) {
        db_open_say(store, e, why);
        return e;
    }
    r->damaged = e != ERR_OK;
    return ERR_OK;
}

static void note_again(void *arg, int64_t erasure, const char *alias)
{
    struct buf *again = arg;

    (void)erasure;
    buf_printf(again, "  %s\n", strlen(alias) > 2 ? alias + 2 : alias);
}

/* A backup of before an erasure brings the patient back.  What cannot be read
 * is no reason to fail: the store is in its place by now. */
static void find_again(const char *store, struct store_restored *r)
{
    struct db *old = NULL, *now = NULL;
    int64_t version = 0, present = db_schema_newest();
    enum err e = ERR_ABSENT;

    if (r->before[0] == '\0' || r->damaged)
        return;
    if (db_open_still(r->before, &old, &version) == ERR_OK &&
        version == present && db_open_still(store, &now, &version) == ERR_OK)
        e = patient_marked_each(old, now, note_again, &r->again);
    if (e != ERR_OK)
        buf_empty(&r->again);
    db_close(old);
    db_close(now);
}

enum err store_restore(const char *backup, const struct config *config,
                       int64_t now_s, struct store_restored *r, struct buf *why)
{
    const char *store = config->store_path;
    struct db *held = NULL;
    enum err e;

    *r = (struct store_restored){ .damaged = false };
    buf_init(&r->again, (size_t)64 * 1024);
    e = name_before(store, now_s, r, why);
    if (e == ERR_OK)
        e = store_check(backup, config, &r->check, why);
    if (e == ERR_OK)
        e = hold(store, r, &held, why);
    if (e != ERR_OK)
        return e;
    e = store_part_make(store, true, why);
    if (e == ERR_OK)
        e = store_part_own(store, why);
    if (e == ERR_OK)
        e = bring(backup, store, &r->check.manifest, why);
    if (e == ERR_OK)
        e = record(store, held, r, now_s, why);
    if (e == ERR_OK)
        e = swap(store, r, why);
    if (e == ERR_OK)
        find_again(store, r);
    db_close(held); /* now anybody may open the new one */
    if (e != ERR_OK)
        store_part_drop(store);
    return e;
}
