/*
 * outbox_work - what the files of the outbox share; private to them
 *
 *     outbox.c         what is due, opening and closing
 *     outbox_send.c    the states of one delivery, see outbox.h
 *     outbox_change.c  what the record has already: read, merged, sent back
 *     outbox_bundle.c  a Task together with what it refers to
 *     outbox_twins.c   two of one kind in the record: one is kept
 *     outbox_fate.c    what becomes of a delivery after an answer
 */
#ifndef HEADGATE_SERVICE_OUTBOX_WORK_H
#define HEADGATE_SERVICE_OUTBOX_WORK_H

#include "service/delivery.h"
#include "service/outbox.h"

enum {
    PARALLEL_MAX = 64,
    ANSWER_KEPT = 16 * 1024, /* of what the record said */
    ANSWER_MAX = 4 * 1024 * 1024,
    URL_SIZE = 4096,
    ETAG_SIZE = 512,
    TWINS_MAX = 16,
    REFETCH_MAX = 5 /* reads of a Task that others keep changing, in one try */
};

enum delivery_state {
    LOADING,
    LOOKING_UP,
    BUNDLING, /* a transaction */
    BATCHING, /* what is beside the Task, in one request */
    BESIDE,   /* the same, one by one */
    SAVING_BESIDE,
    FINDING_TWINS,
    READING_TWIN,
    RETIRING_TWIN,
    CREATING,
    FETCHING,
    PATCHING,
    UPDATING,
    SAVING
};

/* How a Task and what it refers to go to this record; each falls back to the
 * next when the record has shown that it cannot. */
enum bundle_way { WAY_TRANSACTION, WAY_BATCH, WAY_SINGLES };

struct delivery {
    struct delivery_data data; /* first: the store's jobs know only this */
    struct outbox *outbox;
    struct delivery *next;
    uint64_t began_ns; /* by log_now_ns() */
    enum delivery_state state;
    struct store_job job; /* submitted while LOADING or SAVING */
    bool job_running;
    bool failed;              /* the store failed: not again at once */
    struct record_call *call; /* non-NULL only while a call runs */
    int unclear;              /* unclear answers in a row before this try */
    int refetched;            /* times that someone was faster, in this try */
    bool alone;               /* no Bundle for this one */
    bool whole;               /* PUT, for this one */
    bool sought;              /* twins were looked for in this try */
    bool made;                /* it was new to the record, in this try */
    size_t beside_at;         /* BESIDE: which of them */
    bool beside_sought;       /* it was looked for, for there is no condition */
    char etag[ETAG_SIZE];     /* of the record's version: while UPDATING */
    struct buf patch;         /* PATCHING */
    struct buf merged;        /* UPDATING: ours and theirs; data.body is ours */
    /* An answer within a Bundle that must wait until the rest is saved. */
    long held_status;
    char twins[TWINS_MAX][FID_SIZE]; /* to be retired */
    size_t twin_count;
    char answer[ANSWER_KEPT];
};

struct outbox {
    struct store *store;
    struct record *record;
    struct outbox_options options;
    char *base; /* owned copy */
    uv_timer_t timer;
    struct delivery *deliveries; /* in flight */
    unsigned in_flight;
    enum bundle_way way;
    bool no_patch;     /* the record does not know PATCH */
    bool no_condition; /* nor a conditional create, for all that is known */
    struct store_job claim;
    bool revived;         /* what was unclear before this start waits again */
    bool claiming, again; /* a claim runs; another is wanted after it */
    bool closing;
    void (*on_closed)(void *arg);
    void *closed_arg;
    /* the claim's answer */
    int64_t rows[PARALLEL_MAX];
    int tries[PARALLEL_MAX];
    size_t row_count;
    int64_t next_due_ms; /* 0: nothing waits */
};

/* Start a delivery; it calls outbox_delivered when it has ended. */
void outbox_send(struct delivery *d);
void outbox_delivered(struct delivery *d);

/* ---- between the files -------------------------------------------------- */

void outbox_go(struct delivery *d, enum delivery_state next);
/* What is to be done, now that it is known how things stand. */
enum delivery_state outbox_next(const struct delivery *d);

struct outbox_call {
    const char *method;
    const struct buf *target;
    const char *condition; /* a header line; NULL */
    const struct buf *body;
    const char *body_type; /* NULL: application/fhir+json */
};
void outbox_call(struct delivery *d, const struct outbox_call *call,
                 http_done_fn on_done);
/* Append text, percent-encoded. */
void outbox_percent(struct buf *out, const char *text);
/* What follows our base in the system of its identifier. */
const char *outbox_naming(enum fhir_type kind);
/* "identifier=system%7Ckey" or what else makes this one findable. */
void outbox_condition(const struct delivery *d, enum fhir_type kind,
                      const char *key, struct buf *out);
/* An id of FHIR that cannot lead to another address. */
bool outbox_is_id(const char *id, size_t len);
/* The id, and the version if it says, of a Location or of a body. */
bool outbox_take_id(enum fhir_type kind, const struct http_answer *answer,
                    char id[FID_SIZE], char version[FID_SIZE]);

/* outbox_fate.c */
bool outbox_is_success(const struct http_answer *answer);
void outbox_save(struct delivery *d, enum delivery_result result);
void outbox_put_aside(struct delivery *d, const struct http_answer *answer);
void outbox_unclear(struct delivery *d, const struct http_answer *answer);
void outbox_not_done(struct delivery *d, const struct http_answer *answer);
/* Is it the record as a whole, at the moment, rather than this request? */
bool outbox_is_passing(const struct http_answer *a);
/* The same, and a Task is still to wait for what only helps it: a failure that
 * was seen twice may be of this kind of request alone. */
bool outbox_must_wait(const struct delivery *d, const struct http_answer *a);
/* Has it been tried too often to be tried again? */
bool outbox_gives_up(const struct delivery *d, const struct http_answer *a);

/* Of an answer; false: it is longer than can be sent back. */
bool outbox_keep_etag(struct delivery *d, const struct http_answer *answer);
/* outbox_change.c: state is FETCHING, PATCHING or UPDATING */
void outbox_change(struct delivery *d, enum delivery_state state);

/* outbox_bundle.c */
void outbox_bundle(struct delivery *d);
void outbox_batch(struct delivery *d);
void outbox_beside(struct delivery *d);

/* outbox_twins.c */
void outbox_find_twins(struct delivery *d);
void outbox_read_twin(struct delivery *d);
void outbox_retire_twin(struct delivery *d);

#endif
