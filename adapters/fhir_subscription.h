/*
 * fhir_subscription - an R4 Subscription with a rest-hook, written and read
 *
 * Source: HL7 FHIR R4 (4.0.1), subscription.html.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_SUBSCRIPTION_H
#define HEADGATE_ADAPTERS_FHIR_SUBSCRIPTION_H

#include "adapters/buf.h"

#include <stdint.h>

struct fhir_subscription_wish {
    const char *id; /* NULL: a new one */
    const char *criteria, *endpoint;
    const char *token; /* NULL: none is to be sent along */
    bool payload;      /* the resource is to be sent */
    int64_t end_s;
};
/* status "requested"; appended to out. */
void fhir_subscription_write(const struct fhir_subscription_wish *wish,
                             struct buf *out);

struct fhir_subscription {
    char id[72];
    char status[16]; /* "active"; "" not said */
    int64_t end_s;   /* INT64_MIN: it does not end */
};

/*
 * fhir_subscription_find - the one with these, of a Subscription or a searchset
 *
 * Of several the first that is not switched off, else the first.
 *
 * ERR_FORM    not JSON
 * ERR_ABSENT  none
 */
MUST_CHECK enum err fhir_subscription_find(const char *json, size_t len,
                                           const char *criteria,
                                           const char *endpoint,
                                           struct fhir_subscription *out);

#endif
