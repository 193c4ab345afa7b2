/*
 * PB-2: is the band too tight?  Four grounds, the most telling one leads:
 *
 *     thrill lost
 *     flow below what keeps an access open, or what the pump needs
 *     dose down while the pump flow prescribed is not reached
 *     strong suction before the pump
 *
 * One reading is enough in the first days, later it takes some in a row.  What
 * has begun ends as every run does.
 */
#include "planner/band.h"
#include "planner/series.h"

#include <math.h>

/* ---- the grounds ------------------------------------------------------- */

/* What one ground found. */
struct ground {
    bool holds;
    bool keeps;   /* it would not begin now, and has not ended since it did */
    enum why why; /* if it does not hold */
    enum quantity quantity;
    enum param limit;
    double measured, peak, baseline;
    struct run_rule rule;
    struct run run;
    size_t count;
    struct point points[POINTS_MAX];
};

static void ground_init(const struct work *w, struct ground *g,
                        enum quantity quantity, enum param limit)
{
    g->holds = g->keeps = false;
    g->why = WHY_NO_READING;
    g->quantity = quantity;
    g->limit = limit;
    g->measured = g->peak = g->baseline = NAN;
    g->count = band_points(w, quantity, band_stage_s(w), g->points);
    /* at a low pressure as well: a band that is too tight for it clots */
    g->rule =
        (struct run_rule){ .limit = work_get(w, limit),
                           .readings = work_count(w, P_PB2_READINGS_LATER),
                           .window_d = work_count(w, P_PB2_WINDOW_D),
                           .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
}

/* The values of a session are its mean: see work_session_means(). */
static void take_means(struct ground *g)
{
    for (size_t i = 0; i < g->count; i++)
        g->points[i].disagree = false;
}

static int64_t early_s(const struct work *w)
{
    return w->band.change_s + (int64_t)work_count(w, P_PB2_EARLY_D) * DAY_S;
}

/* Of how many points is the time at or before this? */
static size_t count_until(const struct ground *g, int64_t at_s)
{
    size_t n = 0;

    while (n < g->count && g->points[n].at_s <= at_s)
        n++;
    return n;
}

/* The newest value of a method; INT64_MIN if there is none. */
static int64_t newest_s(const struct ground *g, enum method method)
{
    for (size_t i = g->count; i-- > 0;) {
        if (g->points[i].method == method)
            return g->points[i].at_s;
    }
    return INT64_MIN;
}

/* Did one low value of the first days begin it, by this method, and did
 * nothing end it since? */
static bool goes_on(const struct work *w, const struct ground *g,
                    const struct run_rule *once, enum method method,
                    struct run *run)
{
    size_t early = count_until(g, early_s(w));
    struct run first;

    run_walk(once, g->points, early, method, &first);
    run_walk(once, g->points, g->count, method, run);
    return first.on && run->on && run->off_s <= g->points[early - 1].at_s &&
           !run_contradicted(once, g->points, g->count, method,
                             newest_s(g, method));
}

/* Does the newest of the first days, or one since that no value interrupts,
 * begin it now? */
static bool begins(const struct work *w, const struct ground *g,
                   const struct run_rule *once, const struct run *run)
{
    struct run before = *run;

    if (run_denied(once, g->points, g->count, run))
        return false;
    for (; before.count > 1; before.count--) {
        struct run rest = before;

        rest.count--;
        if (run_denied(once, g->points, before.points[before.count - 1], &rest))
            break;
    }
    return g->points[before.points[before.count - 1]].at_s <= early_s(w);
}

/* Some in a row; or one of the first days.  A single one that a later value
 * denies begins nothing; whether it had begun before that, and goes on, is
 * known from the same values. */
static bool is_beyond(const struct work *w, struct ground *g)
{
    struct run_rule once = g->rule;
    int64_t best_s = INT64_MIN;

    if (run_best(&g->rule, g->points, g->count, &g->run))
        return true;
    once.readings = 1;
    for (int m = 0; m < METHOD_COUNT; m++) {
        int64_t at_s = newest_s(g, (enum method)m);
        struct run run;

        if (at_s <= best_s || !goes_on(w, g, &once, (enum method)m, &run))
            continue;
        g->run = run;
        g->keeps = !begins(w, g, &once, &run);
        best_s = at_s;
    }
    return best_s != INT64_MIN;
}
static void judge(const struct work *w, struct ground *g)
{
    g->holds = is_beyond(w, g);
    g->why = work_why_not(&g->rule, g->points, g->count);
    for (size_t i = 0; g->holds && i < g->run.count; i++) {
        g->measured = g->points[g->run.points[i]].value;
        if (i == 0)
            g->peak = g->measured;
        g->peak = g->rule.above ? fmax(g->peak, g->measured)
                                : fmin(g->peak, g->measured);
    }
}

static double newest_prescribed(const struct work *w)
{
    return series_newest(w->h, Q_PRESCRIBED_PUMP_FLOW, w->h->now_s,
                         work_get(w, P_LOOKBACK_D), NULL);
}

/* What keeps this type open; of an unknown type, what both share. */
static enum param open_row(const struct work *w)
{
    if (w->h->access_type == SIGN_TYPE_AVG)
        return P_PB2_FLOW_GRAFT;
    if (w->h->access_type == SIGN_TYPE_AVF)
        return P_PB2_FLOW_FISTULA;
    return work_get(w, P_PB2_FLOW_GRAFT) < work_get(w, P_PB2_FLOW_FISTULA)
               ? P_PB2_FLOW_GRAFT
               : P_PB2_FLOW_FISTULA;
}

/* The higher of two limits: what keeps the access open, and what the pump
 * takes, as far as that is prescribed. */
static void flow_ground(const struct work *w, struct ground *g)
{
    double prescribed_ml_min = newest_prescribed(w);
    double needed_ml_min = prescribed_ml_min + work_get(w, P_PB2_MARGIN);

    ground_init(w, g, Q_ACCESS_FLOW, open_row(w));
    if (isfinite(needed_ml_min) && needed_ml_min > g->rule.limit) {
        g->limit = P_PB2_MARGIN;
        g->baseline = prescribed_ml_min;
        g->rule.limit = needed_ml_min;
    }
    judge(w, g);
}

/* Mean of the last doses before the band; NAN if they are too few. */
static double dose_before(const struct work *w)
{
    struct point points[POINTS_MAX];
    size_t n =
        series_collect(w->h, w->policy, Q_SPKTV, false, points, POINTS_MAX);
    int most = work_count(w, P_AD2_BASELINE_MOST), used = 0;
    double sum = 0;

    for (size_t i = n; i-- > 0 && used < most;) {
        if (points[i].at_s >= w->band.at_s || points[i].disagree ||
            points[i].bound != BOUND_NONE)
            continue;
        sum += points[i].value;
        used++;
    }
    return used >= work_count(w, P_AD2_BASELINE_LEAST) ? sum / used : NAN;
}

/* Was the pump flow since short of the prescribed one, and has not clearly
 * reached it since?  As every run, by what was reached in per cent. */
static bool is_pump_short(const struct work *w, struct ground *pump)
{
    double prescribed_ml_min = newest_prescribed(w);

    ground_init(w, pump, Q_PUMP_FLOW, P_LF6_PUMP_PCT);
    take_means(pump);
    if (!(prescribed_ml_min > 0))
        return false;
    pump->rule.limit *= prescribed_ml_min / 100.0;
    pump->rule.readings = 1;
    pump->holds = run_best(&pump->rule, pump->points, pump->count, &pump->run);
    pump->keeps = pump->holds && run_denied(&pump->rule, pump->points,
                                            pump->count, &pump->run);
    return pump->holds;
}

/* Binary fractions: a fall of just the limit is not more than it. */
#define DOSE_ROUNDING 1e-9

static void dose_ground(const struct work *w, struct ground *g,
                        struct ground *pump)
{
    double mean = dose_before(w);

    ground_init(w, g, Q_SPKTV, P_PB2_DOSE_FALL);
    if (g->count == 0)
        return;
    g->why = WHY_NO_BASELINE;
    if (isnan(mean))
        return;
    g->baseline = mean;
    g->rule.limit = mean - work_get(w, P_PB2_DOSE_FALL) - DOSE_ROUNDING;
    judge(w, g);
    if (!g->holds)
        return;
    /* a fall, as the row counts it */
    g->measured = mean - g->measured;
    g->peak = mean - g->peak;
    g->why = WHY_NO_PAIR;
    g->holds = is_pump_short(w, pump);
    g->keeps = g->keeps || pump->keeps;
}

static void pressure_ground(const struct work *w, struct ground *g)
{
    ground_init(w, g, Q_ARTERIAL_LINE_PRESSURE, P_PB2_PRESSURE);
    take_means(g);
    judge(w, g); /* the stronger the suction, the lower */
}

/* Was the thrill looked for since? */
static bool is_thrill_known(const struct work *w)
{
    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (r->end_s > band_stage_s(w) && r->quantity == Q_THRILL &&
            r->present && reading_counts(r))
            return true;
    }
    return false;
}

/* ---- the finding ------------------------------------------------------- */

static void rest_on_ground(const struct work *w, struct finding *f,
                           const struct ground *g)
{
    for (size_t i = 0; i < g->run.count; i++)
        work_rest_on_point(w, f, &g->points[g->run.points[i]]);
    if (f->quantity != Q_NONE)
        return;
    f->quantity = g->quantity;
    f->limit = g->limit;
    f->measured = g->measured;
    f->peak = g->peak;
    f->baseline = g->baseline;
}

static bool is_new(const struct work *w, const struct ground *g)
{
    return !g->keeps &&
           !work_is_old(w, g->points[g->run.points[g->run.count - 1]].at_s);
}

/* The first that holds leads, but one of long ago, or that was denied, does
 * not hide what is seen now. */
static void rest_on_grounds(const struct work *w, struct finding *f,
                            const struct ground *const *grounds, size_t count)
{
    for (int old = 0; old <= 1; old++) {
        for (size_t i = 0; i < count; i++) {
            if (grounds[i]->holds && is_new(w, grounds[i]) == (old == 0))
                rest_on_ground(w, f, grounds[i]);
        }
    }
}

/* How much a reason says, of grounds that do not hold. */
static int weight(enum why why)
{
    switch ((int)why) {
    case WHY_TOO_FEW:
        return 4;
    case WHY_NO_PAIR:
        return 3;
    case WHY_TYPE_UNKNOWN:
        return 2;
    case WHY_INSIDE:
        return 1;
    default:
        return 0;
    }
}

static enum why heavier(enum why a, enum why b)
{
    return weight(b) > weight(a) ? b : a;
}

static void rest_on_thrill(const struct work *w, struct finding *f,
                           size_t index)
{
    work_rest_on(w, f, index);
    f->quantity = Q_THRILL;
    f->limit = P_LF6_URGENCY_THRILL_LOST;
    f->urgency = work_urgency(w, P_LF6_URGENCY_THRILL_LOST);
    f->with_sign = true;
}

/* It is the dose that says so: a pump flow does not make it new. */
static void rest_on_pump(const struct work *w, struct finding *f,
                         const struct ground *pump)
{
    int64_t at_s = f->at_s;

    work_rest_on_point(w, f,
                       &pump->points[pump->run.points[pump->run.count - 1]]);
    f->at_s = at_s;
}

/* The most telling reason why none of the grounds holds. */
static enum why why_none(const struct work *w,
                         const struct ground *const *grounds, size_t count)
{
    enum why why = is_thrill_known(w) ? WHY_INSIDE : WHY_NO_READING;

    for (size_t i = 0; i < count; i++)
        why = heavier(grounds[i]->why, why);
    return why;
}

/* A thrill that was lost long ago does not make an emergency of what is seen
 * now. */
void band_too_tight(struct work *w)
{
    struct ground flow, dose, pressure, pump;
    const struct ground *const grounds[] = { &flow, &dose, &pressure };
    size_t thrill_at = 0;
    bool lost = work_thrill_lost(w, band_stage_s(w), &thrill_at);
    bool holds = false, keeps = true;
    struct finding *f;

    flow_ground(w, &flow);
    dose_ground(w, &dose, &pump);
    pressure_ground(w, &pressure);
    for (size_t i = 0; i < COUNT(grounds); i++) {
        holds = holds || grounds[i]->holds;
        keeps = keeps && (!grounds[i]->holds || grounds[i]->keeps);
    }
    if (!lost && !holds) {
        work_not(w, RULE_PB_2, why_none(w, grounds, COUNT(grounds)));
        return;
    }
    f = work_add(w, RULE_PB_2);
    f->urgency = work_urgency(w, P_PB2_URGENCY);
    f->historic = !lost && keeps;
    if (lost && !(holds && work_is_old(w, w->h->readings[thrill_at].start_s)))
        rest_on_thrill(w, f, thrill_at);
    rest_on_grounds(w, f, grounds, COUNT(grounds));
    if (dose.holds)
        rest_on_pump(w, f, &pump);
}
