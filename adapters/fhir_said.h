/*
 * fhir_said - what an Observation says as its value, in a form to compare
 *
 * Two reports of one result are written anew each time: other displays, other
 * order of members, 900 and 900.0.  None of that is another value.
 *
 * Source: HL7 FHIR R4, Observation (value[x], dataAbsentReason, component).
 */
#ifndef HEADGATE_ADAPTERS_FHIR_SAID_H
#define HEADGATE_ADAPTERS_FHIR_SAID_H

#include "adapters/buf.h"

/*
 * fhir_said_value - value[x] and components of a resource that is known to be
 * valid, appended to out; nothing if there is none
 *
 * Members stand in the order of their names, each name with its length before
 * it ("13:valueQuantity"); what is only shown is left out (display; the text of
 * a concept and the unit of a quantity that have a code); numbers are numbers,
 * not digits.  Equal texts are equal values.  Not
 * for people, and not for the log: it is what was measured of a patient.
 *
 * ERR_FORM    not JSON
 * ERR_MEMORY, ERR_LIMIT  as buf_ok
 */
MUST_CHECK enum err fhir_said_value(const char *json, size_t len,
                                    struct buf *out);

#endif
