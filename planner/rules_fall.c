/*
 * The rule on a falling flow.  Each flow is compared with the mean of a few
 * before it, by the same method and in the same stage of the access; those
 * that have fallen themselves are no part of such a mean, so that a lasting
 * fall does not become the measure of what follows until the time that a mean
 * may reach back is over.  The falls, in per cent, make a row of points.
 */
#include "planner/flow.h"
#include "planner/rules_work.h"
#include "planner/series.h"

#include <math.h>

enum { BASELINE_MAX = 8 };

struct falls {
    size_t count;
    struct point row[POINTS_MAX]; /* value: fall in per cent */
    size_t flow[POINTS_MAX];      /* of each, its place in work.flow */
    bool fallen[POINTS_MAX];      /* of each flow */
};

struct baseline {
    double mean_ml_min;
    size_t count;
    size_t flow[BASELINE_MAX]; /* places in work.flow, newest first */
};

static bool is_measure(const struct point *p)
{
    return !p->disagree && !p->low_pressure && !p->again &&
           p->bound == BOUND_NONE;
}

/* What the flow at this place is compared with; false: too few before. */
static bool find_baseline(const struct work *w, const bool *fallen, size_t at,
                          struct baseline *b)
{
    const struct point *now = &w->flow[at];
    int window_d = work_count(w, P_LF3_BASELINE_D);
    size_t most = (size_t)work_count(w, P_LF3_BASELINE_MOST);
    bool own = now->again; /* the next before it is of its own session */
    double sum = 0;

    b->count = 0;
    for (size_t i = at; i > 0 && !w->flow[i].restart; i--) {
        const struct point *p = &w->flow[i - 1];

        if ((now->at_s - p->at_s) / DAY_S > window_d || b->count == most ||
            b->count == BASELINE_MAX)
            break;
        if (p->method != now->method)
            continue;
        if (own) {
            own = p->again;
            continue;
        }
        if (!is_measure(p) || fallen[i - 1])
            continue;
        b->flow[b->count++] = i - 1;
        sum += p->value;
    }
    b->mean_ml_min = sum / (double)b->count;
    return b->count > 0 &&
           b->count >= (size_t)work_count(w, P_LF3_BASELINE_LEAST);
}

/* Less flow is more of a fall. */
static enum bound turned(enum bound bound)
{
    static const enum bound other[] = { [BOUND_NONE] = BOUND_NONE,
                                        [BOUND_BELOW] = BOUND_ABOVE,
                                        [BOUND_AT_MOST] = BOUND_AT_LEAST,
                                        [BOUND_AT_LEAST] = BOUND_AT_MOST,
                                        [BOUND_ABOVE] = BOUND_BELOW };

    return other[bound];
}

/* The fall to a flow.  Where that is not below the limit for flows, its fall
 * counts as short of the limit for falls by as much.  NAN: none. */
static double fall_to(const struct work *w, const struct run_rule *rule,
                      const struct baseline *b, double value_ml_min)
{
    double flow_ml_min = work_get(w, P_LF3_FLOW);
    double fall_pct;

    if (flow_fall(b->mean_ml_min, value_ml_min, &fall_pct) != ERR_OK)
        return NAN;
    if (value_ml_min >= flow_ml_min)
        fall_pct = fmin(fall_pct, rule->limit * flow_ml_min / value_ml_min);
    return fall_pct;
}

/* All flows that can be compared. */
static void collect_falls(const struct work *w, const struct run_rule *rule,
                          struct falls *falls)
{
    bool restart = false;

    falls->count = 0;
    for (size_t i = 0; i < w->flow_count; i++) {
        const struct point *flow = &w->flow[i];
        struct point *p = &falls->row[falls->count];
        struct baseline b;
        double fall_pct;

        falls->fallen[i] = false;
        restart = restart || flow->restart;
        if (!find_baseline(w, falls->fallen, i, &b))
            continue;
        fall_pct = fall_to(w, rule, &b, flow->value);
        if (isnan(fall_pct))
            continue;
        *p = *flow;
        p->value = fall_pct;
        p->least = fall_to(w, rule, &b, flow->most);
        p->most = fall_to(w, rule, &b, flow->least);
        p->bound = turned(flow->bound);
        p->restart = restart;
        restart = false;
        falls->flow[falls->count++] = i;
        falls->fallen[i] = run_beyond(rule, p);
    }
}

static enum why why_not(const struct work *w, const struct run_rule *rule,
                        const struct falls *falls)
{
    size_t flows = w->flow_count, n = falls->count;

    if (flows == 0 || w->flow[flows - 1].at_s < w->intervention_s)
        return work_why_not_now(w, rule, w->flow, flows);
    if (n == 0 || falls->row[n - 1].at_s < w->intervention_s)
        return WHY_NO_BASELINE;
    return work_why_not_now(w, rule, falls->row, n);
}

static void add_fall(struct work *w, const struct falls *falls,
                     const struct run *run)
{
    size_t newest = falls->flow[run->points[run->count - 1]];
    struct finding *f = work_add(w, RULE_LF_3);
    struct baseline b;

    f->urgency = work_urgency(w, P_LF3_URGENCY);
    f->quantity = Q_ACCESS_FLOW;
    f->limit = P_LF3_FALL_PCT;
    f->measured = f->peak = w->flow[newest].value;
    for (size_t i = 0; i < run->count; i++) {
        const struct point *p = &w->flow[falls->flow[run->points[i]]];

        work_rest_on_point(w, f, p);
        f->peak = fmin(f->peak, p->value);
    }
    if (find_baseline(w, falls->fallen, newest, &b)) {
        f->baseline = b.mean_ml_min;
        for (size_t i = 0; i < b.count; i++)
            work_rest_on_point(w, f, &w->flow[b.flow[i]]);
    }
    series_pressure_at(w->h, w->policy, w->flow[newest].readings[0],
                       &f->mean_pressure_mmhg, &f->usual_pressure_mmhg);
    work_low_signs(w, f, P_LF3_SIGN_WINDOW_D, P_LF3_URGENCY_SIGN);
}

void rules_flow_fall(struct work *w)
{
    struct run_rule rule = work_run_rule(
        w, P_LF3_FALL_PCT, true, P_LF3_READINGS, P_LF3_OF_LAST, P_LF3_WINDOW_D);
    struct falls falls;
    struct run run;

    if (!work_is_in_use(w, RULE_LF_3))
        return;
    rule.strict = true;
    rule.skip_low_pressure = true;
    rule.alone = true; /* its own values before may have fallen already */
    collect_falls(w, &rule, &falls);
    if (run_best(&rule, falls.row, falls.count, &run) &&
        falls.row[run.points[run.count - 1]].at_s >= w->intervention_s)
        add_fall(w, &falls, &run);
    else
        work_not(w, RULE_LF_3, why_not(w, &rule, &falls));
}
