/* IS-8: what the planner foresees of the hand becomes a finding. */
#include "planner/rules_predicted_work.h"

#include <math.h>

bool rules_may_predict(const struct history *h, const struct policy *policy)
{
    int64_t from_s =
        h->now_s - (int64_t)policy_count(policy, P_LOOKBACK_D) * DAY_S;

    if (h->inactive || h->access_type == SIGN_TYPE_CVC)
        return false;
    for (size_t i = h->count; i-- > 0 && h->readings[i].start_s >= from_s;) {
        enum quantity q = h->readings[i].quantity;

        if (q == Q_OUTFLOW_STENOSIS || q == Q_DIGITAL_BRACHIAL_INDEX ||
            q == Q_DIGITAL_PRESSURE)
            return true;
    }
    return false;
}

/* ---- what a plan's input says ------------------------------------------------- */

struct prediction predicted_nothing(void)
{
    return (struct prediction){ .state = PREDICTION_MISSING,
                                .index = NAN,
                                .index_s = INT64_MIN,
                                .flow_ml_min = NAN,
                                .flow_s = INT64_MIN,
                                .flow_after_s = INT64_MIN,
                                .stenosis_pct = NAN,
                                .static_mmhg = NAN,
                                .least_change_pct = NAN,
                                .flow_after_ml_min = { NAN, NAN, NAN },
                                .index_before = { NAN, NAN, NAN },
                                .index_after = { NAN, NAN, NAN },
                                .zone_dowel_mm = NAN,
                                .holding_dowel_mm = NAN };
}

static double mean_of(const double *values, size_t count)
{
    double sum = 0.0;

    for (size_t i = 0; i < count; i++)
        sum += values[i];
    return count > 0 ? sum / (double)count : NAN;
}

/* The newest reading of a use; INT64_MIN: none. */
static int64_t used_s(const struct predicting *p, const struct plan_from *from,
                      enum plan_use use)
{
    int64_t at_s = INT64_MIN;

    for (size_t i = 0; i < from->ground_count; i++) {
        int64_t s = p->h->readings[from->grounds[i].reading].start_s;

        if (from->grounds[i].use == use && s > at_s)
            at_s = s;
    }
    return at_s;
}

/* A flow of the access as it is now, that a plan may rest on. */
static bool has_flow(const struct plan_from *from)
{
    switch (from->offer) {
    case PLAN_NO_FLOW:
    case PLAN_FLOW_UNFIT:
    case PLAN_FLOW_OLD:
    case PLAN_ORDER:
    case PLAN_SIZE:
    case PLAN_STAGES_FULL:
    case PLAN_UNFIT:
        return false;
    case PLAN_OFFERED:
    case PLAN_EXCLUDED:
    case PLAN_INACTIVE:
    case PLAN_OTHER_FORM:
    case PLAN_NO_GROUND:
    case PLAN_DECEASED:
    case PLAN_BANDED: /* it is part of the access that is predicted */
    case PLAN_OFFER_COUNT:
        break;
    }
    return from->in.flow_count > 0;
}

void predicted_fill(const struct predicting *p, const struct plan_from *from,
                    struct prediction *out)
{
    const struct plan_input *in = &from->in;

    out->flow_known = has_flow(from);
    out->method = in->method;
    out->flow_ml_min = mean_of(in->flow_ml_min, in->flow_count);
    out->flow_s = used_s(p, from, PLAN_USE_FLOW);
    out->index_known = isfinite(in->index_open);
    out->index = in->index_open;
    out->index_s = used_s(p, from, PLAN_USE_INDEX);
    out->distal = in->index_compressed < in->limits.index_least ||
                  (from->readiness.exclusions & (unsigned)EXCLUDE_DISTAL) != 0;
    out->excluded =
        (from->readiness.exclusions & ~(unsigned)EXCLUDE_DISTAL) != 0;
}

/* The chances against the limits; what was said needs to be clearly less. */
static bool is_at_risk(const struct predicting *p, const struct prediction *x)
{
    double share =
        p->said ? 1.0 - predicted_get(p, P_HYSTERESIS_PCT) / 100.0 : 1.0;

    return x->p_index_low >
               share * predicted_get(p, P_PLAN_RISK_INDEX_MOST_PCT) / 100.0 ||
           x->p_index_falls >
               share * predicted_get(p, P_PLAN_RISK_FALL_MOST_PCT) / 100.0;
}

void predicted_judge(const struct predicting *p, struct prediction *x)
{
    x->state = is_at_risk(p, x) ? PREDICTION_AT_RISK : PREDICTION_SMALL;
}

unsigned predicted_missing(const struct plan_input *in)
{
    unsigned set = 0;

    set |= isfinite(in->map_mmhg) ? 0 : (unsigned)PLAN_NO_MAP;
    set |= isfinite(in->index_open) ? 0 : (unsigned)PLAN_NO_INDEX;
    set |=
        isfinite(in->index_compressed) ? 0 : (unsigned)PLAN_NO_INDEX_COMPRESSED;
    set |= isfinite(in->artery_mm) ? 0 : (unsigned)PLAN_NO_ARTERY;
    set |= in->flow_count >= 2 ? 0 : (unsigned)PLAN_NO_REPEAT;
    set |= in->method != METHOD_UNSTATED ? 0 : (unsigned)PLAN_NO_METHOD;
    return set;
}

static void ask_plan(const struct predicting *p, const struct history *h,
                     const struct findings *findings, struct plan_from *from)
{
    const struct plan_wish asked = { .prior = p->prior };
    struct readiness readiness;

    readiness_assess(h, p->policy, findings, &readiness);
    plan_from(h, p->policy, &readiness, &asked, from);
}

/* ---- the finding ---------------------------------------------------------------- */

static bool is_ground(enum plan_use use)
{
    return use == PLAN_USE_FLOW || use == PLAN_USE_INDEX ||
           use == PLAN_USE_INDEX_COMPRESSED || use == PLAN_USE_STATIC ||
           use == PLAN_USE_STENOSIS;
}

static enum urgency urgency_of(const struct predicting *p,
                               enum prediction_of of)
{
    const struct prediction *x = &p->findings->predictions[of];

    if (!x->index_known)
        return policy_urgency(p->policy, P_IS8_URGENCY_UNMEASURED);
    return policy_urgency(p->policy, of == PREDICT_OPENING
                                         ? P_IS8_URGENCY_OPENING
                                         : P_IS8_URGENCY_RISE);
}

/* The chance that lies further beyond its limit is the one that is named. */
static void name_limit(const struct predicting *p, const struct prediction *x,
                       struct finding *f)
{
    double low =
        100.0 * x->p_index_low / predicted_get(p, P_PLAN_RISK_INDEX_MOST_PCT);
    double fall =
        100.0 * x->p_index_falls / predicted_get(p, P_PLAN_RISK_FALL_MOST_PCT);

    f->limit =
        low >= fall ? P_PLAN_RISK_INDEX_MOST_PCT : P_PLAN_RISK_FALL_MOST_PCT;
    f->measured = f->peak =
        100.0 * (low >= fall ? x->p_index_low : x->p_index_falls);
}

static void sort_evidence(const struct history *h, struct finding *f)
{
    for (size_t i = 1; i < f->evidence_count; i++) {
        size_t x = f->evidence[i], k = i;

        for (; k > 0 &&
               h->readings[f->evidence[k - 1]].start_s > h->readings[x].start_s;
             k--)
            f->evidence[k] = f->evidence[k - 1];
        f->evidence[k] = x;
    }
}

void predicted_add(struct predicting *p, enum prediction_of of,
                   const struct plan_from *from, const struct rising *rising)
{
    struct work w = { .h = p->h, .policy = p->policy, .out = p->findings };
    const struct prediction *x = &p->findings->predictions[of];
    struct finding *f = work_find(&w, RULE_IS_8);
    enum urgency urgency = urgency_of(p, of);
    bool first = f == NULL;

    if (first) {
        f = work_add(&w, RULE_IS_8);
        f->quantity = Q_DIGITAL_BRACHIAL_INDEX;
        f->urgency = urgency;
    }
    if (first || urgency > f->urgency) {
        f->urgency = urgency;
        name_limit(p, x, f);
    }
    for (size_t i = 0; i < from->ground_count; i++) {
        if (is_ground(from->grounds[i].use))
            work_rest_on(&w, f, from->grounds[i].reading);
    }
    for (size_t i = 0; rising != NULL && i < rising->count; i++)
        work_rest_on_point(&w, f, &rising->now[i]);
    sort_evidence(p->h, f);
    f->historic = work_is_old(&w, f->at_s);
    p->findings->why[RULE_IS_8] = WHY_HOLDS;
}

/* ---- opening --------------------------------------------------------------------- */

void predicted_as_of(const struct predicting *p, int64_t until_s,
                     struct plan_from *from)
{
    struct history h = *p->h;
    struct findings findings;

    h.now_s = until_s;
    while (h.count > 0 && h.readings[h.count - 1].start_s > until_s)
        h.count--;
    rules_evaluate(&h, p->policy, &findings);
    ask_plan(p, &h, &findings, from);
}

/* When the newest was measured of what an opening is predicted from. */
static int64_t newest_ground_s(const struct predicting *p)
{
    for (size_t i = p->h->count; i-- > 0;) {
        const struct reading *r = &p->h->readings[i];

        if (reading_counts(r) && (r->quantity == Q_ACCESS_FLOW ||
                                  r->quantity == Q_STATIC_ACCESS_PRESSURE ||
                                  r->quantity == Q_STATIC_VENOUS_PRESSURE))
            return r->start_s +
                   (int64_t)(predicted_get(p, P_SESSION_H) * HOUR_S);
    }
    return p->h->now_s;
}

static bool is_enough(const struct plan_from *from)
{
    return has_flow(from) && isfinite(from->in.static_mmhg) &&
           from->in.stenosis_frac > 0.0;
}

static void take_outflow(const struct predicting *p, const struct plan *plan,
                         struct prediction *x)
{
    const struct plan_outflow *o = &plan->outflow;

    x->flow_after_ml_min = o->flow_ml_min;
    x->index_before = o->index_before;
    x->index_after = o->index;
    x->p_index_low = o->p_index_low;
    x->p_index_falls = o->p_index_falls;
    if (!x->distal && !x->excluded) {
        x->zone_dowel_mm = o->zone_dowel_mm;
        x->holding_dowel_mm = o->holding_dowel_mm;
    }
    predicted_judge(p, x);
}

/* Not while a case goes on: its own plan says what opening would do. */
static void predict_opening(struct predicting *p)
{
    struct prediction *x = &p->findings->predictions[PREDICT_OPENING];
    struct plan_from from;
    struct plan plan;

    ask_plan(p, p->h, p->findings, &from);
    if ((from.readiness.cautions & (unsigned)CAUTION_OUTFLOW) == 0 ||
        from.case_s != INT64_MIN)
        return;
    /* What was put to people does not end because its readings grow old. */
    if (p->said && !is_enough(&from))
        predicted_as_of(p, newest_ground_s(p), &from);
    *x = predicted_nothing();
    predicted_fill(p, &from, x);
    if (from.in.stenosis_frac > 0.0)
        x->stenosis_pct = 100.0 * from.in.stenosis_frac;
    x->static_mmhg = from.in.static_mmhg;
    x->missing = predicted_missing(&from.in);
    x->missing |= isfinite(from.in.static_mmhg) ? 0 : (unsigned)PLAN_NO_STATIC;
    if (!is_enough(&from) || p->work == NULL ||
        plan_make(&from.in, p->work, &plan) != ERR_OK)
        return;
    if ((plan.warnings & PLAN_CONFLICT) != 0) {
        x->state = PREDICTION_CONFLICT;
        return;
    }
    take_outflow(p, &plan, x);
    if (x->state == PREDICTION_AT_RISK)
        predicted_add(p, PREDICT_OPENING, &from, NULL);
}

/* ---- all ------------------------------------------------------------------------------ */

static enum why why_not(const struct findings *findings)
{
    static const enum why words[] = {
        [PREDICTION_NO_GROUND] = WHY_NO_READING,
        [PREDICTION_MISSING] = WHY_NO_PAIR,
        [PREDICTION_CONFLICT] = WHY_CONTRADICTORY,
        [PREDICTION_SMALL] = WHY_INSIDE,
    };
    enum prediction_state most = PREDICTION_NO_GROUND;

    for (int i = 0; i < PREDICTIONS; i++) {
        if (findings->predictions[i].state > most)
            most = findings->predictions[i].state;
    }
    return most == PREDICTION_AT_RISK ? WHY_HOLDS : words[most];
}

void rules_predict(const struct history *h, const struct policy *policy,
                   bool said, const struct prior *prior, struct plan_work *work,
                   struct findings *findings)
{
    struct predicting p = { .h = h,
                            .policy = policy,
                            .findings = findings,
                            .prior = prior,
                            .work = work,
                            .said = said };

    if (!rules_may_predict(h, policy))
        return;
    predict_opening(&p);
    predicted_rise(&p);
    findings->why[RULE_IS_8] = why_not(findings);
}

static bool is_closed_by_people(const struct episode *e)
{
    return e->state == EPISODE_DECLINED || e->state == EPISODE_DONE ||
           e->state == EPISODE_VOID;
}

void rules_join_flow(struct findings *findings, const struct episode *flow,
                     const struct episode *hand)
{
    bool open = flow->state == EPISODE_OPEN || flow->state == EPISODE_TAKEN;
    bool high = false, other = false;
    struct finding *risk = NULL;

    for (size_t i = 0; i < findings->count; i++) {
        struct finding *f = &findings->list[i];
        enum group group = rule_info(f->rule)->group;

        if (f->rule == RULE_IS_8)
            risk = f;
        else if (group == GROUP_HAND)
            other = other || f->urgency > URGENCY_NOTE;
        else if (group == GROUP_FLOW && f->confirmed)
            high =
                high || (f->urgency > URGENCY_NOTE && (open || !f->historic));
    }
    if (risk != NULL)
        risk->with_flow = high && !other && !is_closed_by_people(flow) &&
                          hand->state != EPISODE_OPEN &&
                          hand->state != EPISODE_TAKEN;
}
