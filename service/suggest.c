#include "service/suggest.h"

#include "service/episodes.h"
#include "service/suggest_companion.h"
#include "service/suggest_plan.h"
#include "service/suggest_work.h"

#include <stdio.h>

static enum err put_task(struct suggest *s, struct resource *row,
                         const struct fhir_task *t, bool silent,
                         const struct buf *json)
{
    struct new_version v = { .body = json->data, .len = json->len };
    struct fhir_task_view view;
    int64_t part = partition_of(s->access->id);
    enum err e = fhir_task_view(json->data, json->len, &view);

    if (e == ERR_OK)
        e = resource_put(s->db, row, NULL, part, s->now_ms, &v);
    if (e == ERR_OK)
        e = db_run(s->db, Q_TASK_PUT, "iiiissssi", row->id, part,
                   s->patient->id, s->access->id, view.status, view.priority,
                   t->code, t->key, INT64(silent));
    if (e == ERR_OK && s->review->record && !silent)
        e = db_run(s->db, Q_OUTBOX_WANT, "iiii", row->id, part,
                   INT64(row->version), s->now_ms);
    s->told = s->told || !silent;
    return e;
}

enum err suggest_new_task(struct suggest *s, struct draft *d,
                          struct resource *row)
{
    struct beside_task beside;
    struct buf json;
    enum err e;

    *row = (struct resource){ .kind = FHIR_TASK };
    new_fid(row->fid);
    d->task.id = row->fid;
    buf_init(&json, TASK_MAX);
    e = beside_prepare(s, d, 0, &beside);
    if (e == ERR_OK)
        e = fhir_task_write(&d->task, &json);
    if (e == ERR_OK)
        e = put_task(s, row, &d->task, s->review->silent, &json);
    if (e == ERR_OK)
        e = beside_store(s, d, row, true, false, &beside);
    beside_clear(&beside);
    buf_clear(&json);
    return e;
}

/* The record finds it by the key that it was made with, whatever its access is
 * called by now. */
static enum err keep_key(struct suggest *s, struct draft *d, int64_t task)
{
    const enum query q = Q_TASK_GET;
    enum err e = db_first(s->db, q, "i", task);

    if (e != ERR_OK)
        return e;
    snprintf(d->key, sizeof(d->key), "%s", db_text(s->db, q, 5));
    db_done(s->db, q);
    d->task.key = d->key;
    return ERR_OK;
}

enum err suggest_amend_task(struct suggest *s, struct draft *d, int64_t task,
                            bool touched, struct resource *row, bool *silent)
{
    struct beside_task beside;
    struct buf old, json;
    int64_t updated_ms;
    enum err e = keep_key(s, d, task);

    if (e != ERR_OK)
        return e;
    e = beside_prepare(s, d, task, &beside);
    *silent = beside.none || s->review->silent;
    buf_init(&old, TASK_MAX);
    buf_init(&json, TASK_MAX);
    if (e == ERR_OK)
        e = resource_get(s->db, task, row);
    d->task.id = row->fid;
    if (e == ERR_OK)
        e = resource_body(s->db, row, 0, &old, &updated_ms);
    if (e == ERR_OK)
        e = fhir_task_amend(old.data, old.len, &d->task, touched, &json);
    if (e == ERR_OK)
        e = put_task(s, row, &d->task, *silent, &json);
    if (e == ERR_OK)
        e = beside_store(s, d, row, false, touched, &beside);
    beside_clear(&beside);
    buf_clear(&old);
    buf_clear(&json);
    return e;
}

enum err suggest_known_task(struct suggest *s, struct draft *d, int64_t task)
{
    const enum query q = Q_TASK_GET;
    enum err e = db_first(s->db, q, "i", task);

    if (e != ERR_OK)
        return e;
    snprintf(d->repeat_code, sizeof(d->repeat_code), "%s",
             db_text(s->db, q, 4));
    snprintf(d->key, sizeof(d->key), "%s", db_text(s->db, q, 5));
    db_done(s->db, q);
    d->task.key = d->key;
    d->task.code = d->repeat_code;
    return ERR_OK;
}

enum err suggest_note(struct suggest *s, enum group group,
                      const struct episode *episode, enum act act,
                      enum end_reason reason, enum decision_how how,
                      const struct resource *task, bool silent)
{
    struct decision d = { .access = s->access->id,
                          .group = group,
                          .number = episode->number,
                          .act = act,
                          .reason = reason,
                          .how = how,
                          .urgency = episode->urgency,
                          .rules = episode->rules,
                          .silent = silent,
                          .task = task->id,
                          .task_version = task->version,
                          .evidence = episode->evidence,
                          .evidence_count = episode->evidence_count };

    return decision_add(s->db, &d, s->review->policy, s->now_ms);
}

static enum err store_episode(struct suggest *s, struct draft *d,
                              enum group group, const struct episode *episode,
                              int64_t task, int64_t opened_s, int64_t due_s)
{
    struct episode_words words = { .opened_s = opened_s,
                                   .due_s = due_s,
                                   .headline = d->headline.data,
                                   .suggestion = d->suggestion.data };

    return episode_store(s->db, s->access->id, group, episode, task, &words);
}

static int64_t due_of(const struct suggest *s, enum group group, enum urgency u)
{
    int days = policy_count(s->review->policy, due_row(group, u));

    return s->now_ms / 1000 +
           (u == URGENCY_IMMEDIATE ? 0 : (int64_t)days * DAY_S);
}

static enum err open_referral(struct suggest *s, struct draft *d,
                              enum group group, const struct verdict *v)
{
    int64_t due_s = due_of(s, group, v->episode.urgency);
    struct wording w;
    struct resource row;
    enum err e = suggest_plan_put(s, d, group, 0, NULL);

    if (e == ERR_OK)
        e = draft_referral(s, d, group, &v->episode, due_s);
    if (e != ERR_OK)
        return e;
    w = draft_wording(s, group, due_s);
    wording_basis(&w, &d->note);
    d->task.note = d->note.data;
    e = draft_ok(d);
    if (e == ERR_OK)
        e = suggest_new_task(s, d, &row);
    if (e == ERR_OK)
        e = store_episode(s, d, group, &v->episode, row.id, s->now_ms / 1000,
                          due_s);
    return e == ERR_OK
               ? suggest_note(s, group, &v->episode, ACT_OPEN, END_CLEARED,
                              HOW_PLAIN, &row, s->review->silent)
               : e;
}

static enum decision_how how_updated(const struct verdict *v)
{
    return v->raised       ? HOW_RAISED
           : v->unanswered ? HOW_UNANSWERED
           : v->escalated  ? HOW_ESCALATED
           : v->corrected  ? HOW_CORRECTED
                           : HOW_PLAIN;
}

static enum err update_referral(struct suggest *s, struct draft *d,
                                enum group group, const struct verdict *v,
                                int64_t task)
{
    bool touched = v->episode.state == EPISODE_TAKEN, silent = false;
    int64_t opened_s, due_s;
    struct wording w;
    struct resource row;
    enum err e = suggest_plan(s, group);

    if (e == ERR_OK)
        e = episode_times(s->db, task, &opened_s, &due_s);
    if (e == ERR_OK &&
        (v->unanswered || ((v->raised || v->again) &&
                           due_of(s, group, v->episode.urgency) < due_s)))
        due_s = due_of(s, group, v->episode.urgency);
    if (e == ERR_OK)
        e = draft_referral(s, d, group, &v->episode, due_s);
    if (e != ERR_OK)
        return e;
    d->task.start_s = opened_s;
    d->task.put_off = v->episode.put_off_s > s->now_ms / 1000;
    w = draft_wording(s, group, due_s);
    wording_update(&w, v, &d->note);
    d->task.note = d->note.data;
    e = suggest_plan_put(s, d, group, task, NULL);
    if (e == ERR_OK)
        e = draft_ok(d);
    if (e == ERR_OK)
        e = suggest_amend_task(s, d, task, touched, &row, &silent);
    if (e == ERR_OK)
        e = store_episode(s, d, group, &v->episode, task, opened_s, due_s);
    return e == ERR_OK ? suggest_note(s, group, &v->episode, ACT_UPDATE,
                                      END_CLEARED, how_updated(v), &row, silent)
                       : e;
}

static enum err end_referral(struct suggest *s, struct draft *d,
                             enum group group, const struct verdict *v,
                             int64_t task)
{
    bool touched = v->episode.state == EPISODE_TAKEN, silent = false;
    struct episode episode = v->episode;
    int64_t opened_s, due_s;
    struct wording w;
    struct resource row;
    enum err e = episode_times(s->db, task, &opened_s, &due_s);

    if (e == ERR_OK)
        e = draft_referral(s, d, group, &episode, due_s);
    if (e != ERR_OK)
        return e;
    w = draft_wording(s, group, due_s);
    wording_end(&w, v, &d->reason, &d->note);
    e = suggest_plan_end(s, d, group, v->reason, task);
    if (e != ERR_OK)
        return e;
    if (d->headline.len == 0) /* for one that stays in the queue, in hand */
        buf_puts(&d->headline, d->reason.data);
    d->task.note = d->note.data;
    d->task.status = "cancelled";
    d->task.status_reason = d->reason.data;
    d->task.description = NULL; /* what was said stays readable */
    d->task.start_s = opened_s;
    episode.state = touched ? EPISODE_TAKEN : EPISODE_ENDED;
    episode.closed_s = s->now_ms / 1000;
    e = draft_ok(d);
    if (e == ERR_OK)
        e = suggest_amend_task(s, d, task, touched, &row, &silent);
    if (e == ERR_OK)
        e = store_episode(s, d, group, &episode, task, opened_s, due_s);
    return e == ERR_OK ? suggest_note(s, group, &episode, ACT_END, v->reason,
                                      HOW_PLAIN, &row, silent)
                       : e;
}

static enum err open_step(struct suggest *s, struct draft *d, enum group group,
                          const struct verdict *v, int64_t task)
{
    (void)task;
    return open_referral(s, d, group, v);
}

static enum err with_draft(struct suggest *s, enum group group,
                           const struct verdict *v, int64_t task,
                           suggest_step_fn step)
{
    struct draft *d = draft_new();
    enum err e;

    if (d == NULL)
        return ERR_MEMORY;
    e = step(s, d, group, v, task);
    draft_free(d);
    return e;
}

enum err suggest_carry_out(struct suggest *s, enum group group,
                           const struct verdict *v, int64_t episode_task,
                           int64_t repeat_task)
{
    static const suggest_step_fn episode_steps[] = { [ACT_OPEN] = open_step,
                                                     [ACT_UPDATE] =
                                                         update_referral,
                                                     [ACT_END] = end_referral };
    static const suggest_step_fn repeat_steps[] = {
        [ACT_OPEN] = suggest_open_repeat,
        [ACT_UPDATE] = suggest_update_repeat,
        [ACT_END] = suggest_end_repeat
    };
    enum err e = ERR_OK;

    if (v->act != ACT_NOTHING)
        e = with_draft(s, group, v, episode_task, episode_steps[v->act]);
    if (e == ERR_OK && v->repeat != ACT_NOTHING)
        e = with_draft(s, group, v, repeat_task, repeat_steps[v->repeat]);
    return e;
}
