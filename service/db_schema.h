/*
 * db_schema - the tables of a store: made, recognised, brought up to date
 *
 * Private to db.c.  Of SQLite it knows the words of SQL alone.
 */
#ifndef HEADGATE_SERVICE_DB_SCHEMA_H
#define HEADGATE_SERVICE_DB_SCHEMA_H

#include "service/db.h"

/* SQL: where a Task t stands in the line of what goes to the record.  Used in
 * schema.h and statements.h. */
#define TASK_PLACE                                                             \
    "CASE t.priority WHEN 'stat' THEN 0 WHEN 'asap' THEN 1 "                   \
    "WHEN 'urgent' THEN 2 ELSE 3 END"

/* Run statements that take no arguments and return nothing. */
MUST_CHECK enum err db_exec(struct db *db, const char *text);

/* The number that a query gives; ERR_ABSENT: no row. */
MUST_CHECK enum err db_number(struct db *db, const char *text, int64_t *out);

/*
 * schema_recognise - before anything is changed: is it empty, or a store of
 * ours?
 *
 * ERR_UNKNOWN  a database of another program
 */
MUST_CHECK enum err schema_recognise(struct db *db, bool *is_new);

/* All tables of a new store, in one transaction. */
MUST_CHECK enum err schema_create(struct db *db);

/*
 * schema_upgrade - a store of this version is left alone; an older one is
 * brought up to date in place, step by step, in one transaction
 *
 * An upgrade also marks each access as having news: the rules may have become
 * more, and what they look at.
 *
 * ERR_UNKNOWN   it does not say of which version it is
 * ERR_CONFLICT  of a newer one, or of one that there never was
 */
MUST_CHECK enum err schema_upgrade(struct db *db);

#endif
