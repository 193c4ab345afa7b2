/* IS-8 of a flow that has risen since the finger was measured. */
#include "planner/rules_predicted_work.h"

#include "planner/flow.h"
#include "planner/plan_rise.h"
#include "planner/series.h"

#include <math.h>

/* Where nobody has published how one method varies between sessions, no less
 * than the one that repeats itself best does: dilution (Huisman 2005, F). */
#define BETWEEN_CV_LEAST_PCT 14.2

static double least_change_pct(enum method method)
{
    const struct flow_precision *row;
    double cv_pct = BETWEEN_CV_LEAST_PCT, pct;

    if (flow_precision_of(method, &row) == ERR_OK) {
        if (row->between_cv_pct > 0.0)
            cv_pct = row->between_cv_pct;
        else if (row->within_cv_pct > cv_pct)
            cv_pct = row->within_cv_pct;
    }
    return flow_mdc(cv_pct, &pct) == ERR_OK ? pct : NAN;
}

/* An inflow that was opened, a band, another operation: the arm is not the one
 * whose index was measured.  An outflow that was opened leaves it the same. */
static bool changes_arm(const struct reading *r)
{
    return reading_is_intervention(r) && r->sign != SIGN_ANGIOPLASTY_OUTFLOW;
}

static bool is_same_arm(const struct predicting *p, int64_t since_s)
{
    for (size_t i = p->h->count; i-- > 0;) {
        const struct reading *r = &p->h->readings[i];

        if (changes_arm(r) && r->end_s > since_s)
            return false;
    }
    return true;
}

static bool find_index(const struct predicting *p, struct point *index)
{
    int64_t from_s =
        p->h->now_s - (int64_t)policy_count(p->policy, P_IS8_INDEX_D) * DAY_S;
    struct point points[POINTS_MAX];
    size_t n = series_collect(p->h, p->policy, Q_DIGITAL_BRACHIAL_INDEX, false,
                              points, POINTS_MAX);

    for (size_t i = n; i-- > 0 && points[i].at_s >= from_s;) {
        if (points[i].disagree || points[i].bound != BOUND_NONE)
            continue;
        *index = points[i];
        return is_same_arm(p, points[i].at_s);
    }
    return false;
}

static bool is_usable(const struct point *flow)
{
    return flow->bound == BOUND_NONE && !flow->disagree;
}

/* Until when the state of the index is told: its own session, or the first
 * flow after it where none was before it; INT64_MIN: no flow goes with it. */
static int64_t state_until_s(const struct predicting *p,
                             const struct point *index,
                             const struct point *flow, size_t n)
{
    int64_t pair_s = (int64_t)policy_count(p->policy, P_IS8_PAIR_D) * DAY_S;
    int64_t session_s = (int64_t)(predicted_get(p, P_SESSION_H) * HOUR_S);
    int64_t at_s = index->at_s + session_s;

    for (size_t i = n; i-- > 0;) {
        if (is_usable(&flow[i]) && flow[i].at_s <= at_s)
            return flow[i].at_s >= index->at_s - pair_s ? at_s : INT64_MIN;
    }
    for (size_t i = 0; i < n; i++) {
        if (is_usable(&flow[i]) && flow[i].at_s > at_s)
            return flow[i].at_s <= index->at_s + pair_s
                       ? flow[i].at_s + session_s
                       : INT64_MIN;
    }
    return INT64_MIN;
}

/* All of them, so that one high reading, or one low one beside the index, does
 * not make a rise. */
static bool have_risen(const struct rising *r, const struct prediction *x)
{
    double least = x->flow_ml_min * (1.0 + x->least_change_pct / 100.0);

    for (size_t i = 0; i < r->count; i++) {
        if (!(r->now[i].value > least))
            return false;
    }
    return true;
}

/* The newest flows of the method of the newest one, in a row, each of another
 * session and later than the state of the index; false: not as many as are
 * wanted. */
static bool take_newest(const struct predicting *p, const struct point *flow,
                        size_t n, int64_t until_s, struct rising *r)
{
    size_t wanted = (size_t)policy_count(p->policy, P_IS8_READINGS);

    r->count = 0;
    for (size_t i = n; i-- > 0 && r->count < wanted;) {
        if (flow[i].method != flow[n - 1].method || flow[i].again)
            continue;
        if (!is_usable(&flow[i]) || flow[i].at_s <= until_s)
            return false;
        r->now[r->count++] = flow[i];
    }
    return r->count > 0 && r->count == wanted;
}

/* Are the newest flows later than the index, by one method, and higher by more
 * than chance?  Cheap first. */
static bool find_rise(const struct predicting *p, struct rising *r,
                      struct prediction *x)
{
    int64_t valid_s = (int64_t)policy_count(p->policy, P_PLAN_VALID_D) * DAY_S;
    struct point flow[POINTS_MAX];
    size_t n =
        series_collect(p->h, p->policy, Q_ACCESS_FLOW, true, flow, POINTS_MAX);
    int64_t until_s = state_until_s(p, &r->index, flow, n);
    double sum = 0.0;

    if (until_s == INT64_MIN || !take_newest(p, flow, n, until_s, r) ||
        (!p->said && r->now[0].at_s < p->h->now_s - valid_s))
        return false;
    predicted_as_of(p, until_s, &r->from);
    predicted_fill(p, &r->from, x);
    for (size_t i = 0; i < r->count; i++)
        sum += r->now[i].value / (double)r->count;
    x->least_change_pct = least_change_pct(r->now[0].method);
    x->flow_after_ml_min = (struct plan_range){ sum, sum, sum };
    x->flow_after_s = r->now[0].at_s;
    return x->flow_known && x->index_known && r->from.case_s == INT64_MIN &&
           r->from.in.method == r->now[0].method && have_risen(r, x);
}

/* The mean of each session. */
static size_t flows_of(const struct rising *r, double values[PLAN_READS_MAX])
{
    for (size_t i = 0; i < r->count; i++)
        values[i] = r->now[i].value;
    return r->count;
}

void predicted_rise(struct predicting *p)
{
    struct prediction *at = &p->findings->predictions[PREDICT_RISE];
    struct prediction x = predicted_nothing();
    double flow[PLAN_READS_MAX], map_mmhg, usual_mmhg;
    struct plan_rise rise;
    struct rising r;

    if (!find_index(p, &r.index) || !find_rise(p, &r, &x))
        return;
    x.missing = predicted_missing(&r.from.in);
    *at = x;
    series_pressure_at(p->h, p->policy, r.now[0].readings[0], &map_mmhg,
                       &usual_mmhg);
    if (p->work == NULL || plan_rise(&r.from.in, flow, flows_of(&r, flow),
                                     map_mmhg, p->work, &rise) != ERR_OK)
        return;
    at->state = PREDICTION_CONFLICT;
    if (rise.conflict)
        return;
    at->index_before = rise.index_before;
    at->index_after = rise.index;
    at->p_index_low = rise.p_index_low;
    at->p_index_falls = rise.p_index_falls;
    predicted_judge(p, at);
    if (at->state == PREDICTION_AT_RISK)
        predicted_add(p, PREDICT_RISE, &r.from, &r);
}
