/*
 * delivery - one Task on its way to the record: the part on the store thread
 *
 * Each function here is a store_job's run; arg is a struct delivery_data.
 */
#ifndef HEADGATE_SERVICE_DELIVERY_H
#define HEADGATE_SERVICE_DELIVERY_H

#include "adapters/buf.h"
#include "service/db.h"
#include "service/resources.h"

/* Something that the record may know by another id than we. */
struct record_lookup {
    char type[16]; /* "Patient" or "BodyStructure" */
    struct buf system, value;
    char reference[FID_SIZE + 24]; /* found: "Patient/77"; "" it has none */
};

enum { RECORD_LOOKUPS_MAX = 4 };

enum delivery_result { DELIVERED, DELIVER_LATER, DELIVER_NEVER };

struct delivery_data {
    const char *base;
    int64_t now_ms;
    int64_t task; /* resource number */
    /* load: out */
    int wanted, tries;
    char remote[FID_SIZE]; /* its id in the record; "" never sent */
    char key[65];
    struct buf body; /* the Task as the record should have it */
    /* What was asked of the record; the last one is still open if
     * must_look_up (the body is not set then).  Written by save. */
    bool must_look_up;
    struct record_lookup looks[RECORD_LOOKUPS_MAX];
    size_t look_count;
    /* save: in */
    enum delivery_result result;
    long status;        /* last HTTP status, 0 none; load: of the try before */
    int64_t due_ms;     /* DELIVER_LATER */
    const char *answer; /* DELIVER_NEVER: what the record said */
    char seen_status[24]; /* of the record's Task; "" not seen */
};

void delivery_init(struct delivery_data *d);
void delivery_clear(struct delivery_data *d);

enum err delivery_load(struct db *db, void *arg);
enum err delivery_save(struct db *db, void *arg);

#endif
