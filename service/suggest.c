#include "service/suggest.h"

#include "service/draft.h"
#include "service/episodes.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { EVIDENCE_TEXT_MAX = 8 * 1024 };

static enum err put_task(struct suggest *s, struct resource *row,
                         const struct fhir_task *t, const struct buf *json)
{
    struct new_version v = { .body = json->data, .len = json->len };
    struct fhir_task_view view;
    int64_t part = partition_of(s->access->id);
    enum err e = fhir_task_view(json->data, json->len, &view);

    if (e == ERR_OK)
        e = resource_put(s->db, row, NULL, part, s->now_ms, &v);
    if (e == ERR_OK)
        e = db_run(s->db, Q_TASK_PUT, "iiiissss", row->id, part, s->patient->id,
                   s->access->id, view.status, view.priority, t->code, t->key);
    if (e == ERR_OK && s->review->record)
        e = db_run(s->db, Q_OUTBOX_WANT, "iiii", row->id, part,
                   INT64(row->version), s->now_ms);
    s->told = true;
    return e;
}

static enum err new_task(struct suggest *s, struct draft *d,
                         struct resource *row)
{
    struct buf json;
    enum err e;

    *row = (struct resource){ .kind = FHIR_TASK };
    new_fid(row->fid);
    d->task.id = row->fid;
    buf_init(&json, TASK_MAX);
    e = fhir_task_write(&d->task, &json);
    if (e == ERR_OK)
        e = put_task(s, row, &d->task, &json);
    buf_clear(&json);
    return e;
}

static enum err amend_task(struct suggest *s, struct draft *d, int64_t task,
                           bool touched, struct resource *row)
{
    struct buf old, json;
    int64_t updated_ms;
    enum err e = resource_get(s->db, task, row);

    buf_init(&old, TASK_MAX);
    buf_init(&json, TASK_MAX);
    d->task.id = row->fid;
    if (e == ERR_OK)
        e = resource_body(s->db, row, 0, &old, &updated_ms);
    if (e == ERR_OK)
        e = fhir_task_amend(old.data, old.len, &d->task, touched, &json);
    if (e == ERR_OK)
        e = put_task(s, row, &d->task, &json);
    buf_clear(&old);
    buf_clear(&json);
    return e;
}

/* Why, for whoever asks later: readings with the version they had. */
static enum err note_decision(struct suggest *s, enum group group,
                              const struct episode *episode, enum act act,
                              enum end_reason reason,
                              const struct resource *task)
{
    struct buf evidence;
    int64_t id;
    enum err e = db_new_id(s->db, &id);

    buf_init(&evidence, EVIDENCE_TEXT_MAX);
    for (size_t i = 0; i < episode->evidence_count; i++)
        buf_printf(&evidence, "%s%lld/%d/%d", i > 0 ? " " : "",
                   (long long)episode->evidence[i].id,
                   episode->evidence[i].version, episode->evidence[i].slot);
    if (e == ERR_OK)
        e = buf_ok(&evidence);
    if (e == ERR_OK)
        e = db_run(s->db, Q_DECISION_ADD, "iiiiiiiisiiisi", id,
                   partition_of(s->access->id), s->access->id, INT64(group),
                   INT64(episode->number), s->now_ms, INT64(act), INT64(reason),
                   s->review->policy->version, task->id, INT64(task->version),
                   INT64(episode->rules), evidence.data);
    buf_clear(&evidence);
    return e;
}

static enum err note_reminder(struct suggest *s, enum group group,
                              const struct verdict *v, enum act act,
                              const struct resource *task)
{
    char trigger[32];
    int64_t id;
    enum err e = db_new_id(s->db, &id);

    snprintf(trigger, sizeof(trigger), "%lld",
             (long long)v->repeat_state.trigger_id);
    return e == ERR_OK
               ? db_run(s->db, Q_DECISION_ADD, "iiiiiiiisiiisi", id,
                        partition_of(s->access->id), s->access->id,
                        INT64(group), INT64(v->repeat_state.number), s->now_ms,
                        INT64(act), INT64(0), s->review->policy->version,
                        task->id, INT64(task->version), INT64(0), trigger,
                        INT64(1))
               : e;
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
    struct wording w = draft_wording(s, group, due_s);
    struct resource row;
    enum err e = draft_referral(s, d, group, &v->episode, due_s);

    if (e != ERR_OK)
        return e;
    wording_basis(&w, &d->note);
    d->task.note = d->note.data;
    e = draft_ok(d);
    if (e == ERR_OK)
        e = new_task(s, d, &row);
    if (e == ERR_OK)
        e = store_episode(s, d, group, &v->episode, row.id, s->now_ms / 1000,
                          due_s);
    return e == ERR_OK ? note_decision(s, group, &v->episode, ACT_OPEN,
                                       END_CLEARED, &row)
                       : e;
}

static enum err update_referral(struct suggest *s, struct draft *d,
                                enum group group, const struct verdict *v,
                                int64_t task)
{
    bool touched = v->episode.state == EPISODE_TAKEN;
    int64_t opened_s, due_s;
    struct wording w;
    struct resource row;
    enum err e = episode_times(s->db, task, &opened_s, &due_s);

    if (e == ERR_OK && v->raised &&
        due_of(s, group, v->episode.urgency) < due_s)
        due_s = due_of(s, group, v->episode.urgency);
    if (e == ERR_OK)
        e = draft_referral(s, d, group, &v->episode, due_s);
    if (e != ERR_OK)
        return e;
    d->task.start_s = opened_s;
    w = draft_wording(s, group, due_s);
    wording_update(&w, v, &d->note);
    d->task.note = d->note.data;
    e = draft_ok(d);
    if (e == ERR_OK)
        e = amend_task(s, d, task, touched, &row);
    if (e == ERR_OK)
        e = store_episode(s, d, group, &v->episode, task, opened_s, due_s);
    return e == ERR_OK ? note_decision(s, group, &v->episode, ACT_UPDATE,
                                       END_CLEARED, &row)
                       : e;
}

static enum err end_referral(struct suggest *s, struct draft *d,
                             enum group group, const struct verdict *v,
                             int64_t task)
{
    bool touched = v->episode.state == EPISODE_TAKEN;
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
        e = amend_task(s, d, task, touched, &row);
    if (e == ERR_OK)
        e = store_episode(s, d, group, &episode, task, opened_s, due_s);
    return e == ERR_OK
               ? note_decision(s, group, &episode, ACT_END, v->reason, &row)
               : e;
}

static enum err fill_repeat(struct suggest *s, struct draft *d,
                            enum group group, const struct verdict *v,
                            const struct finding *f)
{
    struct wording w = draft_wording(s, group, f->repeat_by_s);
    struct fhir_task *t = &d->task;
    char what[32];
    enum err e = draft_frame(s, d);

    snprintf(what, sizeof(what), "%s-repeat", group_word(group));
    if (e == ERR_OK)
        e = draft_key(s, what, v->repeat_state.number, d->key);
    for (size_t i = 0; e == ERR_OK && i < f->evidence_count; i++) {
        const struct reading *r = &s->history->readings[f->evidence[i]];
        struct evidence one = { r->id, r->version, r->slot, r->start_s };

        e = draft_trigger(s, d, &one);
    }
    if (e != ERR_OK)
        return e;
    draft_threshold(s, d, f);
    wording_repeat(&w, f, &d->description);
    wording_repeat_headline(&w, f, &d->headline);
    snprintf(d->episode, sizeof(d->episode), "%s/%s/%d", s->access->anchor,
             what, v->repeat_state.number);
    task_code_repeat(f->repeat_of, d->repeat_code);
    t->key = d->key;
    t->episode = d->episode;
    t->rule = rule_info(f->rule)->id;
    t->priority = draft_priority(f->urgency);
    t->code = d->repeat_code;
    t->code_display = TASK_REPEAT_DISPLAY;
    t->reason_code = task_code_reason(group)->code;
    t->reason_display = task_code_reason(group)->display;
    t->description = d->description.data;
    t->start_s = s->now_ms / 1000;
    t->due_s = f->repeat_by_s > t->start_s ? f->repeat_by_s : t->start_s;
    return draft_ok(d);
}

static enum err open_repeat(struct suggest *s, struct draft *d,
                            enum group group, const struct verdict *v)
{
    const struct finding *f = &s->findings->list[v->repeat_finding];
    struct fhir_task *t = &d->task;
    struct resource row;
    enum err e = fill_repeat(s, d, group, v, f);

    if (e != ERR_OK)
        return e;
    fhir_date_write(t->due_s, s->review->zone, d->due_date);
    if (t->input_count < TASK_INPUTS_MAX)
        t->inputs[t->input_count++] = (struct fhir_task_input){
            .kind = INPUT_DUE, .value = NAN, .text = d->due_date
        };
    e = new_task(s, d, &row);
    if (e == ERR_OK)
        e = repeat_store(s->db, s->access->id, group, &v->repeat_state, row.id,
                         t->due_s, d->headline.data);
    return e == ERR_OK ? note_reminder(s, group, v, ACT_OPEN, &row) : e;
}

/* Code and key of a reminder's Task, as it was made. */
static enum err known_task(struct suggest *s, struct draft *d, int64_t task)
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

static enum err end_repeat(struct suggest *s, struct draft *d, enum group group,
                           const struct verdict *v, int64_t task)
{
    static const char why[] =
        "No longer needed: measured again, confirmed, or the reading that "
        "asked for it no longer stands";
    struct fhir_task *t = &d->task;
    struct resource row;
    enum err e = draft_frame(s, d);

    if (e == ERR_OK)
        e = known_task(s, d, task);
    if (e != ERR_OK)
        return e;
    t->status = "cancelled";
    t->status_reason = why;
    t->note = why;
    e = amend_task(s, d, task, v->repeat_state.taken, &row);
    if (e == ERR_OK)
        e = repeat_store(s->db, s->access->id, group, &v->repeat_state, task, 0,
                         NULL);
    return e == ERR_OK ? note_reminder(s, group, v, ACT_END, &row) : e;
}

typedef enum err (*step_fn)(struct suggest *s, struct draft *d,
                            enum group group, const struct verdict *v,
                            int64_t task);

static enum err open_step(struct suggest *s, struct draft *d, enum group group,
                          const struct verdict *v, int64_t task)
{
    (void)task;
    return open_referral(s, d, group, v);
}

static enum err open_repeat_step(struct suggest *s, struct draft *d,
                                 enum group group, const struct verdict *v,
                                 int64_t task)
{
    (void)task;
    return open_repeat(s, d, group, v);
}

static enum err with_draft(struct suggest *s, enum group group,
                           const struct verdict *v, int64_t task, step_fn step)
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
    static const step_fn episode_steps[] = { [ACT_OPEN] = open_step,
                                             [ACT_UPDATE] = update_referral,
                                             [ACT_END] = end_referral };
    static const step_fn repeat_steps[] = {
        [ACT_OPEN] = open_repeat_step, [ACT_END] = end_repeat
    };
    enum err e = ERR_OK;

    if (v->act != ACT_NOTHING)
        e = with_draft(s, group, v, episode_task, episode_steps[v->act]);
    if (e == ERR_OK && v->repeat != ACT_NOTHING)
        e = with_draft(s, group, v, repeat_task, repeat_steps[v->repeat]);
    return e;
}
