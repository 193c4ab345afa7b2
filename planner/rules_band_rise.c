/*
 * PB-4: does the effect of a band last?  Later flows are compared with the
 * first one after the band, or after whatever was done to the access since.
 */
#include "planner/band.h"

#include <math.h>

/* What the flows of one method say. */
struct rise {
    bool risen, still_high;
    enum why why; /* if neither */
    double base_ml_min;
    struct run_rule rule;
    struct run run;
    size_t count;
    struct point points[POINTS_MAX]; /* from the first after the band on */
};

/* The lower of two limits: far above the first flow and not low, or high and
 * somewhat above it. */
static void rising_limit(const struct work *w, struct rise *r)
{
    double risen = r->base_ml_min * (1.0 + work_get(w, P_PB4_RISE_PCT) / 100.0);
    double least =
        r->base_ml_min * (1.0 + work_get(w, P_PB4_RISE_LEAST_PCT) / 100.0);
    double far = fmax(risen, work_get(w, P_PB4_RISE_FLOW));
    double high = fmax(least, work_get(w, P_PB4_FLOW));

    r->rule.limit = fmin(far, high);
    r->rule.strict = far < high; /* more than, and at least */
}

/* Have two in a row of another method since lain inside the limit? */
static bool is_contradicted(const struct rise *r, int method,
                            const struct point *flow, size_t count)
{
    struct run_rule inside = { .limit = r->rule.limit *
                                        (1.0 - r->rule.hysteresis_pct / 100.0),
                               .readings = 2,
                               .window_d = r->rule.window_d };
    int64_t after_s = r->points[r->count - 1].at_s;
    size_t first = 0;
    struct run run;

    while (first < count && flow[first].at_s <= after_s)
        first++;
    for (int m = 0; m < METHOD_COUNT; m++) {
        run_walk(&inside, flow + first, count - first, (enum method)m, &run);
        if (m != method && run.on)
            return true;
    }
    return false;
}

static bool rise_holds(struct rise *r, int method, const struct point *flow,
                       size_t count)
{
    enum why why = work_why_not(&r->rule, r->points, r->count);

    if (r->why != WHY_TOO_FEW)
        r->why = why;
    return run_best(&r->rule, r->points, r->count, &r->run) &&
           !is_contradicted(r, method, flow, count);
}

static void see_rise(const struct work *w, int method, int64_t from_s,
                     const struct point *flow, size_t count, struct rise *r)
{
    r->risen = r->still_high = false;
    r->why = WHY_NO_READING;
    r->count = band_flows(w, method, from_s, flow, count, r->points);
    if (r->count == 0)
        return;
    r->base_ml_min = r->points[0].value;
    r->rule =
        (struct run_rule){ .above = true,
                           .readings = work_count(w, P_PB4_READINGS),
                           .window_d = work_count(w, P_PB4_WINDOW_D),
                           .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    rising_limit(w, r);
    r->risen = rise_holds(r, method, flow, count);
    if (r->risen)
        return;
    r->rule.limit = work_get(w, P_PB4_FLOW);
    r->rule.strict = false;
    r->still_high = rise_holds(r, method, flow, count);
}

static int64_t newest_s(const struct rise *r)
{
    return r->points[r->run.points[r->run.count - 1]].at_s;
}

/* A rise before what is high as before, and then the newer one. */
static bool says_more(const struct rise *a, const struct rise *b)
{
    if (!a->risen && !a->still_high)
        return false;
    if (!b->risen && !b->still_high)
        return true;
    if (a->risen != b->risen)
        return a->risen;
    return newest_s(a) > newest_s(b);
}

static double rise_pct(const struct rise *r, double flow_ml_min)
{
    return (flow_ml_min / r->base_ml_min - 1.0) * 100.0;
}

/* Each row in its own unit: per cent, or a flow. */
static void measure(const struct work *w, struct finding *f,
                    const struct rise *r, double newest, double most)
{
    bool far = r->risen && newest > work_get(w, P_PB4_RISE_FLOW) &&
               rise_pct(r, newest) > work_get(w, P_PB4_RISE_PCT);

    f->quantity = Q_ACCESS_FLOW;
    f->baseline = r->base_ml_min;
    f->limit = far ? P_PB4_RISE_PCT : P_PB4_FLOW;
    f->measured = far ? rise_pct(r, newest) : newest;
    f->peak = far ? rise_pct(r, most) : most;
}

/* The newest few: signs must not crowd out the flows. */
enum { SIGNS_KEPT = 6 };

/* A sign that is told now makes it more urgent, but not newer. */
static void add_sign(struct work *w, struct finding *f, enum rule rule)
{
    const struct finding *sign = work_find(w, rule);
    int64_t at_s = f->at_s;
    size_t i;

    if (sign == NULL || sign->historic || work_is_old(w, sign->at_s))
        return;
    i = sign->evidence_count > SIGNS_KEPT ? sign->evidence_count - SIGNS_KEPT
                                          : 0;
    for (; i < sign->evidence_count; i++)
        work_rest_on(w, f, sign->evidence[i]);
    f->at_s = at_s;
    f->with_sign = true;
    f->urgency = work_urgency(w, P_PB4_URGENCY_SIGN);
}

static void rest_on_rise(struct work *w, const struct rise *r)
{
    struct finding *f = work_add(w, RULE_PB_4);
    double most = 0, newest = 0;

    for (size_t i = 0; i < r->run.count; i++) {
        const struct point *p = &r->points[r->run.points[i]];

        work_rest_on_point(w, f, p);
        newest = p->value;
        most = fmax(most, newest);
    }
    /* last, so that it stays however many there are */
    work_rest_on_point(w, f, &r->points[0]);
    f->still_high = r->still_high;
    f->urgency = work_urgency(w, P_PB4_URGENCY);
    measure(w, f, r, newest, most);
    add_sign(w, f, RULE_IS_3);
    add_sign(w, f, RULE_HF_4);
}

void band_flow_rising(struct work *w)
{
    struct point flow[POINTS_MAX];
    int64_t from_s = band_stage_s(w);
    size_t count = band_points(w, Q_ACCESS_FLOW, from_s, flow);
    struct rise best = { .risen = false }, r;
    enum why why = WHY_NO_READING;

    for (int m = 0; m < METHOD_COUNT; m++) {
        see_rise(w, m, from_s, flow, count, &r);
        if (r.count > 0 && why != WHY_TOO_FEW)
            why = r.why;
        if (says_more(&r, &best))
            best = r;
    }
    if (best.risen || best.still_high)
        rest_on_rise(w, &best);
    else
        work_not(w, RULE_PB_4, why);
}
