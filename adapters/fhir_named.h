/*
 * fhir_named - who may be named in a text of JSON: identifiers, references
 *
 * Of any JSON, whether or not it is a resource that is taken: what was refused
 * names people too.  Escapes are resolved by the reader.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_NAMED_H
#define HEADGATE_ADAPTERS_FHIR_NAMED_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>

/* What is found is shown in the order of the text; all of it is borrowed for
 * the call. */
struct fhir_named {
    /* An object with a member "value" that is a text.  system: NULL none;
     * person: it is one of a Patient, or of the subject of something. */
    void (*number)(void *arg, const char *system, const char *value,
                   bool person);
    /* The id of a Patient. */
    void (*id)(void *arg, const char *id);
    /* Any text; key: the member that it is, or is in a list of; NULL none. */
    void (*text)(void *arg, const char *key, const char *text);
    void *arg;
    const bool *over; /* set by one of these: nothing more is looked at */
};

/* ERR_FORM: it is no JSON (RFC 8259), and nothing was shown. */
MUST_CHECK enum err fhir_named_each(const char *json, size_t len,
                                    const struct fhir_named *named);

#endif
