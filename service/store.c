#include "service/store_batch.h"

#include "service/db_fault.h"

#include <stdlib.h>

enum { BATCH_MAX = 512 };

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

static bool may_work(const struct store *s)
{
    return s->work_wanted && s->fatal == ERR_OK &&
           !store_pause_lasts(&s->pause);
}

/* Until there is something to do, or the store is closed. */
static void wait_for_something(struct store *s)
{
    static const struct store_pause none = { .until_ns = 0 };

    while (s->waiting.first == NULL && !may_work(s) && s->steps == NULL &&
           !s->stop)
        store_pause_wait(s->work_wanted ? &s->pause : &none, &s->wake,
                         &s->lock);
}

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

        wait_for_something(s);
        list_init(&batch);
        take_batch(&s->waiting, &batch);
        work_wanted =
            may_work(s) && (batch.first == NULL || !batch.first->large);
        s->work_wanted = s->work_wanted && !work_wanted && s->fatal == ERR_OK;
        running = batch.first != NULL || work_wanted || !s->stop;
        if (!running)
            break;
        steps = s->stop ? NULL : s->steps;
        pthread_mutex_unlock(&s->lock);

        if (batch.first != NULL || work_wanted)
            store_run_batch(s, batch.first, &work, work_wanted);
        if (steps != NULL)
            run_step(s, steps);

        pthread_mutex_lock(&s->lock);
        list_move(&batch, &s->finished, SIZE_MAX);
        s->told = s->told || work.told;
        s->work_wanted = s->work_wanted || work.more;
        idle = s->waiting.first == NULL && !may_work(s);
        uv_async_send(&s->async);
        pthread_mutex_unlock(&s->lock);
        store_move_log(s, idle);
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
    if (store_pause_cond(&s->wake) != 0 ||
        uv_async_init(loop, &s->async, on_async) != 0 ||
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
