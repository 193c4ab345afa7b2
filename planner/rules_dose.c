/* The rule on the dose of dialysis below the minimum. */
#include "planner/rules_work.h"
#include "planner/series.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

/* The limits of a single session are for so many a week. */
#define SESSIONS_PER_WEEK 3.0

/* One measure of the dose, and whether it is too low. */
struct dose {
    enum quantity quantity;
    enum param limit;
    struct run_rule rule;
    struct run run;
    size_t count;
    struct point points[POINTS_MAX];
};

/* The room for points is left as it is: clearing it takes longer than most
 * reviews need for the rule. */
static void dose_begin(struct dose *d, enum quantity quantity, enum param limit)
{
    memset(d, 0, offsetof(struct dose, points));
    d->quantity = quantity;
    d->limit = limit;
}

static double standing(const struct work *w, enum quantity quantity)
{
    return series_newest(w->h, quantity, w->h->now_s, SERIES_STANDING_D, NULL);
}

static bool has_residual(const struct work *w)
{
    return standing(w, Q_RESIDUAL_UREA_CLEARANCE) >= work_get(w, P_AD1_KRU);
}

bool work_spktv_applies(const struct work *w)
{
    double sessions = standing(w, Q_SESSIONS_PER_WEEK);

    return !has_residual(w) &&
           (isnan(sessions) || sessions == SESSIONS_PER_WEEK);
}

static const struct point *newest_of(const struct dose *d)
{
    return &d->points[d->run.points[d->run.count - 1]];
}

static bool run_of(struct work *w, struct dose *d)
{
    if (!run_best(&d->rule, d->points, d->count, &d->run)) {
        work_not(w, RULE_AD_1,
                 d->count > 0
                     ? work_why_not_now(w, &d->rule, d->points, d->count)
                     : WHY_NO_READING);
        return false;
    }
    if (newest_of(d)->at_s < w->intervention_s) {
        work_not(w, RULE_AD_1, WHY_STAGE);
        return false;
    }
    return true;
}

static void take_points(const struct work *w, struct dose *d)
{
    d->count = series_collect(w->h, w->policy, d->quantity, false, d->points,
                              POINTS_MAX);
    d->rule =
        (struct run_rule){ .limit = work_get(w, d->limit),
                           .readings = work_count(w, P_AD1_READINGS),
                           .window_d = work_count(w, P_AD1_WINDOW_D),
                           .apart_d = work_get(w, P_AD1_APART_D),
                           .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
}

/* Below the limit, so many readings in a row. */
static bool is_low(struct work *w, struct dose *d)
{
    take_points(w, d);
    return run_of(w, d);
}

static void rest_on_run(const struct work *w, struct finding *f,
                        const struct dose *d)
{
    f->quantity = d->quantity;
    f->limit = d->limit;
    f->measured = newest_of(d)->value;
    for (size_t i = 0; i < d->run.count; i++) {
        const struct point *p = &d->points[d->run.points[i]];

        work_rest_on_point(w, f, p);
        f->peak = fmin(f->peak, p->value); /* the one that is a number */
    }
}

static struct finding *low_dose(struct work *w, const struct dose *d)
{
    struct finding *f = work_add(w, RULE_AD_1);

    f->urgency = work_urgency(w, P_AD1_URGENCY);
    rest_on_run(w, f, d);
    return f;
}

/* One value is enough; it is over when two lie well above.  f: what was found
 * of the dose so far, or NULL. */
static void very_low(struct work *w, struct finding *f)
{
    struct dose d;

    dose_begin(&d, Q_SPKTV, P_AD1_SPKTV_SEVERE);
    take_points(w, &d);
    d.rule.readings = 1;
    d.rule.apart_d = 0;
    if (!run_of(w, &d))
        return;
    if (f == NULL)
        f = low_dose(w, &d);
    else
        rest_on_run(w, f, &d);
    f->severe = true;
    f->urgency = work_urgency(w, P_AD1_URGENCY_SEVERE);
}

static void single_pool(struct work *w)
{
    struct dose d;

    dose_begin(&d, Q_SPKTV, P_AD1_SPKTV);
    very_low(w, is_low(w, &d) ? low_dose(w, &d) : NULL);
}

/* For schedules of which the limit of a session says nothing; but that a
 * session gave very little says that something is wrong with it, whatever is
 * left of the kidneys.  Of more than three a week each may give little. */
static void standard(struct work *w)
{
    struct dose d;
    struct finding *f = NULL;
    const struct point *newest;

    dose_begin(&d, Q_STDKTV, P_AD1_STDKTV);
    d.count =
        series_collect(w->h, w->policy, Q_STDKTV, false, d.points, POINTS_MAX);
    newest = d.count > 0 ? &d.points[d.count - 1] : NULL;
    /* what is only known to be more than a value below the limit says
     * nothing */
    if (newest == NULL || (newest->bound != BOUND_NONE &&
                           newest->value < work_get(w, P_AD1_STDKTV)))
        work_not(w, RULE_AD_1, WHY_SCHEDULE);
    if (is_low(w, &d))
        f = low_dose(w, &d);
    if (!(standing(w, Q_SESSIONS_PER_WEEK) > SESSIONS_PER_WEEK))
        very_low(w, f);
}

/* Was a single-pool Kt/V measured of late? */
static const struct point *recent_spktv(const struct work *w,
                                        struct point points[POINTS_MAX])
{
    int64_t from_s =
        w->h->now_s - (int64_t)work_count(w, P_AD1_WINDOW_D) * DAY_S;
    size_t n =
        series_collect(w->h, w->policy, Q_SPKTV, false, points, POINTS_MAX);

    while (n > 0 && points[n - 1].disagree)
        n--;
    return n > 0 && points[n - 1].at_s >= from_s ? &points[n - 1] : NULL;
}

bool work_newest_spktv_low(const struct work *w, struct point *newest)
{
    struct run_rule rule = { .limit = work_get(w, P_AD1_SPKTV) };
    struct point points[POINTS_MAX];
    const struct point *p = recent_spktv(w, points);

    if (p == NULL || !work_spktv_applies(w) || !run_beyond(&rule, p))
        return false;
    *newest = *p;
    return true;
}

/* The urea reduction, only where nothing better is there. */
static bool reduction(struct work *w)
{
    struct dose d;
    double sessions;

    dose_begin(&d, Q_URR, P_AD1_URR_PCT);
    if (recent_spktv(w, d.points) != NULL)
        return false;
    /* a schedule that is not known disqualifies nothing; the text says so */
    sessions = standing(w, Q_SESSIONS_PER_WEEK);
    if (!isnan(sessions) && sessions != SESSIONS_PER_WEEK) {
        if (!isnan(series_newest(w->h, Q_URR, w->h->now_s,
                                 work_count(w, P_AD1_WINDOW_D), NULL)))
            work_not(w, RULE_AD_1, WHY_SCHEDULE);
        return false;
    }
    if (!is_low(w, &d))
        return false;
    low_dose(w, &d);
    return true;
}

/* Said at another access; but a fall is evidence of what a low flow of this
 * one means. */
static void beside_low_flow(struct work *w)
{
    work_not(w, RULE_AD_1, WHY_OTHER_ACCESS);
    work_not(w, RULE_AD_2, WHY_OTHER_ACCESS);
    rules_dose_fall(w);
    work_remove(w, RULE_AD_2, WHY_OTHER_ACCESS);
}

void rules_dose(struct work *w)
{
    if (w->h->other_leads) {
        beside_low_flow(w);
        return;
    }
    if (!work_spktv_applies(w))
        standard(w);
    else if (!reduction(w))
        single_pool(w);
    rules_dose_fall(w);
}
