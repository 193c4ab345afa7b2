#include "service/suggest_plan.h"

#include "service/episodes.h"
#include "service/task_plan.h"

#include <string.h>

bool suggest_plans_of(enum group group)
{
    return group == GROUP_FLOW || group == GROUP_HAND;
}

static struct plan_document document_of(const struct suggest *s)
{
    return task_plan_document(s->plan, s->review, s->look);
}

/* ---- planning ------------------------------------------------------------------ */

enum err suggest_plan(struct suggest *s, enum group group)
{
    enum err e = ERR_OK;

    if (!suggest_plans_of(group) || !task_plan_may_be(s->review, s->look))
        return ERR_OK;
    if (s->plan == NULL)
        e = task_plan_load(s->db, s->review, s->look, &s->plan);
    return e == ERR_OK ? task_plan_make(s->plan, s->review, s->look,
                                        s->review->planning)
                       : e;
}

void suggest_plan_free(struct suggest *s)
{
    task_plan_free(s->plan);
    s->plan = NULL;
}

bool suggest_plan_has_case(const struct suggest *s)
{
    return s->plan != NULL && s->plan->offered &&
           s->plan->planned.from.case_s != INT64_MIN;
}

/* When the case is over; INT64_MAX: none goes on. */
static int64_t case_until_s(const struct suggest *s)
{
    const struct plan_from *from = &s->plan->planned.from;
    int64_t newest_s = INT64_MIN;

    for (size_t i = 0; i < from->ground_count; i++) {
        const struct reading *r =
            &s->history->readings[from->grounds[i].reading];

        if (from->grounds[i].use == PLAN_USE_STEP && r->end_s > newest_s)
            newest_s = r->end_s;
    }
    if (newest_s == INT64_MIN)
        return INT64_MAX;
    return newest_s + 1 +
           (int64_t)(policy_get(s->review->policy, P_PLAN_CASE_H) * HOUR_S);
}

int64_t suggest_plan_next_s(const struct suggest *s)
{
    int64_t case_s, old_s;

    if (s->plan == NULL || !s->plan->offered)
        return INT64_MAX;
    case_s = case_until_s(s);
    old_s = s->plan->planned.from.expires_s + 1;
    return case_s < old_s ? case_s : old_s;
}

const char *suggest_plan_words(const struct suggest *s, enum group group)
{
    return s->plan != NULL && s->plan->offered && suggest_plans_of(group)
               ? s->plan->words.data
               : NULL;
}

enum err suggest_plan_pages(struct suggest *s, const struct buf **text,
                            const struct buf **sheet)
{
    enum err e;

    if (s->plan == NULL || !s->plan->offered)
        return ERR_ABSENT;
    e = task_plan_pages(s->plan, s->review, s->look);
    *text = &s->plan->text;
    *sheet = &s->plan->sheet;
    return e;
}

/* ---- in a Task ------------------------------------------------------------------ */

/* The plan that a Task carries; empty if it carries none. */
static enum err carried(struct db *db, int64_t task, struct buf *plan)
{
    struct resource row;
    struct buf body;
    int64_t updated_ms;
    enum err e;

    if (task == 0)
        return ERR_OK;
    buf_init(&body, TASK_MAX);
    e = resource_get(db, task, &row);
    if (e == ERR_OK)
        e = resource_body(db, &row, 0, &body, &updated_ms);
    if (e == ERR_OK)
        e = fhir_plan_of_task(body.data, body.len, plan);
    buf_clear(&body);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err suggest_plans_carried(struct db *db, int64_t access,
                               struct buf plans[GROUP_COUNT], size_t *count)
{
    enum err e = ERR_OK;

    *count = 0;
    for (int g = 0; e == ERR_OK && g < GROUP_COUNT; g++) {
        struct episode episode;
        int64_t task;

        if (!suggest_plans_of((enum group)g))
            continue;
        e = episode_load(db, access, (enum group)g, &episode, &task);
        if (e == ERR_OK &&
            (episode.state == EPISODE_OPEN || episode.state == EPISODE_TAKEN))
            e = carried(db, task, &plans[(*count)++]);
    }
    return e;
}

static bool is_same(const struct buf *a, const struct buf *b)
{
    return a->len == b->len && memcmp(a->data, b->data, a->len) == 0;
}

static void begin_sentence(struct draft *d)
{
    buf_puts(&d->note, d->note.len > 0 ? " " : "");
}

static void set(struct suggest *s, struct draft *d, const struct buf *before)
{
    struct plan_document document = document_of(s);
    struct buf change;

    d->task.plan = &s->plan->fhir;
    begin_sentence(d);
    if (before->len == 0) {
        wording_plan_attached(&document, &d->note);
        return;
    }
    buf_init(&change, WORDING_SIZE_MAX);
    fhir_plan_change(before->data, before->len, s->plan->json.data,
                     s->plan->json.len, &change);
    wording_plan_renewed(&document, change.data, &d->note);
    buf_clear(&change);
}

static void take_out(struct suggest *s, struct draft *d)
{
    struct plan_document document = document_of(s);

    d->task.plan_gone = true;
    begin_sentence(d);
    wording_plan_gone(&document,
                      s->plan->emergency ? WORDING_PLAN_EMERGENCY : NULL,
                      &d->note);
}

enum err suggest_plan_put(struct suggest *s, struct draft *d, enum group group,
                          int64_t task, bool *changed)
{
    struct buf before;
    enum err e = suggest_plan(s, group);

    if (changed != NULL)
        *changed = false;
    if (e != ERR_OK || s->plan == NULL || !suggest_plans_of(group))
        return e;
    if (task == 0) {
        d->task.plan = s->plan->offered ? &s->plan->fhir : NULL;
        return ERR_OK;
    }
    buf_init(&before, TASK_MAX);
    e = carried(s->db, task, &before);
    if (e == ERR_OK && s->plan->offered && !is_same(&before, &s->plan->json))
        set(s, d, &before);
    else if (e == ERR_OK && !s->plan->offered && before.len > 0)
        take_out(s, d);
    buf_clear(&before);
    d->task.note = d->note.data;
    if (changed != NULL)
        *changed = d->task.plan != NULL || d->task.plan_gone;
    return e;
}

enum err suggest_plan_end(struct suggest *s, struct draft *d, enum group group,
                          enum end_reason reason, int64_t task)
{
    struct buf before;
    enum err e;

    if (!suggest_plans_of(group) || s->review->planning == NULL)
        return ERR_OK;
    buf_init(&before, TASK_MAX);
    e = carried(s->db, task, &before);
    if (e == ERR_OK && before.len > 0) {
        if (reason != END_WITHDRAWN &&
            fhir_plan_has_stages(before.data, before.len)) {
            buf_puts(&d->note, WORDING_PLAN_RECORD);
        } else {
            d->task.plan_gone = true;
            buf_puts(&d->note, WORDING_PLAN_ENDED);
        }
    }
    buf_clear(&before);
    return e;
}

/* ---- a Task that stands ----------------------------------------------------------- */

static enum err renew(struct suggest *s, struct draft *d, enum group group,
                      const struct episode *episode, int64_t task)
{
    bool touched = episode->state == EPISODE_TAKEN, silent = false, changed;
    int64_t opened_s, due_s;
    struct resource row;
    enum err e = suggest_plan_put(s, d, group, task, &changed);

    if (e != ERR_OK || !changed)
        return e;
    e = episode_times(s->db, task, &opened_s, &due_s);
    if (e == ERR_OK)
        e = draft_referral(s, d, group, episode, due_s);
    d->task.start_s = opened_s;
    d->task.put_off = episode->put_off_s > s->now_ms / 1000;
    if (e == ERR_OK)
        e = suggest_amend_task(s, d, task, touched, &row, &silent);
    return e == ERR_OK ? suggest_note(s, group, episode, ACT_UPDATE,
                                      END_CLEARED, HOW_PLANNED, &row, silent)
                       : e;
}

enum err suggest_plan_renew(struct suggest *s, enum group group,
                            const struct episode *episode, int64_t task)
{
    struct draft *d;
    enum err e;

    if (!suggest_plans_of(group) || episode->rules == 0 ||
        (episode->state != EPISODE_OPEN && episode->state != EPISODE_TAKEN))
        return ERR_OK;
    e = suggest_plan(s, group);
    if (e != ERR_OK || s->plan == NULL)
        return e;
    d = draft_new();
    if (d == NULL)
        return ERR_MEMORY;
    e = renew(s, d, group, episode, task);
    draft_free(d);
    return e;
}
