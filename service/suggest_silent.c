#include "service/suggest_work.h"

#include "service/episodes.h"

static enum err close_task(struct suggest *s, struct draft *d, int64_t task,
                           struct resource *row)
{
    static const char why[] = "Never posted: made in silent mode, which has "
                              "ended; what still holds is suggested anew";
    bool silent;
    enum err e = draft_frame(s, d);

    if (e == ERR_OK)
        e = suggest_known_task(s, d, task);
    d->task.status = "cancelled";
    d->task.status_reason = why;
    d->task.note = why;
    return e == ERR_OK ? suggest_amend_task(s, d, task, false, row, &silent)
                       : e;
}

/* The Task, and what stood open with it. */
static enum err withdraw(struct suggest *s, int64_t task, struct resource *row)
{
    struct draft *d = draft_new();
    enum err e = d != NULL ? close_task(s, d, task, row) : ERR_MEMORY;

    draft_free(d);
    if (e == ERR_OK)
        e = db_run(s->db, Q_EPISODE_STATE, "iii", task, INT64(EPISODE_ENDED),
                   s->now_ms / 1000);
    return e == ERR_OK
               ? db_run(s->db, Q_REPEAT_STATE, "ii", task, INT64(EPISODE_ENDED))
               : e;
}

enum err suggest_silent_episode(struct suggest *s, enum group group,
                                struct episode *episode, int64_t task)
{
    struct resource row = { .id = 0 };
    enum err e = withdraw(s, task, &row);

    if (e != ERR_OK)
        return e;
    episode->state = EPISODE_ENDED;
    episode->closed_s = s->now_ms / 1000;
    return suggest_note(s, group, episode, ACT_END, END_CLEARED, HOW_WENT_LIVE,
                        &row, true);
}

enum err suggest_silent_repeat(struct suggest *s, enum group group,
                               struct repeat_state *repeat, int64_t task)
{
    struct resource row = { .id = 0 };
    enum err e = withdraw(s, task, &row);
    struct decision d = { .access = s->access->id,
                          .group = group,
                          .number = repeat->number,
                          .reminder = true,
                          .act = ACT_END,
                          .how = HOW_WENT_LIVE,
                          .silent = true,
                          .task = row.id,
                          .task_version = row.version,
                          .trigger_id = repeat->trigger_id };

    *repeat = (struct repeat_state){ .number = repeat->number };
    return e == ERR_OK ? decision_add(s->db, &d, s->review->policy, s->now_ms)
                       : e;
}
