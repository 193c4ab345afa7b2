/* The rules on what an outflow or an inflow stenosis does beside the flow:
 * the static pressure rises, blood recirculates. */
#include "planner/rules_work.h"
#include "planner/series.h"

#include <math.h>

/* Why a run of a quantity does not hold. */
static enum why why_not(const struct work *w, const struct run_rule *rule,
                        enum quantity quantity, const struct point *points,
                        size_t count)
{
    struct point all[POINTS_MAX];

    if (count > 0)
        return work_why_not_now(w, rule, points, count);
    /* measured, but too near to what was done */
    return series_collect(w->h, w->policy, quantity, false, all, POINTS_MAX) > 0
               ? WHY_STAGE
               : WHY_NO_READING;
}

/* So many in a row within so many days, the first and the last of them. */
static struct run_rule pressure_rule(const struct work *w, enum param limit)
{
    return (struct run_rule){ .limit = work_get(w, limit),
                              .above = true,
                              .strict = true,
                              .readings = work_count(w, P_LF4_READINGS),
                              .window_d = work_count(w, P_LF4_WINDOW_D),
                              .span_d = work_count(w, P_LF4_WINDOW_D),
                              .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
}

static void pressure_finding(struct work *w, enum param limit)
{
    struct run_rule rule = pressure_rule(w, limit);
    struct point points[POINTS_MAX];
    size_t n = series_collect(w->h, w->policy, Q_STATIC_PRESSURE_RATIO, true,
                              points, POINTS_MAX);
    const struct point *newest;
    struct finding *f;
    struct run run;

    if (!run_best(&rule, points, n, &run)) {
        work_not(w, RULE_LF_4,
                 why_not(w, &rule, Q_STATIC_PRESSURE_RATIO, points, n));
        return;
    }
    newest = &points[run.points[run.count - 1]];
    if (newest->at_s < w->intervention_s) {
        work_not(w, RULE_LF_4, WHY_STAGE);
        return;
    }
    f = work_add(w, RULE_LF_4);
    f->urgency = work_urgency(w, P_LF4_URGENCY);
    f->limit = limit;
    f->quantity = Q_STATIC_PRESSURE_RATIO;
    f->measured = newest->value;
    for (size_t i = 0; i < run.count; i++) {
        work_rest_on_point(w, f, &points[run.points[i]]);
        f->peak = fmax(f->peak, points[run.points[i]].value);
    }
}

/* Does the newest ratio, or a run of them, lie beyond the lower of two limits
 * where it is not beyond the higher? */
static bool lies_between(const struct work *w, enum param lower,
                         enum param higher)
{
    struct run_rule low = pressure_rule(w, lower);
    struct run_rule high = pressure_rule(w, higher);
    struct point points[POINTS_MAX];
    size_t n = series_collect(w->h, w->policy, Q_STATIC_PRESSURE_RATIO, true,
                              points, POINTS_MAX);
    struct run run;

    if (n == 0 || points[n - 1].at_s < w->intervention_s)
        return false;
    return run_best(&low, points, n, &run) ||
           (run_beyond(&low, &points[n - 1]) &&
            !run_beyond(&high, &points[n - 1]));
}

/* A ratio above the higher of the two limits is high for both types. */
static void pressure_of_either(struct work *w)
{
    bool graft =
        work_get(w, P_LF4_RATIO_GRAFT) > work_get(w, P_LF4_RATIO_FISTULA);
    enum param higher = graft ? P_LF4_RATIO_GRAFT : P_LF4_RATIO_FISTULA;
    enum param lower = graft ? P_LF4_RATIO_FISTULA : P_LF4_RATIO_GRAFT;

    pressure_finding(w, higher);
    if (work_find(w, RULE_LF_4) == NULL && lies_between(w, lower, higher))
        w->out->why[RULE_LF_4] = WHY_TYPE_UNKNOWN;
}

void rules_pressure(struct work *w)
{
    if (w->h->access_type == SIGN_TYPE_AVG)
        pressure_finding(w, P_LF4_RATIO_GRAFT);
    else if (w->h->access_type == SIGN_TYPE_AVF)
        pressure_finding(w, P_LF4_RATIO_FISTULA);
    else
        pressure_of_either(w);
}

/* Ultrasound dilution sees the recirculation of the access alone; samples of
 * urea, thermodilution, and perhaps a method that is not stated, that of heart
 * and lungs too. */
static enum param recirculation_limit(enum method method)
{
    return method == METHOD_ULTRASOUND_DILUTION ? P_LF5_DILUTION_PCT
                                                : P_LF5_PCT;
}

/* A low dose makes it matter more.  It does not make an older recirculation
 * new. */
static void with_low_dose(struct work *w, struct finding *f)
{
    const struct finding *dose = work_find(w, RULE_AD_1);
    int64_t at_s = f->at_s;
    struct point newest;

    if (work_newest_spktv_low(w, &newest))
        work_rest_on_point(w, f, &newest);
    else if (dose != NULL && dose->at_s >= work_days_ago(w, P_AD1_WINDOW_D))
        work_rest_on(w, f, dose->evidence[dose->evidence_count - 1]);
    else
        return;
    f->at_s = at_s;
    f->urgency = work_urgency(w, P_LF5_URGENCY_DOSE);
}

static void recirculation_finding(struct work *w, const struct point *points,
                                  const struct run *run)
{
    const struct point *newest = &points[run->points[run->count - 1]];
    struct finding *f;

    if (newest->at_s < w->intervention_s) {
        work_not(w, RULE_LF_5, WHY_STAGE);
        return;
    }
    f = work_add(w, RULE_LF_5);
    f->urgency = work_urgency(w, P_LF5_URGENCY);
    f->limit = recirculation_limit(newest->method);
    f->quantity = Q_RECIRCULATION;
    f->measured = newest->value;
    for (size_t i = 0; i < run->count; i++) {
        work_rest_on_point(w, f, &points[run->points[i]]);
        f->peak = fmax(f->peak, points[run->points[i]].value);
    }
    with_low_dose(w, f);
}

/* Each value as a share of the limit of its method, so that one run rule
 * serves all methods. */
void rules_recirculation(struct work *w)
{
    struct run_rule rule = { .limit = 1.0,
                             .above = true,
                             .strict = true,
                             .readings = work_count(w, P_LF5_READINGS),
                             .window_d = work_count(w, P_LF5_WINDOW_D),
                             .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    struct point points[POINTS_MAX], shares[POINTS_MAX];
    size_t n = series_collect(w->h, w->policy, Q_RECIRCULATION, true, points,
                              POINTS_MAX);
    struct run run;

    for (size_t i = 0; i < n; i++) {
        shares[i] = points[i];
        point_put(&shares[i],
                  points[i].value /
                      work_get(w, recirculation_limit(points[i].method)));
    }
    if (run_best(&rule, shares, n, &run))
        recirculation_finding(w, points, &run);
    else
        work_not(w, RULE_LF_5, why_not(w, &rule, Q_RECIRCULATION, shares, n));
}
