#include "service/db_copy.h"

#include "service/db_schema.h"
#include "service/db_work.h"

#include <ctype.h>
#include <limits.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <uv.h>

/* ---- copying -------------------------------------------------------------- */

struct db_copy {
    sqlite3 *to;
    sqlite3_backup *backup;
    int64_t stepped; /* pages, all passes together */
    int pages, left;
};

/* The copy is ours alone until it is whole: it needs no journal, and is synced
 * once, by who asked for it. */
static int prepare_copy(sqlite3 *to)
{
    return sqlite3_exec(to,
                        "PRAGMA locking_mode=EXCLUSIVE;"
                        "PRAGMA journal_mode=OFF; PRAGMA synchronous=OFF;",
                        NULL, NULL, NULL);
}

/* The same file, its folder without links: the engine is told to follow none,
 * since somebody might put one in the place of the file. */
static bool without_links(const char *path, char out[PATH_MAX])
{
    char folder[PATH_MAX];
    uv_fs_t real;
    const char *slash = strrchr(path, '/');
    size_t len = slash != NULL ? (size_t)(slash - path) + 1 : 0;
    int n;

    if (len >= sizeof(folder))
        return false;
    snprintf(folder, sizeof(folder), "%.*s", (int)len, len > 0 ? path : "");
    n = uv_fs_realpath(NULL, &real, len > 0 ? folder : ".", NULL);
    if (n == 0)
        n = snprintf(out, PATH_MAX, "%s/%s", (const char *)real.ptr,
                     path + len);
    uv_fs_req_cleanup(&real);
    return n > 0 && n < PATH_MAX;
}

enum err db_copy_begin(struct db *db, const char *path, struct db_copy **out)
{
    struct db_copy *c;
    char real[PATH_MAX];
    int code;

    if (!without_links(path, real))
        return ERR_IO;
    c = calloc(1, sizeof(*c));
    if (c == NULL)
        return ERR_MEMORY;
    code = sqlite3_open_v2(real, &c->to,
                           SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX |
                               SQLITE_OPEN_EXRESCODE | SQLITE_OPEN_NOFOLLOW,
                           NULL);
    if (code == SQLITE_OK)
        code = prepare_copy(c->to);
    if (code == SQLITE_OK) {
        c->backup = sqlite3_backup_init(c->to, "main", db_handle(db), "main");
        if (c->backup == NULL)
            code = sqlite3_errcode(c->to);
    }
    if (code != SQLITE_OK) {
        db_copy_end(c);
        return (code & 0xff) == SQLITE_CANTOPEN ? ERR_IO : db_err_of(code);
    }
    *out = c;
    return ERR_OK;
}

enum err db_copy_step(struct db_copy *c, int pages, bool *more)
{
    int code = sqlite3_backup_step(c->backup, pages);

    *more = code == SQLITE_OK;
    c->pages = sqlite3_backup_pagecount(c->backup);
    c->left = sqlite3_backup_remaining(c->backup);
    c->stepped += pages;
    if (code != SQLITE_OK)
        return db_err_of(code); /* of SQLITE_DONE: none */
    return c->stepped > (int64_t)c->pages * DB_COPY_PASSES_MAX + pages
               ? ERR_LIMIT
               : ERR_OK;
}

void db_copy_progress(const struct db_copy *c, int64_t *pages, int64_t *left)
{
    *pages = c->pages;
    *left = c->left;
}

void db_copy_end(struct db_copy *c)
{
    if (c == NULL)
        return;
    if (c->backup != NULL)
        sqlite3_backup_finish(c->backup);
    sqlite3_close(c->to);
    free(c);
}

/* ---- numbers -------------------------------------------------------------- */

enum err db_bytes(struct db *db, int64_t *bytes)
{
    int64_t pages, size;
    enum err e = db_number(db, "PRAGMA page_count", &pages);

    if (e == ERR_OK)
        e = db_number(db, "PRAGMA page_size", &size);
    if (e == ERR_OK)
        *bytes = pages * size;
    return e;
}

enum err db_free_bytes(struct db *db, int64_t *bytes)
{
    int64_t pages, size;
    enum err e = db_number(db, "PRAGMA freelist_count", &pages);

    if (e == ERR_OK)
        e = db_number(db, "PRAGMA page_size", &size);
    if (e == ERR_OK)
        *bytes = pages * size;
    return e;
}

enum err db_rows(struct db *db, const char *table, int64_t *rows)
{
    char text[96];

    snprintf(text, sizeof(text), "SELECT count(*) FROM %s", table);
    return db_number(db, text, rows);
}

/* ---- a file that stands still --------------------------------------------- */

static enum err recognise_still(struct db *db)
{
    bool is_new = false;
    enum err e = schema_recognise(db, &is_new);

    return e == ERR_OK && is_new ? ERR_UNKNOWN : e;
}

/* Source: SQLite, "Uniform Resource Identifiers", 3.1 and 3.3 (immutable). */
static enum err write_uri(const char *path, const char *query, char *uri,
                          size_t size)
{
    const size_t end = strlen(query) + 1;
    size_t used = 5;

    if (size < used + end)
        return ERR_LIMIT;
    memcpy(uri, "file:", used);
    for (; *path != '\0'; path++) {
        unsigned byte = (unsigned char)*path;

        if (used + 3 + end > size)
            return ERR_LIMIT;
        if (isalnum((int)byte) || strchr("/._-", (int)byte) != NULL)
            uri[used++] = *path;
        else
            used += (size_t)snprintf(uri + used, size - used, "%%%02X", byte);
    }
    memcpy(uri + used, query, end);
    return ERR_OK;
}

enum err db_open_still(const char *path, struct db **out, int64_t *version)
{
    char uri[3 * PATH_MAX];
    struct db *db = NULL;
    enum err e = write_uri(path, "?immutable=1", uri, sizeof(uri));

    if (e == ERR_OK)
        e = db_open_uri(uri, false, recognise_still, &db);
    if (e == ERR_OK)
        e = schema_version(db, version);
    if (e != ERR_OK) {
        db_close(db);
        return e;
    }
    *out = db;
    return ERR_OK;
}

/* The first line is "ok", or the first fault. */
enum err db_verify(struct db *db)
{
    sqlite3_stmt *s = NULL;
    enum err e = ERR_STORE;

    if (sqlite3_prepare_v2(db_handle(db), "PRAGMA integrity_check", -1, &s,
                           NULL) == SQLITE_OK &&
        sqlite3_step(s) == SQLITE_ROW &&
        strcmp((const char *)sqlite3_column_text(s, 0), "ok") == 0)
        e = ERR_OK;
    sqlite3_finalize(s);
    return e;
}

/* ---- a file that is put away ---------------------------------------------- */

/* Is the log left alone when the connection is closed? */
static enum err keep_log(struct db *db, int keep)
{
    int code = sqlite3_db_config(db_handle(db),
                                 SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, keep, NULL);

    if (code == SQLITE_OK)
        code = sqlite3_file_control(db_handle(db), "main",
                                    SQLITE_FCNTL_PERSIST_WAL, &keep);
    return db_err_of(code);
}

/*
 * The log of a damaged store may be all that is left of it, and is not touched.
 * A sound one is read into the file: without a log the connection leaves nothing
 * beside it when it is closed under another name; the lock stays until then.
 */
static enum err prepare_hold(struct db *db)
{
    bool is_new = false;
    enum err e = keep_log(db, 1);

    if (e == ERR_OK)
        e = db_exec(db, "PRAGMA locking_mode=EXCLUSIVE");
    if (e == ERR_OK)
        e = schema_recognise(db, &is_new);
    if (e == ERR_OK)
        e = keep_log(db, 0);
    return e == ERR_OK ? db_exec(db, "PRAGMA journal_mode=DELETE") : e;
}

enum err db_hold(const char *path, struct db **out)
{
    char uri[3 * PATH_MAX];
    enum err e = write_uri(path, "", uri, sizeof(uri));

    return e == ERR_OK ? db_open_uri(uri, true, prepare_hold, out) : e;
}

/* ---- what is deleted is gone ---------------------------------------------- */

/* The log as an empty file; SQLite says whether it could be done at all. */
static enum err empty_log(struct db *db)
{
    int left = 0, done = 0;

    return db_err_of(sqlite3_wal_checkpoint_v2(
        db_handle(db), NULL, SQLITE_CHECKPOINT_TRUNCATE, &left, &done));
}

/*
 * What is put together anew does not go to a folder of the system, which may
 * lie on a disk that is not encrypted, nor into memory.
 */
static enum err use_folder(struct db *db, const char *folder)
{
    char *text = sqlite3_mprintf("PRAGMA temp_store_directory = %Q;"
                                 "PRAGMA temp_store = FILE;",
                                 folder);
    enum err e = text != NULL ? db_exec(db, text) : ERR_MEMORY;

    sqlite3_free(text);
    return e;
}

enum err db_rewrite(struct db *db, const char *folder)
{
    enum err e = empty_log(db), back;

    if (e == ERR_OK)
        e = use_folder(db, folder);
    if (e == ERR_OK)
        e = db_exec(db, "VACUUM");
    back = db_exec(db, "PRAGMA temp_store = MEMORY");
    if (back == ERR_OK) /* with another temp_store they are gone */
        back = schema_working(db);
    if (e == ERR_OK)
        e = back;
    return e == ERR_OK ? empty_log(db) : e;
}
