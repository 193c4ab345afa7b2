/* The rules on access flow: too high, too large a share, too low. */
#include "planner/rules_work.h"

#include <math.h>

/* A flow rule: its rows in the policy. */
struct flow_rule {
    enum rule rule;
    bool above;
    enum param limit, readings, window_d, urgency;
};

/* Does it hold?  Adds the finding and returns it, or NULL. */
static struct finding *flow_finding(struct work *w, const struct flow_rule *fr)
{
    struct run_rule rule = { .limit = work_get(w, fr->limit),
                             .above = fr->above,
                             .readings = work_count(w, fr->readings),
                             .window_d = work_count(w, fr->window_d),
                             .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    const struct point *newest;
    struct finding *f;
    struct run run;

    if (!run_best(&rule, w->flow, w->flow_count, &run))
        return NULL;
    newest = &w->flow[run.points[run.count - 1]];
    if (newest->at_s < w->intervention_s)
        return NULL; /* something was done since: the series starts anew */
    f = work_add(w, fr->rule);
    f->urgency = work_urgency(w, fr->urgency);
    f->limit = fr->limit;
    f->measured = f->peak = newest->value;
    for (size_t i = 0; i < run.count; i++) {
        const struct point *p = &w->flow[run.points[i]];

        work_rest_on_point(w, f, p);
        f->peak = fr->above ? fmax(f->peak, p->value) : fmin(f->peak, p->value);
    }
    return f;
}

static bool is_cardiac_sign(const struct reading *r)
{
    return r->quantity == Q_HEART_FAILURE_SIGN && r->present &&
           r->sign != SIGN_HF_NYHA_1 && r->sign != SIGN_HF_NYHA_2;
}

/* Clinical signs that make a low flow matter now. */
static bool is_thrill_lost(const struct reading *r)
{
    return r->quantity == Q_THRILL && r->present &&
           r->sign == SIGN_THRILL_ABSENT;
}

static bool is_dysfunction_sign(const struct reading *r)
{
    switch ((int)r->quantity) {
    case Q_ACCESS_SIGN:
        return r->present;
    case Q_THRILL:
        return r->present && r->sign != SIGN_THRILL_PRESENT;
    case Q_BLEEDING_PROLONGED:
        return r->value > 0.5;
    default:
        return false;
    }
}

/* The newest few: signs seen at every session must not crowd out the flows. */
enum { SIGNS_KEPT = 6 };

static bool rest_on_signs(struct work *w, struct finding *f, int window_d,
                          bool (*is_sign)(const struct reading *))
{
    int64_t from_s = w->h->now_s - (int64_t)window_d * DAY_S;
    int64_t at_s = f->at_s;
    int kept = 0;

    for (size_t i = w->h->count; i-- > 0 && kept < SIGNS_KEPT;) {
        const struct reading *r = &w->h->readings[i];

        if (r->start_s < from_s)
            break;
        if (!reading_counts(r) || !is_sign(r))
            continue;
        work_rest_on(w, f, i);
        kept++;
    }
    if (at_s < from_s)
        f->at_s = at_s; /* a sign does not make a flow of long ago new */
    return kept > 0;
}

/* A complaint of the hand within the window that has not been taken back. */
static bool rest_on_hand_sign(struct work *w, struct finding *f, int window_d)
{
    int64_t at_s = f->at_s;
    size_t at = 0;

    if (!hand_standing(w->hand, w->hand_count, GRADE_1, &at) ||
        hand_worst(w->hand, w->hand_count, w->h->now_s, window_d, &at) <
            GRADE_1)
        return false;
    work_rest_on_hand(w, f, &w->hand[at]);
    if (at_s < w->h->now_s - (int64_t)window_d * DAY_S)
        f->at_s = at_s;
    return true;
}

void rules_high_flow(struct work *w)
{
    static const struct flow_rule hf1 = { RULE_HF_1,      true,
                                          P_HF1_FLOW,     P_HF1_READINGS,
                                          P_HF1_WINDOW_D, P_HF1_URGENCY };
    static const struct flow_rule hf2 = { RULE_HF_2,      true,
                                          P_HF2_FLOW,     P_HF2_READINGS,
                                          P_HF2_WINDOW_D, P_HF2_URGENCY };
    struct finding *f = flow_finding(w, &hf1);
    int window_d = work_count(w, P_HF1_SIGN_WINDOW_D);
    struct finding *lesser;

    if (f != NULL) {
        f->with_sign = rest_on_signs(w, f, window_d, is_cardiac_sign);
        if (rest_on_hand_sign(w, f, window_d))
            f->with_sign = true;
        if (f->with_sign)
            f->urgency = work_urgency(w, P_HF1_URGENCY_SIGN);
    }
    if (f != NULL && !work_is_old(w, f->at_s))
        return;
    /* one of long ago must not hide what is confirmed now */
    lesser = flow_finding(w, &hf2);
    if (f != NULL && lesser != NULL && work_is_old(w, lesser->at_s))
        w->out->count--;
}

/* A cardiac output measured in the session of a flow, or NULL. */
static const struct point *paired(const struct work *w, const struct point *co,
                                  size_t co_count, const struct point *flow)
{
    const struct reading *list = w->h->readings;

    for (size_t i = 0; i < co_count; i++) {
        if (!co[i].disagree && co[i].bound == BOUND_NONE && co[i].value > 0 &&
            readings_share_session(w->policy, &list[co[i].readings[0]],
                                   &list[flow->readings[0]]))
            return &co[i];
    }
    return NULL;
}

/*
 * One row of points, each the share of a cardiac output, 0..1.  Where the
 * flow is short of the least, the share counts as short of its limit by as
 * much, so that such a point breaks a run, and two of them can end it.
 */
static size_t collect_ratios(struct work *w, const struct run_rule *rule,
                             double least_flow_ml_min, const struct point *co,
                             size_t co_count, struct point *ratios,
                             size_t *partner)
{
    bool restart = false;
    size_t count = 0;

    for (size_t i = 0; i < w->flow_count; i++) {
        const struct point *flow = &w->flow[i];
        const struct point *output = paired(w, co, co_count, flow);
        double share;

        restart = restart || flow->restart;
        if (output == NULL || flow->disagree || flow->bound != BOUND_NONE)
            continue;
        share = flow->value / (output->value * 1000.0);
        if (share > FLOW_SHARE_MOST)
            continue;
        if (flow->value < least_flow_ml_min)
            share = fmin(share, rule->limit * flow->value / least_flow_ml_min);
        ratios[count] = *flow;
        ratios[count].value = share;
        ratios[count].restart = restart;
        partner[count++] = (size_t)(output - co);
        restart = false;
    }
    return count;
}

static void rest_on_ratio(const struct work *w, struct finding *f,
                          const struct point *ratio, const struct point *co)
{
    work_rest_on_point(w, f, ratio);
    work_rest_on_point(w, f, co);
    f->peak = isnan(f->peak) ? ratio->value : fmax(f->peak, ratio->value);
    f->measured = ratio->value;
}

/* One of the two limits of the share; the finding, or NULL. */
static struct finding *ratio_finding(struct work *w,
                                     const struct run_rule *rule,
                                     double least_flow_ml_min,
                                     const struct point *co, size_t co_count)
{
    struct point ratios[POINTS_MAX];
    size_t partner[POINTS_MAX];
    size_t n = collect_ratios(w, rule, least_flow_ml_min, co, co_count, ratios,
                              partner);
    bool confirmed, denied;
    struct finding *f;
    struct run run;

    if (!run_best(rule, ratios, n, &run) ||
        ratios[run.points[run.count - 1]].at_s < w->intervention_s)
        return NULL;
    confirmed = run_confirmed(rule, ratios, &run);
    denied = rule->readings == 1 && run_denied(rule, ratios, n, &run);
    if (denied && !confirmed)
        return NULL; /* measured again, and not beyond the limit */
    f = work_add(w, RULE_HF_3);
    f->confirmed = confirmed;
    f->historic = denied;
    for (size_t i = 0; i < run.count; i++)
        rest_on_ratio(w, f, &ratios[run.points[i]],
                      &co[partner[run.points[i]]]);
    return f;
}

/* One reading asks for a repeat; a second within the window confirms. */
static void ratio_severe(struct work *w, const struct point *co,
                         size_t co_count)
{
    struct run_rule rule = { .limit = work_get(w, P_HF3_RATIO_SEVERE),
                             .above = true,
                             .readings = 1,
                             .window_d = work_count(w, P_HF3_REPEAT_D),
                             .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    struct finding *f =
        ratio_finding(w, &rule, work_get(w, P_HF3_FLOW_SEVERE), co, co_count);

    if (f == NULL)
        return;
    f->severe = true;
    f->urgency = work_urgency(w, P_HF3_URGENCY_SEVERE);
    f->limit = P_HF3_RATIO_SEVERE;
    if (!f->confirmed) {
        f->repeat_of = Q_CARDIAC_OUTPUT;
        f->repeat_by_s = f->at_s + (int64_t)rule.window_d * DAY_S;
    }
}

static void ratio_plain(struct work *w, const struct point *co, size_t co_count)
{
    struct run_rule rule = { .limit = work_get(w, P_HF3_RATIO),
                             .above = true,
                             .readings = work_count(w, P_HF3_READINGS),
                             .window_d = work_count(w, P_HF3_WINDOW_D),
                             .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    struct finding *f =
        ratio_finding(w, &rule, work_get(w, P_HF3_FLOW), co, co_count);

    if (f == NULL)
        return;
    f->confirmed = true;
    f->urgency = work_urgency(w, P_HF3_URGENCY);
    f->limit = P_HF3_RATIO;
}

void rules_cardiac_share(struct work *w)
{
    struct point co[POINTS_MAX];
    size_t n = points_collect(w->h, w->policy, Q_CARDIAC_OUTPUT, false, co,
                              POINTS_MAX);

    if (n == 0)
        return;
    ratio_severe(w, co, n);
    if (work_find(w, RULE_HF_3) == NULL)
        ratio_plain(w, co, n);
}

/* An access this young has not matured: a low flow is not yet a loss. */
static bool is_young(const struct work *w)
{
    int64_t from_s =
        w->h->now_s - (int64_t)work_count(w, P_YOUNG_ACCESS_D) * DAY_S;

    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (r->quantity == Q_ACCESS_INTERVENTION && reading_counts(r) &&
            r->sign == SIGN_CREATED && r->start_s > from_s)
            return true;
    }
    return false;
}

static bool rests_on(const struct work *w, const struct finding *f,
                     bool (*is_sign)(const struct reading *))
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        if (is_sign(&w->h->readings[f->evidence[i]]))
            return true;
    }
    return false;
}

void rules_low_flow(struct work *w)
{
    static const struct flow_rule lf1 = { RULE_LF_1,      false,
                                          P_LF1_FLOW,     P_LF1_READINGS,
                                          P_LF1_WINDOW_D, P_LF1_URGENCY };
    static const struct flow_rule lf2 = { RULE_LF_2,      false,
                                          P_LF2_FLOW,     P_LF2_READINGS,
                                          P_LF2_WINDOW_D, P_LF2_URGENCY };
    bool graft = w->h->access_type == SIGN_TYPE_AVG;
    struct finding *f;

    if (!graft && (w->h->access_type != SIGN_TYPE_AVF || is_young(w)))
        return; /* the limits differ: none is used for an unknown type */
    f = flow_finding(w, graft ? &lf1 : &lf2);
    if (f == NULL)
        return;
    f->with_sign = rest_on_signs(
        w, f, work_count(w, graft ? P_LF1_SIGN_WINDOW_D : P_LF2_SIGN_WINDOW_D),
        is_dysfunction_sign);
    if (f->with_sign)
        f->urgency =
            work_urgency(w, graft ? P_LF1_URGENCY_SIGN : P_LF2_URGENCY_SIGN);
    /* a thrill that is lost beside a low flow is thrombosis until disproved */
    if (rests_on(w, f, is_thrill_lost))
        f->urgency = work_urgency(w, P_LF_URGENCY_THRILL_LOST);
}
