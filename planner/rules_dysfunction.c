/* LF-6: what an examiner sees of an access that does not work as it should.
 * A sign stands until it is looked for and not found in a later session. */
#include "planner/rules_work.h"

#include "planner/series.h"

#include <math.h>

static bool is_thrill(const struct reading *r)
{
    return r->quantity == Q_THRILL;
}

static bool is_swelling(const struct reading *r)
{
    return r->sign == SIGN_ARM_SWELLING;
}

/* A lost thrill, a swelling: one is enough. */
static bool dysfunction_sign(struct work *w, struct finding *f,
                             const struct wanted *wanted, enum quantity q)
{
    size_t at = 0;
    bool any;

    if (!work_standing(w, wanted, &any, &at))
        return false;
    work_rest_on(w, f, at);
    if (f->quantity == Q_NONE)
        f->quantity = q;
    return true;
}

/* The finding rests on a run of points. */
static bool dysfunction_run(struct work *w, struct finding *f,
                            const struct run_rule *rule,
                            const struct point *points, size_t count,
                            enum quantity q)
{
    struct run run;

    if (!run_best(rule, points, count, &run) ||
        points[run.points[run.count - 1]].at_s < w->intervention_s)
        return false;
    for (size_t i = 0; i < run.count; i++)
        work_rest_on_point(w, f, &points[run.points[i]]);
    if (f->quantity == Q_NONE) {
        f->quantity = q;
        f->measured = points[run.points[run.count - 1]].value;
    }
    return true;
}

static struct run_rule sessions_rule(const struct work *w, enum param sessions)
{
    return (struct run_rule){ .above = true,
                              .readings = work_count(w, sessions),
                              .window_d = work_count(w, P_LF6_WINDOW_D),
                              .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
}

static bool long_bleeding(struct work *w, struct finding *f)
{
    struct run_rule rule = sessions_rule(w, P_LF6_BLEEDING_SESSIONS);
    struct point points[POINTS_MAX];
    size_t n = series_collect(w->h, w->policy, Q_BLEEDING_PROLONGED, false,
                              points, POINTS_MAX);

    rule.limit = 0.5; /* a flag: yes or no */
    return dysfunction_run(w, f, &rule, points, n, Q_BLEEDING_PROLONGED);
}

/* One more point of a row, with another value; a restart is not lost with
 * the points that are left out. */
static size_t keep_point(struct point *points, size_t kept,
                         const struct point *p, double value, bool *restart)
{
    points[kept] = *p;
    points[kept].value = value;
    points[kept].restart = *restart;
    *restart = false;
    return kept + 1;
}

/* What was prescribed at a time; asked for in order of time. */
struct prescribed {
    size_t next;
    double pump_ml_min; /* NAN: not known */
};

static double prescribed_at(const struct work *w, struct prescribed *p,
                            int64_t at_s)
{
    for (; p->next < w->h->count && w->h->readings[p->next].start_s <= at_s;
         p->next++) {
        const struct reading *r = &w->h->readings[p->next];

        if (r->quantity == Q_PRESCRIBED_PUMP_FLOW && reading_counts(r) &&
            r->bound == BOUND_NONE)
            p->pump_ml_min = r->value;
    }
    return p->pump_ml_min;
}

/* Pump flow short of what is prescribed, in per cent of it. */
static bool low_pump_flow(struct work *w, struct finding *f)
{
    struct run_rule rule = sessions_rule(w, P_LF6_SESSIONS);
    struct point points[POINTS_MAX];
    size_t n =
        series_collect(w->h, w->policy, Q_PUMP_FLOW, false, points, POINTS_MAX);
    struct prescribed known = { .pump_ml_min = NAN };
    bool restart = false;
    size_t kept = 0;

    for (size_t i = 0; i < n; i++) {
        double prescribed = prescribed_at(w, &known, points[i].at_s);

        restart = restart || points[i].restart;
        if (prescribed > 0)
            kept = keep_point(points, kept, &points[i],
                              points[i].value / prescribed * 100.0, &restart);
    }
    rule.limit = work_get(w, P_LF6_PUMP_PCT);
    rule.above = false;
    return dysfunction_run(w, f, &rule, points, kept, Q_PUMP_FLOW);
}

/* Suction before the pump, as a positive number, at a pump flow that is not
 * above the prescribed one, where both are known. */
static bool strong_suction(struct work *w, struct finding *f)
{
    struct run_rule rule = sessions_rule(w, P_LF6_SESSIONS);
    struct point points[POINTS_MAX];
    size_t n = series_collect(w->h, w->policy, Q_ARTERIAL_LINE_PRESSURE, false,
                              points, POINTS_MAX);
    struct prescribed known = { .pump_ml_min = NAN };
    bool restart = false, found;
    size_t kept = 0;

    for (size_t i = 0; i < n; i++) {
        double session_d = work_get(w, P_SESSION_H) * HOUR_S / DAY_S;
        double pump =
            series_newest(w->h, Q_PUMP_FLOW, points[i].at_s, session_d, NULL);
        double prescribed = prescribed_at(w, &known, points[i].at_s);

        restart = restart || points[i].restart;
        if (!(pump > prescribed))
            kept = keep_point(points, kept, &points[i], -points[i].value,
                              &restart);
    }
    rule.limit = -work_get(w, P_LF6_PRESSURE);
    rule.strict = true;
    found =
        dysfunction_run(w, f, &rule, points, kept, Q_ARTERIAL_LINE_PRESSURE);
    if (found && f->quantity == Q_ARTERIAL_LINE_PRESSURE)
        f->measured = -f->measured;
    return found;
}

static bool is_lesser_sign(const struct reading *r)
{
    return r->quantity == Q_ACCESS_SIGN && r->sign != SIGN_ARM_SWELLING;
}

/* The same sign in several sessions, the last of which still stands. */
static bool repeated_sign(struct work *w, struct finding *f)
{
    struct wanted wanted = { .is = is_lesser_sign,
                             .says_yes = work_says_present,
                             .per_sign = true,
                             .taken_back = 1,
                             .since_s = w->intervention_s };
    int64_t window_s = (int64_t)work_count(w, P_LF6_WINDOW_D) * DAY_S;
    int needed = work_count(w, P_LF6_SIGN_SESSIONS);
    size_t newest = 0;
    int sessions = 1;
    bool any;

    if (!work_standing(w, &wanted, &any, &newest))
        return false;
    for (size_t i = newest, last = newest; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->start_s < w->h->readings[newest].start_s - window_s ||
            r->start_s < w->intervention_s)
            break;
        if (!reading_counts(r) || !r->present ||
            r->sign != w->h->readings[newest].sign ||
            readings_share_session(w->policy, r, &w->h->readings[last]))
            continue;
        sessions++;
        last = i;
        if (sessions <= needed)
            work_rest_on(w, f, i);
    }
    if (sessions < needed)
        return false;
    work_rest_on(w, f, newest);
    if (f->quantity == Q_NONE)
        f->quantity = Q_ACCESS_SIGN;
    return true;
}

/* What a finding of this ground is measured against. */
static enum param dysfunction_limit(enum quantity q)
{
    switch ((int)q) {
    case Q_PUMP_FLOW:
        return P_LF6_PUMP_PCT;
    case Q_ARTERIAL_LINE_PRESSURE:
        return P_LF6_PRESSURE;
    case Q_BLEEDING_PROLONGED:
        return P_LF6_BLEEDING_SESSIONS;
    case Q_ACCESS_SIGN:
        return P_LF6_SIGN_SESSIONS;
    default:
        return P_LF6_URGENCY_THRILL_LOST;
    }
}

/* The grounds that are a matter of days. */
static bool lesser_grounds(struct work *w, struct finding *f)
{
    struct wanted swollen = { .is = is_swelling,
                              .says_yes = work_says_present,
                              .taken_back = 1,
                              .since_s = w->intervention_s };
    bool holds = dysfunction_sign(w, f, &swollen, Q_ACCESS_SIGN);

    holds = long_bleeding(w, f) || holds;
    holds = low_pump_flow(w, f) || holds;
    holds = strong_suction(w, f) || holds;
    return repeated_sign(w, f) || holds;
}

/* A thrill lost long ago does not make an emergency of what is seen now. */
void rules_dysfunction(struct work *w)
{
    struct wanted lost = { .is = is_thrill,
                           .says_yes = work_is_thrill_lost,
                           .emergency = true,
                           .taken_back = 1,
                           .since_s = w->intervention_s };
    struct finding *f = work_add(w, RULE_LF_6);
    struct finding empty = *f, with_thrill;
    bool is_lost = dysfunction_sign(w, f, &lost, Q_THRILL);
    bool holds;

    with_thrill = *f;
    if (is_lost && work_is_old(w, f->at_s))
        *f = empty;
    holds = lesser_grounds(w, f);
    if (!holds && is_lost)
        *f = with_thrill;
    if (!holds && !is_lost) {
        work_remove(w, RULE_LF_6, WHY_INSIDE);
        return;
    }
    f->with_sign = f->quantity == Q_THRILL;
    f->urgency = work_urgency(w, f->with_sign ? P_LF6_URGENCY_THRILL_LOST
                                              : P_LF6_URGENCY);
    f->limit = dysfunction_limit(f->quantity);
}
