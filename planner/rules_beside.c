/*
 * What stands beside a flow and decides what it is worth: signs of the heart,
 * of the hand and of the access, needles, a stenosis of the outflow.
 */
#include "planner/rules_work.h"
#include "planner/series.h"

#include <math.h>

bool work_is_cardiac_sign(const struct reading *r)
{
    return r->quantity == Q_HEART_FAILURE_SIGN && r->present &&
           r->sign != SIGN_HF_NYHA_1 && r->sign != SIGN_HF_NYHA_2;
}

/* Clinical signs that make a low flow matter now. */
bool work_is_thrill_lost(const struct reading *r)
{
    return r->quantity == Q_THRILL && r->present &&
           r->sign == SIGN_THRILL_ABSENT;
}

bool work_is_dysfunction_sign(const struct reading *r)
{
    switch ((int)r->quantity) {
    case Q_ACCESS_SIGN:
        return r->present;
    case Q_THRILL:
        return r->present && r->sign != SIGN_THRILL_PRESENT;
    default:
        return false;
    }
}

/* ---- signs that were taken back ------------------------------------------- */

/* Whoever asks later tells: a sign that is gone, or a class of heart failure
 * that is less.  An admission has happened, whatever is found later. */
static bool takes_heart_back(const struct reading *later,
                             const struct reading *sign)
{
    if (sign->sign == SIGN_HF_ADMISSION)
        return false;
    if (!later->present)
        return later->sign == sign->sign;
    return (later->sign == SIGN_HF_NYHA_1 || later->sign == SIGN_HF_NYHA_2) &&
           (sign->sign == SIGN_HF_NYHA_3 || sign->sign == SIGN_HF_NYHA_4);
}

/* Only a thrill that is felt as it should be takes back a weak or lost one. */
static bool takes_thrill_back(const struct reading *later,
                              const struct reading *sign)
{
    return later->present ? later->sign == SIGN_THRILL_PRESENT
                          : later->sign == sign->sign;
}

static bool takes_back(const struct work *w, const struct reading *later,
                       const struct reading *sign)
{
    if (later->quantity != sign->quantity || !reading_counts(later) ||
        later->start_s <= sign->start_s)
        return false;
    switch ((int)sign->quantity) {
    case Q_HEART_FAILURE_SIGN:
        return takes_heart_back(later, sign);
    case Q_THRILL:
        return takes_thrill_back(later, sign);
    case Q_ACCESS_SIGN:
        return !later->present && later->sign == sign->sign &&
               !readings_share_session(w->policy, later, sign);
    default:
        return false;
    }
}

bool work_is_taken_back(const struct work *w, size_t index)
{
    for (size_t i = index + 1; i < w->h->count; i++) {
        if (takes_back(w, &w->h->readings[i], &w->h->readings[index]))
            return true;
    }
    return false;
}

/* ---- signs beside a flow --------------------------------------------------- */

/* The newest few: signs seen at every session must not crowd out the flows. */
enum { SIGNS_KEPT = 6 };

size_t work_signs(const struct work *w, struct finding *f, int64_t from_s,
                  bool (*is_sign)(const struct reading *))
{
    int64_t at_s = f->at_s;
    size_t kept = 0;

    for (size_t i = w->h->count; i-- > 0 && kept < SIGNS_KEPT;) {
        const struct reading *r = &w->h->readings[i];

        if (r->start_s < from_s)
            break;
        if (!reading_counts(r) || !is_sign(r) || work_is_taken_back(w, i))
            continue;
        work_rest_on(w, f, i);
        kept++;
    }
    if (at_s < from_s)
        f->at_s = at_s; /* a sign does not make a flow of long ago new */
    return kept;
}

/* A complaint of the hand within the window that has not been taken back. */
bool work_hand_sign(const struct work *w, struct finding *f, int64_t from_s)
{
    const struct hand_point *worst = NULL;
    int64_t at_s = f->at_s;

    for (size_t i = 0; i < w->hand_count; i++) {
        const struct hand_point *p = &w->hand[i];

        if (p->at_s >= from_s && p->grade >= GRADE_1 &&
            hand_stands(w->hand, w->hand_count, i, GRADE_1) &&
            (worst == NULL || p->grade >= worst->grade))
            worst = p;
    }
    if (worst == NULL)
        return false;
    work_rest_on_hand(w, f, worst);
    if (at_s < from_s)
        f->at_s = at_s;
    return true;
}

/* Whoever felt for the thrill last tells; of one time, the worse counts. */
static bool is_thrill_gone(const struct work *w, int64_t from_s, size_t *index)
{
    int64_t felt_s = INT64_MIN;

    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->start_s < from_s || r->start_s < felt_s)
            break;
        if (r->quantity != Q_THRILL || !reading_counts(r))
            continue;
        if (work_is_thrill_lost(r)) {
            *index = i;
            return true;
        }
        if (r->present ? r->sign == SIGN_THRILL_PRESENT
                       : r->sign == SIGN_THRILL_ABSENT)
            felt_s = r->start_s;
    }
    return false;
}

/* Bleeding longer than usual is a sign where it was seen in so many sessions in
 * a row, the newest ones.  It does not make an older finding new. */
static bool bleeds_long(const struct work *w, struct finding *f, int64_t from_s)
{
    size_t needed = (size_t)work_count(w, P_LF6_BLEEDING_SESSIONS);
    struct point points[POINTS_MAX];
    size_t n = series_collect(w->h, w->policy, Q_BLEEDING_PROLONGED, false,
                              points, POINTS_MAX);
    size_t sessions = 0, first = n;
    int64_t at_s = f->at_s;

    while (first > 0 && sessions < needed && points[first - 1].at_s >= from_s &&
           points[first - 1].value > 0.5) {
        first--;
        sessions += !points[first].again;
        if (points[first].restart)
            break;
    }
    if (sessions < needed)
        return false;
    for (size_t i = first; i < n; i++)
        work_rest_on_point(w, f, &points[i]);
    if (at_s < from_s)
        f->at_s = at_s;
    return true;
}

void work_low_signs(const struct work *w, struct finding *f,
                    enum param window_d, enum param urgency)
{
    int64_t from_s = work_days_ago(w, window_d);
    size_t lost_at = 0;
    int64_t at_s;

    f->with_sign = work_signs(w, f, from_s, work_is_dysfunction_sign) > 0;
    if (bleeds_long(w, f, from_s))
        f->with_sign = true;
    if (f->with_sign)
        f->urgency = work_urgency(w, urgency);
    if (!is_thrill_gone(w, from_s, &lost_at))
        return;
    /* a thrill that is lost beside a low flow is thrombosis until disproved */
    f->urgency = work_urgency(w, P_LF6_URGENCY_THRILL_LOST);
    at_s = f->at_s;
    work_rest_on(w, f, lost_at); /* newer signs may have crowded it out */
    f->at_s = at_s;
}

/* An access this young has not matured: a low flow is not yet a loss. */
static bool is_young(const struct work *w)
{
    int64_t from_s =
        w->h->now_s - (int64_t)work_count(w, P_YOUNG_ACCESS_D) * DAY_S;

    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (r->quantity == Q_ACCESS_INTERVENTION && reading_counts(r) &&
            r->present && r->sign == SIGN_CREATED && r->start_s > from_s)
            return true;
    }
    return false;
}

/* Only through needles can this be measured, or seen. */
static bool shows_needles(const struct reading *r)
{
    switch ((int)r->quantity) {
    case Q_ACCESS_FLOW:
        return r->method != METHOD_DUPLEX;
    case Q_PUMP_FLOW:
    case Q_ARTERIAL_LINE_PRESSURE:
    case Q_VENOUS_LINE_PRESSURE:
    case Q_STATIC_VENOUS_PRESSURE:
    case Q_STATIC_ACCESS_PRESSURE:
    case Q_STATIC_PRESSURE_RATIO:
    case Q_RECIRCULATION:
    case Q_RECIRCULATION_REVERSED:
    case Q_DIALYSANCE:
    case Q_DIALYSANCE_REVERSED:
        return true;
    case Q_BLEEDING_PROLONGED:
        return r->value > 0.5;
    case Q_ACCESS_SIGN:
        return r->present && (r->sign == SIGN_DIFFICULT_CANNULATION ||
                              r->sign == SIGN_CLOT_ASPIRATION);
    default:
        return false;
    }
}

static bool is_cannulated(const struct work *w)
{
    for (size_t i = 0; i < w->h->count; i++) {
        if (reading_counts(&w->h->readings[i]) &&
            shows_needles(&w->h->readings[i]))
            return true;
    }
    return false;
}

bool work_is_in_use(struct work *w, enum rule rule)
{
    if (is_young(w)) {
        work_not(w, rule, WHY_YOUNG);
        return false;
    }
    /* without any flow there is a better reason */
    if (w->flow_count > 0 && !is_cannulated(w)) {
        work_not(w, rule, WHY_NOT_CANNULATED);
        return false;
    }
    return true;
}

/* A stenosis is treated by dilating the outflow at its time or later; one
 * that was measured after that is what was left, or is new. */
bool work_has_stenosis(const struct work *w)
{
    const struct reading *newest = NULL;

    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (r->quantity != Q_OUTFLOW_STENOSIS || !reading_counts(r) ||
            !isfinite(r->value))
            continue;
        if (newest == NULL || r->start_s > newest->start_s ||
            (r->start_s == newest->start_s && r->value > newest->value))
            newest = r;
    }
    if (newest == NULL || newest->value <= work_get(w, P_OUTFLOW_STENOSIS_PCT))
        return false;
    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (r->sign == SIGN_ANGIOPLASTY_OUTFLOW &&
            r->quantity == Q_ACCESS_INTERVENTION && reading_counts(r) &&
            r->present && r->end_s > newest->start_s)
            return false;
    }
    return true;
}
