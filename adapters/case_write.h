/*
 * case_write - what was typed during a procedure, as FHIR Observations
 *
 * They go the way of every reading.  What a line says is one transaction: each
 * entry an Observation with an identifier of our own (NamingSystem/case-entry,
 * the number of the line and its place in it), so that the same line is never
 * taken twice, and can be taken back.
 *
 * Source of shapes: HL7 FHIR R4 (4.0.1).
 */
#ifndef HEADGATE_ADAPTERS_CASE_WRITE_H
#define HEADGATE_ADAPTERS_CASE_WRITE_H

#include "adapters/case_line.h"
#include "adapters/fhir_write.h"

#define CASE_SYSTEM "/NamingSystem/case-entry"

/* Strings are borrowed. */
struct case_statement {
    const char *base;
    const char *number; /* of the line: a UUID */
    struct fhir_out_ref patient, access;
    const char *by;     /* who typed it */
    enum method method; /* of flows */
    int64_t at_s;       /* of the first entry; each later one a second after,
                           so that their order is kept */
};

/* Append a transaction Bundle; errors are those of the buf. */
void case_write(const struct case_statement *statement,
                const struct case_line *line, struct buf *out);

/* Who typed an Observation, as much as there is room for; "" if it does not
 * say. */
void case_typist(const char *json, size_t len, char *out, size_t size);

/* The same for what is taken back: bodies that are kept, each with its id, as
 * entered in error. */
void case_withdraw_begin(struct buf *out);
/* note: by whom, and why; kept with it.  ERR_FORM: json is no Observation */
MUST_CHECK enum err case_withdraw_add(const char *id, const char *json,
                                      size_t len, const char *note,
                                      struct buf *out);
void case_withdraw_end(struct buf *out);

#endif
