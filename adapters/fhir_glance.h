/*
 * fhir_glance - an Observation as it was sent, for a person who is to say what
 * it means
 *
 * Nothing is interpreted here: codes, units and values are shown as they
 * stand, one to a line.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_GLANCE_H
#define HEADGATE_ADAPTERS_FHIR_GLANCE_H

#include "adapters/buf.h"

/* Lines of "  Label     text".  ERR_FORM: not a JSON object. */
MUST_CHECK enum err fhir_glance_write(const char *json, size_t len,
                                      struct buf *out);

/*
 * fhir_glance_coding - the i-th coding of what was measured
 *
 * slot    0: of the Observation; 1...: of that component
 * system  out: appended; nothing where none was sent
 * code    out: appended
 * ERR_ABSENT  there are not so many
 */
MUST_CHECK enum err fhir_glance_coding(const char *json, size_t len, int slot,
                                       size_t i, struct buf *system,
                                       struct buf *code);

/*
 * fhir_glance_unit - the unit of a Quantity
 *
 * word   out: appended; its text, or nothing where none was sent
 * coded  out: it was sent as a code, whatever its system
 * ERR_ABSENT  there is no such component
 */
MUST_CHECK enum err fhir_glance_unit(const char *json, size_t len, int slot,
                                     struct buf *word, bool *coded);

#endif
