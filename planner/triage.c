#include "planner/triage_work.h"

#include <math.h>
#include <string.h>

enum param due_row(enum group group, enum urgency urgency)
{
    switch (urgency) {
    case URGENCY_IMMEDIATE:
    case URGENCY_ASAP:
        return P_DUE_ASAP_D;
    case URGENCY_URGENT:
        return group == GROUP_DOSE ? P_DUE_LOW_DOSE_D : P_DUE_URGENT_D;
    case URGENCY_ROUTINE:
    case URGENCY_NOTE:
        break;
    }
    return group == GROUP_LOW_FLOW || group == GROUP_FOLLOW_UP
               ? P_DUE_EXAMINE_D
               : P_DUE_ROUTINE_D;
}

static bool is_flow_limit(enum rule r)
{
    return r == RULE_HF_1 || r == RULE_HF_2 || r == RULE_LF_1 ||
           r == RULE_LF_2 || r == RULE_PB_4;
}

/* It goes with an ischaemia that another rule of its group finds: it is not a
 * sign of its own. */
bool triage_goes_with_another(enum rule r)
{
    return r == RULE_IS_6 || r == RULE_IS_7;
}

bool triage_has(const struct evidence *list, size_t count,
                const struct reading *r)
{
    for (size_t i = 0; i < count; i++) {
        if (list[i].id == r->id && list[i].slot == r->slot)
            return true;
    }
    return false;
}

/* Keep the list in order of time; the oldest falls out when it is full. */
static void insert(struct evidence *list, size_t *count,
                   const struct reading *r)
{
    struct evidence e = { r->id, r->version, r->slot, r->start_s };
    size_t i;

    if (*count == EPISODE_EVIDENCE_MAX) {
        memmove(list, list + 1, (*count - 1) * sizeof(*list));
        --*count;
    }
    for (i = *count; i > 0 && list[i - 1].at_s > e.at_s; i--)
        list[i] = list[i - 1];
    list[i] = e;
    ++*count;
}

/* The most extreme flow of a finding, mL/min. */
static double flow_of(const struct finding *f)
{
    if (f->rule == RULE_PB_4 && f->limit == P_PB4_RISE_PCT)
        return f->baseline * (1.0 + f->peak / 100.0);
    return f->peak;
}

/* What is historic holds, and raises nothing: neither urgency nor grade. */
static void add_live(const struct finding *f, struct sum *s)
{
    s->live = true;
    if (f->urgency > s->urgency)
        s->urgency = f->urgency;
    if (f->grade > s->grade)
        s->grade = f->grade;
    if (f->urgency == URGENCY_IMMEDIATE && !triage_goes_with_another(f->rule))
        s->immediate |= 1u << f->rule;
}

static void sum_up(const struct history *h, const struct findings *findings,
                   enum group group, struct sum *s)
{
    *s = (struct sum){ .flow_ml_min = NAN };
    for (size_t i = 0; i < findings->count; i++) {
        const struct finding *f = &findings->list[i];

        if (finding_group(f) != group || !f->confirmed)
            continue;
        s->rules |= 1u << f->rule;
        s->holds = s->holds || f->urgency > URGENCY_NOTE;
        if (f->urgency > URGENCY_NOTE && !f->historic)
            add_live(f, s);
        if (f->occasion > s->occasion)
            s->occasion = f->occasion;
        if (is_flow_limit(f->rule))
            s->flow_ml_min = flow_of(f);
        for (size_t k = 0; k < f->evidence_count; k++) {
            const struct reading *r = &h->readings[f->evidence[k]];

            if (!triage_has(s->evidence, s->evidence_count, r))
                insert(s->evidence, &s->evidence_count, r);
        }
    }
}

const struct reading *triage_find(const struct history *h,
                                  const struct evidence *e)
{
    for (size_t i = 0; i < h->count; i++) {
        if (h->readings[i].id == e->id && h->readings[i].slot == e->slot)
            return &h->readings[i];
    }
    return NULL;
}

/* Did a reading of before change?  Those too old to be loaded did not, nor did
 * those for which there was no room.  (What lies open is evidence that is never
 * thinned: see readings_load.) */
static bool is_changed(const struct history *h, const struct policy *policy,
                       const struct evidence *e)
{
    int64_t lookback_s =
        h->now_s - (int64_t)policy_count(policy, P_LOOKBACK_D) * DAY_S;
    const struct reading *r = triage_find(h, e);

    if (r == NULL)
        return e->at_s > lookback_s && e->at_s >= h->loaded_from_s;
    return r->version != e->version || r->status == READING_WITHDRAWN;
}

static bool any_changed(const struct history *h, const struct policy *policy,
                        const struct episode *episode)
{
    for (size_t i = 0; i < episode->evidence_count; i++) {
        if (is_changed(h, policy, &episode->evidence[i]))
            return true;
    }
    return false;
}

static enum end_reason why_ended(const struct history *h,
                                 const struct findings *findings,
                                 enum group group,
                                 const struct episode *episode, bool changed)
{
    bool of_flow = group == GROUP_FLOW || group == GROUP_LOW_FLOW;
    enum group opposite = group == GROUP_FLOW ? GROUP_LOW_FLOW : GROUP_FLOW;
    int64_t newest_s = episode->evidence_count > 0
                           ? episode->evidence[episode->evidence_count - 1].at_s
                           : INT64_MAX;

    if (changed)
        return END_WITHDRAWN;
    for (size_t i = 0; i < findings->count; i++) {
        if (finding_group(&findings->list[i]) == group &&
            findings->list[i].elsewhere)
            return END_ELSEWHERE;
    }
    for (size_t i = 0; of_flow && i < findings->count; i++) {
        const struct finding *f = &findings->list[i];

        if (finding_group(f) == opposite && f->confirmed &&
            f->urgency > URGENCY_NOTE)
            return END_SUPERSEDED;
    }
    for (size_t i = 0; i < h->count; i++) {
        /* the band that a visit follows is its ground, not its end */
        if (h->readings[i].start_s >= newest_s &&
            reading_is_intervention(&h->readings[i]) &&
            !triage_has(episode->evidence, episode->evidence_count,
                        &h->readings[i]))
            return END_STAGE;
    }
    return END_CLEARED;
}

static void merge_evidence(const struct history *h, const struct policy *policy,
                           const struct sum *s, struct verdict *out)
{
    struct episode *e = &out->episode;
    size_t kept = 0;

    /* what was corrected is no longer a ground, unless it still counts */
    for (size_t i = 0; i < e->evidence_count; i++) {
        if (!is_changed(h, policy, &e->evidence[i]))
            e->evidence[kept++] = e->evidence[i];
    }
    e->evidence_count = kept;
    for (size_t i = 0; i < s->evidence_count; i++) {
        const struct reading *r = triage_find(h, &s->evidence[i]);

        if (r == NULL || triage_has(e->evidence, e->evidence_count, r))
            continue;
        insert(e->evidence, &e->evidence_count, r);
        out->new_evidence++;
    }
}

static double extreme(enum group group, double a, double b)
{
    if (isnan(a) || isnan(b))
        return isnan(a) ? b : a;
    return group == GROUP_LOW_FLOW ? fmin(a, b) : fmax(a, b);
}

static void decide_open(const struct history *h, const struct policy *policy,
                        const struct sum *s, const struct episode *episode,
                        struct verdict *out)
{
    out->act = ACT_OPEN;
    out->episode = (struct episode){ .number = episode->number + 1,
                                     .state = EPISODE_OPEN,
                                     .urgency = s->urgency,
                                     .rules = s->rules,
                                     .grade = s->grade,
                                     .flow_ml_min = s->flow_ml_min,
                                     .occasion = s->occasion,
                                     .announced_s = h->now_s };
    merge_evidence(h, policy, s, out);
}

/* Since when an answer is waited for. */
static int64_t waiting_since_s(const struct episode *episode)
{
    return episode->put_off_s > episode->announced_s ? episode->put_off_s
                                                     : episode->announced_s;
}

bool triage_waits(const struct episode *episode)
{
    return episode->state == EPISODE_OPEN ||
           (episode->state == EPISODE_TAKEN && episode->handed);
}

int64_t triage_unanswered_s(const struct policy *policy,
                            const struct episode *episode)
{
    if (!triage_waits(episode))
        return INT64_MAX;
    return waiting_since_s(episode) +
           (int64_t)policy_count(policy, P_UNANSWERED_D) * DAY_S;
}

int64_t triage_escalation_s(const struct policy *policy,
                            const struct episode *episode)
{
    enum param row = episode->urgency == URGENCY_IMMEDIATE
                         ? P_ESCALATE_IMMEDIATE_H
                         : P_ESCALATE_ASAP_H;

    if (!triage_waits(episode) || episode->escalated ||
        episode->urgency < URGENCY_ASAP)
        return INT64_MAX;
    return waiting_since_s(episode) +
           (int64_t)policy_count(policy, row) * HOUR_S;
}

/* It is put to people as new or urgent. */
static void announce(const struct history *h, struct episode *e)
{
    e->announced_s = h->now_s;
    e->put_off_s = 0;
    e->escalated = false;
}

static void decide_update(const struct history *h, const struct policy *policy,
                          const struct sum *s, enum group group,
                          const struct episode *episode, enum anew anew,
                          struct verdict *out)
{
    struct episode *e = &out->episode;

    *e = *episode;
    merge_evidence(h, policy, s, out);
    out->raised = s->urgency > episode->urgency ||
                  (s->immediate & ~episode->rules) != 0 || anew == ANEW_KIND;
    out->again = !out->raised && anew == ANEW_SEEN;
    if (s->urgency > episode->urgency)
        e->urgency = s->urgency;
    e->rules = s->rules;
    if (s->grade > e->grade)
        e->grade = s->grade;
    e->flow_ml_min = extreme(group, e->flow_ml_min, s->flow_ml_min);
    out->unanswered = h->now_s >= triage_unanswered_s(policy, episode);
    if (out->raised || out->again || out->unanswered ||
        s->occasion > episode->occasion)
        announce(h, e);
    else
        out->escalated = h->now_s >= triage_escalation_s(policy, episode);
    if (out->escalated)
        e->escalated = true;
    if (out->new_evidence > 0 && e->urgency >= URGENCY_ASAP)
        e->put_off_s = 0; /* more of what is a matter of days is not put off */
    if (out->new_evidence > 0 || out->raised || out->corrected ||
        out->unanswered || out->escalated || s->occasion > episode->occasion ||
        (s->rules & ~episode->rules) != 0)
        out->act = ACT_UPDATE;
    if (s->occasion > e->occasion)
        e->occasion = s->occasion;
}

/* A Task in a person's hands is only added to: its priority is theirs.  What
 * has become urgent since, or a new kind of emergency, would drown there, so
 * it is put anew. */
static bool outgrows(const struct episode *episode, const struct sum *s,
                     enum anew anew)
{
    if (episode->state != EPISODE_TAKEN || !s->holds || !s->live)
        return false;
    return (s->immediate & ~episode->rules) != 0 || anew == ANEW_KIND ||
           (s->urgency >= URGENCY_ASAP && s->urgency > episode->urgency);
}

void triage(const struct history *h, const struct policy *policy,
            const struct findings *findings, enum group group,
            const struct episode *episode, const struct repeat_state *repeat,
            struct verdict *out)
{
    bool open =
        episode->state == EPISODE_OPEN || episode->state == EPISODE_TAKEN;
    enum anew anew = ANEW_NOT;
    enum urgency referred;
    struct sum s;

    *out = (struct verdict){ .act = ACT_NOTHING, .repeat = ACT_NOTHING };
    sum_up(h, findings, group, &s);
    out->corrected = open && any_changed(h, policy, episode);
    if (open)
        anew = triage_emergency(h, policy, findings, group, episode);
    if (outgrows(episode, &s, anew) ||
        (!open && s.live &&
         triage_may_reopen(h, policy, findings, group, episode, &s))) {
        decide_open(h, policy, &s, episode, out);
    } else if (open && s.holds) {
        decide_update(h, policy, &s, group, episode, anew, out);
    } else if (open && episode->rules != 0) {
        out->act = ACT_END;
        out->reason = why_ended(h, findings, group, episode, out->corrected);
        out->episode = *episode;
        out->episode.rules = 0; /* said once */
    }
    referred =
        out->act == ACT_NOTHING ? episode->urgency : out->episode.urgency;
    triage_repeat(h, policy, findings, group,
                  out->act == ACT_OPEN || (open && out->act != ACT_END)
                      ? &referred
                      : NULL,
                  repeat, out);
}
