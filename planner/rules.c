/*
 * The rules.  Flow rules are runs of points beyond a limit; hand rules are
 * standing points of the hand.  Each evaluator adds at most one finding.
 *
 * Sources of the rules stand with their limits in the policy file.
 */
#include "planner/rules_work.h"

#include <math.h>
#include <string.h>

static const struct rule_info infos[RULE_COUNT] = {
    [RULE_HF_1] = { "HF-1", "Access flow very high", GROUP_FLOW },
    [RULE_HF_2] = { "HF-2", "Access flow high", GROUP_FLOW },
    [RULE_HF_3] = { "HF-3", "Share of cardiac output raised", GROUP_FLOW },
    [RULE_IS_2] = { "IS-2", "Tissue loss or acute ischaemia of the hand",
                    GROUP_HAND },
    [RULE_IS_3] = { "IS-3", "Rest pain or motor loss of the hand", GROUP_HAND },
    [RULE_IS_4] = { "IS-4", "Intermittent hand symptoms", GROUP_HAND },
    [RULE_IS_5] = { "IS-5", "Low finger pressure with symptoms", GROUP_HAND },
    [RULE_IS_6] = { "IS-6", "Hand ischaemia with high flow", GROUP_HAND },
    [RULE_IS_7] = { "IS-7", "Hand ischaemia with normal or low flow",
                    GROUP_HAND },
    [RULE_LF_1] = { "LF-1", "Graft flow low", GROUP_LOW_FLOW },
    [RULE_LF_2] = { "LF-2", "Fistula flow low", GROUP_LOW_FLOW },
};

const struct rule_info *rule_info(enum rule r)
{
    return &infos[(unsigned)r < RULE_COUNT ? r : RULE_HF_1];
}

const char *group_word(enum group g)
{
    static const char *const words[GROUP_COUNT] = { "flow", "hand",
                                                    "low-flow" };

    return (unsigned)g < GROUP_COUNT ? words[g] : "?";
}

struct finding *work_add(struct work *w, enum rule rule)
{
    struct finding *f = &w->out->list[w->out->count++];

    *f = (struct finding){ .rule = rule,
                           .confirmed = true,
                           .measured = NAN,
                           .peak = NAN,
                           .at_s = INT64_MIN };
    return f;
}

const struct finding *work_find(const struct work *w, enum rule rule)
{
    for (size_t i = 0; i < w->out->count; i++) {
        if (w->out->list[i].rule == rule)
            return &w->out->list[i];
    }
    return NULL;
}

bool work_is_old(const struct work *w, int64_t at_s)
{
    return w->h->now_s - at_s > (int64_t)work_count(w, P_HISTORIC_D) * DAY_S;
}

void work_rest_on(const struct work *w, struct finding *f, size_t index)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        if (f->evidence[i] == index)
            return;
    }
    if (f->evidence_count == EVIDENCE_MAX) {
        memmove(f->evidence, f->evidence + 1,
                (EVIDENCE_MAX - 1) * sizeof(f->evidence[0]));
        f->evidence_count--;
    }
    f->evidence[f->evidence_count++] = index;
    if (w->h->readings[index].start_s > f->at_s)
        f->at_s = w->h->readings[index].start_s;
}

void work_rest_on_point(const struct work *w, struct finding *f,
                        const struct point *p)
{
    for (size_t i = 0; i < p->reading_count; i++)
        work_rest_on(w, f, p->readings[i]);
}

void work_rest_on_hand(const struct work *w, struct finding *f,
                       const struct hand_point *p)
{
    for (size_t i = 0; i < p->reading_count; i++)
        work_rest_on(w, f, p->readings[i]);
    if (p->grade > f->grade)
        f->grade = p->grade;
}

/* High and low flow cannot both be open: the later confirmed one stays.
 * A note or an unconfirmed finding does not close anything. */
static void settle_high_and_low(struct work *w)
{
    const struct finding *later = NULL;
    size_t kept = 0;

    for (size_t i = 0; i < w->out->count; i++) {
        const struct finding *f = &w->out->list[i];

        if (f->confirmed && f->urgency > URGENCY_NOTE &&
            (later == NULL || f->at_s > later->at_s))
            later = f;
    }
    if (later == NULL)
        return;
    enum group group = rule_info(later->rule)->group;

    for (size_t i = 0; i < w->out->count; i++) {
        if (rule_info(w->out->list[i].rule)->group == group)
            w->out->list[kept++] = w->out->list[i];
    }
    w->out->count = kept;
}

static int64_t last_intervention_s(const struct history *h)
{
    int64_t at_s = INT64_MIN;

    for (size_t i = 0; i < h->count; i++) {
        if (reading_is_intervention(&h->readings[i]))
            at_s = h->readings[i].start_s;
    }
    return at_s;
}

static int by_start(const struct work *w, size_t a, size_t b)
{
    return w->h->readings[a].start_s < w->h->readings[b].start_s;
}

/* Nothing older than the look-back counts, whatever the caller has loaded.
 * Returns how many were left out. */
static size_t leave_out_the_old(struct history *h, const struct policy *policy)
{
    int64_t from_s =
        h->now_s - (int64_t)policy_count(policy, P_LOOKBACK_D) * DAY_S;
    size_t old = 0;

    while (old < h->count && h->readings[old].start_s < from_s)
        old++;
    h->readings += old;
    h->count -= old;
    return old;
}

/* Evidence in order of time, and whether it is too old to raise anything. */
static void finish(const struct work *w, struct finding *f, size_t old)
{
    for (size_t i = 1; i < f->evidence_count; i++) {
        for (size_t k = i;
             k > 0 && by_start(w, f->evidence[k], f->evidence[k - 1]); k--) {
            size_t swap = f->evidence[k];

            f->evidence[k] = f->evidence[k - 1];
            f->evidence[k - 1] = swap;
        }
    }
    for (size_t i = 0; i < f->evidence_count; i++)
        f->evidence[i] += old; /* as the caller counts */
    f->historic = f->historic || work_is_old(w, f->at_s);
}

void rules_evaluate(const struct history *h, const struct policy *policy,
                    struct findings *out)
{
    struct history recent = *h;
    size_t old = leave_out_the_old(&recent, policy);
    struct work w = { .h = &recent, .policy = policy, .out = out };

    out->count = 0;
    if (h->access_type == SIGN_TYPE_CVC)
        return;
    w.intervention_s = last_intervention_s(&recent);
    w.flow_count = points_collect(&recent, policy, Q_ACCESS_FLOW, true, w.flow,
                                  POINTS_MAX);
    w.hand_count =
        hand_collect(&recent, policy, false, w.hand, HAND_POINTS_MAX);
    rules_high_flow(&w);
    rules_cardiac_share(&w);
    rules_low_flow(&w);
    settle_high_and_low(&w);
    rules_hand(&w);
    rules_hand_and_flow(&w);
    for (size_t i = 0; i < out->count; i++)
        finish(&w, &out->list[i], old);
}
