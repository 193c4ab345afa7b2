#include "service/episodes.h"

#include "service/companions.h"
#include "service/resources.h"

#include <math.h>
#include <string.h>

static enum err load_evidence(struct db *db, int64_t access, enum group group,
                              struct episode *episode)
{
    const enum query q = Q_EVIDENCE_LIST;
    enum err e =
        db_query(db, q, "iii", access, INT64(group), INT64(episode->number));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (episode->evidence_count == EPISODE_EVIDENCE_MAX)
            continue;
        episode->evidence[episode->evidence_count++] =
            (struct evidence){ .id = db_int(db, q, 0),
                               .version = (int)db_int(db, q, 1),
                               .slot = (int)db_int(db, q, 2),
                               .at_s = db_int(db, q, 3) };
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err episode_load(struct db *db, int64_t access, enum group group,
                      struct episode *episode, int64_t *task)
{
    const enum query q = Q_EPISODE_LAST;
    enum err e = db_first(db, q, "ii", access, INT64(group));

    *episode = (struct episode){ .flow_ml_min = NAN };
    *task = 0;
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    episode->number = (int)db_int(db, q, 0);
    episode->state = (enum episode_state)db_int(db, q, 1);
    episode->urgency = (enum urgency)db_int(db, q, 2);
    episode->rules = (unsigned)db_int(db, q, 3);
    episode->grade = (enum grade)db_int(db, q, 4);
    episode->flow_ml_min = db_double(db, q, 5);
    episode->closed_s = db_int(db, q, 6);
    *task = db_int(db, q, 7);
    episode->occasion = db_int(db, q, 8);
    episode->announced_s = db_int(db, q, 9);
    episode->put_off_s = db_int(db, q, 10);
    episode->escalated = db_int(db, q, 11) != 0;
    episode->handed = db_int(db, q, 12) != 0;
    db_done(db, q);
    return load_evidence(db, access, group, episode);
}

enum err episode_store(struct db *db, int64_t access, enum group group,
                       const struct episode *episode, int64_t task,
                       const struct episode_words *words)
{
    enum err e = db_run(
        db, Q_EPISODE_PUT, "iiiiiiiidiiiissiiii", access, INT64(group),
        INT64(episode->number), partition_of(access), INT64(episode->state),
        INT64(episode->urgency), INT64(episode->rules), INT64(episode->grade),
        episode->flow_ml_min, episode->closed_s, task, words->opened_s,
        words->due_s, words->headline, words->suggestion, episode->occasion,
        episode->announced_s, episode->put_off_s, INT64(episode->escalated));

    if (e == ERR_OK)
        e = db_run(db, Q_EVIDENCE_REMOVE, "iii", access, INT64(group),
                   INT64(episode->number));
    for (size_t i = 0; e == ERR_OK && i < episode->evidence_count; i++) {
        const struct evidence *v = &episode->evidence[i];

        e = db_run(db, Q_EVIDENCE_ADD, "iiiiiii", access, INT64(group),
                   INT64(episode->number), v->id, INT64(v->slot),
                   INT64(v->version), v->at_s);
    }
    return e;
}

enum err episode_own(struct db *db, int64_t task, const char *owner, bool moved,
                     int64_t now_s)
{
    enum err e =
        db_run(db, Q_EPISODE_OWNER, "isii", task, owner, INT64(moved), now_s);

    return e == ERR_OK ? db_run(db, Q_NEWS_OF_HANDED, "ii", task, now_s * 1000)
                       : e;
}

enum err episode_hand(struct db *db, int64_t task, int64_t now_s)
{
    enum err e = db_run(db, Q_EPISODE_HAND, "ii", task, now_s);

    return e == ERR_OK ? db_run(db, Q_NEWS_OF_HANDED, "ii", task, now_s * 1000)
                       : e;
}

enum err episode_take(struct db *db, int64_t task)
{
    return db_run(db, Q_EPISODE_TAKE, "i", task);
}

enum err episode_put_off(struct db *db, int64_t task, int64_t until_s,
                         const char *who)
{
    return db_run(db, Q_EPISODE_PUT_OFF, "iis", task, until_s, who);
}

enum err episode_back(struct db *db, int64_t task, int64_t now_s)
{
    return db_run(db, Q_EPISODE_BACK, "ii", task, now_s);
}

enum err episode_times(struct db *db, int64_t task, int64_t *opened_s,
                       int64_t *due_s)
{
    enum err e = db_first(db, Q_EPISODE_TIMES, "i", task);

    if (e != ERR_OK)
        return e;
    *opened_s = db_int(db, Q_EPISODE_TIMES, 0);
    *due_s = db_int(db, Q_EPISODE_TIMES, 1);
    db_done(db, Q_EPISODE_TIMES);
    return ERR_OK;
}

enum err repeat_load(struct db *db, int64_t access, enum group group,
                     struct repeat_state *repeat, int64_t *task)
{
    const enum query q = Q_REPEAT_LAST;
    enum err e = db_first(db, q, "ii", access, INT64(group));
    enum episode_state state;

    *repeat = (struct repeat_state){ .number = 0 };
    *task = 0;
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    state = (enum episode_state)db_int(db, q, 1);
    *repeat = (struct repeat_state){ .number = (int)db_int(db, q, 0),
                                     .open = state == EPISODE_OPEN ||
                                             state == EPISODE_TAKEN,
                                     .taken = state == EPISODE_TAKEN,
                                     .overdue = db_int(db, q, 5) != 0,
                                     .trigger_id = db_int(db, q, 2),
                                     .occasion = db_int(db, q, 4),
                                     .due_s = db_int(db, q, 6) };
    *task = db_int(db, q, 3);
    db_done(db, q);
    return ERR_OK;
}

enum err repeat_store(struct db *db, int64_t access, enum group group,
                      const struct repeat_state *repeat, int64_t task,
                      const char *headline)
{
    enum episode_state state = !repeat->open   ? EPISODE_ENDED
                               : repeat->taken ? EPISODE_TAKEN
                                               : EPISODE_OPEN;

    return db_run(db, Q_REPEAT_PUT, "iiiiiiiisii", access, INT64(group),
                  INT64(repeat->number), partition_of(access), INT64(state),
                  repeat->trigger_id, task, repeat->due_s, headline,
                  repeat->occasion, INT64(repeat->overdue));
}

enum err task_is_silent(struct db *db, int64_t task, bool *silent)
{
    enum err e = task != 0 ? db_first(db, Q_TASK_GET, "i", task) : ERR_ABSENT;

    *silent = e == ERR_OK && db_int(db, Q_TASK_GET, 6) != 0;
    db_done(db, Q_TASK_GET);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum episode_state state_of(const char *status)
{
    static const struct {
        const char *status;
        enum episode_state state;
    } table[] = {
        { "draft", EPISODE_OPEN },
        { "requested", EPISODE_OPEN },
        { "rejected", EPISODE_DECLINED },
        { "completed", EPISODE_DONE },
        { "cancelled", EPISODE_DECLINED },
        { "failed", EPISODE_VOID },
        { "entered-in-error", EPISODE_VOID },
    };

    for (size_t i = 0; i < COUNT(table); i++) {
        if (strcmp(table[i].status, status) == 0)
            return table[i].state;
    }
    return EPISODE_TAKEN; /* received, accepted, ready, ..., unknown */
}

enum err episode_follow(struct db *db, int64_t task, const char *status,
                        int64_t now_s)
{
    enum episode_state state = state_of(status);
    enum err e = db_run(db, Q_EPISODE_STATE, "iii", task, INT64(state), now_s);

    if (e == ERR_OK)
        e = db_run(db, Q_REPEAT_STATE, "ii", task, INT64(state));
    /* who has ended the Task has answered what the chart warned of */
    return e == ERR_OK && state != EPISODE_OPEN && state != EPISODE_TAKEN
               ? companion_follow(db, task, now_s * 1000)
               : e;
}
