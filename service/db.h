/*
 * db - SQLite, which only db.c, db_copy.c and db_fault.c know: statements by
 * number, rows typed
 *
 * One connection, used by one thread.  Each statement of statements.h is
 * prepared once, when first run.  Arguments are described by a format, one
 * letter each:
 *
 *     i  int64_t (pass with INT64())    d  double (NAN is stored as NULL)
 *     s  const char * (NULL is NULL)    b  const void *, size_t
 *
 * Why one connection: the SQLite of the supported system has a rare
 * write-ahead-log race that needs a second one; see DEVELOPERS.md.
 */
#ifndef HEADGATE_SERVICE_DB_H
#define HEADGATE_SERVICE_DB_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define INT64(n) ((int64_t)(n))

enum query {
#define QUERY(name, sql) name,
#include "service/statements.h"
#undef QUERY
    QUERY_COUNT,
    /* the one that db_ask() was given; its rows are read like the others' */
    Q_ASKED = QUERY_COUNT
};

struct db;

/*
 * Open or create, or bring up to date in place; WAL, synchronous FULL, exclusive
 * locking, foreign keys; what is deleted is overwritten.
 *
 * ERR_STORE     damaged
 * ERR_UNKNOWN   no database, or one of another program; it is left as it is
 * ERR_CONFLICT  of a newer version of the program
 * ERR_ABSENT    its folder or it cannot be opened
 * ERR_DENIED  another process has it open
 * ERR_FULL    disk full or read-only
 */
MUST_CHECK enum err db_open(const char *path, struct db **db);
/*
 * db_look - db_open without a change to the store: it is not made, and one of an
 * older version stays as it is; nothing may then be asked of it but db_verify
 *
 * version  out: its own; 0: an empty file
 *
 * Errors as db_open, and ERR_ABSENT where there is no file.
 */
MUST_CHECK enum err db_look(const char *path, struct db **db, int64_t *version);
/* What that error of db_open means for this path, for a person; db_open_say of
 * db_fault.h says more. */
const char *db_open_reason(const char *path, enum err e);
void db_close(struct db *db);
const char *db_library_version(void);
/* The version of the tables that this program makes. */
int64_t db_schema_newest(void);

/* Has the engine met something in the file that cannot be so? */
bool db_is_damaged(const struct db *db);

/* False also after the engine has undone a transaction by itself. */
bool db_in_transaction(struct db *db);

/* Run a statement that returns no row. */
MUST_CHECK enum err db_run(struct db *db, enum query q, const char *format,
                           ...);

/*
 * Run a statement that returns rows: bind with db_query, then db_next until
 * it says ERR_ABSENT.  db_done() may end it early and is harmless after the
 * end.  A statement must not be started again while its rows are read.
 */
MUST_CHECK enum err db_query(struct db *db, enum query q, const char *format,
                             ...);
MUST_CHECK enum err db_next(struct db *db, enum query q);
void db_done(struct db *db, enum query q);

/* db_query and the first db_next; on anything but ERR_OK the query is done. */
MUST_CHECK enum err db_first(struct db *db, enum query q, const char *format,
                             ...);

/*
 * db_ask - a statement that is put together while the program runs (a search):
 * read its rows with db_next(db, Q_ASKED) and end it with db_done
 *
 * Only words of our own may stand in text; what somebody sent is bound, as
 * ?1 for values[0].  There is one such statement at a time.
 */
struct db_value {
    const char *text; /* NULL: number counts */
    int64_t number;
};
MUST_CHECK enum err db_ask(struct db *db, const char *text,
                           const struct db_value *values, size_t count);

int64_t db_int(struct db *db, enum query q, int column);
double db_double(struct db *db, enum query q, int column); /* NULL is NAN */
bool db_is_null(struct db *db, enum query q, int column);
/*
 * Borrowed until the next db_next or db_done; NULL for NULL.  Where there is no
 * memory for it: "", and every statement says ERR_MEMORY from then on until
 * the transaction or savepoint is undone.
 */
const char *db_text(struct db *db, enum query q, int column);
const void *db_blob(struct db *db, enum query q, int column, size_t *len);

/* Rows changed by the last db_run; and by all since the store was opened, also
 * those that were undone. */
int64_t db_changes(struct db *db);
int64_t db_all_changes(struct db *db);
/* The number of the row that the last db_run added, where the engine gave it. */
int64_t db_added(struct db *db);

/* A new number, unique in this store and growing. */
MUST_CHECK enum err db_new_id(struct db *db, int64_t *id);

/* After a rollback: numbers reserved in it are not ours. */
void db_forget_ids(struct db *db);

/* Pages in the write-ahead log after the last commit. */
int db_wal_pages(struct db *db);
/* Move them into the database.  ERR_FULL: it cannot grow, they stay in the log;
 * ERR_IO: the disk failed, and what is on it is not known. */
MUST_CHECK enum err db_checkpoint(struct db *db);
/* The same, and make the file of the log empty; ERR_DENIED: rows are read. */
MUST_CHECK enum err db_cut_log(struct db *db);
/* Bytes of a page. */
enum { DB_PAGE_BYTES = 4096 };

/* The engine's own check of the whole file; ERR_STORE: damaged. */
MUST_CHECK enum err db_verify(struct db *db);

/* For tests: the nth step from now fails with ERR_STORE; 0: none. */
void db_fail_step(struct db *db, long n);

#endif
