/* The rules on the dose of dialysis: below the minimum, and falling. */
#include "planner/rules_work.h"
#include "planner/series.h"
#include "planner/series_raw.h"

#include <math.h>

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
    struct dose d = { .quantity = Q_SPKTV, .limit = P_AD1_SPKTV_SEVERE };

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
    struct dose d = { .quantity = Q_SPKTV, .limit = P_AD1_SPKTV };

    very_low(w, is_low(w, &d) ? low_dose(w, &d) : NULL);
}

/* For schedules of which the limit of a session says nothing; but that a
 * session gave very little says that something is wrong with it, whatever is
 * left of the kidneys.  Of more than three a week each may give little. */
static void standard(struct work *w)
{
    struct dose d = { .quantity = Q_STDKTV, .limit = P_AD1_STDKTV };
    struct finding *f = NULL;
    const struct point *newest;

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
    struct dose d = { .quantity = Q_URR, .limit = P_AD1_URR_PCT };
    double sessions;

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

/* ---- falling --------------------------------------------------------------- */

/* What a session was meant to be; NAN where not known. */
struct prescription {
    double time_min, pump_ml_min;
};

struct falls {
    size_t count; /* of values, and of falls */
    struct point values[POINTS_MAX];
    struct prescription prescribed[POINTS_MAX];
    bool fallen[POINTS_MAX];
    struct point list[POINTS_MAX]; /* value: how far below its baseline */
    double baseline[POINTS_MAX];   /* of the falls */
    size_t fall_count;
    bool newest_has_baseline;
};

/* The value of the treatment, or NAN. */
static double of_treatment(const struct work *w, const struct point *p,
                           enum quantity quantity)
{
    size_t at;

    return raw_of_treatment(w->h, w->policy, p->readings[0], quantity, &at)
               ? w->h->readings[at].value
               : NAN;
}

/* A pump flow that was prescribed before stands until another is. */
static struct prescription prescription_of(const struct work *w,
                                           const struct point *p)
{
    struct prescription found = { of_treatment(w, p, Q_TREATMENT_TIME),
                                  of_treatment(w, p, Q_PRESCRIBED_PUMP_FLOW) };

    if (isnan(found.pump_ml_min))
        found.pump_ml_min = series_newest(w->h, Q_PRESCRIBED_PUMP_FLOW, p->at_s,
                                          SERIES_STANDING_D, NULL);
    return found;
}

static bool is_same(double a, double b, double within_pct)
{
    /* what is not known disqualifies nothing */
    return isnan(a) || isnan(b) || fabs(a - b) <= b / 100.0 * within_pct;
}

/* The mean of the newest points before one, of its method and prescription,
 * that have not fallen and lie on its side of every intervention; NAN.  None
 * older than a prescription is taken to stand: a dose that stays lower than
 * long ago is not falling. */
static double baseline_of(const struct work *w, const struct falls *s,
                          size_t at)
{
    int most = work_count(w, P_AD2_BASELINE_MOST), count = 0;
    double pct = work_get(w, P_AD2_SAME_PCT), sum = 0;
    const struct prescription *now = &s->prescribed[at];

    for (size_t i = at; i > 0 && count < most && !s->values[i].restart;) {
        const struct point *p = &s->values[--i];

        if ((double)(s->values[at].at_s - p->at_s) > SERIES_STANDING_D * DAY_S)
            break;
        if (p->method != s->values[at].method || p->disagree || p->again ||
            p->bound != BOUND_NONE || s->fallen[i] ||
            !is_same(now->time_min, s->prescribed[i].time_min, pct) ||
            !is_same(now->pump_ml_min, s->prescribed[i].pump_ml_min, pct))
            continue;
        sum += p->value;
        count++;
    }
    return count > 0 && count >= work_count(w, P_AD2_BASELINE_LEAST)
               ? sum / count
               : NAN;
}

/* Free of the noise of binary fractions: 1.6 less 1.4 is no more than 0.2. */
static double difference(double a, double b)
{
    return round((a - b) * 1e9) / 1e9;
}

static void collect_falls(const struct work *w, struct falls *s)
{
    bool restart = false;

    for (size_t i = 0; i < s->count; i++) {
        const struct point *p = &s->values[i];
        double baseline;

        s->prescribed[i] = prescription_of(w, p);
        s->fallen[i] = false;
        restart = restart || p->restart;
        if (p->disagree || p->bound != BOUND_NONE)
            continue;
        baseline = baseline_of(w, s, i);
        s->newest_has_baseline = !isnan(baseline);
        if (isnan(baseline))
            continue;
        s->list[s->fall_count] = *p;
        s->list[s->fall_count].value = difference(baseline, p->value);
        s->list[s->fall_count].restart = restart;
        s->fallen[i] = s->list[s->fall_count].value > work_get(w, P_AD2_FALL);
        s->baseline[s->fall_count++] = baseline;
        restart = false;
    }
}

/* A low flow that is confirmed and of now, or NULL. */
static struct finding *low_flow(struct work *w, enum param *urgency,
                                enum param *window_d)
{
    static const struct {
        enum rule rule;
        enum param urgency, window_d;
    } rows[] = {
        { RULE_LF_1, P_LF1_URGENCY_SIGN, P_LF1_SIGN_WINDOW_D },
        { RULE_LF_2, P_LF2_URGENCY_SIGN, P_LF2_SIGN_WINDOW_D },
        { RULE_LF_3, P_LF3_URGENCY_SIGN, P_LF3_SIGN_WINDOW_D },
    };

    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct finding *f = work_find(w, rows[i].rule);

        if (f == NULL || !f->confirmed || f->urgency <= URGENCY_NOTE ||
            f->historic || work_is_old(w, f->at_s))
            continue;
        *urgency = rows[i].urgency;
        *window_d = rows[i].window_d;
        return f;
    }
    return NULL;
}

/*
 * A fall of the dose on a constant prescription is a clinical indicator of
 * the access: beside a low flow it is said in the Task of that, and makes it
 * more urgent.  It does not make an older flow new.
 */
static void join_low_flow(struct work *w, struct finding *f,
                          const struct falls *s, const struct run *run)
{
    size_t used = (size_t)work_count(w, P_AD2_READINGS);
    enum param urgency, window_d;
    struct finding *low = low_flow(w, &urgency, &window_d);
    int64_t at_s;

    if (low == NULL ||
        w->h->now_s - f->at_s > (int64_t)work_count(w, window_d) * DAY_S)
        return;
    at_s = low->at_s;
    for (size_t i = run->count > used ? run->count - used : 0; i < run->count;
         i++)
        work_rest_on_point(w, low, &s->list[run->points[i]]);
    low->at_s = at_s;
    low->with_sign = true;
    if (work_urgency(w, urgency) > low->urgency)
        low->urgency = work_urgency(w, urgency);
    f->urgency = URGENCY_NOTE;
    f->elsewhere = true;
    f->with_sign = true;
}

static void fill_fall(struct work *w, const struct falls *s,
                      const struct run *run)
{
    size_t newest = run->points[run->count - 1];
    struct finding *f = work_add(w, RULE_AD_2);

    f->urgency = work_urgency(w, P_AD2_URGENCY);
    f->limit = P_AD2_FALL;
    f->quantity = Q_SPKTV;
    f->measured = s->list[newest].value;
    f->baseline = s->baseline[newest];
    for (size_t i = 0; i < run->count; i++) {
        work_rest_on_point(w, f, &s->list[run->points[i]]);
        f->peak = fmax(f->peak, s->list[run->points[i]].value);
    }
    join_low_flow(w, f, s, run);
}

static void falling(struct work *w)
{
    struct run_rule rule = { .limit = work_get(w, P_AD2_FALL),
                             .above = true,
                             .strict = true,
                             .readings = work_count(w, P_AD2_READINGS),
                             .window_d = work_count(w, P_AD2_WINDOW_D),
                             .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    struct falls s;
    struct run run;

    s.fall_count = 0;
    s.newest_has_baseline = true;
    s.count =
        series_collect(w->h, w->policy, Q_SPKTV, false, s.values, POINTS_MAX);
    collect_falls(w, &s);
    if (!run_best(&rule, s.list, s.fall_count, &run))
        work_not(w, RULE_AD_2,
                 s.newest_has_baseline
                     ? work_why_not(&rule, s.list, s.fall_count)
                     : WHY_NO_BASELINE);
    else if (s.list[run.points[run.count - 1]].at_s < w->intervention_s)
        work_not(w, RULE_AD_2, WHY_STAGE);
    else
        fill_fall(w, &s, &run);
}

/* Said at another access; but a fall is evidence of what a low flow of this
 * one means. */
static void beside_low_flow(struct work *w)
{
    work_not(w, RULE_AD_1, WHY_OTHER_ACCESS);
    work_not(w, RULE_AD_2, WHY_OTHER_ACCESS);
    falling(w);
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
    falling(w);
}
