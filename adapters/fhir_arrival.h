/*
 * fhir_arrival - when was a stored resource first known to anybody?
 *
 * For past data that is played again in the order in which it came.  A file
 * says what was measured when, and only at times when it arrived; the nearest
 * thing that it does say is taken:
 *
 *     1. meta.lastUpdated   the server that kept it got it then
 *     2. issued             Observation: the result was made available
 *     3. the end of effective[x]
 *
 * Only the few members needed are looked at.  A resource that is faulty
 * elsewhere still has its place in time; fhir_read says what is wrong.
 *
 * Source: HL7 FHIR R4 (4.0.1), Resource.meta, Observation, Bundle.timestamp.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_ARRIVAL_H
#define HEADGATE_ADAPTERS_FHIR_ARRIVAL_H

#include "adapters/fhir_read.h"

enum { FHIR_ARRIVAL_NAME_SIZE = 400 };

struct fhir_arrival {
    enum fhir_type type;
    bool timed;         /* at_s is set */
    int64_t at_s;       /* UTC */
    bool measured;      /* measured_s is set */
    int64_t measured_s; /* last second of the effective time */
    bool splits;        /* a collection Bundle */
    bool in_use;        /* not said to be inactive */
    /* What a Patient or BodyStructure is known by: its first identifier, else
     * its id; "" for others, and where it does not fit. */
    char name[FHIR_ARRIVAL_NAME_SIZE];
};

/*
 * zone  of the site: a date without a time is a day there
 *
 * ERR_FORM    not a JSON object
 * ERR_MEMORY
 */
MUST_CHECK enum err fhir_arrival_read(const char *json, size_t len,
                                      const struct zone *zone,
                                      struct fhir_arrival *out);

#endif
