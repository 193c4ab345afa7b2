/*
 * db_work - what the files that know SQLite share; private to db*.c
 */
#ifndef HEADGATE_SERVICE_DB_WORK_H
#define HEADGATE_SERVICE_DB_WORK_H

#include "service/db.h"

struct sqlite3;

/* The connection itself. */
struct sqlite3 *db_handle(struct db *db);

/* What the system said in the last call that failed; 0: it was not the system.
 * SQLite keeps that of a commit nowhere. */
int db_failed_errno(const struct db *db);

/* Ours for a result code of SQLite. */
enum err db_err_of(int code);

/* Open a file that is there, by its URI; prepare looks at it first. */
MUST_CHECK enum err db_open_uri(const char *uri, bool writes,
                                enum err (*prepare)(struct db *db),
                                struct db **db);

#endif
