/*
 * delivery - one resource on its way to the record: the store thread's part
 *
 * Each function here is a store_job's run; arg is a struct delivery_data.
 */
#ifndef HEADGATE_SERVICE_DELIVERY_H
#define HEADGATE_SERVICE_DELIVERY_H

#include "adapters/buf.h"
#include "adapters/fhir_deed.h"
#include "service/db.h"
#include "service/resources.h"

/* Something that the record may know by another id than we. */
struct record_lookup {
    char type[16]; /* "Patient" or "BodyStructure" */
    struct buf system, value;
    char reference[FID_SIZE + 24]; /* found: "Patient/77"; "" it has none */
    bool known;                    /* it was found, or is surely not there */
};

enum { RECORD_LOOKUPS_MAX = 4, BESIDE_MAX = 2, DELIVERY_KEY_SIZE = 192 };

/* Versions of a Task since the record was told; more are as if it had them. */
enum { BEFORE_MAX = 12 };

/* What must be there before the Task that refers to it: documents, an order.
 */
struct beside {
    int64_t row;
    enum fhir_type kind;
    int version;
    char fid[FID_SIZE], key[DELIVERY_KEY_SIZE];
    struct buf body;
    /* save_beside: in; due_ms of the delivery: when, where it is later */
    bool refused; /* for good; body is what the record said of it */
    bool later;   /* not now, and the Task does not wait for it; see due_ms */
    char remote[FID_SIZE]; /* "" not sent */
    char remote_version[FID_SIZE];
    long status;
};

enum delivery_result {
    DELIVERED,
    DELIVER_LATER,
    DELIVER_NEVER,
    STILL_ASIDE /* it was put aside before, and was only read there */
};

struct delivery_data {
    const char *base;
    int64_t now_ms;
    int64_t row;  /* resource number */
    bool bundled; /* one transaction is going to carry it and what is beside it:
                     it refers to them by urn:uuid */
    /* load: out */
    enum fhir_type kind;
    int64_t task; /* that it goes with; of a Task itself */
    int wanted, tries;
    int sent_version; /* ours; 0: never sent */
    int64_t look_ms;
    bool lost;             /* save: in; remote is somebody else's */
    bool is_new;           /* the record did not have it */
    bool was_aside;        /* the record refused it: it is read, not sent */
    bool twin;             /* the record may have two of it */
    char remote[FID_SIZE]; /* its id in the record; "" never sent */
    char remote_version[FID_SIZE];
    char fid[FID_SIZE], key[DELIVERY_KEY_SIZE]; /* key "": a Provenance */
    char target[FID_SIZE];                      /* its Task in the record */
    struct buf body;   /* as the record should have it */
    struct buf sent;   /* of a Task: as it was sent last, in our own words */
    struct buf before; /* of a Task: outlines of what was sent last and of what
                          came after, without the newest: see fhir_task_carry */
    struct beside beside[BESIDE_MAX];
    size_t beside_count;
    /* What is asked of the record; the first of them are answered, and while
     * others are open the body is not set.  Written by save. */
    struct record_lookup looks[RECORD_LOOKUPS_MAX];
    size_t look_count, looked;
    /* save: in */
    enum delivery_result result;
    long status;        /* last HTTP status, 0 none; load: of the try before */
    int64_t due_ms;     /* DELIVER_LATER */
    const char *answer; /* DELIVER_NEVER: what the record said */
    /* What people made of it at the record; "" not seen, or as we say it. */
    char seen_status[24], seen_reason[200], seen_owner[FHIR_OWNER_SIZE];
};

void delivery_init(struct delivery_data *d);
void delivery_clear(struct delivery_data *d);

enum err delivery_load(struct db *db, void *arg);
/* What is beside it and was sent is noted, and the remote id of its own. */
enum err delivery_save_beside(struct db *db, void *arg);
enum err delivery_save(struct db *db, void *arg);

#endif
