/*
 * db_shape - are the tables, indices and triggers of a store those that a new
 * store of this version has?
 *
 * Store thread, or whoever has the connection.  A trigger that is gone goes
 * unseen otherwise: all goes on as before, and what it was there to refuse is
 * done.  The model is a store of this version that is made in memory for it,
 * which takes some milliseconds.  Indices and triggers are compared by their
 * text, tables by name, type, NOT NULL and key of their columns, since a column
 * that was added by an upgrade stands last.
 */
#ifndef HEADGATE_SERVICE_DB_SHAPE_H
#define HEADGATE_SERVICE_DB_SHAPE_H

#include "service/db.h"

enum { DB_DIFFERENCES_MAX = 32, DB_NAME_SIZE = 64 };

enum db_difference_kind {
    DB_MISSING, /* here, and in the model */
    DB_CHANGED, /* another text, or other columns */
    DB_FOREIGN  /* here, and not in the model */
};

struct db_difference {
    enum db_difference_kind kind;
    char type[DB_NAME_SIZE]; /* "trigger", "index", "table", "view" */
    /* of what is not foreign a name of our own; else what somebody wrote, cut,
     * without control characters */
    char name[DB_NAME_SIZE];
    bool mended;
};

struct db_shape {
    size_t count; /* all of them; no more than DB_DIFFERENCES_MAX are listed */
    struct db_difference list[DB_DIFFERENCES_MAX];
};

/* How many of the list count. */
size_t db_shape_listed(const struct db_shape *shape);

/* The store is of the version of this program.  Errors are those of the store,
 * ERR_MEMORY. */
MUST_CHECK enum err db_shape_compare(struct db *db, struct db_shape *shape);

/*
 * db_shape_mend - triggers and views that are missing or changed are made again,
 * and so are indices that are missing; says of each whether it was
 *
 * In a transaction.  What is foreign stays: it is not ours, and it is evidence.
 * An index that does not fit the rows stays missing.
 */
MUST_CHECK enum err db_shape_mend(struct db *db, struct db_shape *shape);

#endif
