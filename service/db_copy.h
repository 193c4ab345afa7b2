/*
 * db_copy - a whole copy of an open store, made while it is written to
 *
 * The copy is made through the connection that writes (sqlite3_backup): what
 * is committed between two steps goes into the copy as well, so that in the end
 * it is the store as it was at the last step, and no commit makes the copying
 * begin anew.  Only a transaction that was too large for memory and is then
 * undone does; the steps are bounded for that.
 *
 * Source: SQLite, "SQLite Backup API", "Concurrent Usage of Database Handles".
 */
#ifndef HEADGATE_SERVICE_DB_COPY_H
#define HEADGATE_SERVICE_DB_COPY_H

#include "service/db.h"

/* Restarts after which it is given up, in passes over the whole store. */
enum { DB_COPY_PASSES_MAX = 4 };

struct db_copy;

/*
 * db_copy_begin - path: an empty file that only we use
 *
 * ERR_IO, ERR_MEMORY, ERR_DENIED
 */
MUST_CHECK enum err db_copy_begin(struct db *db, const char *path,
                                  struct db_copy **copy);

/*
 * db_copy_step - at most so many pages more; outside a transaction
 *
 * more  out: it is not whole yet
 *
 * ERR_FULL (no room for it), ERR_IO, ERR_LIMIT (it began anew too often)
 */
MUST_CHECK enum err db_copy_step(struct db_copy *copy, int pages, bool *more);

/* Pages of the store, and those still to be copied, after the last step. */
void db_copy_progress(const struct db_copy *copy, int64_t *pages,
                      int64_t *left);

/* Whole or not, it is let go; the file stays.  NULL is ignored. */
void db_copy_end(struct db_copy *copy);

/* Bytes of the store as a copy would have them. */
MUST_CHECK enum err db_bytes(struct db *db, int64_t *bytes);

/*
 * db_open_still - a store that nobody writes to, read-only: nothing beside it
 * is read or made, and no byte of it changes
 *
 * version  out: of its tables; statements go only with the present one
 *
 * ERR_UNKNOWN, ERR_CONFLICT, ERR_STORE, ERR_ABSENT as db_open; ERR_LIMIT: the
 * path is too long
 */
MUST_CHECK enum err db_open_still(const char *path, struct db **db,
                                  int64_t *version);

/* Rows of a table; table is a word of ours. */
MUST_CHECK enum err db_rows(struct db *db, const char *table, int64_t *rows);

/*
 * db_hold - a store that a command is about to put away: everything is in the
 * one file, and as long as it is open nobody else opens it
 *
 * Errors of db_open.
 */
MUST_CHECK enum err db_hold(const char *path, struct db **db);

/*
 * db_rewrite - outside a transaction: write the whole file anew, so that
 * nothing deleted is left in it, and empty the log
 *
 * A page may hold old copies of a row that once stood there, which no
 * overwriting of deleted rows reaches; only the rewriting ends them.  It takes
 * the room of the store twice more while it lasts: beside it (in folder) and in
 * the log.
 *
 * ERR_FULL, ERR_IO, ERR_STORE
 */
MUST_CHECK enum err db_rewrite(struct db *db, const char *folder);

/* Free pages in the file, which it keeps for what comes next. */
MUST_CHECK enum err db_free_bytes(struct db *db, int64_t *bytes);

#endif
