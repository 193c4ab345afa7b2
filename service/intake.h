/*
 * intake - what has been read goes into the store, and what is answered
 *
 * The road of one message: decoded on the loop or a pool thread (fhir_read),
 * applied here on the store thread in one transaction, answered after the
 * commit.
 *
 *     body --> fhir_doc --> intake_apply (store thread) --> intake_result
 *                                                             per item
 */
#ifndef HEADGATE_SERVICE_INTAKE_H
#define HEADGATE_SERVICE_INTAKE_H

#include "adapters/fhir_read.h"
#include "service/quarantine.h"
#include "service/resources.h"

struct intake_result {
    int status;         /* HTTP: 200, 201, or a refusal */
    char type[24];      /* "Observation" */
    char fid[FID_SIZE]; /* "" if refused */
    int version;
    int64_t updated_ms;
    int64_t stored; /* the resource that has a new version; 0: none */
    /* of an Observation: its readings that are used, and whose they are */
    unsigned used;
    int64_t patient;
    char reference[FID_SIZE + 24]; /* "Observation/o1"; "" if refused */
};

struct intake {
    /* in */
    struct fhir_doc *doc;
    const struct fhir_reader *reader; /* reads again what is held */
    const char *body;                 /* borrowed */
    size_t len;
    enum message_source source;
    bool strict_access, merge_implied;
    bool task_if_match; /* see task_change.h */
    bool deliver;
    int64_t now_ms;
    const char *sender; /* for the weekly report: name of the token's client,
                           profile, folder; "record"; NULL: not told apart */
    const char *sample; /* where the sender finds it: control id, line; NULL:
                           the id of each resource */
    enum quarantine_way way; /* 0: by HTTP */
    bool v2;                 /* made of HL7 v2: places are said in its terms */
    int64_t live_from_s;     /* of a live feed: a sign of emergency that ended
                                before this is not believed to be so old; 0: a
                                history, in which all is old */
    /* out */
    struct intake_result *results; /* one per item; given by the caller */
    int64_t journal; /* the message's number; 0: nothing in it was new */
    bool news;       /* accesses have news: wake the review */
    size_t tasks_changed;
    bool all_failed; /* a transaction that was refused as a whole */
};

/*
 * intake_apply - store_job run function (arg is a struct intake)
 *
 * Each item is accepted or refused by itself, but for a transaction Bundle:
 * all or none.  Outcomes of items are extended with what the store knows.
 * Returns an error only if the store failed; a transaction that is refused
 * returns ERR_CONFLICT after setting all_failed, so that the job is undone.
 */
enum err intake_apply(struct db *db, void *arg);

#endif
