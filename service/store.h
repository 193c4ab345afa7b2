/*
 * store - one thread that owns the database, and the jobs it is given
 *
 * The loop thread submits jobs; the store thread runs all that have arrived
 * since the last commit in one transaction, commits with full sync, and only
 * then lets the loop call them back.  Batches regulate themselves: while one
 * is being synced the next one gathers.
 *
 *     submitted --> run in a savepoint --> commit --> done(arg, ERR_OK)
 *                        | own error: undone alone --> done(arg, error)
 *                        | commit fails: all undone --> done(arg, error)
 *
 * What is to be kept of a job whatever it came to (the audit trail) its keep
 * function writes, in the same commit.
 *
 * Background work (the review of accesses with news) runs in transactions of
 * the same thread, between or together with jobs.
 */
#ifndef HEADGATE_SERVICE_STORE_H
#define HEADGATE_SERVICE_STORE_H

#include "service/db.h"

#include <uv.h>

struct store;

struct store_job {
    /* Store thread, inside a transaction; an error undoes this job only. */
    enum err (*run)(struct db *db, void *arg);
    /* Loop thread, after the commit (or its failure); never from submit. */
    void (*done)(void *arg, enum err e);
    void *arg;
    /* Store thread, after run in the same transaction: came_to is what run
     * said; if that is an error its work is undone by now.  An error undoes
     * both.  May be NULL. */
    enum err (*keep)(struct db *db, void *arg, enum err came_to);
    /* It has savepoints of its own, many of them: it gets a transaction to
     * itself, since within another savepoint the engine would go through all
     * that was changed before, each time. */
    bool large;
    /* set by the store */
    struct store_job *next;
    enum err err;
};

struct store_work {
    /*
     * Store thread, inside a transaction: do a bounded piece of work.
     * *more: there is more to do now.  *told: on_told is to be called.
     */
    enum err (*run)(struct db *db, void *arg, bool *more, bool *told);
    void (*on_told)(void *arg); /* loop thread, after the commit */
    void *arg;
    /*
     * What is read before anybody is let in: called by store_open, once,
     * before the thread runs; its error is that of store_open.  May be NULL.
     */
    enum err (*prepare)(struct db *db, void *arg);
};

/*
 * Long work outside transactions, a step at a time: after each commit, or at
 * once while nothing waits, so that what comes in waits for one step at most.
 */
struct store_steps {
    /* Store thread: some milliseconds of work.  *more: there is more. */
    enum err (*step)(struct db *db, void *arg, bool *more);
    /* Store thread, once, after the last step, or instead of it if the store
     * is closed before (ERR_STOPPED): let go of what it holds. */
    void (*end)(void *arg, enum err e);
    void (*done)(void *arg, enum err e); /* loop thread */
    void *arg;
    /* set by the store */
    struct store_steps *next;
    enum err err;
};

/*
 * Open the database and start the thread.  on_fatal is called on the loop
 * if a sync has failed: what is on disk is then not known, and the process
 * has to end and recover from it.
 */
MUST_CHECK enum err store_open(uv_loop_t *loop, const char *path,
                               const struct store_work *work,
                               void (*on_fatal)(void *arg, enum err e),
                               void *fatal_arg, struct store **store);

/* Hand over a job; the memory stays the caller's until done(). */
void store_submit(struct store *store, struct store_job *job);

/* Begin such work; the memory stays the caller's until done(). */
void store_begin_steps(struct store *store, struct store_steps *steps);

/* There may be background work to do. */
void store_wake(struct store *store);

/* Jobs submitted and not yet called back. */
unsigned store_pending(const struct store *store);

/* Finish what has been submitted, then end the thread and close the file.
 * on_closed is called from the loop; the store is freed then. */
void store_close(struct store *store, void (*on_closed)(void *arg), void *arg);

#endif
