/*
 * delivery_map - what our references mean, in the words of the record
 *
 * Store thread only; private to delivery.c.
 */
#ifndef HEADGATE_SERVICE_DELIVERY_MAP_H
#define HEADGATE_SERVICE_DELIVERY_MAP_H

#include "adapters/fhir_write.h"
#include "service/delivery.h"
#include "service/patients.h"

/* What is needed to say in the record's words what our references mean. */
struct mapper {
    struct db *db;
    struct delivery_data *d;
    char text[ALIAS_SIZE]; /* of the last reference made */
    char literal[FID_SIZE + 24];
    char version[FID_SIZE];
    struct buf system, value;
    enum err err;
};

/*
 * A fhir_map_ref_fn; arg is a struct mapper.  By the first of these that is
 * known: the id that the record gave to what we sent, or the name within the
 * same Bundle; the id of what was read there; what a look-up by identifier
 * found; else the identifier alone.  A question that is still to be asked is
 * noted in the delivery, one at a time.
 */
bool delivery_map_reference(void *arg, const char *literal,
                            struct fhir_out_ref *out);

#endif
