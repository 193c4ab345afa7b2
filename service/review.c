#include "service/review.h"

#include "service/episodes.h"
#include "service/log.h"
#include "service/readings.h"
#include "service/suggest.h"

#include <stdlib.h>

enum { ACCESSES_AT_ONCE = 32, AGAIN_MS = 60000 };

static enum err review_group(struct suggest *s, enum group group)
{
    struct episode episode;
    struct repeat_state repeat;
    struct verdict verdict;
    int64_t episode_task, repeat_task;
    enum err e =
        episode_load(s->db, s->access->id, group, &episode, &episode_task);

    if (e == ERR_OK)
        e = repeat_load(s->db, s->access->id, group, &repeat, &repeat_task);
    if (e != ERR_OK)
        return e;
    triage(s->history, s->review->policy, s->findings, group, &episode, &repeat,
           &verdict);
    if (s->access->merged != 0)
        verdict.reason = END_MERGED;
    else if (!s->access->active)
        verdict.reason = END_INACTIVE;
    return suggest_carry_out(s, group, &verdict, episode_task, repeat_task);
}

static enum err review_history(struct db *db, const struct review *review,
                               const struct access *a, struct reading *readings,
                               bool *told)
{
    int64_t now_ms = review->now_ms();
    struct history h = { .access_type = a->type,
                         .side = a->side,
                         .now_s = now_ms / 1000,
                         .readings = readings };
    struct findings findings = { .count = 0 };
    struct patient patient;
    struct suggest s = { .db = db,
                         .review = review,
                         .access = a,
                         .patient = &patient,
                         .history = &h,
                         .findings = &findings,
                         .now_ms = now_ms };
    int64_t from_s =
        h.now_s - (int64_t)policy_count(review->policy, P_LOOKBACK_D) * DAY_S;
    enum err e = patient_get(db, a->patient, &patient);

    if (e == ERR_OK)
        e = readings_load(db, a, from_s, readings, HISTORY_READINGS_MAX,
                          &h.count);
    if (e == ERR_OK && a->active)
        rules_evaluate(&h, review->policy, &findings);
    for (int g = 0; e == ERR_OK && g < GROUP_COUNT; g++)
        e = review_group(&s, (enum group)g);
    *told = *told || s.told;
    return e;
}

enum err review_access(struct db *db, const struct review *review,
                       int64_t access, bool *told)
{
    struct access a;
    struct reading *readings;
    enum err e = access_get(db, access, &a);

    if (e != ERR_OK)
        return e;
    if (a.merged != 0) /* only what it left open is to be ended */
        e = news_mark(db, a.merged, review->now_ms());
    if (e != ERR_OK)
        return e;
    readings = calloc(HISTORY_READINGS_MAX, sizeof(*readings));
    if (readings == NULL)
        return ERR_MEMORY;
    e = review_history(db, review, &a, readings, told);
    free(readings);
    return e;
}

/* One that fails must not keep the others waiting: it is tried again later,
 * and its mark stays. */
static enum err review_alone(struct db *db, const struct review *review,
                             int64_t access, bool *told)
{
    enum err e = db_run(db, Q_SAVE_ENTRY, "");
    enum err reviewed;

    if (e != ERR_OK)
        return e;
    reviewed = db_run(db, Q_NEWS_REMOVE, "i", access);
    if (reviewed == ERR_OK)
        reviewed = review_access(db, review, access, told);
    if (reviewed != ERR_OK) {
        log_event(LOG_ERROR, "review.access", KEY_INT("row", access),
                  KEY_ERR(reviewed));
        e = db_run(db, Q_UNDO_ENTRY, "");
        db_forget_ids(db);
        if (e == ERR_OK)
            e = db_run(db, Q_NEWS_LATER, "ii", access,
                       review->now_ms() + AGAIN_MS);
    }
    return e == ERR_OK ? db_run(db, Q_RELEASE_ENTRY, "") : e;
}

enum err review_run(struct db *db, void *arg, bool *more, bool *told)
{
    const struct review *review = arg;
    int64_t accesses[ACCESSES_AT_ONCE];
    size_t count = 0;
    enum err e = db_query(db, Q_NEWS_LIST, "ii", review->now_ms(),
                          INT64(ACCESSES_AT_ONCE));

    while (e == ERR_OK && (e = db_next(db, Q_NEWS_LIST)) == ERR_OK)
        accesses[count++] = db_int(db, Q_NEWS_LIST, 0);
    if (e != ERR_ABSENT)
        return e;
    e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = review_alone(db, review, accesses[i], told);
    *more = count == ACCESSES_AT_ONCE;
    return e;
}
