/*
 * store_batch - what the store thread does with one batch: each job in a
 * savepoint, one commit, and then the log; private to store*.c
 */
#ifndef HEADGATE_SERVICE_STORE_BATCH_H
#define HEADGATE_SERVICE_STORE_BATCH_H

#include "service/store.h"
#include "service/store_pause.h"
#include "service/store_room.h"
#include "service/store_there.h"

#include <pthread.h>

/* Jobs in their order. */
struct list {
    struct store_job *first, **last;
};

struct store {
    struct db *db; /* store thread only, once it runs */
    struct store_work work;
    void (*on_fatal)(void *arg, enum err e);
    void *fatal_arg;
    void (*on_closed)(void *arg);
    void *closed_arg;
    pthread_t thread;
    uv_async_t async;
    unsigned pending; /* loop thread only */

    pthread_mutex_t lock; /* guards what follows */
    pthread_cond_t wake;
    struct list waiting, finished;
    struct store_steps *steps;   /* the first has its turn; NULL none */
    struct store_steps *stepped; /* to be called back */
    bool work_wanted, told, stop;
    enum err fatal;

    /* store thread only */
    struct store_room room;
    struct store_there there;
    bool damage_told;
    enum err checkpointed;    /* what the last one came to */
    struct store_pause pause; /* of the work */
    enum err failed;          /* of the last commit; ERR_OK: it went well */
    uint64_t failed_told_ns;
};

/* What the work of one batch came to. */
struct work_run {
    struct store *store;
    bool more, told;
};

/*
 * All jobs from first on (NULL: none), and the work before them if it is
 * wanted, in one transaction.  Afterwards each job has its err.
 */
void store_run_batch(struct store *s, struct store_job *first,
                     struct work_run *work, bool work_wanted);

/*
 * After a batch; idle: nothing waits.  On a full disk the database cannot grow,
 * and what is committed stays in the log; it is tried again after each commit,
 * and said once.
 */
void store_move_log(struct store *s, bool idle);

#endif
