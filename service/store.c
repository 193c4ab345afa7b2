#include "service/store.h"

#include "service/log.h"

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
    bool work_wanted, told, stop;
    enum err fatal;
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

/*
 * Run one step in a savepoint of its own.  *broken is set if that could
 * neither be kept nor undone: then the transaction must not be committed,
 * since what is told of the step would not be true.
 */
static enum err in_savepoint(struct db *db,
                             enum err (*run)(struct db *, void *), void *arg,
                             enum err *broken)
{
    enum err e = db_run(db, Q_SAVE, "");
    enum err left = ERR_OK;

    if (e != ERR_OK)
        return e;
    e = run(db, arg);
    if (e != ERR_OK) {
        left = db_run(db, Q_UNDO, "");
        db_forget_ids(db);
    }
    if (left == ERR_OK)
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

static void run_batch(struct store *s, struct list *batch,
                      struct work_run *work, bool work_wanted)
{
    enum err e = db_run(s->db, Q_BEGIN, "");
    enum err broken = ERR_OK;

    if (e == ERR_OK && work_wanted) {
        enum err failed = in_savepoint(s->db, run_work, work, &broken);

        if (failed != ERR_OK) {
            log_event(LOG_ERROR, "store.work", KEY_ERR(failed));
            work->more = work->told = false;
        }
    }
    for (struct store_job *job = batch->first; job != NULL; job = job->next)
        job->err =
            e == ERR_OK ? in_savepoint(s->db, job->run, job->arg, &broken) : e;
    if (e == ERR_OK)
        e = broken;
    if (e == ERR_OK)
        e = db_run(s->db, Q_COMMIT, "");
    if (e == ERR_OK)
        return;
    log_event(LOG_ERROR, "store.commit", KEY_ERR(e),
              KEY_ERR(db_run(s->db, Q_ROLLBACK, "")));
    db_forget_ids(s->db);
    work->told = false;
    for (struct store_job *job = batch->first; job != NULL; job = job->next)
        job->err = e;
    /* After a failed sync the kernel may have dropped the pages: what is on
     * disk is known again only after a restart. */
    if (e == ERR_IO) {
        pthread_mutex_lock(&s->lock);
        s->fatal = e;
        pthread_mutex_unlock(&s->lock);
    }
}

static void checkpoint(struct store *s, bool idle)
{
    int pages = db_wal_pages(s->db);

    if (pages > CHECKPOINT_FORCED_PAGES ||
        (idle && pages > CHECKPOINT_IDLE_PAGES))
        db_checkpoint(s->db);
}

static void *thread_main(void *arg)
{
    struct store *s = arg;
    bool running = true;

    pthread_mutex_lock(&s->lock);
    while (running) {
        struct work_run work = { .store = s };
        struct list batch;
        bool work_wanted, idle;

        while (s->waiting.first == NULL && !s->work_wanted && !s->stop)
            pthread_cond_wait(&s->wake, &s->lock);
        list_init(&batch);
        list_move(&s->waiting, &batch, BATCH_MAX);
        work_wanted = s->work_wanted && s->fatal == ERR_OK;
        s->work_wanted = false;
        running = batch.first != NULL || work_wanted || !s->stop;
        if (!running)
            break;
        pthread_mutex_unlock(&s->lock);

        run_batch(s, &batch, &work, work_wanted);

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
    return NULL;
}

static void on_async(uv_async_t *handle)
{
    struct store *s = handle->data;
    struct list done;
    bool told;
    enum err fatal;

    list_init(&done);
    pthread_mutex_lock(&s->lock);
    list_move(&s->finished, &done, SIZE_MAX);
    told = s->told;
    s->told = false;
    fatal = s->fatal;
    pthread_mutex_unlock(&s->lock);

    while (done.first != NULL) {
        struct store_job *job = done.first;

        done.first = job->next;
        s->pending--;
        job->done(job->arg, job->err);
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
    if (db_wal_pages(s->db) > 0)
        db_checkpoint(s->db);
    db_close(s->db);
    uv_close((uv_handle_t *)&s->async, on_async_closed);
}
