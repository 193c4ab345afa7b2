#include "service/planners.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

struct planners {
    struct planning *planning; /* own thread only */
    pthread_t thread;
    bool runs; /* whoever stops it only */

    pthread_mutex_t lock; /* guards what follows */
    pthread_cond_t wake;
    struct planners_job *waiting, *made; /* the first has come first */
    struct planners_job *at;             /* what is being made */
    bool stop;
    void (*on_made)(void *arg); /* NULL: nobody is told yet */
    void *arg;
};

/* ---- a job ---------------------------------------------------------------------- */

struct planners_job *planners_job_new(const struct review *review,
                                      int64_t access)
{
    struct planners_job *job = calloc(1, sizeof(*job));

    if (job == NULL)
        return NULL;
    job->access = access;
    job->policy = *review->policy;
    job->review = *review;
    job->review.policy = &job->policy;
    for (size_t i = 0; i < GROUP_COUNT; i++)
        buf_init(&job->carried[i], TASK_MAX);
    return job;
}

void planners_job_free(struct planners_job *job)
{
    if (job == NULL)
        return;
    for (size_t i = 0; i < GROUP_COUNT; i++)
        buf_clear(&job->carried[i]);
    task_plan_free(job->plan);
    look_clear(&job->look);
    free(job);
}

static bool is_carried(const struct planners_job *job)
{
    const struct buf *json = &job->plan->json;

    for (size_t i = 0; i < job->carried_count; i++) {
        const struct buf *before = &job->carried[i];

        if (before->len != json->len ||
            memcmp(before->data, json->data, json->len) != 0)
            return false;
    }
    return job->carried_count > 0;
}

static void make(struct planners *p, struct planners_job *job)
{
    unsigned long lost = buf_lost();

    job->err = task_plan_make(job->plan, &job->review, &job->look, p->planning);
    if (job->err == ERR_OK && job->plan->offered &&
        job->review.companions.documents && !is_carried(job))
        job->err = task_plan_pages(job->plan, &job->review, &job->look);
    if (job->err == ERR_OK && buf_lost() != lost)
        job->err = ERR_MEMORY; /* a text that was written may lack a part */
}

/* ---- the thread ------------------------------------------------------------------ */

static void add(struct planners_job **list, struct planners_job *job)
{
    while (*list != NULL)
        list = &(*list)->next;
    job->next = NULL;
    *list = job;
}

static struct planners_job *take(struct planners_job **list)
{
    struct planners_job *job = *list;

    if (job != NULL)
        *list = job->next;
    return job;
}

static void *thread_main(void *arg)
{
    struct planners *p = arg;

    pthread_mutex_lock(&p->lock);
    while (!p->stop) {
        struct planners_job *job = take(&p->waiting);

        if (job == NULL) {
            pthread_cond_wait(&p->wake, &p->lock);
            continue;
        }
        p->at = job;
        pthread_mutex_unlock(&p->lock);
        make(p, job);
        pthread_mutex_lock(&p->lock);
        p->at = NULL;
        add(&p->made, job);
        if (!p->stop && p->on_made != NULL)
            p->on_made(p->arg);
    }
    pthread_mutex_unlock(&p->lock);
    return NULL;
}

enum err planners_open(struct planners **out)
{
    struct planners *p = calloc(1, sizeof(*p));
    enum err e = p == NULL ? ERR_MEMORY : planning_open(&p->planning);

    if (e != ERR_OK) {
        free(p);
        return e;
    }
    pthread_mutex_init(&p->lock, NULL);
    pthread_cond_init(&p->wake, NULL);
    p->runs = pthread_create(&p->thread, NULL, thread_main, p) == 0;
    if (!p->runs) /* then all is made where it is wanted */
        p->stop = true;
    *out = p;
    return ERR_OK;
}

void planners_tell(struct planners *p, void (*on_made)(void *arg), void *arg)
{
    pthread_mutex_lock(&p->lock);
    p->on_made = on_made;
    p->arg = arg;
    if (p->made != NULL)
        on_made(arg);
    pthread_mutex_unlock(&p->lock);
}

void planners_stop(struct planners *p)
{
    if (p == NULL || !p->runs)
        return;
    pthread_mutex_lock(&p->lock);
    p->stop = true;
    pthread_cond_signal(&p->wake);
    pthread_mutex_unlock(&p->lock);
    pthread_join(p->thread, NULL);
    p->runs = false;
}

static void free_all(struct planners_job *job)
{
    while (job != NULL) {
        struct planners_job *next = job->next;

        planners_job_free(job);
        job = next;
    }
}

void planners_close(struct planners *p)
{
    if (p == NULL)
        return;
    free_all(p->waiting);
    free_all(p->made);
    pthread_cond_destroy(&p->wake);
    pthread_mutex_destroy(&p->lock);
    planning_close(p->planning);
    free(p);
}

/* ---- for the store's thread ------------------------------------------------------- */

static bool has(const struct planners_job *list, int64_t access)
{
    while (list != NULL && list->access != access)
        list = list->next;
    return list != NULL;
}

static size_t count(const struct planners_job *list)
{
    size_t n = 0;

    for (; list != NULL; list = list->next)
        n++;
    return n;
}

bool planners_have(struct planners *p, int64_t access)
{
    bool found;

    if (p == NULL)
        return false;
    pthread_mutex_lock(&p->lock);
    found = has(p->waiting, access) || has(p->made, access) ||
            (p->at != NULL && p->at->access == access);
    pthread_mutex_unlock(&p->lock);
    return found;
}

size_t planners_under_way(struct planners *p)
{
    size_t n;

    if (p == NULL)
        return 0;
    pthread_mutex_lock(&p->lock);
    n = count(p->waiting) + count(p->made) + (p->at != NULL);
    pthread_mutex_unlock(&p->lock);
    return n;
}

bool planners_have_room(struct planners *p)
{
    bool stop;

    if (p == NULL)
        return false;
    pthread_mutex_lock(&p->lock);
    stop = p->stop;
    pthread_mutex_unlock(&p->lock);
    return !stop && planners_under_way(p) < PLANNERS_MOST;
}

void planners_give(struct planners *p, struct planners_job *job)
{
    pthread_mutex_lock(&p->lock);
    add(&p->waiting, job);
    pthread_cond_signal(&p->wake);
    pthread_mutex_unlock(&p->lock);
}

struct planners_job *planners_made(struct planners *p)
{
    struct planners_job *job;

    if (p == NULL)
        return NULL;
    pthread_mutex_lock(&p->lock);
    job = take(&p->made);
    pthread_mutex_unlock(&p->lock);
    return job;
}
