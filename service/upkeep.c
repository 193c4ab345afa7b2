#include "service/upkeep.h"

#include "service/app.h"
#include "service/store_files.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>

#define BACKUP_KEY "backup_ms"
#define MADE_KEY   "made_ms"

static const int64_t made_said_ms = INT64_C(86400000);

static int64_t bytes_of(const char *path)
{
    struct stat st;

    return stat(path, &st) == 0 ? (int64_t)st.st_size : -1;
}

static void look_at_disk(const char *store, struct upkeep *u)
{
    char path[STORE_PATH_SIZE + 8];
    struct statvfs disk;
    int64_t log_bytes;

    snprintf(path, sizeof(path), "%s-wal", store);
    log_bytes = bytes_of(path);
    u->store_bytes = bytes_of(store);
    if (u->store_bytes >= 0 && log_bytes > 0)
        u->store_bytes += log_bytes;
    snprintf(path, sizeof(path), "%s-room", store);
    u->room_held = bytes_of(path) > 0;
    u->free_bytes = statvfs(store, &disk) == 0
                        ? (int64_t)disk.f_bavail * (int64_t)disk.f_frsize
                        : -1;
}

void upkeep_look(const struct service *s, struct upkeep *u)
{
    const char *record = s->config.record_tls_certificate;
    struct store_backup_view backup;

    store_backup_look(s->backup, &backup);
    u->backup_failed = backup.number > 0 && backup.state == BACKUP_FAILED;
    look_at_disk(s->config.store_path, u);
    u->http_end_s =
        s->http_tls != NULL ? tls_context_end_s(s->http_tls) : INT64_MAX;
    u->mllp_end_s =
        s->mllp != NULL ? mllp_server_tls_end_s(s->mllp) : INT64_MAX;
    u->http_lists_s =
        s->http_tls != NULL ? tls_context_lists_end_s(s->http_tls) : INT64_MAX;
    u->mllp_lists_s =
        s->mllp != NULL ? mllp_server_lists_end_s(s->mllp) : INT64_MAX;
    u->record_end_s = record[0] != '\0' ? tls_file_end_s(record) : INT64_MAX;
}

static void gauge(struct buf *b, const char *name, const char *help,
                  int64_t value)
{
    buf_printf(b, "# HELP %s %s\n# TYPE %s gauge\n%s %lld\n", name, help, name,
               name, (long long)value);
}

struct end_row {
    const char *of;
    int64_t end_s; /* INT64_MAX: there is none */
};

static void write_ends(struct buf *b, const char *name, const char *help,
                       const struct end_row *rows, size_t count)
{
    bool told = false;

    for (size_t i = 0; i < count; i++) {
        if (rows[i].end_s == INT64_MAX)
            continue;
        if (!told)
            buf_printf(b, "# HELP %s %s\n# TYPE %s gauge\n", name, help, name);
        told = true;
        buf_printf(b, "%s{of=\"%s\"} %lld\n", name, rows[i].of,
                   (long long)rows[i].end_s);
    }
}

static void write_certificates(const struct upkeep *u, struct buf *b)
{
    const struct end_row certificates[] = { { "http", u->http_end_s },
                                            { "mllp", u->mllp_end_s },
                                            { "record", u->record_end_s } };
    const struct end_row lists[] = { { "http", u->http_lists_s },
                                     { "mllp", u->mllp_lists_s } };

    write_ends(b, "headgate_certificate_end_timestamp_seconds",
               "When a certificate of ours, or one that is sent with it, runs "
               "out",
               certificates, COUNT(certificates));
    write_ends(b, "headgate_revocation_list_end_timestamp_seconds",
               "When the first revocation list in use runs out: then nobody of "
               "that authority is let in",
               lists, COUNT(lists));
}

/* 0: nothing was kept of it. */
static enum err moment_of(struct db *db, const char *key, int64_t *at_ms)
{
    const enum query q = Q_META_GET;
    enum err e = db_first(db, q, "s", key);

    *at_ms = e == ERR_OK ? db_int(db, q, 0) : 0;
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err upkeep_metrics(struct db *db, const struct upkeep *u, struct buf *b)
{
    int64_t backup_ms = 0, made_ms = 0;
    enum err e = moment_of(db, BACKUP_KEY, &backup_ms);

    if (e == ERR_OK)
        e = moment_of(db, MADE_KEY, &made_ms);
    if (e != ERR_OK)
        return e;
    buf_printf(b,
               "# HELP headgate_info What is running\n"
               "# TYPE headgate_info gauge\n"
               "headgate_info{version=\"%s\",sqlite=\"%s\"} 1\n",
               HEADGATE_VERSION, db_library_version());
    gauge(b, "headgate_backup_timestamp_seconds",
          "When the last backup by headgate store backup was made; 0 never",
          backup_ms / 1000);
    gauge(b, "headgate_backup_failed",
          "1 if the last backup since the start failed", u->backup_failed);
    gauge(b, "headgate_store_made_timestamp_seconds",
          "When this store was made, with nothing in it; 0 long ago",
          made_ms / 1000);
    gauge(b, "headgate_store_damaged",
          "1 once something was read in the store that cannot be so",
          db_is_damaged(db) ? 1 : 0);
    if (u->store_bytes >= 0)
        gauge(b, "headgate_store_bytes", "The store on its disk, with its log",
              u->store_bytes);
    if (u->free_bytes >= 0)
        gauge(b, "headgate_store_free_bytes",
              "Room on the disk of the store, for its account", u->free_bytes);
    gauge(b, "headgate_store_room_held",
          "1 while the room is held that gets the store over a full disk",
          u->room_held ? 1 : 0);
    write_certificates(u, b);
    return ERR_OK;
}

enum err upkeep_say(struct db *db, const struct upkeep *u, int64_t now_ms,
                    struct buf *out)
{
    int64_t made_ms;
    enum err e = moment_of(db, MADE_KEY, &made_ms);

    if (e != ERR_OK)
        return e;
    if (db_is_damaged(db))
        buf_puts(out, "store: DAMAGED: part of it cannot be read; keep a copy, "
                      "and restore a backup (OPERATIONS.md)\n");
    if (!u->room_held)
        buf_puts(out, "store: the disk is full, and what was held for that is "
                      "in use: make room\n");
    if (made_ms > 0 && now_ms - made_ms < made_said_ms)
        buf_puts(out, "store: made anew within the last day, with nothing in "
                      "it; if there was one before, stop and look for it\n");
    return ERR_OK;
}

enum err upkeep_made(struct db *db, int64_t at_ms)
{
    return db_run(db, Q_META_PUT, "si", MADE_KEY, at_ms);
}

enum err upkeep_backed_up(struct db *db, int64_t at_ms)
{
    return db_run(db, Q_META_PUT, "si", BACKUP_KEY, at_ms);
}
