/*
 * terms - a value with its system ("http://loinc.org", "8462-4"), kept once
 *
 * Store thread only.  What resources are called and found by are numbers of
 * terms; a term is there while something has it (see schema.h), so a number is
 * good within the transaction that asked for it.
 */
#ifndef HEADGATE_SERVICE_TERMS_H
#define HEADGATE_SERVICE_TERMS_H

#include "service/db.h"

/* The number of a term, which is added if it is not there yet.  system: "" for
 * a value that has none. */
MUST_CHECK enum err term_number(struct db *db, const char *system,
                                const char *value, int64_t *number);

#endif
