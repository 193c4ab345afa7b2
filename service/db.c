#include "service/db.h"

#include "service/db_fault.h"
#include "service/db_schema.h"
#include "service/db_work.h"

#include <errno.h>
#include <math.h>
#include <pthread.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ID_BLOCK = 4096, CACHE_KIB = 65536 };

struct db {
    sqlite3 *handle;
    sqlite3_stmt *statements[QUERY_COUNT + 1]; /* the last: Q_ASKED */
    int64_t next_id, id_limit; /* of the block reserved in meta */
    int wal_pages;
    long fail_in; /* tests: steps until one fails; 0 never */
    /* A column could not be read for want of memory; whoever read it went on
     * without it, so that nothing of this transaction may be kept. */
    bool torn;
    bool damaged;     /* what was read cannot be so */
    int failed_errno; /* of the last call that failed; 0 not of the system */
};

static const char *const sql[QUERY_COUNT] = {
#define QUERY(name, text) [name] = (text),
#include "service/statements.h"
#undef QUERY
};

enum err db_err_of(int code)
{
    switch (code & 0xff) {
    case SQLITE_OK:
    case SQLITE_DONE:
    case SQLITE_ROW:
        return ERR_OK;
    case SQLITE_FULL:
    case SQLITE_READONLY:
        return ERR_FULL;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return ERR_DENIED;
    case SQLITE_NOMEM:
        return ERR_MEMORY;
    case SQLITE_IOERR:
        return ERR_IO;
    default:
        return ERR_STORE;
    }
}

enum err db_exec(struct db *db, const char *text)
{
    return db_err_of(sqlite3_exec(db->handle, text, NULL, NULL, NULL));
}

static int on_wal(void *arg, sqlite3 *handle, const char *name, int pages)
{
    struct db *db = arg;

    (void)handle;
    (void)name;
    db->wal_pages = pages;
    return SQLITE_OK;
}

/* The number that a query gives; ERR_ABSENT: no row. */
enum err db_number(struct db *db, const char *text, int64_t *out)
{
    sqlite3_stmt *s = NULL;
    int code = sqlite3_prepare_v2(db->handle, text, -1, &s, NULL);

    if (code == SQLITE_OK)
        code = sqlite3_step(s);
    if (code == SQLITE_ROW)
        *out = sqlite3_column_int64(s, 0);
    sqlite3_finalize(s);
    return code == SQLITE_DONE ? ERR_ABSENT : db_err_of(code);
}

static enum err set_up(struct db *db)
{
    char pragmas[320];
    bool is_new = false;
    enum err e = db_exec(db, "PRAGMA locking_mode=EXCLUSIVE");

    if (e == ERR_OK)
        e = schema_recognise(db, &is_new);
    snprintf(pragmas, sizeof(pragmas),
             "PRAGMA journal_mode=WAL;"
             "PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;"
             "PRAGMA cache_size=-%d; PRAGMA wal_autocheckpoint=0;"
             "PRAGMA trusted_schema=OFF; PRAGMA temp_store=MEMORY;"
             "PRAGMA secure_delete=ON;",
             CACHE_KIB);
    if (e == ERR_OK)
        e = db_exec(db, pragmas);
    if (e == ERR_OK)
        e = is_new ? schema_create(db) : schema_upgrade(db);
    if (e == ERR_OK)
        e = schema_working(db);
    sqlite3_wal_hook(db->handle, on_wal, db);
    return e;
}

static pthread_once_t engine_once = PTHREAD_ONCE_INIT;

/* It counts all memory under a lock, which nobody asks for. */
static void set_up_engine(void)
{
    sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
}

/* What the engine says of a file that it does not open. */
static enum err refine(struct db *db, enum err e)
{
    int code = db->handle != NULL ? sqlite3_errcode(db->handle) & 0xff : 0;

    if (e == ERR_STORE && code == SQLITE_NOTADB)
        return ERR_UNKNOWN;
    if (e == ERR_STORE && (code == SQLITE_CANTOPEN || code == SQLITE_PERM))
        return ERR_ABSENT;
    return e;
}

static enum err open_as(const char *name, int flags,
                        enum err (*prepare)(struct db *db), struct db **out)
{
    struct db *db = calloc(1, sizeof(*db));
    int code;
    enum err e;

    if (db == NULL)
        return ERR_MEMORY;
    pthread_once(&engine_once, set_up_engine);
    code = sqlite3_open_v2(name, &db->handle,
                           flags | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE,
                           NULL);
    e = code == SQLITE_OK ? prepare(db) : db_err_of(code);
    db_fault_keep(db, e);
    if (e != ERR_OK) {
        e = refine(db, e);
        db_close(db);
        return e;
    }
    *out = db;
    return ERR_OK;
}

enum err db_open(const char *path, struct db **out)
{
    return open_as(path, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, set_up,
                   out);
}

static enum err set_up_to_look(struct db *db)
{
    bool is_new = false;
    enum err e = db_exec(db, "PRAGMA locking_mode=EXCLUSIVE");

    return e == ERR_OK ? schema_recognise(db, &is_new) : e;
}

enum err db_look(const char *path, struct db **out, int64_t *version)
{
    enum err e = open_as(path, SQLITE_OPEN_READWRITE, set_up_to_look, out);
    bool is_new = false;

    *version = 0;
    if (e != ERR_OK)
        return e;
    e = schema_recognise(*out, &is_new);
    if (e == ERR_OK && !is_new)
        e = schema_version(*out, version);
    if (e == ERR_OK)
        return ERR_OK;
    db_close(*out);
    *out = NULL;
    return e;
}

enum err db_open_uri(const char *uri, bool writes,
                     enum err (*prepare)(struct db *db), struct db **out)
{
    int flags = writes ? SQLITE_OPEN_READWRITE : SQLITE_OPEN_READONLY;

    return open_as(uri, flags | SQLITE_OPEN_URI, prepare, out);
}

struct sqlite3 *db_handle(struct db *db)
{
    return db->handle;
}

void db_close(struct db *db)
{
    if (db == NULL)
        return;
    for (size_t i = 0; i <= QUERY_COUNT; i++)
        sqlite3_finalize(db->statements[i]);
    sqlite3_close(db->handle);
    free(db);
}

const char *db_library_version(void)
{
    return sqlite3_libversion();
}

bool db_is_damaged(const struct db *db)
{
    return db->damaged;
}

int db_failed_errno(const struct db *db)
{
    return db->failed_errno;
}

bool db_in_transaction(struct db *db)
{
    return sqlite3_get_autocommit(db->handle) == 0;
}

static enum err statement(struct db *db, enum query q, sqlite3_stmt **out)
{
    *out = NULL;
    if (db->statements[q] == NULL) {
        int code = sqlite3_prepare_v3(db->handle, sql[q], -1,
                                      SQLITE_PREPARE_PERSISTENT,
                                      &db->statements[q], NULL);

        if (code != SQLITE_OK)
            return db_err_of(code);
    }
    *out = db->statements[q];
    return ERR_OK;
}

/* lasts: the memory is the caller's as long as the statement needs it. */
static int bind_one(sqlite3_stmt *s, int at, char letter, bool lasts,
                    va_list *args)
{
    void (*const keep)(void *) = lasts ? SQLITE_STATIC : SQLITE_TRANSIENT;
    const char *text;
    const void *blob;
    size_t len;
    double number;

    switch (letter) {
    case 'i':
        return sqlite3_bind_int64(s, at, va_arg(*args, int64_t));
    case 'd':
        number = va_arg(*args, double);
        return isnan(number) ? sqlite3_bind_null(s, at)
                             : sqlite3_bind_double(s, at, number);
    case 's':
        text = va_arg(*args, const char *);
        return text == NULL ? sqlite3_bind_null(s, at)
                            : sqlite3_bind_text(s, at, text, -1, keep);
    case 'b':
        blob = va_arg(*args, const void *);
        len = va_arg(*args, size_t);
        return blob == NULL ? sqlite3_bind_null(s, at)
                            : sqlite3_bind_blob64(s, at, blob, len, keep);
    default:
        return SQLITE_MISUSE;
    }
}

static enum err start(struct db *db, enum query q, const char *format,
                      bool lasts, va_list *args)
{
    sqlite3_stmt *s;
    enum err e = statement(db, q, &s);

    if (e != ERR_OK)
        return e;
    sqlite3_reset(s);
    if (q == Q_BEGIN || q == Q_ROLLBACK || q == Q_UNDO)
        db->torn = false;
    for (int at = 1; format[at - 1] != '\0'; at++) {
        int code = bind_one(s, at, format[at - 1], lasts, args);

        if (code != SQLITE_OK)
            return db_err_of(code);
    }
    return ERR_OK;
}

enum err db_next(struct db *db, enum query q)
{
    int code;

    if (db->fail_in > 0 && --db->fail_in == 0) {
        db_done(db, q);
        return ERR_STORE;
    }
    if (db->torn) {
        db_done(db, q);
        return ERR_MEMORY;
    }
    errno = 0;
    code = sqlite3_step(db->statements[q]);
    if (code == SQLITE_ROW)
        return ERR_OK;
    db->failed_errno = errno; /* the engine does not keep it of a commit */
    if ((code & 0xff) == SQLITE_CORRUPT || (code & 0xff) == SQLITE_NOTADB)
        db->damaged = true;
    db_done(db, q);
    return code == SQLITE_DONE ? ERR_ABSENT : db_err_of(code);
}

void db_done(struct db *db, enum query q)
{
    if (q == Q_ASKED) {
        sqlite3_finalize(db->statements[q]);
        db->statements[q] = NULL;
    } else if (db->statements[q] != NULL) {
        sqlite3_reset(db->statements[q]);
        sqlite3_clear_bindings(db->statements[q]);
    }
}

enum err db_run(struct db *db, enum query q, const char *format, ...)
{
    va_list args;
    enum err e;

    va_start(args, format);
    e = start(db, q, format, true, &args);
    va_end(args);
    if (e == ERR_OK)
        e = db_next(db, q);
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err db_query(struct db *db, enum query q, const char *format, ...)
{
    va_list args;
    enum err e;

    va_start(args, format);
    e = start(db, q, format, false, &args);
    va_end(args);
    return e;
}

enum err db_first(struct db *db, enum query q, const char *format, ...)
{
    va_list args;
    enum err e;

    va_start(args, format);
    e = start(db, q, format, false, &args);
    va_end(args);
    return e == ERR_OK ? db_next(db, q) : e;
}

static int bind_value(sqlite3_stmt *s, int at, const struct db_value *v)
{
    return v->text != NULL
               ? sqlite3_bind_text(s, at, v->text, -1, SQLITE_TRANSIENT)
               : sqlite3_bind_int64(s, at, v->number);
}

enum err db_ask(struct db *db, const char *text, const struct db_value *values,
                size_t count)
{
    int code;

    db_done(db, Q_ASKED);
    code = sqlite3_prepare_v2(db->handle, text, -1, &db->statements[Q_ASKED],
                              NULL);
    for (size_t i = 0; code == SQLITE_OK && i < count; i++)
        code = bind_value(db->statements[Q_ASKED], (int)i + 1, &values[i]);
    if (code != SQLITE_OK)
        db_done(db, Q_ASKED);
    return db_err_of(code);
}

int64_t db_int(struct db *db, enum query q, int column)
{
    return sqlite3_column_int64(db->statements[q], column);
}

double db_double(struct db *db, enum query q, int column)
{
    return db_is_null(db, q, column)
               ? NAN
               : sqlite3_column_double(db->statements[q], column);
}

bool db_is_null(struct db *db, enum query q, int column)
{
    return sqlite3_column_type(db->statements[q], column) == SQLITE_NULL;
}

const char *db_text(struct db *db, enum query q, int column)
{
    const unsigned char *text;

    if (db_is_null(db, q, column))
        return NULL;
    text = sqlite3_column_text(db->statements[q], column);
    if (text != NULL)
        return (const char *)text;
    db->torn = true; /* the engine has no memory for it */
    return "";
}

const void *db_blob(struct db *db, enum query q, int column, size_t *len)
{
    const void *data = sqlite3_column_blob(db->statements[q], column);

    *len = (size_t)sqlite3_column_bytes(db->statements[q], column);
    return data;
}

int64_t db_changes(struct db *db)
{
    return sqlite3_changes64(db->handle);
}

int64_t db_all_changes(struct db *db)
{
    return sqlite3_total_changes64(db->handle);
}

int64_t db_added(struct db *db)
{
    return sqlite3_last_insert_rowid(db->handle);
}

/* Numbers are taken in blocks, so that a block costs one write. */
enum err db_new_id(struct db *db, int64_t *id)
{
    if (db->next_id >= db->id_limit) {
        enum err e = db_first(db, Q_META_GET, "s", "next_id");
        int64_t from = 1;

        if (e == ERR_OK)
            from = db_int(db, Q_META_GET, 0);
        db_done(db, Q_META_GET);
        if (e != ERR_OK && e != ERR_ABSENT)
            return e;
        e = db_run(db, Q_META_PUT, "si", "next_id", from + ID_BLOCK);
        if (e != ERR_OK)
            return e;
        db->next_id = from;
        db->id_limit = from + ID_BLOCK;
    }
    *id = db->next_id++;
    return ERR_OK;
}

void db_forget_ids(struct db *db)
{
    db->next_id = db->id_limit = 0;
}

int db_wal_pages(struct db *db)
{
    return db->wal_pages;
}

static enum err empty_log(struct db *db, int mode)
{
    int left = 0, done = 0, code;

    errno = 0;
    code = sqlite3_wal_checkpoint_v2(db->handle, NULL, mode, &left, &done);
    db->failed_errno = errno;
    if (code == SQLITE_OK)
        db->wal_pages = 0;
    return db_err_of(code);
}

enum err db_checkpoint(struct db *db)
{
    return empty_log(db, SQLITE_CHECKPOINT_PASSIVE);
}

enum err db_cut_log(struct db *db)
{
    return empty_log(db, SQLITE_CHECKPOINT_TRUNCATE);
}

void db_fail_step(struct db *db, long n)
{
    db->fail_in = n;
}
