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
    enum err e = look(db, review, access, &l);

    if (e != ERR_OK)
        return e;
    e = review_looked(db, review, &l, tries, told);
    look_clear(&l);
    return e;
}

/* It is as it was when its plan was asked for: nothing has come since. */
static enum err review_planned(struct db *db, const struct review *review,
                               struct planners_job *job, bool *told)
{
    struct task_plan *plan = job->plan;

    if (job->err != ERR_OK)
        return job->err;
    job->plan = NULL;
    job->look.now_ms = review->now_ms();
    return review_look(db, review, &job->look, plan, told);
}

/* ---- all that have news --------------------------------------------------- */

/* An access with news: job is what was made of it, NULL nothing was. */
struct due {
    int64_t access;
    struct planners_job *job;
};

static enum err review_due(struct db *db, const struct review *review,
                           const struct due *due, bool *told)
{
    const enum query q = Q_NEWS_GET;
    bool same = false;
    enum err e = db_first(db, q, "i", due->access);

    if (e == ERR_ABSENT) /* it was reviewed, or is gone */
        return ERR_OK;
    if (e == ERR_OK && due->job != NULL)
        same = db_int(db, q, 0) == due->job->mark_ms;
    db_done(db, q);
    if (e == ERR_OK)
        e = db_run(db, Q_NEWS_REMOVE, "i", due->access);
    if (e != ERR_OK)
        return e;
    if (same)
        return review_planned(db, review, due->job, told);
    return review_new(db, review, due->access,
                      due->job != NULL ? due->job->tries : 0, told);
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
static enum err review_made(struct db *db, const struct review *review,
                            bool *told)
{
    struct planners_job *job;
    enum err e = ERR_OK;

    while (e == ERR_OK && (job = planners_made(review->planners)) != NULL) {
        const struct due due = { job->access, job };

        e = review_alone(db, review, &due, told);
        planners_job_free(job);
    }
    return e;
}

/* Due and not under way; *more: perhaps there are others. */
static enum err list(struct db *db, const struct review *review,
                     struct due dues[ACCESSES_AT_ONCE], size_t *count,
                     bool *more)
{
    /* with as many besides as may be under way */
    const int64_t most = ACCESSES_AT_ONCE + PLANNERS_MOST;
    int64_t seen = 0;
    enum err e = db_query(db, Q_NEWS_LIST, "ii", review->now_ms(), most);

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, Q_NEWS_LIST)) == ERR_OK) {
        int64_t access = db_int(db, Q_NEWS_LIST, 0);

        seen++;
        if (*count < ACCESSES_AT_ONCE &&
            !planners_have(review->planners, access))
            dues[(*count)++] = (struct due){ access, NULL };
    }
    *more = seen > (int64_t)*count && *count == ACCESSES_AT_ONCE;
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err review_run(struct db *db, void *arg, bool *more, bool *told)
{
    const struct review *review = arg;
    uint64_t end_ns = uv_hrtime() + SLICE_MS * UINT64_C(1000000);
    struct due dues[ACCESSES_AT_ONCE];
    size_t count, done = 0;
    enum err e = review_made(db, review, told);

    if (e == ERR_OK)
        e = list(db, review, dues, &count, more);
    if (e != ERR_OK)
        return e;
    while (e == ERR_OK && done < count && (done == 0 || uv_hrtime() < end_ns))
        e = review_alone(db, review, &dues[done++], told);
    *more = *more || done < count;
    return e;
}
