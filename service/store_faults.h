/*
 * store_faults - what a whole file does not show: that the database would let
 * the audit trail be changed, and that it was
 *
 * Of a store of this version.  Each appends a sentence a line to out, nothing if
 * all is well.  Errors are those of the store, ERR_MEMORY.
 */
#ifndef HEADGATE_SERVICE_STORE_FAULTS_H
#define HEADGATE_SERVICE_STORE_FAULTS_H

#include "adapters/buf.h"
#include "service/db.h"

/* Tables, indices and triggers, see db_shape.h: some milliseconds. */
MUST_CHECK enum err store_faults_shape(struct db *db, struct buf *out);

/* The chain of the audit trail, all of it: some seconds for a million rows. */
MUST_CHECK enum err store_faults_chain(struct db *db, struct buf *out);

#endif
