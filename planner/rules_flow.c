/* The rules on access flow itself: too high, too low. */
#include "planner/flow.h"
#include "planner/rules_work.h"
#include "planner/series.h"

#include <math.h>

/* A flow rule: its rows in the policy. */
struct flow_rule {
    enum rule rule;
    bool above;
    enum param limit, readings, of_last, window_d, urgency;
};

enum why work_why_not_now(const struct work *w, const struct run_rule *rule,
                          const struct point *points, size_t count)
{
    size_t from = 0;

    while (from < count && points[from].at_s < w->intervention_s)
        from++;
    if (from < count)
        return work_why_not(rule, points + from, count - from);
    if (count > 0)
        return WHY_STAGE;
    for (size_t i = 0; i < w->h->count && w->intervention_s != INT64_MIN; i++) {
        if (w->h->readings[i].quantity == Q_ACCESS_FLOW &&
            reading_counts(&w->h->readings[i]))
            return WHY_STAGE;
    }
    return WHY_NO_READING;
}

/* The run of flows that holds now: its newest point; or NULL, and why. */
static const struct point *flow_run(struct work *w, const struct run_rule *rule,
                                    enum rule id, struct run *run)
{
    const struct point *newest;

    if (!run_best(rule, w->flow, w->flow_count, run)) {
        work_not(w, id, work_why_not_now(w, rule, w->flow, w->flow_count));
        return NULL;
    }
    newest = &w->flow[run->points[run->count - 1]];
    if (newest->at_s >= w->intervention_s)
        return newest;
    work_not(w, id, WHY_STAGE);
    return NULL; /* something was done since: the series starts anew */
}

/* Does it hold?  Adds the finding and returns it, or NULL; *newest is the
 * flow that its `measured` says. */
static struct finding *flow_finding(struct work *w, const struct flow_rule *fr,
                                    const struct point **newest)
{
    struct run_rule rule = work_run_rule(w, fr->limit, fr->above, fr->readings,
                                         fr->of_last, fr->window_d);
    struct finding *f;
    struct run run;

    /* methods differ by a litre: one does not end what another saw fall */
    rule.skip_low_pressure = rule.alone = !fr->above;
    *newest = flow_run(w, &rule, fr->rule, &run);
    if (*newest == NULL)
        return NULL;
    f = work_add(w, fr->rule);
    f->urgency = work_urgency(w, fr->urgency);
    f->limit = fr->limit;
    f->measured = f->peak = (*newest)->value;
    for (size_t i = 0; i < run.count; i++) {
        const struct point *p = &w->flow[run.points[i]];

        work_rest_on_point(w, f, p);
        f->peak = fr->above ? fmax(f->peak, p->value) : fmin(f->peak, p->value);
    }
    if (fr->above)
        f->stenosis = work_has_stenosis(w);
    return f;
}

/* Beside HF-1 only: the same flow is more for a small body.  The height of a
 * grown person does not age. */
static void high_for_the_body(struct work *w, const struct finding *very_high,
                              const struct point *flow)
{
    double height_m, index;
    struct finding *f;
    size_t at = 0;

    if (very_high == NULL) {
        work_not(w, RULE_HF_6, w->out->why[RULE_HF_1]);
        return;
    }
    height_m = series_newest(w->h, Q_HEIGHT, w->h->now_s,
                             work_get(w, P_LOOKBACK_D), &at);
    if (isnan(height_m) ||
        flow_height_index(flow->value, height_m, &index) != ERR_OK) {
        work_not(w, RULE_HF_6, WHY_NO_READING);
        return;
    }
    if (index < work_get(w, P_HF6_INDEX) ||
        flow->value < work_get(w, P_HF6_FLOW)) {
        work_not(w, RULE_HF_6, WHY_INSIDE);
        return;
    }
    f = work_add(w, RULE_HF_6);
    f->urgency = work_urgency(w, P_HF6_URGENCY);
    f->limit = P_HF6_INDEX;
    f->measured = f->peak = index;
    work_rest_on(w, f, at);
    f->at_s = INT64_MIN; /* the flow tells the time */
    work_rest_on_point(w, f, flow);
}

enum { TREATMENTS_KEPT = EVIDENCE_MAX - POINT_READINGS_MAX };

/* Treatments of the outflow since from_s, the newest few of them in kept; how
 * many there were, those of one day counted once. */
static int outflow_treatments(const struct work *w, int64_t from_s,
                              size_t *kept, size_t *kept_count)
{
    int64_t last_s = INT64_MAX;
    int days = 0;

    *kept_count = 0;
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->quantity != Q_ACCESS_INTERVENTION || !reading_counts(r) ||
            !r->present || r->sign != SIGN_ANGIOPLASTY_OUTFLOW ||
            r->start_s < from_s)
            continue;
        if (last_s - r->start_s >= DAY_S) {
            last_s = r->start_s;
            days++;
        }
        if (*kept_count < TREATMENTS_KEPT)
            kept[(*kept_count)++] = i;
    }
    return days;
}

/* A high flow wears the outflow out: treated again and again, still high. */
static void high_and_treated(struct work *w)
{
    struct run_rule rule = { .limit = work_get(w, P_HF5_FLOW),
                             .above = true,
                             .strict = true,
                             .readings = 1,
                             .window_d = work_count(w, P_HF5_PERIOD_D),
                             .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    size_t treated[TREATMENTS_KEPT], treated_count;
    int treatments = outflow_treatments(w, work_days_ago(w, P_HF5_PERIOD_D),
                                        treated, &treated_count);
    const struct point *newest;
    struct finding *f;
    struct run run;

    if (treatments < work_count(w, P_HF5_TREATMENTS)) {
        work_not(w, RULE_HF_5, treatments > 0 ? WHY_TOO_FEW : WHY_NO_READING);
        return;
    }
    newest = flow_run(w, &rule, RULE_HF_5, &run);
    if (newest == NULL)
        return;
    f = work_add(w, RULE_HF_5);
    f->urgency = work_urgency(w, P_HF5_URGENCY);
    f->limit = P_HF5_FLOW;
    f->measured = f->peak = newest->value;
    f->stenosis = work_has_stenosis(w);
    for (size_t i = treated_count; i-- > 0;)
        work_rest_on(w, f, treated[i]);
    work_rest_on_point(w, f, newest);
}

/* HF-2 is said where HF-1 is not, or is of long ago: that must not hide what
 * is confirmed now. */
static void very_high_or_high(struct work *w)
{
    static const struct flow_rule hf1 = { RULE_HF_1,     true,
                                          P_HF1_FLOW,    P_HF1_READINGS,
                                          P_HF1_OF_LAST, P_HF1_WINDOW_D,
                                          P_HF1_URGENCY };
    static const struct flow_rule hf2 = { RULE_HF_2,     true,
                                          P_HF2_FLOW,    P_HF2_READINGS,
                                          P_HF2_OF_LAST, P_HF2_WINDOW_D,
                                          P_HF2_URGENCY };
    int64_t from_s = work_days_ago(w, P_HF1_SIGN_WINDOW_D);
    const struct point *flow, *lesser_flow;
    struct finding *f, *lesser;

    f = flow_finding(w, &hf1, &flow);
    if (f != NULL) {
        f->with_sign = work_signs(w, f, from_s, work_is_cardiac_sign) > 0;
        if (work_hand_sign(w, f, from_s))
            f->with_sign = true;
        if (f->with_sign)
            f->urgency = work_urgency(w, P_HF1_URGENCY_SIGN);
    }
    high_for_the_body(w, f, flow);
    if (f != NULL && !work_is_old(w, f->at_s)) {
        work_not(w, RULE_HF_2, WHY_STRONGER);
        return;
    }
    lesser = flow_finding(w, &hf2, &lesser_flow);
    if (f != NULL && lesser != NULL && work_is_old(w, lesser->at_s))
        work_remove(w, RULE_HF_2, WHY_STRONGER);
}

void rules_high_flow(struct work *w)
{
    very_high_or_high(w);
    high_and_treated(w);
}

enum sign work_low_flow_type(const struct work *w)
{
    if (w->h->access_type == SIGN_TYPE_AVG ||
        w->h->access_type == SIGN_TYPE_AVF)
        return w->h->access_type;
    return work_get(w, P_LF1_FLOW) < work_get(w, P_LF2_FLOW) ? SIGN_TYPE_AVG
                                                             : SIGN_TYPE_AVF;
}

static const struct flow_rule *low_rule(bool graft)
{
    static const struct flow_rule lf1 = { RULE_LF_1,     false,
                                          P_LF1_FLOW,    P_LF1_READINGS,
                                          P_LF1_OF_LAST, P_LF1_WINDOW_D,
                                          P_LF1_URGENCY };
    static const struct flow_rule lf2 = { RULE_LF_2,     false,
                                          P_LF2_FLOW,    P_LF2_READINGS,
                                          P_LF2_OF_LAST, P_LF2_WINDOW_D,
                                          P_LF2_URGENCY };

    return graft ? &lf1 : &lf2;
}

/* Why the rule of the other type does not hold: the type is not known, and the
 * flows lie between the two limits; or what the rule itself says. */
static enum why why_not_other(struct work *w, const struct flow_rule *fr,
                              enum param shared_limit)
{
    struct run_rule rule = work_run_rule(w, fr->limit, fr->above, fr->readings,
                                         fr->of_last, fr->window_d);
    struct run_rule shared = rule;
    const struct point *newest = NULL;
    struct run run;

    shared.limit = work_get(w, shared_limit);
    rule.skip_low_pressure = rule.alone = true;
    if (w->flow_count > 0)
        newest = &w->flow[w->flow_count - 1];
    if (newest == NULL || newest->at_s < w->intervention_s)
        return work_why_not_now(w, &rule, w->flow, w->flow_count);
    if (run_best(&rule, w->flow, w->flow_count, &run) ||
        (run_beyond(&rule, newest) && !run_beyond(&shared, newest)))
        return WHY_TYPE_UNKNOWN;
    return work_why_not_now(w, &rule, w->flow, w->flow_count);
}

/* What is low for a fistula that is not in use yet is not known to be a loss,
 * whatever else the access may be. */
void rules_low_flow(struct work *w)
{
    bool graft = work_low_flow_type(w) == SIGN_TYPE_AVG;
    bool is_known = w->h->access_type == work_low_flow_type(w);
    const struct flow_rule *fr = low_rule(graft), *other = low_rule(!graft);
    const struct point *newest;
    struct finding *f;

    if (is_known)
        work_not(w, other->rule, WHY_OTHER_TYPE);
    if ((!graft || !is_known) && !work_is_in_use(w, fr->rule)) {
        work_not(w, other->rule, w->out->why[fr->rule]);
        return;
    }
    f = flow_finding(w, fr, &newest);
    work_not(w, other->rule,
             f != NULL ? WHY_STRONGER : why_not_other(w, other, fr->limit));
    if (f == NULL)
        return;
    series_pressure_at(w->h, w->policy, newest->readings[0],
                       &f->mean_pressure_mmhg, &f->usual_pressure_mmhg);
    work_low_signs(w, f, graft ? P_LF1_SIGN_WINDOW_D : P_LF2_SIGN_WINDOW_D,
                   graft ? P_LF1_URGENCY_SIGN : P_LF2_URGENCY_SIGN);
}
