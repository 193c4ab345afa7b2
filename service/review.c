#include "service/review_work.h"

#include "planner/agenda.h"
#include "service/deceased.h"
#include "service/episodes.h"
#include "service/news.h"
#include "service/remarks.h"
#include "service/resources.h"
#include "service/suggest_plan.h"

#include <stdio.h>
#include <string.h>

enum {
    AGENDA_LEAST_S = 60, /* a moment that has come is not looked for twice */
    PASSES_MAX = 2
};

/* ---- a group -------------------------------------------------------------- */

/* What was said before of a group. */
struct said {
    struct episode episode;
    struct repeat_state repeat;
    int64_t episode_task, repeat_task;
    bool acted; /* its Task says now what is so, plan and all */
};

static enum err load_said(struct suggest *s, enum group group,
                          struct said *said)
{
    enum err e = episode_load(s->db, s->access->id, group, &said->episode,
                              &said->episode_task);

    return e == ERR_OK ? repeat_load(s->db, s->access->id, group, &said->repeat,
                                     &said->repeat_task)
                       : e;
}

/* What silent mode had open of a group. */
struct silent {
    unsigned rules;     /* of the suggestion; 0: none */
    int64_t trigger_id; /* of the reminder; 0: none */
};

/* Silent mode has ended: what it left open was never said. */
static enum err forget_silent(struct suggest *s, enum group group,
                              struct said *said, struct silent *was)
{
    bool silent = false;
    enum err e = ERR_OK;

    *was = (struct silent){ .rules = 0 };
    if (s->review->silent)
        return ERR_OK;
    if (said->episode.state == EPISODE_OPEN ||
        said->episode.state == EPISODE_TAKEN)
        e = task_is_silent(s->db, said->episode_task, &silent);
    if (e == ERR_OK && silent) {
        was->rules = said->episode.rules;
        e = suggest_silent_episode(s, group, &said->episode,
                                   said->episode_task);
    }
    silent = false;
    if (e == ERR_OK && said->repeat.open)
        e = task_is_silent(s->db, said->repeat_task, &silent);
    if (e == ERR_OK && silent) {
        was->trigger_id = said->repeat.trigger_id;
        e = suggest_silent_repeat(s, group, &said->repeat, said->repeat_task);
    }
    return e;
}

static bool rests_on(const struct history *h, const struct finding *f,
                     int64_t reading)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        if (h->readings[f->evidence[i]].id == reading)
            return true;
    }
    return false;
}

/* Silent mode found it in time: it is put to people though it is old now.
 * What it had not found stays historic. */
static void make_live(const struct history *h, struct findings *findings,
                      enum group group, const struct silent *was)
{
    for (size_t i = 0; i < findings->count; i++) {
        struct finding *f = &findings->list[i];

        if (finding_group(f) != group)
            continue;
        if (f->confirmed
                ? (was->rules & (1u << f->rule)) != 0
                : was->trigger_id != 0 && rests_on(h, f, was->trigger_id))
            f->historic = false;
    }
}

static bool rests_on_any(const struct history *h, const struct finding *f,
                         const struct episode *episode)
{
    for (size_t i = 0; i < episode->evidence_count; i++) {
        if (rests_on(h, f, episode->evidence[i].id))
            return true;
    }
    return false;
}

/* The patient is not dead after all: what was withdrawn for that, and holds, is
 * put to people anew though it has become old. */
static enum err revive(struct suggest *s, struct findings *findings,
                       enum group group, const struct said *said)
{
    bool ended = false;
    enum err e = ERR_OK;

    if (said->episode.state == EPISODE_ENDED && !s->patient->deceased)
        e = deceased_ended(s->db, s->access->id, group, said->episode.number,
                           &ended);
    for (size_t i = 0; e == ERR_OK && ended && i < findings->count; i++) {
        struct finding *f = &findings->list[i];

        if (finding_group(f) == group && f->confirmed &&
            rests_on_any(s->history, f, &said->episode))
            f->historic = false;
    }
    return e;
}

/* Do rules look at this group in an access that is no longer in use?  See
 * rules_evaluate. */
static bool is_watched_for_good(enum group group)
{
    return group == GROUP_HAND || group == GROUP_BLEEDING ||
           group == GROUP_INFECTION;
}

/* What is done to the band begins a new stage and would end the Task that its
 * case belongs to: it stays while the case goes on. */
static enum err hold_for_case(struct suggest *s, enum group group,
                              struct verdict *verdict)
{
    enum err e;

    if (verdict->act != ACT_END || verdict->reason == END_WITHDRAWN ||
        s->patient->deceased || !suggest_plans_of(group))
        return ERR_OK;
    e = suggest_plan(s, group);
    if (e == ERR_OK && suggest_plan_has_case(s))
        verdict->act = ACT_NOTHING;
    return e;
}

/* Nothing was measured or cleared: that is why all of it ends. */
static void say_dead(struct verdict *verdict)
{
    verdict->reason = END_DECEASED;
    verdict->repeat_done = false;
}

/* One verdict and what follows from it.  *again: a reminder has made room for
 * the next one. */
static enum err review_pass(struct suggest *s, enum group group,
                            struct said *said, bool *again)
{
    struct verdict verdict;
    enum err e;

    triage(s->history, s->review->policy, s->findings, group, &said->episode,
           &said->repeat, &verdict);
    e = hold_for_case(s, group, &verdict);
    if (e != ERR_OK)
        return e;
    if (s->access->merged != 0)
        verdict.reason = END_MERGED;
    else if (s->patient->deceased)
        say_dead(&verdict);
    else if (!s->access->active && !is_watched_for_good(group))
        verdict.reason = END_INACTIVE;
    *again = verdict.repeat == ACT_END;
    said->acted = said->acted || verdict.act != ACT_NOTHING;
    if (verdict.act == ACT_NOTHING && verdict.repeat == ACT_NOTHING)
        return ERR_OK;
    e = suggest_carry_out(s, group, &verdict, said->episode_task,
                          said->repeat_task);
    return e == ERR_OK ? load_said(s, group, said) : e;
}

/* *next_s: lowered to when time alone may change what is said. */
static enum err review_group(struct suggest *s, struct findings *findings,
                             enum group group, int64_t *next_s)
{
    struct said said = { .acted = false };
    struct silent was = { .rules = 0 };
    bool again = true;
    int64_t at_s;
    enum err e = load_said(s, group, &said);

    if (e == ERR_OK)
        e = forget_silent(s, group, &said, &was);
    if (e == ERR_OK)
        make_live(s->history, findings, group, &was);
    if (e == ERR_OK)
        e = revive(s, findings, group, &said);
    for (int pass = 0; e == ERR_OK && again && pass < PASSES_MAX; pass++)
        e = review_pass(s, group, &said, &again);
    if (e == ERR_OK)
        e = suggest_put_off_over(s, group, &said.episode, said.episode_task,
                                 said.acted);
    if (e == ERR_OK && !said.acted)
        e = suggest_plan_renew(s, group, &said.episode, said.episode_task);
    if (e != ERR_OK)
        return e;
    if (suggest_plans_of(group) && (said.episode.state == EPISODE_OPEN ||
                                    said.episode.state == EPISODE_TAKEN)) {
        at_s = suggest_plan_next_s(s);
        *next_s = at_s < *next_s ? at_s : *next_s;
    }
    at_s = agenda_of_group(s->review->policy, &said.episode, &said.repeat,
                           s->history->now_s);
    *next_s = at_s < *next_s ? at_s : *next_s;
    return ERR_OK;
}

/* ---- an access ------------------------------------------------------------ */

static enum err mark_next(struct db *db, const struct look *l, int64_t next_s)
{
    int64_t least_s = l->history.now_s + AGENDA_LEAST_S;

    if (l->access.merged != 0 || next_s == AGENDA_NEVER)
        return ERR_OK;
    if (next_s < least_s)
        next_s = least_s;
    return next_s < INT64_MAX / 1000
               ? db_run(db, Q_NEWS_AHEAD, "iii", l->access.id,
                        partition_of(l->access.id), next_s * 1000)
               : ERR_OK;
}

enum err review_look(struct db *db, const struct review *review, struct look *l,
                     struct task_plan *plan, bool *told)
{
    struct suggest s = { .db = db,
                         .review = review,
                         .access = &l->access,
                         .patient = &l->patient,
                         .history = &l->history,
                         .findings = &l->findings,
                         .look = l,
                         .plan = plan,
                         .now_ms = l->now_ms };
    int64_t next_s = AGENDA_NEVER;
    enum err e = ERR_OK;

    if (l->access.active && !l->patient.deceased)
        next_s = agenda_next(&l->history, review->policy, &l->findings);
    for (int g = 0; e == ERR_OK && g < GROUP_COUNT; g++)
        e = review_group(&s, &l->findings, (enum group)g, &next_s);
    /* beside what came later and is worse, one that was let go of */
    if (e == ERR_OK)
        e = db_run(db, Q_EPISODE_LET_GO, "ii", l->access.id,
                   INT64(URGENCY_ASAP));
    suggest_plan_free(&s);
    *told = *told || s.told;
    if (e == ERR_OK &&
        (!l->access.active || l->access.merged != 0 || l->patient.deceased))
        e = remarks_clear(db, l->access.id);
    else if (e == ERR_OK)
        e = remarks_note(db, l->access.id, &l->history, review->policy,
                         review->zone);
    return e == ERR_OK ? mark_next(db, l, next_s) : e;
}
