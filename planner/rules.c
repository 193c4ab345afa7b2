/*
 * The rules.  Flow rules are runs of points beyond a limit; hand rules are
 * standing points of the hand.  Each evaluator adds at most one finding of
 * each of its rules, and says of the others why they do not hold.
 *
 * Sources of the rules stand with their limits in the policy file.
 */
#include "planner/rules_work.h"
#include "planner/series.h"

#include <stddef.h>
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
    [RULE_HF_4] = { "HF-4", "High flow with signs of the heart", GROUP_FLOW },
    [RULE_HF_5] = { "HF-5", "High flow with repeated outflow treatment",
                    GROUP_FLOW },
    [RULE_HF_6] = { "HF-6", "Flow high for the size of the body", GROUP_FLOW },
    [RULE_IS_1] = { "IS-1", "Suspected ischaemic monomelic neuropathy",
                    GROUP_HAND },
    [RULE_LF_3] = { "LF-3", "Access flow falling", GROUP_LOW_FLOW },
    [RULE_LF_4] = { "LF-4", "Static venous pressure ratio high",
                    GROUP_LOW_FLOW },
    [RULE_LF_5] = { "LF-5", "Recirculation of the access", GROUP_LOW_FLOW },
    [RULE_LF_6] = { "LF-6", "Clinical signs of access dysfunction",
                    GROUP_LOW_FLOW },
    [RULE_AD_1] = { "AD-1", "Dialysis dose below the minimum", GROUP_DOSE },
    [RULE_AD_2] = { "AD-2", "Dialysis dose falling", GROUP_DOSE },
    [RULE_PB_1] = { "PB-1", "Follow-up after a band", GROUP_FOLLOW_UP },
    [RULE_PB_2] = { "PB-2", "Band too tight", GROUP_AFTER_BAND },
    [RULE_PB_3] = { "PB-3", "Band not enough", GROUP_AFTER_BAND },
    [RULE_PB_4] = { "PB-4", "Flow rising after a band", GROUP_AFTER_BAND },
    [RULE_BL_1] = { "BL-1",
                    "Haemorrhage from the access, or threatened rupture",
                    GROUP_BLEEDING },
    [RULE_IN_1] = { "IN-1", "Suspected infection of the access",
                    GROUP_INFECTION },
    [RULE_IS_8] = { "IS-8", "Hand at risk, by prediction", GROUP_HAND },
};

const struct rule_info *rule_info(enum rule r)
{
    return &infos[(unsigned)r < RULE_COUNT ? r : RULE_HF_1];
}

enum group finding_group(const struct finding *f)
{
    return f->with_flow ? GROUP_FLOW : rule_info(f->rule)->group;
}

const char *group_word(enum group g)
{
    static const char *const words[GROUP_COUNT] = { "flow",       "hand",
                                                    "low-flow",   "dose",
                                                    "after-band", "follow-up",
                                                    "bleeding",   "infection" };

    return (unsigned)g < GROUP_COUNT ? words[g] : "?";
}

bool rules_leads(const struct finding *a, const struct finding *b)
{
    if (a->urgency != b->urgency)
        return a->urgency > b->urgency;
    return a->rule == RULE_HF_4 && b->rule != RULE_HF_4;
}

static bool is_high(enum rule r)
{
    return r == RULE_HF_1 || r == RULE_HF_2 || r == RULE_HF_3;
}

/* What is said of a high flow only. */
static bool goes_with_high(enum rule r)
{
    return r == RULE_HF_5 || r == RULE_HF_6;
}

static bool is_low(enum rule r)
{
    return r == RULE_LF_1 || r == RULE_LF_2 || r == RULE_LF_3;
}

/* The newest flow of a finding: a sign beside it does not make it later. */
static int64_t flow_s(const struct work *w, const struct finding *f)
{
    int64_t at_s = INT64_MIN;

    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &w->h->readings[f->evidence[i]];

        if (quantity_info(r->quantity)->kind == VALUE_NUMBER &&
            r->start_s > at_s)
            at_s = r->start_s;
    }
    return at_s;
}

/* High and low flow cannot both be open: the later confirmed one stays, and
 * of two of one session the high one, which is a share of the output then.
 * A note or an unconfirmed finding does not close anything.  Pressures,
 * recirculation and signs may stand beside a high flow: that is the picture
 * of an outflow stenosis in a strong access. */
static void settle_high_and_low(struct work *w)
{
    const struct finding *later = NULL;
    bool high;

    for (size_t i = 0; i < w->out->count; i++) {
        const struct finding *f = &w->out->list[i];

        if ((is_high(f->rule) || is_low(f->rule)) && f->confirmed &&
            f->urgency > URGENCY_NOTE &&
            (later == NULL || flow_s(w, f) > flow_s(w, later)))
            later = f;
    }
    if (later == NULL)
        return;
    high = is_high(later->rule);
    for (int r = 0; r < RULE_COUNT; r++) {
        if (high ? is_low((enum rule)r)
                 : is_high((enum rule)r) || goes_with_high((enum rule)r))
            work_remove(w, (enum rule)r, WHY_OPPOSITE);
    }
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

/* A sign that an access is in use: something was done to it, or it flows. */
static bool is_in_use(const struct reading *r)
{
    if (!reading_counts(r))
        return false;
    switch ((int)r->quantity) {
    case Q_ACCESS_INTERVENTION:
        return r->present && r->sign != SIGN_CLOSED;
    case Q_ACCESS_FLOW:
    case Q_PUMP_FLOW:
        return r->value > 0;
    default:
        return false;
    }
}

/* Given up, and not in use since, as far as is known. */
static bool is_closed(const struct work *w)
{
    const struct reading *closed = NULL;

    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (r->sign == SIGN_CLOSED && r->present && reading_counts(r))
            closed = r;
        else if (closed != NULL && is_in_use(r) &&
                 r->start_s > closed->end_s + DAY_S)
            closed = NULL;
    }
    /* made on the same day, of which only the day is known: it may be later */
    for (size_t i = 0; closed != NULL && i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (r->sign == SIGN_CREATED && r->present && reading_counts(r) &&
            r->end_s > closed->start_s)
            return false;
    }
    return closed != NULL;
}

/* Of an access that was closed no flow, thrill or dose is expected; its hand,
 * its wound and its wall may still be in danger. */
static void settle_closed(struct work *w)
{
    if (!is_closed(w))
        return;
    for (int r = 0; r < RULE_COUNT; r++) {
        enum group group = rule_info((enum rule)r)->group;

        if (group != GROUP_HAND && group != GROUP_BLEEDING &&
            group != GROUP_INFECTION)
            work_remove(w, (enum rule)r, WHY_STAGE);
    }
}

/* In the order in which they need each other. */
static void evaluate(struct work *w)
{
    rules_band_find(w);
    rules_high_flow(w);
    rules_cardiac_share(w);
    rules_low_flow(w);
    rules_flow_fall(w);
    settle_high_and_low(w);
    rules_third_flow(w);
    rules_cardiac_signs(w);
    rules_dose(w);
    rules_pressure(w);
    rules_recirculation(w);
    rules_dysfunction(w);
    rules_bleeding(w);
    rules_infection(w);
    rules_nerves(w);
    rules_hand(w);
    rules_hand_and_flow(w);
    rules_band(w);
    rules_follow_up(w);
    settle_closed(w);
}

/* What can kill, whatever the access; and the hand, which an access that is
 * no longer used may still starve. */
static void evaluate_dangers(struct work *w)
{
    bool hand = w->h->access_type != SIGN_TYPE_CVC;

    for (int r = 0; r < RULE_COUNT; r++) {
        enum group group = rule_info((enum rule)r)->group;

        if (group == GROUP_BLEEDING || group == GROUP_INFECTION ||
            (hand && group == GROUP_HAND))
            w->out->why[r] = WHY_HOLDS;
    }
    rules_bleeding(w);
    rules_infection(w);
    if (!hand)
        return;
    rules_nerves(w);
    rules_hand(w);
    rules_hand_and_flow(w);
}

void rules_evaluate(const struct history *h, const struct policy *policy,
                    struct findings *out)
{
    struct history recent = *h;
    size_t old = leave_out_the_old(&recent, policy);
    struct work w;
    enum why not_watched = h->inactive                       ? WHY_INACTIVE
                           : h->access_type == SIGN_TYPE_CVC ? WHY_CATHETER
                                                             : WHY_HOLDS;

    memset(&w, 0, offsetof(struct work, flow)); /* the points are counted */
    w.h = &recent;
    w.policy = policy;
    w.out = out;
    out->count = 0;
    for (int i = 0; i < PREDICTIONS; i++)
        out->predictions[i] = (struct prediction){ 0 };
    for (int r = 0; r < RULE_COUNT; r++)
        out->why[r] = not_watched;
    w.intervention_s = last_intervention_s(&recent);
    w.flow_count = series_collect(&recent, policy, Q_ACCESS_FLOW, true, w.flow,
                                  POINTS_MAX);
    series_mark_low_pressure(&recent, policy, w.flow, w.flow_count);
    w.hand_count =
        hand_collect(&recent, policy, false, w.hand, HAND_POINTS_MAX);
    if (not_watched == WHY_HOLDS)
        evaluate(&w);
    else
        evaluate_dangers(&w);
    for (size_t i = 0; i < out->count; i++)
        finish(&w, &out->list[i], old);
    for (int r = 0; r < RULE_COUNT; r++) {
        if (rules_find(out, (enum rule)r) != NULL)
            out->why[r] = WHY_HOLDS;
        else if (out->why[r] == WHY_HOLDS)
            out->why[r] = WHY_NO_READING;
    }
}

enum rule rule_by_order(int n)
{
    static const enum rule order[RULE_COUNT] = {
        RULE_HF_1, RULE_HF_2, RULE_HF_3, RULE_HF_4, RULE_HF_5, RULE_HF_6,
        RULE_IS_1, RULE_IS_2, RULE_IS_3, RULE_IS_4, RULE_IS_5, RULE_IS_6,
        RULE_IS_7, RULE_IS_8, RULE_LF_1, RULE_LF_2, RULE_LF_3, RULE_LF_4,
        RULE_LF_5, RULE_LF_6, RULE_AD_1, RULE_AD_2, RULE_PB_1, RULE_PB_2,
        RULE_PB_3, RULE_PB_4, RULE_BL_1, RULE_IN_1
    };

    return order[(unsigned)n < RULE_COUNT ? n : 0];
}
