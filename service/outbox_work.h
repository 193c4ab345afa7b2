/*
 * outbox_work - what the two files of the outbox share; private to them
 *
 *     outbox.c        what is due, opening and closing
 *     outbox_send.c   the states of one delivery, see outbox.h
 */
#ifndef HEADGATE_SERVICE_OUTBOX_WORK_H
#define HEADGATE_SERVICE_OUTBOX_WORK_H

#include "service/delivery.h"
#include "service/outbox.h"

enum {
    PARALLEL_MAX = 64,
    ANSWER_KEPT = 16 * 1024 /* of what the record said */
};

enum delivery_state {
    LOADING,
    LOOKING_UP,
    CREATING,
    FETCHING,
    UPDATING,
    SAVING
};

struct delivery {
    struct delivery_data data; /* first: the store's jobs know only this */
    struct outbox *outbox;
    struct delivery *next;
    enum delivery_state state;
    struct store_job job; /* submitted while LOADING or SAVING */
    bool job_running;
    bool failed;            /* the store failed: not again at once */
    struct http_call *call; /* non-NULL only while a call runs */
    int unclear;            /* unclear answers in a row before this try */
    int refetched;          /* times that someone was faster, in this try */
    char etag[80];          /* of the record's version: while UPDATING */
    char answer[ANSWER_KEPT];
};

struct outbox {
    struct store *store;
    struct http_client *client;
    struct outbox_options options;
    char *url, *base, *auth; /* owned copies; auth NULL for none */
    uv_timer_t timer;
    struct delivery *deliveries; /* in flight */
    unsigned in_flight;
    struct store_job claim;
    bool revived;         /* what was put aside before this start waits again */
    bool claiming, again; /* a claim runs; another is wanted after it */
    bool closing;
    void (*on_closed)(void *arg);
    void *closed_arg;
    /* the claim's answer */
    int64_t tasks[PARALLEL_MAX];
    size_t task_count;
    int64_t next_due_ms; /* 0: nothing waits */
};

/* Start a delivery; it calls outbox_delivered when it has ended. */
void outbox_send(struct delivery *d);
void outbox_delivered(struct delivery *d);

#endif
