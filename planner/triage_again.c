/* What is new: an emergency while its Task is open, and what opens a matter
 * again that a person has closed. */
#include "planner/triage_work.h"

#include <math.h>

static int quiet_d(const struct policy *policy, enum group group)
{
    static const enum param rows[GROUP_COUNT] = {
        P_QUIET_FLOW_D,     P_QUIET_HAND_D,       P_QUIET_LOW_FLOW_D,
        P_QUIET_DOSE_D,     P_QUIET_AFTER_BAND_D, P_QUIET_FOLLOW_UP_D,
        P_QUIET_BLEEDING_D, P_QUIET_INFECTION_D
    };

    return policy_count(policy, rows[group]);
}

/* Is this flow clearly beyond that of the closed episode? */
static bool is_clearly_beyond(const struct policy *policy, enum group group,
                              const struct episode *episode,
                              const struct reading *r)
{
    double share = policy_get(policy, P_WORSENING_FLOW_PCT) / 100.0;

    return group != GROUP_LOW_FLOW
               ? reading_at_least(r, episode->flow_ml_min * (1.0 + share))
               : reading_below(r, episode->flow_ml_min * (1.0 - share));
}

/* The flows of two sessions in a row, since the closing, clearly beyond. */
static bool flow_worse(const struct history *h, const struct policy *policy,
                       enum group group, const struct episode *episode,
                       const struct sum *s)
{
    double session_s = policy_get(policy, P_SESSION_H) * HOUR_S;
    int64_t last_s = INT64_MIN / 2;
    int beyond = 0;

    if (isnan(episode->flow_ml_min))
        return false;
    for (size_t i = 0; i < s->evidence_count && beyond < 2; i++) {
        const struct reading *r = triage_find(h, &s->evidence[i]);

        if (r == NULL || r->quantity != Q_ACCESS_FLOW ||
            r->start_s <= episode->closed_s ||
            (double)(r->start_s - last_s) <= session_s)
            continue;
        beyond = is_clearly_beyond(policy, group, episode, r) ? beyond + 1 : 0;
        last_s = r->start_s;
    }
    return beyond >= 2;
}

/*
 * Evidence since the closing that came after a quiet time.  Of what is
 * measured it takes that of two sessions: one value in a long while is what
 * chance does near a limit.
 */
static bool after_quiet(const struct history *h, const struct policy *policy,
                        enum group group, const struct episode *episode,
                        const struct sum *s)
{
    int64_t quiet_s = (int64_t)quiet_d(policy, group) * DAY_S;
    double session_s = policy_get(policy, P_SESSION_H) * HOUR_S;
    int64_t last_s = episode->closed_s, session_start_s = INT64_MIN / 2;
    bool was_quiet = false;
    int sessions = 0;

    for (size_t i = 0; i < s->evidence_count; i++) {
        const struct reading *r = triage_find(h, &s->evidence[i]);

        if (s->evidence[i].at_s <= last_s && !was_quiet)
            continue;
        was_quiet = was_quiet || s->evidence[i].at_s - last_s > quiet_s;
        last_s = s->evidence[i].at_s;
        if (!was_quiet || (double)(last_s - session_start_s) <= session_s)
            continue;
        session_start_s = last_s;
        sessions++;
        if (r != NULL && quantity_info(r->quantity)->kind != VALUE_NUMBER)
            return true;
    }
    return sessions >= 2;
}

/* Did people not know of it when they closed the episode?  A reading may
 * arrive late: its time alone does not tell. */
static bool is_news(const struct episode *episode, const struct reading *r)
{
    return r->start_s > episode->closed_s ||
           !triage_has(episode->evidence, episode->evidence_count, r);
}

static bool same_kind(const struct reading *a, const struct reading *b)
{
    return a->quantity == b->quantity && a->sign == b->sign;
}

/* What people know of a kind of sign: its newest reading; NULL if nothing. */
static const struct reading *known_of_kind(const struct history *h,
                                           const struct episode *episode,
                                           const struct reading *r)
{
    const struct reading *newest = NULL;

    for (size_t i = 0; i < episode->evidence_count; i++) {
        const struct reading *known = triage_find(h, &episode->evidence[i]);

        if (known != NULL && same_kind(known, r) &&
            (newest == NULL || known->start_s > newest->start_s))
            newest = known;
    }
    return newest;
}

/* Is this finding an emergency that is put to people by itself? */
static bool is_immediate(const struct finding *f, enum group group)
{
    return finding_group(f) == group && f->confirmed && !f->historic &&
           f->urgency == URGENCY_IMMEDIATE &&
           !triage_goes_with_another(f->rule);
}

/* Was a sign that is known found gone before it was seen again? */
static bool was_gone_between(const struct history *h,
                             const struct reading *known,
                             const struct reading *r)
{
    for (size_t i = 0; i < h->count; i++) {
        const struct reading *x = &h->readings[i];

        if (!reading_counts(x) || x->quantity != r->quantity ||
            x->start_s <= known->start_s || x->start_s >= r->start_s)
            continue;
        if ((x->sign == r->sign && !x->present) ||
            x->sign == SIGN_THRILL_PRESENT)
            return true;
    }
    return false;
}

/* A numb hand is an emergency where IS-1 says so. */
static bool is_alarm(const struct finding *f, const struct reading *r)
{
    return reading_is_emergency(r) ||
           (f->rule == RULE_IS_1 && r->sign == SIGN_NUMBNESS && r->present);
}

/* A bleeding is an event, each anew, and so is what had gone; other signs
 * last. */
static enum anew sign_anew(const struct history *h, const struct policy *policy,
                           const struct episode *episode,
                           const struct finding *f, const struct reading *r)
{
    const struct reading *known;

    if (!is_alarm(f, r) ||
        triage_has(episode->evidence, episode->evidence_count, r))
        return ANEW_NOT;
    known = known_of_kind(h, episode, r);
    if (known == NULL)
        return ANEW_KIND;
    if (r->start_s <= known->start_s ||
        readings_share_session(policy, known, r))
        return ANEW_NOT;
    return r->quantity == Q_BLEEDING_ACTIVE || was_gone_between(h, known, r)
               ? ANEW_KIND
               : ANEW_SEEN;
}

enum anew triage_emergency(const struct history *h, const struct policy *policy,
                           const struct findings *findings, enum group group,
                           const struct episode *episode)
{
    enum anew worst = ANEW_NOT;

    for (size_t i = 0; i < findings->count; i++) {
        const struct finding *f = &findings->list[i];

        for (size_t k = 0; is_immediate(f, group) && k < f->evidence_count;
             k++) {
            enum anew one =
                sign_anew(h, policy, episode, f, &h->readings[f->evidence[k]]);

            worst = one > worst ? one : worst;
        }
    }
    return worst;
}

/* An immediate sign that is new, or something else beside an old one that
 * people have not seen: nothing mutes it. */
static bool immediate_anew(const struct history *h,
                           const struct findings *findings, enum group group,
                           const struct episode *episode)
{
    for (size_t i = 0; i < findings->count; i++) {
        const struct finding *f = &findings->list[i];

        for (size_t k = 0; is_immediate(f, group) && k < f->evidence_count;
             k++) {
            const struct reading *r = &h->readings[f->evidence[k]];

            if (is_news(episode, r) &&
                (is_alarm(f, r) || known_of_kind(h, episode, r) == NULL))
                return true;
        }
    }
    return false;
}

/* May a new episode open after this one was closed? */
bool triage_may_reopen(const struct history *h, const struct policy *policy,
                       const struct findings *findings, enum group group,
                       const struct episode *episode, const struct sum *s)
{
    bool fresh = false;

    switch (episode->state) {
    case EPISODE_NONE:
    case EPISODE_ENDED: /* nobody had decided anything */
        return true;
    case EPISODE_OPEN:
    case EPISODE_TAKEN:
        return false;
    case EPISODE_DECLINED:
    case EPISODE_DONE:
    case EPISODE_VOID:
        break;
    }
    for (size_t i = 0; i < s->evidence_count; i++) {
        const struct reading *r = triage_find(h, &s->evidence[i]);

        fresh = fresh || (r != NULL && is_news(episode, r));
    }
    if (s->occasion > episode->occasion)
        return true; /* the same ground, at another time */
    if (!fresh)
        return false;
    return immediate_anew(h, findings, group, episode) ||
           s->urgency > episode->urgency || s->grade > episode->grade ||
           flow_worse(h, policy, group, episode, s) ||
           after_quiet(h, policy, group, episode, s);
}
