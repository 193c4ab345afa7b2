/*
 * PB-2: is the band too tight?  Four grounds, the most telling one leads:
 *
 *     thrill lost
 *     flow below what keeps an access open, or what the pump needs
 *     dose down while the pump flow prescribed is not reached
 *     strong suction before the pump
 *
 * One reading is enough in the first days, later it takes some in a row.
 */
#include "planner/band.h"
#include "planner/series.h"

#include <math.h>
#include <string.h>

/* ---- the grounds ------------------------------------------------------- */

/* What one ground found. */
struct ground {
    bool holds;
    enum why why; /* if it does not */
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
    g->holds = false;
    g->why = WHY_NO_READING;
    g->quantity = quantity;
    g->limit = limit;
    g->measured = g->peak = g->baseline = NAN;
    g->count = band_points(w, quantity, band_stage_s(w), g->points);
    g->rule =
        (struct run_rule){ .limit = work_get(w, limit),
                           .readings = work_count(w, P_PB2_READINGS_LATER),
                           .window_d = work_count(w, P_PB2_WINDOW_D),
                           .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT),
                           .skip_low_pressure = quantity == Q_ACCESS_FLOW };
}

/* Leave of a run what nothing interrupts, up to its newest point. */
static void keep_streak(const struct run_rule *rule, const struct point *points,
                        struct run *run)
{
    size_t first = run->count - 1;

    while (first > 0) {
        struct run before = *run;

        before.count = first;
        if (run_denied(rule, points, run->points[first], &before))
            break;
        first--;
    }
    run->count -= first;
    memmove(run->points, run->points + first,
            run->count * sizeof(run->points[0]));
}

/* Some in a row; or one of the first days that no later one denies. */
static bool is_beyond(const struct work *w, struct ground *g)
{
    int64_t early_s =
        w->band.change_s + (int64_t)work_count(w, P_PB2_EARLY_D) * DAY_S;
    struct run_rule once = g->rule;

    if (run_best(&g->rule, g->points, g->count, &g->run))
        return true;
    once.readings = 1;
    if (!run_best(&once, g->points, g->count, &g->run) ||
        run_denied(&once, g->points, g->count, &g->run))
        return false;
    keep_streak(&once, g->points, &g->run);
    return g->points[g->run.points[0]].at_s <= early_s;
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

/* The higher of two limits: what keeps this type open, as far as the type is
 * known, and what the pump takes, as far as that is prescribed. */
static void flow_ground(const struct work *w, struct ground *g)
{
    bool graft = w->h->access_type == SIGN_TYPE_AVG;
    bool known = graft || w->h->access_type == SIGN_TYPE_AVF;
    double prescribed_ml_min = newest_prescribed(w);
    double needed_ml_min = prescribed_ml_min + work_get(w, P_PB2_MARGIN);

    ground_init(w, g, Q_ACCESS_FLOW,
                graft ? P_PB2_FLOW_GRAFT : P_PB2_FLOW_FISTULA);
    if (isfinite(needed_ml_min) && (!known || needed_ml_min > g->rule.limit)) {
        g->limit = P_PB2_MARGIN;
        g->baseline = prescribed_ml_min;
        g->rule.limit = needed_ml_min;
    } else if (!known) {
        if (g->count > 0)
            g->why = WHY_TYPE_UNKNOWN;
        return;
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

/* The newest pump flow since: was it short of the prescribed one?  *index is
 * the reading that says so. */
static bool is_pump_short(const struct work *w, size_t *index)
{
    double days = (double)(w->h->now_s - band_stage_s(w)) / DAY_S;
    double pump_ml_min =
        series_newest(w->h, Q_PUMP_FLOW, w->h->now_s, days, index);

    return pump_ml_min <
           newest_prescribed(w) * work_get(w, P_LF6_PUMP_PCT) / 100.0;
}

/* Binary fractions: a fall of just the limit is not more than it. */
#define DOSE_ROUNDING 1e-9

static void dose_ground(const struct work *w, struct ground *g, size_t *pump)
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
}

/* Suction counts as a positive number, so that "inside" is weaker suction. */
static void pressure_ground(const struct work *w, struct ground *g)
{
    static const enum bound mirror[] = { [BOUND_NONE] = BOUND_NONE,
                                         [BOUND_BELOW] = BOUND_ABOVE,
                                         [BOUND_AT_MOST] = BOUND_AT_LEAST,
                                         [BOUND_AT_LEAST] = BOUND_AT_MOST,
                                         [BOUND_ABOVE] = BOUND_BELOW };

    ground_init(w, g, Q_ARTERIAL_LINE_PRESSURE, P_PB2_PRESSURE);
    for (size_t i = 0; i < g->count; i++) {
        g->points[i].value = -g->points[i].value;
        g->points[i].bound = mirror[g->points[i].bound];
    }
    g->rule.limit = -g->rule.limit;
    g->rule.above = g->rule.strict = true;
    judge(w, g);
    g->measured = -g->measured;
    g->peak = -g->peak;
}

/* The newest lost thrill that no later session denies; one of long ago does
 * not make an emergency of what is seen now.  *seen: thrill was looked for. */
static bool is_thrill_lost(const struct work *w, bool *seen, size_t *index)
{
    const struct reading *later = NULL;

    *seen = false;
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->start_s < band_stage_s(w))
            break;
        if (r->quantity != Q_THRILL || !r->present)
            continue;
        *seen = *seen || reading_counts(r);
        if (work_is_thrill_lost(r) && r->status != READING_WITHDRAWN) {
            *index = i;
            return later == NULL || readings_share_session(w->policy, r, later);
        }
        if (reading_counts(r) && later == NULL)
            later = r;
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
    return !work_is_old(w, g->points[g->run.points[g->run.count - 1]].at_s);
}

/* The first that holds leads, but one of long ago does not hide what is seen
 * now. */
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
static void rest_on_pump(const struct work *w, struct finding *f, size_t index)
{
    int64_t at_s = f->at_s;

    work_rest_on(w, f, index);
    f->at_s = at_s;
}

void band_too_tight(struct work *w)
{
    struct ground flow, dose, pressure;
    const struct ground *const grounds[] = { &flow, &dose, &pressure };
    size_t thrill_at = 0, pump_at = 0;
    bool seen, lost = is_thrill_lost(w, &seen, &thrill_at), holds;
    struct finding *f;

    flow_ground(w, &flow);
    dose_ground(w, &dose, &pump_at);
    pressure_ground(w, &pressure);
    holds = flow.holds || dose.holds || pressure.holds;
    if (!lost && !holds) {
        enum why why = heavier(flow.why, heavier(dose.why, pressure.why));

        work_not(w, RULE_PB_2, heavier(why, seen ? WHY_INSIDE : why));
        return;
    }
    f = work_add(w, RULE_PB_2);
    f->urgency = work_urgency(w, P_PB2_URGENCY);
    if (lost && !(holds && work_is_old(w, w->h->readings[thrill_at].start_s)))
        rest_on_thrill(w, f, thrill_at);
    rest_on_grounds(w, f, grounds, COUNT(grounds));
    if (dose.holds)
        rest_on_pump(w, f, pump_at);
}
