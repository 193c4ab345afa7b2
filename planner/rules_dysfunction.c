/* LF-6: what an examiner sees of an access that does not work as it should.
 * A sign stands until it is looked for and not found in a later session. */
#include "planner/band.h"
#include "planner/series.h"

#include <math.h>

/* ---- the thrill -------------------------------------------------------------- */

static bool is_thrill_weak(const struct reading *r)
{
    return r->quantity == Q_THRILL && r->present && r->sign == SIGN_THRILL_WEAK;
}

bool work_is_thrill_felt(const struct reading *r)
{
    return r->quantity == Q_THRILL &&
           (r->present ? r->sign == SIGN_THRILL_PRESENT
                       : r->sign == SIGN_THRILL_ABSENT);
}

static bool is_lost_or_felt(const struct reading *r)
{
    return work_is_thrill_lost(r) || work_is_thrill_felt(r);
}

static bool is_weak_or_felt(const struct reading *r)
{
    return is_thrill_weak(r) || work_is_thrill_felt(r);
}

bool work_thrill_lost(const struct work *w, int64_t since_s, size_t *index)
{
    struct wanted lost = { .is = is_lost_or_felt,
                           .says_yes = work_is_thrill_lost,
                           .emergency = true,
                           .taken_back = 1,
                           .since_s = since_s };
    bool any;

    return work_standing(w, &lost, &any, index);
}

static void rest_on_thrill(const struct work *w, struct finding *f,
                           size_t index)
{
    work_rest_on(w, f, index);
    f->quantity = Q_THRILL;
}

/* PB-2 says it, in a Task of its own: one thrombosis is one emergency. */
static bool is_said_of_band(const struct work *w)
{
    size_t at;

    return w->band.placed && work_thrill_lost(w, band_stage_s(w), &at);
}

/* ---- signs ------------------------------------------------------------------- */

static bool is_swelling(const struct reading *r)
{
    return r->sign == SIGN_ARM_SWELLING;
}

/* One is enough. */
static bool swelling(struct work *w, struct finding *f)
{
    struct wanted swollen = { .is = is_swelling,
                              .says_yes = work_says_present,
                              .taken_back = 1,
                              .since_s = w->intervention_s };
    size_t at = 0;
    bool any;

    if (!work_standing(w, &swollen, &any, &at))
        return false;
    work_rest_on(w, f, at);
    if (f->quantity == Q_NONE)
        f->quantity = Q_ACCESS_SIGN;
    return true;
}

static bool is_lesser_sign(const struct reading *r)
{
    return r->quantity == Q_ACCESS_SIGN && r->sign != SIGN_ARM_SWELLING;
}

enum { SIGN_SESSIONS_MAX = 8 };

/* The same sign in several sessions, the last of which still stands. */
static bool sign_again(struct work *w, struct finding *f,
                       const struct wanted *wanted)
{
    int window_d = work_count(w, P_LF6_WINDOW_D);
    size_t needed = (size_t)work_count(w, P_LF6_SIGN_SESSIONS);
    size_t at[SIGN_SESSIONS_MAX], sessions = 1;
    const struct reading *newest;
    bool any;

    if (!work_standing(w, wanted, &any, &at[0]))
        return false;
    newest = &w->h->readings[at[0]];
    for (size_t i = at[0];
         i-- > 0 && sessions < needed && sessions < SIGN_SESSIONS_MAX;) {
        const struct reading *r = &w->h->readings[i];

        if ((newest->start_s - r->start_s) / DAY_S > window_d ||
            r->start_s < w->intervention_s)
            break;
        if (reading_counts(r) && wanted->says_yes(r) &&
            r->sign == newest->sign &&
            !readings_share_session(w->policy, r,
                                    &w->h->readings[at[sessions - 1]]))
            at[sessions++] = i;
    }
    if (sessions < needed)
        return false;
    while (sessions > 0)
        work_rest_on(w, f, at[--sessions]);
    if (f->quantity == Q_NONE)
        f->quantity = Q_ACCESS_SIGN;
    return true;
}

/* One kind of sign does not hide another. */
static bool repeated_sign(struct work *w, struct finding *f)
{
    static const enum sign lesser[] = { SIGN_PULSATILE,
                                        SIGN_NO_COLLAPSE_ON_ELEVATION,
                                        SIGN_DIFFICULT_CANNULATION,
                                        SIGN_CLOT_ASPIRATION };
    struct wanted wanted = { .is = is_weak_or_felt,
                             .says_yes = is_thrill_weak,
                             .taken_back = 1,
                             .since_s = w->intervention_s };
    bool holds = sign_again(w, f, &wanted);

    wanted.is = is_lesser_sign;
    wanted.says_yes = work_says_present;
    wanted.per_sign = true;
    for (size_t i = 0; i < COUNT(lesser); i++) {
        wanted.of = lesser[i];
        holds = sign_again(w, f, &wanted) || holds;
    }
    return holds;
}

/* ---- what was measured ------------------------------------------------------- */

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

    rule.limit = 0.5;            /* a flag: yes or no */
    rule.span_d = rule.window_d; /* from the first to the last */
    return dysfunction_run(w, f, &rule, points, n, Q_BLEEDING_PROLONGED);
}

/* One more point of a row, with another value; a restart is not lost with
 * the points that are left out. */
static size_t keep_point(struct point *points, size_t kept,
                         const struct point *p, double value, bool *restart)
{
    points[kept] = *p;
    point_put(&points[kept], value);
    points[kept].restart = *restart;
    *restart = false;
    return kept + 1;
}

size_t work_session_means(const struct work *w, enum quantity quantity,
                          struct point *points)
{
    size_t n =
        series_collect(w->h, w->policy, quantity, false, points, POINTS_MAX);

    for (size_t i = 0; i < n; i++)
        points[i].disagree = false;
    return n;
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
    size_t n = work_session_means(w, Q_PUMP_FLOW, points);
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

/* The mean pump flow of the session of a point; NAN where not known. */
static double pump_beside(const struct work *w, const struct point *pump,
                          size_t count, const struct point *p)
{
    const struct reading *r = &w->h->readings[p->readings[0]];
    double sum = 0;
    int used = 0;

    for (size_t i = 0; i < count; i++) {
        if (pump[i].bound != BOUND_NONE ||
            !readings_share_session(w->policy, r,
                                    &w->h->readings[pump[i].readings[0]]))
            continue;
        sum += pump[i].value;
        used++;
    }
    return used > 0 ? sum / used : NAN;
}

/* Suction before the pump at a pump flow that is hardly above the prescribed
 * one, where both are known. */
static bool strong_suction(struct work *w, struct finding *f)
{
    struct run_rule rule = sessions_rule(w, P_LF6_SESSIONS);
    struct point points[POINTS_MAX], pumps[POINTS_MAX];
    size_t n = work_session_means(w, Q_ARTERIAL_LINE_PRESSURE, points);
    size_t pump_count = work_session_means(w, Q_PUMP_FLOW, pumps);
    double most = 1.0 + work_get(w, P_AD2_SAME_PCT) / 100.0;
    struct prescribed known = { .pump_ml_min = NAN };
    bool restart = false;
    size_t kept = 0;

    for (size_t i = 0; i < n; i++) {
        double pump = pump_beside(w, pumps, pump_count, &points[i]);
        double prescribed = prescribed_at(w, &known, points[i].at_s);

        restart = restart || points[i].restart;
        if (!(pump > prescribed * most))
            kept =
                keep_point(points, kept, &points[i], points[i].value, &restart);
    }
    rule.limit = work_get(w, P_LF6_PRESSURE);
    rule.above = false; /* the stronger, the lower */
    return dysfunction_run(w, f, &rule, points, kept, Q_ARTERIAL_LINE_PRESSURE);
}

/* ---- the finding ------------------------------------------------------------- */

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
    bool holds = swelling(w, f);

    holds = long_bleeding(w, f) || holds;
    holds = low_pump_flow(w, f) || holds;
    holds = strong_suction(w, f) || holds;
    return repeated_sign(w, f) || holds;
}

/* A thrill lost long ago does not make an emergency of what is seen now, and
 * one that is said of the band is not said here as well; but it is said where
 * nothing else is seen. */
void rules_dysfunction(struct work *w)
{
    size_t at = 0;
    bool lost = work_thrill_lost(w, w->intervention_s, &at);
    bool aside = lost && (work_is_old(w, w->h->readings[at].start_s) ||
                          is_said_of_band(w));
    struct finding *f = work_add(w, RULE_LF_6);
    bool holds;

    if (lost && !aside)
        rest_on_thrill(w, f, at);
    holds = lesser_grounds(w, f);
    if (!holds && aside)
        rest_on_thrill(w, f, at);
    if (!holds && !lost) {
        work_remove(w, RULE_LF_6, WHY_INSIDE);
        return;
    }
    f->with_sign = f->quantity == Q_THRILL;
    f->urgency = work_urgency(w, f->with_sign ? P_LF6_URGENCY_THRILL_LOST
                                              : P_LF6_URGENCY);
    f->limit = dysfunction_limit(f->quantity);
}
