#include "service/suggest_work.h"

#include "service/episodes.h"

#include <math.h>
#include <stdio.h>

static enum err note_reminder(struct suggest *s, enum group group,
                              const struct verdict *v, enum act act,
                              enum decision_how how,
                              const struct resource *task, bool silent)
{
    const struct finding *f =
        act != ACT_END ? &s->findings->list[v->repeat_finding] : NULL;
    struct decision d = { .access = s->access->id,
                          .group = group,
                          .number = v->repeat_state.number,
                          .reminder = true,
                          .act = act,
                          .reason = v->reason,
                          .how = how,
                          .urgency = f != NULL ? f->urgency : URGENCY_NOTE,
                          .rules = f != NULL ? 1u << f->rule : 0,
                          .silent = silent,
                          .task = task->id,
                          .task_version = task->version,
                          .trigger_id = v->repeat_state.trigger_id };

    return decision_add(s->db, &d, s->review->policy, s->now_ms);
}

/* The finding that waits, with the day that was given to people. */
static struct finding waiting_of(const struct suggest *s,
                                 const struct verdict *v)
{
    struct finding f = s->findings->list[v->repeat_finding];

    if (v->repeat_state.due_s != 0)
        f.repeat_by_s = v->repeat_state.due_s;
    return f;
}

/* What it rests on, and the limit that was crossed. */
static enum err fill_grounds(struct suggest *s, struct draft *d,
                             const struct finding *f)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < f->evidence_count; i++) {
        const struct reading *r = &s->history->readings[f->evidence[i]];
        struct evidence one = { r->id, r->version, r->slot, r->start_s };

        e = draft_trigger(s, d, &one);
    }
    if (e == ERR_OK)
        draft_threshold(s, d, f);
    return e;
}

/* A visit after a band is a reminder of its own kind. */
static void fill_code(struct draft *d, const struct finding *f)
{
    struct fhir_task *t = &d->task;

    if (f->rule == RULE_PB_1) {
        t->code = task_code_follow_up()->code;
        t->code_display = task_code_follow_up()->display;
        return;
    }
    task_code_repeat(f->repeat_of, d->repeat_code);
    t->code = d->repeat_code;
    t->code_display = TASK_REPEAT_DISPLAY;
}

static void fill_times(struct suggest *s, struct draft *d,
                       const struct finding *f)
{
    struct fhir_task *t = &d->task;

    t->start_s = f->repeat_from_s != 0 ? f->repeat_from_s : s->now_ms / 1000;
    t->due_s = f->repeat_by_s > t->start_s ? f->repeat_by_s : t->start_s;
    fhir_date_write(t->due_s, s->review->zone, d->due_date);
    if (t->input_count < TASK_INPUTS_MAX)
        t->inputs[t->input_count++] = (struct fhir_task_input){
            .kind = INPUT_DUE, .value = NAN, .text = d->due_date
        };
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
    if (e == ERR_OK)
        e = fill_grounds(s, d, f);
    if (e != ERR_OK)
        return e;
    wording_repeat(&w, f, &d->description);
    wording_repeat_headline(&w, f, &d->headline);
    snprintf(d->episode, sizeof(d->episode), "%s/%s/%d", s->access->anchor,
             what, v->repeat_state.number);
    t->key = d->key;
    t->episode = d->episode;
    t->rule = rule_info(f->rule)->id;
    t->priority = f->rule == RULE_PB_1 ? draft_priority(URGENCY_ROUTINE)
                                       : draft_priority(f->urgency);
    fill_code(d, f);
    t->reason_code = task_code_reason(group)->code;
    t->reason_display = task_code_reason(group)->display;
    t->description = d->description.data;
    fill_times(s, d, f);
    return draft_ok(d);
}

enum err suggest_open_repeat(struct suggest *s, struct draft *d,
                             enum group group, const struct verdict *v,
                             int64_t task)
{
    struct finding f = waiting_of(s, v);
    struct repeat_state state = v->repeat_state;
    struct resource row;
    enum err e = fill_repeat(s, d, group, v, &f);

    (void)task;
    if (e == ERR_OK)
        e = suggest_new_task(s, d, &row);
    state.due_s = d->task.due_s;
    if (e == ERR_OK)
        e = repeat_store(s->db, s->access->id, group, &state, row.id,
                         d->headline.data);
    return e == ERR_OK ? note_reminder(s, group, v, ACT_OPEN, HOW_PLAIN, &row,
                                       s->review->silent)
                       : e;
}

/* One step up from what the reminder was made with. */
static const char *priority_above(const struct finding *f)
{
    enum urgency now = f->rule == RULE_PB_1 || f->urgency < URGENCY_ROUTINE
                           ? URGENCY_ROUTINE
                           : f->urgency;

    return draft_priority(now < URGENCY_IMMEDIATE ? (enum urgency)(now + 1)
                                                  : now);
}

enum err suggest_update_repeat(struct suggest *s, struct draft *d,
                               enum group group, const struct verdict *v,
                               int64_t task)
{
    struct finding f = waiting_of(s, v);
    struct wording w = draft_wording(s, group, f.repeat_by_s);
    struct fhir_task *t = &d->task;
    struct resource row;
    bool silent = false;
    enum err e = draft_frame(s, d);

    if (e == ERR_OK)
        e = suggest_known_task(s, d, task);
    if (e != ERR_OK)
        return e;
    wording_overdue(&w, &f, &d->note);
    t->note = d->note.data;
    t->priority = priority_above(&f);
    e = draft_ok(d);
    if (e == ERR_OK)
        e = suggest_amend_task(s, d, task, v->repeat_state.taken, &row,
                               &silent);
    if (e == ERR_OK)
        e = repeat_store(s->db, s->access->id, group, &v->repeat_state, task,
                         NULL);
    return e == ERR_OK ? note_reminder(s, group, v, ACT_UPDATE, HOW_OVERDUE,
                                       &row, silent)
                       : e;
}

enum err suggest_end_repeat(struct suggest *s, struct draft *d,
                            enum group group, const struct verdict *v,
                            int64_t task)
{
    struct fhir_task *t = &d->task;
    struct resource row;
    bool silent = false;
    enum err e = draft_frame(s, d);

    if (e == ERR_OK)
        e = suggest_known_task(s, d, task);
    if (e != ERR_OK)
        return e;
    wording_repeat_end(v, &d->reason);
    t->status = v->repeat_done ? "completed" : "cancelled";
    t->status_reason = d->reason.data;
    t->note = d->reason.data;
    e = draft_ok(d);
    if (e == ERR_OK)
        e = suggest_amend_task(s, d, task, v->repeat_state.taken, &row,
                               &silent);
    if (e == ERR_OK)
        e = repeat_store(s->db, s->access->id, group, &v->repeat_state, task,
                         NULL);
    /* asked for again, should the death have been an error */
    if (e == ERR_OK && v->reason == END_DECEASED)
        e = db_run(s->db, Q_REPEAT_FORGET, "i", task);
    return e == ERR_OK ? note_reminder(s, group, v, ACT_END,
                                       v->repeat_done ? HOW_DONE : HOW_PLAIN,
                                       &row, silent)
                       : e;
}
