/*
 * outbox - Tasks go out to the clinical record, once each, whatever happens
 *
 * Loop thread.  What the record should have stands in the store: per resource
 * the version wanted and the version sent.  A delivery takes the newest one:
 *
 *     LOADING --> LOOKING_UP ... --> LOADING      what the record calls the
 *        |                                        patient and the access
 *        +--> BUNDLING     never sent, and it refers to a document or an order:
 *        |                 one transaction, then FETCHING to see what came of it
 *        +--> BATCHING, BESIDE --> SAVING_BESIDE --> LOADING     the same where
 *        |                 transactions are not known: these first
 *        +--> CREATING     POST, If-None-Exist on the key
 *        |       +--> FINDING_TWINS --> READING_TWIN --> RETIRING_TWIN ...
 *        |                 the record has several: the oldest is kept
 *        +--> FETCHING --> PATCHING, UPDATING     GET, merge; JSON Patch, else
 *        |                                        PUT; with If-Match
 *        +--> SAVING --> ended       sent, try later, put aside
 *
 * A create that may or may not have arrived is sent again: the condition
 * makes it harmless.  A Task that a person has taken in hand is only added
 * to.  A document or an order that the record refuses does not hold up its
 * Task.  Flags and Provenances go by themselves, after the Task.
 */
#ifndef HEADGATE_SERVICE_OUTBOX_H
#define HEADGATE_SERVICE_OUTBOX_H

#include "service/record.h"
#include "service/store.h"

struct fhir_record_says;
struct outbox;

struct outbox_options {
    const char *base; /* canonical base of our CodeSystems; copied */
    int retry_first_ms, retry_last_ms;
    int parallel;
    int unclear_tries; /* answers 409, 412, 500, or a 2xx without a Task,
                          before it is put aside */
    int64_t (*now_ms)(void);
};

MUST_CHECK enum err outbox_open(uv_loop_t *loop, struct store *store,
                                struct record *record,
                                const struct outbox_options *options,
                                struct outbox **outbox);

/*
 * What the record says that it can, where it can be asked: what it denies is
 * not tried.  Without it everything is tried, and learnt from the answers; but
 * before a create it is looked for, since a conditional one is passed over in
 * silence by a record that has none.
 */
void outbox_learn(struct outbox *outbox, const struct fhir_record_says *says);

/* There may be something to send. */
void outbox_kick(struct outbox *outbox);

/* Abandon what is in flight (it is sent again after a restart); on_closed is
 * called from the loop when nothing is left, and the outbox is freed. */
void outbox_close(struct outbox *outbox, void (*on_closed)(void *arg),
                  void *arg);

#endif
