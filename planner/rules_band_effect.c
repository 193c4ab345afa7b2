/*
 * PB-3: did a band do enough?  It looks at the hand, where the band was for
 * the hand, and at the first flow after the band beside the last one before
 * it, by one method.
 */
#include "planner/band.h"
#include "planner/series.h"

#include <math.h>
#include <string.h>

/* ---- PB-3: the hand -------------------------------------------------------- */

enum { SEEN_MAX = 32 };

/* What says that the band did not do enough, of one kind. */
struct effect {
    bool holds, confirmed;
    enum why why; /* if it does not hold */
    enum quantity quantity, repeat_of;
    enum param limit;
    double measured, peak, baseline;
    int64_t newest_s;
    size_t seen_count; /* points of the hand and of the finger that say so */
    int64_t seen_s[SEEN_MAX];
};

static void see(struct effect *e, int64_t at_s)
{
    if (e->seen_count == SEEN_MAX) {
        memmove(e->seen_s, e->seen_s + 1,
                (SEEN_MAX - 1) * sizeof(e->seen_s[0]));
        e->seen_count--;
    }
    e->seen_s[e->seen_count++] = at_s;
    if (at_s > e->newest_s)
        e->newest_s = at_s;
}

/* Two of them within the window, and not of one session? */
static bool seen_twice(const struct work *w, const struct effect *e)
{
    double apart_s = work_get(w, P_APART_H) * HOUR_S;
    double window_s = work_get(w, P_PB3_REPEAT_D) * DAY_S;

    for (size_t i = 0; i < e->seen_count; i++) {
        for (size_t k = 0; k < i; k++) {
            double s = fabs((double)(e->seen_s[i] - e->seen_s[k]));

            if (s >= apart_s && s <= window_s)
                return true;
        }
    }
    return false;
}

/* From when on what is seen tells whether the band is enough. */
static int64_t telling_s(const struct work *w)
{
    return w->band.change_s + (int64_t)(work_get(w, P_PB3_AFTER_D) * DAY_S);
}

/* Complaints that are still told, and have not been taken back since: two
 * later statements, or one, where there was one complaint. */
static void see_complaints(const struct work *w, struct finding *f,
                           struct effect *e)
{
    size_t newest = 0, told = 0;
    bool better = false;

    if (!hand_standing(w->hand, w->hand_count, GRADE_1, &newest) ||
        w->hand[newest].at_s < telling_s(w))
        return;
    for (size_t i = newest + 1; i < w->hand_count; i++)
        better = better || w->hand[i].graded;
    for (size_t i = 0; i <= newest; i++)
        told += w->hand[i].at_s >= telling_s(w) && w->hand[i].grade >= GRADE_1;
    if (better && told == 1) {
        e->why = WHY_TAKEN_BACK;
        return;
    }
    for (size_t i = 0; i <= newest; i++) {
        if (w->hand[i].at_s < telling_s(w) || w->hand[i].grade < GRADE_1)
            continue;
        see(e, w->hand[i].at_s);
        work_rest_on_hand(w, f, &w->hand[i]);
    }
    e->quantity = e->repeat_of = Q_HAND_SYMPTOM;
    e->limit = P_PB3_AFTER_D;
    e->holds = true;
}

/* A complaint since the band that stands, told near in time to this? */
static const struct hand_point *complaint_near(const struct work *w,
                                               int64_t at_s)
{
    int64_t window_s = (int64_t)work_count(w, P_IS5_SYMPTOM_WINDOW_D) * DAY_S;
    size_t at = 0;

    if (!hand_standing(w->hand, w->hand_count, GRADE_1, &at))
        return NULL;
    for (size_t i = at + 1; i-- > 0;) {
        const struct hand_point *p = &w->hand[i];

        if (p->at_s < w->band.change_s)
            break;
        if (p->grade >= GRADE_1 && p->at_s <= at_s + window_s &&
            p->at_s >= at_s - window_s)
            return p;
    }
    return NULL;
}

/* The last value before the band, NAN if there is none. */
static double index_before(const struct point *points, size_t count,
                           int64_t band_s)
{
    double value = NAN;

    for (size_t i = 0; i < count && points[i].at_s < band_s; i++) {
        if (!points[i].disagree && points[i].bound == BOUND_NONE)
            value = points[i].value;
    }
    return value;
}

/* A low index with a complaint, or one that has not risen at all. */
static void see_index(const struct work *w, struct finding *f, struct effect *e)
{
    struct run_rule rule = { .limit = work_get(w, P_IS5_INDEX),
                             .readings = 1,
                             .window_d = work_count(w, P_PB3_REPEAT_D),
                             .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    struct point points[POINTS_MAX];
    size_t n = band_points(w, Q_DIGITAL_BRACHIAL_INDEX, INT64_MIN, points);
    double before = index_before(points, n, w->band.at_s);
    size_t first = 0;
    struct run run;

    while (first < n && points[first].at_s < telling_s(w))
        first++;
    if (n > first && e->why == WHY_NO_READING)
        e->why = WHY_INSIDE;
    if (!run_best(&rule, points + first, n - first, &run) ||
        (run_denied(&rule, points + first, n - first, &run) &&
         !run_confirmed(&rule, points + first, &run)))
        return;
    for (size_t i = 0; i < run.count; i++) {
        const struct point *p = &points[first + run.points[i]];
        const struct hand_point *complaint = complaint_near(w, p->at_s);

        if (complaint == NULL && !(p->value <= before))
            continue;
        see(e, p->at_s);
        work_rest_on_point(w, f, p);
        if (complaint != NULL)
            work_rest_on_hand(w, f, complaint);
        e->measured = p->value;
        e->peak = fmin(e->peak, p->value);
        e->baseline = before;
        e->quantity = e->repeat_of = Q_DIGITAL_BRACHIAL_INDEX;
        e->limit = P_IS5_INDEX;
        e->holds = true;
    }
}

static void effect_init(struct effect *e)
{
    *e = (struct effect){ .why = WHY_NO_READING,
                          .measured = NAN,
                          .peak = NAN,
                          .baseline = NAN,
                          .newest_s = INT64_MIN };
}

static void hand_effect(const struct work *w, struct finding *f,
                        struct effect *e)
{
    effect_init(e);
    if (!w->band.for_hand) {
        e->why = WHY_NO_ISCHAEMIA;
        return;
    }
    for (size_t i = 0; i < w->hand_count; i++) {
        if (w->hand[i].at_s >= telling_s(w))
            e->why = WHY_INSIDE;
    }
    see_complaints(w, f, e);
    see_index(w, f, e);
    e->confirmed = e->holds && seen_twice(w, e);
}

/* ---- PB-3: the flow -------------------------------------------------------- */

/* From when on a flow before the band may be compared with: what was done
 * before the procedure of the band, and the blanking after that, is over. */
static int64_t comparable_s(const struct work *w)
{
    const struct reading *band = &w->h->readings[w->band.index];
    int64_t blanking_s = (int64_t)work_count(w, P_BLANKING_D) * DAY_S;
    int64_t at_s = INT64_MIN;

    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (reading_is_intervention(r) && r->start_s <= band->start_s &&
            !(band_is_placing(r) && band_is_one_procedure(w->policy, r, band)))
            at_s = r->start_s + blanking_s;
    }
    return at_s;
}

/* The last flow before the band of a method; NULL if there is none. */
static const struct point *flow_before(const struct work *w, int method,
                                       const struct point *flow, size_t count)
{
    int64_t from_s = comparable_s(w);
    const struct point *found = NULL;

    for (size_t i = 0; i < count && flow[i].at_s < w->band.at_s; i++) {
        if ((int)flow[i].method == method && flow[i].at_s >= from_s &&
            flow[i].bound == BOUND_NONE && !flow[i].disagree &&
            !flow[i].low_pressure)
            found = &flow[i];
    }
    return found;
}

/* Did the first flow after the band fall too little against the last before?
 * Fills the run of those that have not, from the first on. */
static bool fell_too_little(const struct work *w, const struct point *before,
                            const struct point *after, size_t count,
                            struct effect *e, struct run *run)
{
    struct run_rule rule = {
        .limit = before->value * (1.0 - work_get(w, P_PB3_FALL_PCT) / 100.0),
        .above = true,
        .strict = true,
        .readings = 1,
        .window_d = work_count(w, P_PB3_REPEAT_D),
        .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT)
    };

    e->why = WHY_INSIDE;
    if (!run_beyond(&rule, &after[0]) || !run_best(&rule, after, count, run))
        return false;
    e->confirmed = run_confirmed(&rule, after, run);
    return e->confirmed || !run_denied(&rule, after, count, run);
}

static void rest_on_fall(const struct work *w, struct finding *f,
                         const struct point *before, const struct point *after,
                         const struct run *run, struct effect *e)
{
    for (size_t i = 0; i < run->count; i++) {
        const struct point *p = &after[run->points[i]];

        work_rest_on_point(w, f, p);
        e->measured = (1.0 - p->value / before->value) * 100.0;
        e->peak = fmin(e->peak, e->measured);
        e->newest_s = p->at_s;
    }
    work_rest_on_point(w, f, before); /* last: it stays, however many */
    e->quantity = e->repeat_of = Q_ACCESS_FLOW;
    e->limit = P_PB3_FALL_PCT;
    e->baseline = before->value;
    e->holds = true;
}

/* Of the methods that were used before and after, the one used last before. */
static void flow_effect(const struct work *w, struct finding *f,
                        struct effect *e)
{
    struct point flow[POINTS_MAX], after[POINTS_MAX];
    size_t count = band_points(w, Q_ACCESS_FLOW, INT64_MIN, flow), n;
    const struct point *before = NULL;
    struct run run;
    int method = METHOD_COUNT;

    effect_init(e);
    for (int m = 0; m < METHOD_COUNT; m++) {
        const struct point *p = flow_before(w, m, flow, count);

        if (band_flows(w, m, telling_s(w), flow, count, after) == 0)
            continue;
        e->why = before == NULL ? WHY_NO_BASELINE : e->why;
        if (p != NULL && (before == NULL || p->at_s > before->at_s)) {
            before = p;
            method = m;
        }
    }
    if (before == NULL)
        return;
    n = band_flows(w, method, telling_s(w), flow, count, after);
    if (after[0].at_s < band_stage_s(w)) {
        e->why = WHY_STAGE; /* something else was done since */
        return;
    }
    if (fell_too_little(w, before, after, n, e, &run))
        rest_on_fall(w, f, before, after, &run, e);
}

/* ---- PB-3: the finding ----------------------------------------------------- */

static void fill(struct finding *f, const struct effect *e)
{
    f->quantity = e->quantity;
    f->limit = e->limit;
    f->measured = e->measured;
    f->peak = e->peak;
    f->baseline = e->baseline;
    f->confirmed = e->confirmed;
    f->repeat_of = e->repeat_of;
}

void band_not_enough(struct work *w)
{
    enum grade severe = (enum grade)work_get(w, P_IS3_GRADE);
    struct effect hand, flow;
    struct finding *f = work_add(w, RULE_PB_3);

    hand_effect(w, f, &hand);
    flow_effect(w, f, &flow);
    if (!hand.holds && !flow.holds) {
        work_remove(w, RULE_PB_3,
                    hand.why == WHY_INSIDE || hand.why == WHY_TAKEN_BACK
                        ? hand.why
                        : flow.why);
        return;
    }
    /* the hand leads, but not before what is confirmed */
    fill(f, hand.holds && (hand.confirmed || !flow.confirmed) ? &hand : &flow);
    f->severe = f->grade >= severe;
    f->urgency =
        work_urgency(w, f->severe ? P_PB3_URGENCY_SEVERE : P_PB3_URGENCY);
    if (!f->confirmed) {
        f->repeat_by_s =
            (f->quantity == Q_ACCESS_FLOW ? flow.newest_s : hand.newest_s) +
            (int64_t)work_count(w, P_PB3_REPEAT_D) * DAY_S;
    } else {
        f->repeat_of = Q_NONE;
    }
}
