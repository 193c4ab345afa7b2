/* IS-6, IS-7: the flow that stands beside an ischaemia of the hand. */
#include "planner/rules_work.h"

#include "planner/series.h"

/* Is the ischaemia one of today: a flow measured since one of long ago says
 * nothing of it. */
static bool is_of_now(const struct work *w, const struct finding *f)
{
    return !f->historic && !work_is_old(w, f->at_s);
}

/* The most urgent finding of ischaemia that makes a referral, or NULL; one of
 * long ago only if there is no other. */
static struct finding *worst_ischaemia(struct work *w)
{
    struct finding *worst = NULL;

    for (size_t i = 0; i < w->out->count; i++) {
        struct finding *f = &w->out->list[i];

        if (rule_info(f->rule)->group != GROUP_HAND || !f->confirmed ||
            f->rule == RULE_IS_1 || f->urgency == URGENCY_NOTE)
            continue;
        if (worst == NULL || is_of_now(w, f) > is_of_now(w, worst) ||
            (is_of_now(w, f) == is_of_now(w, worst) &&
             f->urgency > worst->urgency))
            worst = f;
    }
    return worst;
}

/* Where this stage of the access begins.  Of what was done on a day, at no
 * known hour, a flow with an hour of that day may have been measured before. */
static bool is_of_this_stage(const struct work *w, const struct point *flow)
{
    const struct reading *first = &w->h->readings[flow->readings[0]];

    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (!reading_is_intervention(r))
            continue;
        if (flow->at_s < r->start_s ||
            (r->precision == AT_DAY && first->precision != AT_DAY &&
             flow->at_s < r->end_s))
            return false;
    }
    return true;
}

/* The flows that may stand beside the hand: what was done a few days ago may
 * have made the ischaemia, so no time after it is left out. */
struct flows {
    size_t count;
    struct point points[POINTS_MAX];
};

/* The newest valid flow of one method in this stage of the access, or NULL. */
static const struct point *newest_flow_by(const struct work *w,
                                          const struct flows *flows, int method)
{
    for (size_t i = flows->count; i-- > 0;) {
        const struct point *p = &flows->points[i];

        if ((int)p->method == method && !p->disagree)
            return is_of_this_stage(w, p) ? p : NULL;
    }
    return NULL;
}

/* High or low, and measured near enough to the ischaemia: sets *rule. */
static bool flow_says(const struct work *w, const struct point *flow,
                      int64_t at_s, enum rule *rule)
{
    struct reading r = { .value = flow->value, .bound = flow->bound };
    enum param window_d = P_IS6_WINDOW_D;

    *rule = RULE_IS_6;
    if (!reading_at_least(&r, work_get(w, P_IS6_FLOW))) {
        if (!reading_below(&r, work_get(w, P_IS7_FLOW)))
            return false; /* a bound that leaves it open */
        *rule = RULE_IS_7;
        window_d = P_IS7_WINDOW_D;
    }
    return flow->at_s >= at_s - (int64_t)work_count(w, window_d) * DAY_S;
}

/*
 * The flow that stands beside an ischaemia: the newest of all methods.  Where
 * two methods contradict each other about high and low, none does.
 */
static const struct point *flow_beside(const struct work *w,
                                       const struct flows *flows, int64_t at_s,
                                       enum rule *rule)
{
    const struct point *found = NULL;

    for (int m = 0; m < METHOD_COUNT; m++) {
        const struct point *p = newest_flow_by(w, flows, m);
        enum rule says;

        if (p == NULL || !flow_says(w, p, at_s, &says))
            continue;
        if (found != NULL && says != *rule)
            return NULL;
        if (found == NULL || p->at_s > found->at_s)
            found = p;
        *rule = says;
    }
    return found;
}

/* Which flow stands beside an ischaemia decides what can be done. */
void rules_hand_and_flow(struct work *w)
{
    struct finding *worst = worst_ischaemia(w), *f;
    const struct point *flow;
    enum rule rule = RULE_IS_6;
    struct flows flows;

    if (worst == NULL) {
        work_not(w, RULE_IS_6, WHY_NO_ISCHAEMIA);
        work_not(w, RULE_IS_7, WHY_NO_ISCHAEMIA);
        return;
    }
    flows.count = series_collect(w->h, w->policy, Q_ACCESS_FLOW, false,
                                 flows.points, POINTS_MAX);
    flow = flow_beside(w, &flows, worst->at_s, &rule);
    if (flow == NULL) {
        worst->flow_unknown = true;
        work_not(w, RULE_IS_6, WHY_FLOW_UNKNOWN);
        work_not(w, RULE_IS_7, WHY_FLOW_UNKNOWN);
        return;
    }
    work_not(w, rule == RULE_IS_6 ? RULE_IS_7 : RULE_IS_6, WHY_INSIDE);
    f = work_add(w, rule);
    f->urgency = worst->urgency;
    f->grade = worst->grade;
    f->limit = rule == RULE_IS_6 ? P_IS6_FLOW : P_IS7_FLOW;
    f->measured = f->peak = flow->value;
    work_rest_on_point(w, f, flow);
    f->at_s = worst->at_s; /* it is the ischaemia that raises */
    f->historic = worst->historic;
}
