/*
 * outbox - Tasks go out to the clinical record, once each, whatever happens
 *
 * Loop thread.  What the record should have stands in the store: per Task the
 * version wanted and the version sent.  A delivery takes the newest version:
 *
 *     LOADING --> LOOKING_UP --> LOADING ...      what the record calls the
 *        |                                        patient and the access
 *        +--> CREATING   never sent: POST, If-None-Exist on the Task key
 *        +--> FETCHING --> UPDATING               GET, merge, PUT If-Match
 *                 any --> SAVING --> ended        sent, try later, put aside
 *
 * A create that may or may not have arrived is sent again: the condition
 * makes it harmless.  A Task that a person has taken in hand is only added
 * to.
 */
#ifndef HEADGATE_SERVICE_OUTBOX_H
#define HEADGATE_SERVICE_OUTBOX_H

#include "adapters/http_client.h"
#include "service/store.h"

struct outbox;

struct outbox_options {
    const char *url;   /* FHIR base of the record, no trailing slash */
    const char *base;  /* canonical base of our CodeSystems */
    const char *token; /* bearer token; NULL for none */
    int timeout_ms;
    int retry_first_ms, retry_last_ms;
    int parallel;
    int unclear_tries; /* answers 409, 412, 500, or a 2xx without a Task,
                          before it is put aside until the next start */
    int64_t (*now_ms)(void);
};

MUST_CHECK enum err outbox_open(uv_loop_t *loop, struct store *store,
                                struct http_client *client,
                                const struct outbox_options *options,
                                struct outbox **outbox);

/* There may be something to send. */
void outbox_kick(struct outbox *outbox);

/* Abandon what is in flight (it is sent again after a restart); on_closed is
 * called from the loop when nothing is left, and the outbox is freed. */
void outbox_close(struct outbox *outbox, void (*on_closed)(void *arg),
                  void *arg);

#endif
