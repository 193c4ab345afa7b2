/* Which accesses are reviewed, in which order, and what waits for a plan. */
#include "service/review_work.h"

#include "service/log.h"
#include "service/news.h"
#include "service/planners.h"
#include "service/suggest_plan.h"

#include <uv.h>

enum {
    ACCESSES_AT_ONCE = 32,
    SLICE_MS = 4, /* then whoever waits for the store has a turn */
    AGAIN_MS = 60000,
    PLAN_MS = 5000, /* then an access whose plan did not come is looked at */
    PLAN_TRIES = 3  /* something came each time: the plan is made here */
};

/* ---- an access, now --------------------------------------------------------- */

/* An access and what there is to see of it. */
static enum err look(struct db *db, const struct review *review, int64_t access,
                     struct look *look)
{
    enum err e = look_at(db, review, access, look);

    if (e == ERR_OK)
        e = look_at_anew(db, review, access, look);
    if (e != ERR_OK)
        return e;
    if (look->access.merged != 0) /* only what it left open is to be ended */
        e = news_mark(db, look->access.merged, look->now_ms);
    if (e != ERR_OK)
        look_clear(look);
    return e;
}

enum err review_access(struct db *db, const struct review *review,
                       int64_t access, bool *told)
{
    struct look l;
    enum err e = look(db, review, access, &l);

    if (e != ERR_OK)
        return e;
    e = review_look(db, review, &l, NULL, told);
    look_clear(&l);
    return e;
}

enum err review_resume(struct db *db, int64_t now_ms)
{
    return db_run(db, Q_NEWS_RESUME, "ii", now_ms, now_ms + PLAN_MS);
}

/* ---- an access that waits for its plan --------------------------------------- */

/* What must reach somebody at once waits for nothing. */
static bool may_wait(const struct look *l)
{
    for (size_t i = 0; i < l->findings.count; i++) {
        const struct finding *f = &l->findings.list[i];

        if (f->confirmed && !f->historic && f->urgency == URGENCY_IMMEDIATE)
            return false;
    }
    return true;
}

/* It is given away, marked for later; the look and the plan with it.  Nothing
 * is given on an error. */
static enum err give(struct db *db, const struct review *review, struct look *l,
                     struct task_plan *plan, int tries)
{
    struct planners_job *job = planners_job_new(review, l->access.id);
    enum err e = job == NULL ? ERR_MEMORY : ERR_OK;

    if (e == ERR_OK)
        e = suggest_plans_carried(db, l->access.id, job->carried,
                                  &job->carried_count);
    if (e == ERR_OK) {
        job->mark_ms = l->now_ms + PLAN_MS;
        job->tries = tries + 1;
        e = news_mark(db, l->access.id, job->mark_ms);
    }
    if (e != ERR_OK) {
        planners_job_free(job);
        return e;
    }
    job->look = *l;
    job->plan = plan;
    l->readings = NULL;
    planners_give(review->planners, job);
    return ERR_OK;
}

/* tries: times that its plan was made in vain. */
static enum err review_looked(struct db *db, const struct review *review,
                              struct look *l, int tries, bool *told)
{
    struct task_plan *plan = NULL;
    enum err e = ERR_OK;

    if (tries >= PLAN_TRIES || !planners_have_room(review->planners) ||
        !task_plan_may_be(review, l) || !may_wait(l))
        return review_look(db, review, l, NULL, told);
    e = task_plan_load(db, review, l, &plan);
    if (e == ERR_OK && task_plan_is_work(plan)) {
        e = give(db, review, l, plan, tries);
        if (e == ERR_OK)
            return ERR_OK;
    }
    if (e == ERR_OK)
        return review_look(db, review, l, plan, told);
    task_plan_free(plan);
    return e;
}

static enum err review_new(struct db *db, const struct review *review,
                           int64_t access, int tries, bool *told)
{
    struct look l;
    enum err e = db_run(db, Q_NEWS_REMOVE, "i", access);

    if (e == ERR_OK)
        e = look(db, review, access, &l);
    if (e != ERR_OK)
        return e;
    e = review_looked(db, review, &l, tries, told);
    look_clear(&l);
    return e;
}

/* Something has come while its plan is made: it waits for that, and its mark
 * stays, but for what must not wait. */
static enum err review_meanwhile(struct db *db, const struct review *review,
                                 int64_t access, bool *told)
{
    struct look l;
    bool waits;
    enum err e = look_at(db, review, access, &l);

    if (e != ERR_OK)
        return e;
    waits = may_wait(&l);
    look_clear(&l);
    return waits ? ERR_OK : review_new(db, review, access, PLAN_TRIES, told);
}

/* It is as it was when its plan was asked for: nothing has come since. */
static enum err review_planned(struct db *db, const struct review *review,
                               struct planners_job *job, bool *told)
{
    struct task_plan *plan = job->plan;
    enum err e = job->err;

    if (e == ERR_OK)
        e = db_run(db, Q_NEWS_REMOVE, "i", job->access);
    if (e != ERR_OK)
        return e;
    job->plan = NULL;
    job->look.now_ms = review->now_ms();
    return review_look(db, review, &job->look, plan, told);
}

/* ---- all that have news --------------------------------------------------- */

/* An access with news. */
struct due {
    int64_t access;
    struct planners_job *job; /* its plan is made; NULL: it is not */
    bool under_way;           /* it is being made */
};

static enum err review_made(struct db *db, const struct review *review,
                            struct planners_job *job, bool *told)
{
    const enum query q = Q_NEWS_GET;
    bool same = false;
    enum err e = db_first(db, q, "i", job->access);

    if (e == ERR_ABSENT) /* it was reviewed, or is gone */
        return ERR_OK;
    if (e == ERR_OK)
        same = db_int(db, q, 0) == job->mark_ms;
    db_done(db, q);
    if (e != ERR_OK)
        return e;
    return same ? review_planned(db, review, job, told)
                : review_new(db, review, job->access, job->tries, told);
}

static enum err review_due(struct db *db, const struct review *review,
                           const struct due *due, bool *told)
{
    if (due->job != NULL)
        return review_made(db, review, due->job, told);
    if (due->under_way)
        return review_meanwhile(db, review, due->access, told);
    return review_new(db, review, due->access, 0, told);
}

/* One that fails must not keep the others waiting: it is tried again later,
 * and its mark stays. */
static enum err review_alone(struct db *db, const struct review *review,
                             const struct due *due, bool *told)
{
    enum err e = db_run(db, Q_SAVE_ENTRY, "");
    enum err reviewed;

    if (e != ERR_OK)
        return e;
    reviewed = review_due(db, review, due, told);
    if (reviewed != ERR_OK) {
        log_event(LOG_ERROR, "review.access", KEY_INT("row", due->access),
                  KEY_ERR(reviewed));
        e = db_run(db, Q_UNDO_ENTRY, "");
        db_forget_ids(db);
        if (e == ERR_OK)
            e = db_run(db, Q_NEWS_LATER, "ii", due->access,
                       review->now_ms() + AGAIN_MS);
    }
    return e == ERR_OK ? db_run(db, Q_RELEASE_ENTRY, "") : e;
}

/* Those whose plans are made. */
static enum err review_all_made(struct db *db, const struct review *review,
                                bool *told)
{
    struct planners_job *job;
    enum err e = ERR_OK;

    while (e == ERR_OK && (job = planners_made(review->planners)) != NULL) {
        const struct due due = { job->access, job, false };

        e = review_alone(db, review, &due, told);
        planners_job_free(job);
    }
    return e;
}

static enum err list(struct db *db, const struct review *review,
                     struct due dues[ACCESSES_AT_ONCE], size_t *count)
{
    enum err e = db_query(db, Q_NEWS_LIST, "ii", review->now_ms(),
                          INT64(ACCESSES_AT_ONCE));

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, Q_NEWS_LIST)) == ERR_OK) {
        int64_t access = db_int(db, Q_NEWS_LIST, 0);

        dues[(*count)++] =
            (struct due){ access, NULL,
                          planners_have(review->planners, access) };
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Those whose plans are under way stay due, however often they are looked at:
 * there are always others among all that are listed. */
_Static_assert((int)PLANNERS_MOST < (int)ACCESSES_AT_ONCE, "others wait");

static enum err review_all_meanwhile(struct db *db, const struct review *review,
                                     const struct due *dues, size_t count,
                                     bool *told)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        if (dues[i].under_way)
            e = review_alone(db, review, &dues[i], told);
    }
    return e;
}

enum err review_run(struct db *db, void *arg, bool *more, bool *told)
{
    const struct review *review = arg;
    struct due dues[ACCESSES_AT_ONCE];
    size_t count, i = 0;
    uint64_t end_ns;
    enum err e = review_all_made(db, review, told);

    if (e == ERR_OK)
        e = list(db, review, dues, &count);
    if (e == ERR_OK)
        e = review_all_meanwhile(db, review, dues, count, told);
    if (e != ERR_OK)
        return e;
    *more = count == ACCESSES_AT_ONCE;
    end_ns = uv_hrtime() + SLICE_MS * UINT64_C(1000000);
    for (; e == ERR_OK && i < count && uv_hrtime() < end_ns; i++) {
        if (!dues[i].under_way)
            e = review_alone(db, review, &dues[i], told);
    }
    for (; i < count; i++)
        *more = *more || !dues[i].under_way;
    return e;
}
