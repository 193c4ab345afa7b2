/* The rules on the heart: the share that the access takes of its output, and
 * its signs beside a high flow. */
#include "planner/rules_work.h"

#include <math.h>

struct outputs {
    size_t count;
    struct point points[POINTS_MAX];
};

/* A limit of the share, and the least flow at which it counts. */
struct level {
    enum param limit;
    double flow_ml_min;
    struct run_rule rule;
};

struct shares {
    size_t count;
    struct point points[POINTS_MAX];         /* value: the share, 0..1 */
    const struct point *partner[POINTS_MAX]; /* its cardiac output */
};

/* A cardiac output measured in the session of a flow, or NULL; one whose
 * replicates disagree where there is no other. */
static const struct point *paired(const struct work *w,
                                  const struct outputs *co,
                                  const struct point *flow)
{
    const struct reading *list = w->h->readings;
    const struct point *doubtful = NULL;

    for (size_t i = 0; i < co->count; i++) {
        const struct point *p = &co->points[i];

        if (p->bound != BOUND_NONE || !(p->least > 0) ||
            !readings_share_session(w->policy, &list[p->readings[0]],
                                    &list[flow->readings[0]]))
            continue;
        if (!p->disagree)
            return p;
        if (doubtful == NULL)
            doubtful = p;
    }
    return doubtful;
}

/* Where the flow is short of the least, its share counts as short of the limit
 * by as much. */
static double share_of(const struct level *level, double flow_ml_min,
                       double output_l_min)
{
    double share = flow_ml_min / (output_l_min * 1000.0);

    if (flow_ml_min < level->flow_ml_min)
        share =
            fmin(share, level->rule.limit * flow_ml_min / level->flow_ml_min);
    return share;
}

/* The share of a flow in an output, with what both leave open; false: more than
 * runs through any access. */
static bool put_share(struct point *p, const struct level *level,
                      const struct point *flow, const struct point *output)
{
    bool disagree = flow->disagree || output->disagree;
    double most_l_min = disagree ? output->least : output->value;
    double most_ml_min = disagree ? flow->most : flow->value;

    if (most_ml_min / (most_l_min * 1000.0) > FLOW_SHARE_MOST)
        return false;
    *p = *flow;
    p->value = share_of(level, flow->value, output->value);
    p->least = share_of(level, flow->least, output->most);
    p->most = share_of(level, flow->most, output->least);
    p->disagree = disagree;
    return true;
}

/*
 * One row of points, each the share of a cardiac output, 0..1.  A flow short of
 * the least is no share beyond the limit, but a point: it breaks a run, and two
 * of them can end it.
 */
static void collect_shares(const struct work *w, const struct level *level,
                           const struct outputs *co, struct shares *shares)
{
    bool restart = false;

    shares->count = 0;
    for (size_t i = 0; i < w->flow_count; i++) {
        const struct point *flow = &w->flow[i];
        const struct point *output = paired(w, co, flow);

        restart = restart || flow->restart;
        if (output == NULL || flow->bound != BOUND_NONE ||
            !put_share(&shares->points[shares->count], level, flow, output))
            continue;
        shares->points[shares->count].restart = restart;
        shares->partner[shares->count++] = output;
        restart = false;
    }
}

static void rest_on_share(const struct work *w, struct finding *f,
                          const struct shares *shares, size_t at)
{
    double share = shares->points[at].value;

    work_rest_on_point(w, f, &shares->points[at]);
    work_rest_on_point(w, f, shares->partner[at]);
    f->peak = isnan(f->peak) ? share : fmax(f->peak, share);
    f->measured = share;
}

/* One of the two limits of the share; the finding, or NULL. */
static struct finding *share_finding(struct work *w, const struct level *level,
                                     const struct shares *shares)
{
    const struct run_rule *rule = &level->rule;
    bool confirmed, denied;
    struct finding *f;
    struct run run;

    if (!run_best(rule, shares->points, shares->count, &run) ||
        shares->points[run.points[run.count - 1]].at_s < w->intervention_s)
        return NULL;
    confirmed = run_confirmed(rule, shares->points, &run);
    denied = rule->readings == 1 &&
             run_denied(rule, shares->points, shares->count, &run);
    if (denied && !confirmed)
        return NULL; /* measured again, and not beyond the limit */
    f = work_add(w, RULE_HF_3);
    f->confirmed = confirmed;
    f->historic = denied;
    f->limit = level->limit;
    f->stenosis = work_has_stenosis(w);
    for (size_t i = 0; i < run.count; i++)
        rest_on_share(w, f, shares, run.points[i]);
    return f;
}

static struct level severe_level(const struct work *w)
{
    return (struct level){ .limit = P_HF3_RATIO_SEVERE,
                           .flow_ml_min = work_get(w, P_HF3_FLOW_SEVERE),
                           .rule = {
                               .limit = work_get(w, P_HF3_RATIO_SEVERE),
                               .above = true,
                               .readings = 1,
                               .window_d = work_count(w, P_HF3_REPEAT_D) +
                                           work_count(w, P_HISTORIC_D),
                               .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT),
                           } };
}

static struct level plain_level(const struct work *w)
{
    return (struct level){ .limit = P_HF3_RATIO,
                           .flow_ml_min = work_get(w, P_HF3_FLOW),
                           .rule = {
                               .limit = work_get(w, P_HF3_RATIO),
                               .above = true,
                               .readings = work_count(w, P_HF3_READINGS),
                               .window_d = work_count(w, P_HF3_WINDOW_D),
                               .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT),
                           } };
}

/* One reading asks for a repeat.  One that comes late confirms too, as long as
 * the first was not of long ago when the repeat was due. */
static void severe_share(struct work *w, const struct outputs *co)
{
    struct level level = severe_level(w);
    struct shares shares;
    struct finding *f;

    collect_shares(w, &level, co, &shares);
    f = share_finding(w, &level, &shares);
    if (f == NULL)
        return;
    f->severe = true;
    f->urgency = work_urgency(w, P_HF3_URGENCY_SEVERE);
    if (!f->confirmed) {
        f->repeat_of = Q_CARDIAC_OUTPUT;
        f->repeat_by_s =
            f->at_s + (int64_t)work_count(w, P_HF3_REPEAT_D) * DAY_S;
    }
}

static void plain_share(struct work *w, const struct outputs *co)
{
    struct level level = plain_level(w);
    struct shares shares;
    struct finding *f;

    collect_shares(w, &level, co, &shares);
    f = share_finding(w, &level, &shares);
    if (f == NULL) {
        work_not(w, RULE_HF_3,
                 shares.count == 0
                     ? WHY_NO_PAIR
                     : work_why_not_now(w, &level.rule, shares.points,
                                        shares.count));
        return;
    }
    f->confirmed = true;
    f->urgency = work_urgency(w, P_HF3_URGENCY);
}

static void collect_outputs(const struct work *w, struct outputs *co)
{
    co->count = points_collect(w->h, w->policy, Q_CARDIAC_OUTPUT, false,
                               co->points, POINTS_MAX);
}

void rules_cardiac_share(struct work *w)
{
    struct finding *once, kept;
    struct outputs co;

    collect_outputs(w, &co);
    if (co.count == 0) {
        work_not(w, RULE_HF_3, WHY_NO_READING);
        return;
    }
    severe_share(w, &co);
    once = work_find(w, RULE_HF_3);
    if (once == NULL) {
        plain_share(w, &co);
        return;
    }
    if (once->confirmed)
        return;
    /* one severe share must not hide a plain one that is a referral */
    kept = *once;
    work_remove(w, RULE_HF_3, WHY_HOLDS);
    plain_share(w, &co);
    once = work_find(w, RULE_HF_3);
    if (once == NULL || once->urgency == URGENCY_NOTE || !once->confirmed) {
        work_remove(w, RULE_HF_3, WHY_HOLDS);
        *work_add(w, RULE_HF_3) = kept;
    }
}

/* ---- signs of the heart --------------------------------------------------- */

/* The newest point at this level that its method has not since contradicted
 * clearly, nor another method twice; in this stage, since from_s. */
static const struct point *standing(const struct work *w,
                                    const struct run_rule *rule,
                                    const struct point *points, size_t count,
                                    int64_t from_s)
{
    const struct point *best = NULL;

    if (from_s < w->intervention_s)
        from_s = w->intervention_s;
    for (int m = 0; m < METHOD_COUNT; m++) {
        const struct point *found = NULL;
        int64_t inside_s = INT64_MIN;

        for (size_t i = 0; i < count; i++) {
            const struct point *p = &points[i];

            if ((int)p->method != m || run_astride(rule, p) || p->at_s < from_s)
                continue;
            if (run_beyond(rule, p) &&
                (found == NULL || p->at_s > found->at_s ||
                 p->value > found->value))
                found = p;
            else if (run_inside(rule, p))
                inside_s = p->at_s;
        }
        if (found == NULL || inside_s > found->at_s ||
            run_contradicted(rule, points, count, (enum method)m, found->at_s))
            continue;
        if (best == NULL || found->at_s > best->at_s)
            best = found;
    }
    return best;
}

/* A flow or a share at the level of HF-2 or HF-3 that the finding rests on;
 * false: there is none. */
static bool rest_on_share_level(const struct work *w, struct finding *f,
                                const struct level *level,
                                const struct outputs *co, int64_t from_s)
{
    struct shares shares;
    const struct point *p;

    collect_shares(w, level, co, &shares);
    p = standing(w, &level->rule, shares.points, shares.count, from_s);
    if (p == NULL)
        return false;
    f->quantity = Q_CARDIAC_OUTPUT;
    f->limit = level->limit;
    rest_on_share(w, f, &shares, (size_t)(p - shares.points));
    return true;
}

static bool rest_on_level(const struct work *w, struct finding *f,
                          int64_t from_s)
{
    struct run_rule rule = { .limit = work_get(w, P_HF2_FLOW),
                             .above = true,
                             .readings = 1,
                             .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    const struct point *flow =
        standing(w, &rule, w->flow, w->flow_count, from_s);
    struct level severe = severe_level(w), plain = plain_level(w);
    struct outputs co;

    if (flow != NULL) {
        f->quantity = Q_ACCESS_FLOW;
        f->limit = P_HF2_FLOW;
        f->measured = f->peak = flow->value;
        work_rest_on_point(w, f, flow);
        return true;
    }
    collect_outputs(w, &co);
    return rest_on_share_level(w, f, &severe, &co, from_s) ||
           rest_on_share_level(w, f, &plain, &co, from_s);
}

static enum why why_no_level(const struct work *w, int64_t from_s)
{
    const struct point *newest =
        w->flow_count > 0 ? &w->flow[w->flow_count - 1] : NULL;

    if (newest == NULL || newest->at_s < from_s)
        return WHY_FLOW_UNKNOWN;
    return newest->at_s < w->intervention_s ? WHY_STAGE : WHY_INSIDE;
}

enum { CARDIAC_SIGNS_KEPT = 8 };

/* The newest signs that stand; `back`: some were taken back. */
struct cardiac_signs {
    bool back, admitted;
    size_t count;
    size_t index[CARDIAC_SIGNS_KEPT];
};

static void find_cardiac_signs(const struct work *w, struct cardiac_signs *s)
{
    int64_t from_s = work_days_ago(w, P_HF4_SIGN_WINDOW_D);

    *s = (struct cardiac_signs){ 0 };
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->start_s < from_s)
            break;
        if (!reading_counts(r) || !work_is_cardiac_sign(r))
            continue;
        if (work_is_taken_back(w, i)) {
            s->back = true;
            continue;
        }
        /* an admission raises the urgency: it must not be crowded out */
        if (s->count == CARDIAC_SIGNS_KEPT && !s->admitted &&
            r->sign == SIGN_HF_ADMISSION)
            s->count--;
        s->admitted = s->admitted || r->sign == SIGN_HF_ADMISSION;
        if (s->count < CARDIAC_SIGNS_KEPT)
            s->index[s->count++] = i;
    }
}

/* Has a low or falling flow been confirmed by a measurement after this time?
 * A sign beside it is none. */
static bool is_low_since(struct work *w, int64_t at_s)
{
    static const enum rule low[] = { RULE_LF_1, RULE_LF_2, RULE_LF_3 };

    for (size_t i = 0; i < COUNT(low); i++) {
        const struct finding *f = work_find(w, low[i]);

        for (size_t k = 0; f != NULL && k < f->evidence_count; k++) {
            const struct reading *r = &w->h->readings[f->evidence[k]];

            if (quantity_info(r->quantity)->kind == VALUE_NUMBER &&
                r->start_s > at_s)
                return true;
        }
    }
    return false;
}

void rules_cardiac_signs(struct work *w)
{
    int64_t from_s = work_days_ago(w, P_HF4_WINDOW_D);
    struct cardiac_signs signs;
    struct finding *f;

    find_cardiac_signs(w, &signs);
    if (signs.count == 0) {
        work_not(w, RULE_HF_4, signs.back ? WHY_TAKEN_BACK : WHY_NO_READING);
        return;
    }
    f = work_add(w, RULE_HF_4);
    if (!rest_on_level(w, f, from_s)) {
        work_remove(w, RULE_HF_4, why_no_level(w, from_s));
        return;
    }
    if (is_low_since(w, f->at_s)) {
        work_remove(w, RULE_HF_4, WHY_OPPOSITE);
        return;
    }
    f->with_sign = signs.admitted;
    f->urgency = work_urgency(w, signs.admitted ? P_HF4_URGENCY_ADMITTED
                                                : P_HF4_URGENCY);
    f->stenosis = work_has_stenosis(w);
    for (size_t i = signs.count; i-- > 0;)
        work_rest_on(w, f, signs.index[i]); /* a new sign makes it new */
}
