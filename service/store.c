#include "service/store.h"

#include "adapters/buf.h"
#include "service/db_fault.h"
#include "service/log.h"
#include "service/store_room.h"
#include "service/store_there.h"

#include <pthread.h>
#include <stdlib.h>

enum {
    BATCH_MAX = 512,
    CHECKPOINT_IDLE_PAGES = 200,     /* when nothing waits */
    CHECKPOINT_FORCED_PAGES = 16000, /* under load */
};

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
    enum err checkpointed; /* what the last one came to */
};

static void list_init(struct list *l)
{
    l->first = NULL;
    l->last = &l->first;
}

static void list_add(struct list *l, struct store_job *job)
{
    job->next = NULL;
    *l->last = job;
    l->last = &job->next;
}

/* Move at most max jobs from one list to another. */
static void list_move(struct list *from, struct list *to, size_t max)
{
    while (from->first != NULL && max-- > 0) {
        struct store_job *job = from->first;

        from->first = job->next;
        if (from->first == NULL)
            from->last = &from->first;
        list_add(to, job);
    }
}

/* As many as go into one transaction: a large one alone. */
static void take_batch(struct list *from, struct list *to)
{
    for (size_t n = 0; n < BATCH_MAX && from->first != NULL; n++) {
        bool large = from->first->large;

        if (large && n > 0)
            return;
        list_move(from, to, 1);
        if (large)
            return;
    }
}

/* Back to where this step began. */
static enum err undo(struct db *db, bool first)
{
    enum err e = ERR_OK;

    /* on a full disk the engine has undone the transaction by itself */
    if (!first || db_in_transaction(db))
        e = db_run(db, first ? Q_ROLLBACK : Q_UNDO, "");
    if (e == ERR_OK && first)
        e = db_run(db, Q_BEGIN, "");
    db_forget_ids(db);
    return e;
}

/*
 * Run one step so that it can be undone alone: in a savepoint of its own, or,
 * if it is the first of the transaction, without one.  *broken is set if it could
 * neither be kept nor undone: then the transaction must not be committed,
 * since what is told of the step would not be true.
 */
static enum err run_alone(struct db *db, const struct store_job *job,
                          bool first, enum err *broken)
{
    enum err e = first ? ERR_OK : db_run(db, Q_SAVE, "");
    enum err left = ERR_OK, kept = ERR_OK;
    unsigned long lost;

    if (e != ERR_OK)
        return e;
    lost = buf_lost();
    e = job->run(db, job->arg);
    if (e == ERR_OK && buf_lost() != lost)
        e = ERR_MEMORY; /* a text that it has written may lack a part */
    if (e != ERR_OK)
        left = undo(db, first);
    if (left == ERR_OK && job->keep != NULL)
        kept = job->keep(db, job->arg, e);
    if (kept != ERR_OK)
        left = undo(db, first);
    if (e == ERR_OK)
        e = kept;
    /* undone by the engine, and the step did not notice: what is told of it
     * and of those before it would not be true */
    if (left == ERR_OK && !db_in_transaction(db))
        left = ERR_STORE;
    if (left == ERR_OK && !first)
        left = db_run(db, Q_RELEASE, "");
    if (left == ERR_OK)
        return e;
    *broken = left;
    return left;
}

struct work_run {
    struct store *store;
    bool more, told;
};

static enum err run_work(struct db *db, void *arg)
{
    struct work_run *r = arg;

    r->more = r->told = false;
    return r->store->work.run(db, r->store->work.arg, &r->more, &r->told);
}

/* After a failed sync the kernel may have dropped the pages: what is on disk is
 * known again only after a restart. */
static void end_if_failed(struct store *s, enum err e)
{
    if (e != ERR_IO)
        return;
    pthread_mutex_lock(&s->lock);
    s->fatal = e;
    uv_async_send(&s->async);
    pthread_mutex_unlock(&s->lock);
}

/* The disk is full: with the room that is held for that the log can be moved
 * and cut, after which it has all that it took. */
static void make_room(struct store *s)
{
    enum err e;

    if (!store_room_let_go(&s->room))
        return;
    e = db_cut_log(s->db);
    log_event(LOG_WARN, "store.room", KEY_ERR(e));
    end_if_failed(s, e);
    store_room_hold(&s->room);
}

/* What is committed to a file that nobody finds again is lost. */
static enum err check_there(struct store *s)
{
    if (store_there_is(&s->there, db_wal_pages(s->db) > 0))
        return ERR_OK;
    log_event(LOG_ERROR, "store.gone", KEY_ERR(ERR_ABSENT));
    return ERR_IO;
}

/* Of what is read: it is told once, and must not pass for a wrong request. */
static void tell_damage(struct store *s)
{
    if (s->damage_told || !db_is_damaged(s->db))
        return;
    s->damage_told = true;
    log_event(LOG_ERROR, "store.damaged", KEY_ERR(ERR_STORE));
}

static void run_batch(struct store *s, struct list *batch,
                      struct work_run *work, bool work_wanted)
{
    /* once a sync has failed nothing more is taken */
    enum err e = s->fatal == ERR_OK ? db_run(s->db, Q_BEGIN, "") : s->fatal;
    enum err broken = ERR_OK;

    if (e == ERR_OK && work_wanted) {
        const struct store_job job = { .run = run_work, .arg = work };
        enum err failed = run_alone(s->db, &job, true, &broken);

        if (failed != ERR_OK) {
            log_event(LOG_ERROR, "store.work", KEY_ERR(failed));
            work->more = work->told = false;
        }
    }
    for (struct store_job *job = batch->first; job != NULL; job = job->next)
        job->err = e == ERR_OK && broken == ERR_OK
                       ? run_alone(s->db, job,
                                   job == batch->first && !work_wanted, &broken)
                       : ERR_STOPPED;
    tell_damage(s);
    if (e == ERR_OK)
        e = broken;
    if (e == ERR_OK)
        e = check_there(s);
    if (e == ERR_OK)
        e = db_run(s->db, Q_COMMIT, "");
    if (e == ERR_OK)
        return;
    db_fault_log(s->db, LOG_ERROR, "store.commit", e);
    if (db_in_transaction(s->db)) {
        enum err back = db_run(s->db, Q_ROLLBACK, "");

        if (back != ERR_OK)
            log_event(LOG_ERROR, "store.rollback", KEY_ERR(back));
    }
    db_forget_ids(s->db);
    work->told = false;
    work->more = work_wanted; /* what was undone is to be done again */
    for (struct store_job *job = batch->first; job != NULL; job = job->next)
        job->err = e;
    end_if_failed(s, e);
    if (e == ERR_FULL)
        make_room(s);
}

/* When the log is to be moved: while room is scarce, before that would need
 * more than is held. */
static int forced_pages(const struct store *s)
{
    if (!store_room_scarce(&s->room))
        return CHECKPOINT_FORCED_PAGES;
    return (int)(s->room.bytes / 2 / DB_PAGE_BYTES);
}

/*
 * On a full disk the database cannot grow, and what is committed stays in the
 * log; it is tried again after each commit, and said once.
 */
static void checkpoint(struct store *s, bool idle)
{
    int pages = db_wal_pages(s->db);
    enum err e;

    if (pages <= CHECKPOINT_IDLE_PAGES || (!idle && pages <= forced_pages(s)))
        return;
    store_room_hold(&s->room); /* if it was let go, and there is some again */
    e = db_checkpoint(s->db);
    if (e != ERR_OK && e != s->checkpointed)
        db_fault_log(s->db, LOG_ERROR, "store.checkpoint", e);
    s->checkpointed = e;
    end_if_failed(s, e);
    if (e == ERR_FULL)
        make_room(s);
}

/* ---- long work, in steps --------------------------------------------------- */

static void end_steps(struct store *s, struct store_steps *steps, enum err e)
{
    if (steps->end != NULL)
        steps->end(steps->arg, e);
    steps->err = e;
    pthread_mutex_lock(&s->lock);
    s->steps = steps->next;
    steps->next = s->stepped;
    s->stepped = steps;
    pthread_mutex_unlock(&s->lock);
}

/* One step of what has its turn. */
static void run_step(struct store *s, struct store_steps *steps)
{
    bool more = false;
    enum err e = steps->step(s->db, steps->arg, &more);

    if (e != ERR_OK || !more)
        end_steps(s, steps, e);
}

/* The store is closed: what is not whole will not be. */
static void give_up_steps(struct store *s)
{
    while (s->steps != NULL)
        end_steps(s, s->steps, ERR_STOPPED);
}

/* ---- the thread ------------------------------------------------------------- */

static void *thread_main(void *arg)
{
    struct store *s = arg;
    bool running = true;

    pthread_mutex_lock(&s->lock);
    while (running) {
        struct work_run work = { .store = s };
        struct store_steps *steps;
        struct list batch;
        bool work_wanted, idle;

        while (s->waiting.first == NULL && !s->work_wanted &&
               s->steps == NULL && !s->stop)
            pthread_cond_wait(&s->wake, &s->lock);
        list_init(&batch);
        take_batch(&s->waiting, &batch);
        work_wanted = s->work_wanted && s->fatal == ERR_OK &&
                      (batch.first == NULL || !batch.first->large);
        s->work_wanted = s->work_wanted && !work_wanted && s->fatal == ERR_OK;
        running = batch.first != NULL || work_wanted || !s->stop;
        if (!running)
            break;
        steps = s->stop ? NULL : s->steps;
        pthread_mutex_unlock(&s->lock);

        if (batch.first != NULL || work_wanted)
            run_batch(s, &batch, &work, work_wanted);
        if (steps != NULL)
            run_step(s, steps);

        pthread_mutex_lock(&s->lock);
        list_move(&batch, &s->finished, SIZE_MAX);
        s->told = s->told || work.told;
        s->work_wanted = s->work_wanted || work.more;
        idle = s->waiting.first == NULL && !s->work_wanted;
        uv_async_send(&s->async);
        pthread_mutex_unlock(&s->lock);
        checkpoint(s, idle);
        pthread_mutex_lock(&s->lock);
    }
    pthread_mutex_unlock(&s->lock);
    give_up_steps(s);
    return NULL;
}

static void on_async(uv_async_t *handle)
{
    struct store *s = handle->data;
    struct store_steps *stepped;
    struct list done;
    bool told;
    enum err fatal;

    list_init(&done);
    pthread_mutex_lock(&s->lock);
    list_move(&s->finished, &done, SIZE_MAX);
    told = s->told;
    s->told = false;
    stepped = s->stepped;
    s->stepped = NULL;
    fatal = s->fatal;
    pthread_mutex_unlock(&s->lock);

    while (done.first != NULL) {
        struct store_job *job = done.first;

        done.first = job->next;
        s->pending--;
        job->done(job->arg, job->err);
    }
    while (stepped != NULL) {
        struct store_steps *steps = stepped;

        stepped = steps->next;
        steps->done(steps->arg, steps->err);
    }
    if (told && s->work.on_told != NULL)
        s->work.on_told(s->work.arg);
    if (fatal != ERR_OK && s->on_fatal != NULL) {
        void (*on_fatal)(void *, enum err) = s->on_fatal;

        s->on_fatal = NULL; /* said once */
        on_fatal(s->fatal_arg, fatal);
    }
}

enum err store_open(uv_loop_t *loop, const char *path,
                    const struct store_work *work,
                    void (*on_fatal)(void *arg, enum err e), void *fatal_arg,
                    struct store **out)
{
    struct store *s = calloc(1, sizeof(*s));
    enum err e;

    if (s == NULL)
        return ERR_MEMORY;
    e = db_open(path, &s->db);
    if (e == ERR_OK && work->prepare != NULL)
        e = work->prepare(s->db, work->arg);
    if (e != ERR_OK) {
        db_close(s->db);
        free(s);
        return e;
    }
    store_room_open(&s->room, path);
    store_there_note(&s->there, path);
    s->work = *work;
    s->on_fatal = on_fatal;
    s->fatal_arg = fatal_arg;
    s->work_wanted = work->run != NULL; /* what a crash has left */
    list_init(&s->waiting);
    list_init(&s->finished);
    pthread_mutex_init(&s->lock, NULL);
    pthread_cond_init(&s->wake, NULL);
    if (uv_async_init(loop, &s->async, on_async) != 0 ||
        pthread_create(&s->thread, NULL, thread_main, s) != 0)
        abort(); /* no thread, no service: nothing to undo at start */
    s->async.data = s;
    *out = s;
    return ERR_OK;
}

void store_submit(struct store *s, struct store_job *job)
{
    s->pending++;
    pthread_mutex_lock(&s->lock);
    list_add(&s->waiting, job);
    pthread_cond_signal(&s->wake);
    pthread_mutex_unlock(&s->lock);
}

void store_begin_steps(struct store *s, struct store_steps *steps)
{
    struct store_steps **last = &s->steps;

    pthread_mutex_lock(&s->lock);
    while (*last != NULL)
        last = &(*last)->next;
    steps->next = NULL;
    *last = steps;
    pthread_cond_signal(&s->wake);
    pthread_mutex_unlock(&s->lock);
}

void store_wake(struct store *s)
{
    pthread_mutex_lock(&s->lock);
    s->work_wanted = s->work.run != NULL;
    pthread_cond_signal(&s->wake);
    pthread_mutex_unlock(&s->lock);
}

unsigned store_pending(const struct store *s)
{
    return s->pending;
}

static void on_async_closed(uv_handle_t *handle)
{
    struct store *s = handle->data;
    void (*on_closed)(void *) = s->on_closed;
    void *arg = s->closed_arg;

    pthread_cond_destroy(&s->wake);
    pthread_mutex_destroy(&s->lock);
    free(s);
    if (on_closed != NULL)
        on_closed(arg);
}

void store_close(struct store *s, void (*on_closed)(void *arg), void *arg)
{
    s->on_closed = on_closed;
    s->closed_arg = arg;
    pthread_mutex_lock(&s->lock);
    s->stop = true;
    pthread_cond_signal(&s->wake);
    pthread_mutex_unlock(&s->lock);
    pthread_join(s->thread, NULL);
    on_async(&s->async); /* call back what has finished */
    if (db_wal_pages(s->db) > 0) {
        enum err e = db_checkpoint(s->db);

        if (e != ERR_OK) /* all of it is in the log, and is read from there */
            db_fault_log(s->db, LOG_WARN, "store.checkpoint", e);
    }
    db_close(s->db);
    (void)store_room_let_go(&s->room);
    uv_close((uv_handle_t *)&s->async, on_async_closed);
}
