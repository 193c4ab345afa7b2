/* IS-5: a low finger pressure or index beside complaints of the hand. */
#include "planner/rules_work.h"

#include "planner/series.h"

#include <math.h>

/* The run of low points of one quantity that holds now. */
struct finger {
    bool low, severe, confirmed;
    bool denied; /* a later value is not low */
    enum why why;
    struct run run;
    struct point points[POINTS_MAX];
};

/* A repeat that comes later than it was asked for confirms as well, so long as
 * the first would still raise something. */
static int confirm_d(const struct work *w)
{
    return work_count(w, P_IS5_REPEAT_D) + work_count(w, P_HISTORIC_D);
}

static void finger_state(struct work *w, enum quantity q, enum param limit,
                         enum param severe_limit, struct finger *s)
{
    struct run_rule rule = { .limit = work_get(w, limit),
                             .above = false,
                             .readings = 1,
                             .window_d = confirm_d(w),
                             .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
    size_t n = series_collect(w->h, w->policy, q, false, s->points, POINTS_MAX);
    struct run_rule severe = rule;
    struct run run;

    s->severe = s->confirmed = s->denied = false;
    s->why = work_why_not(&rule, s->points, n);
    s->low = run_best(&rule, s->points, n, &s->run);
    if (!s->low)
        return;
    s->confirmed = run_confirmed(&rule, s->points, &s->run);
    s->denied = run_denied(&rule, s->points, n, &s->run);
    severe.limit = work_get(w, severe_limit);
    s->severe = run_best(&severe, s->points, n, &run);
    /* measured again, and not low: nothing to wait for */
    if (s->denied && !s->confirmed && !s->severe)
        s->low = false;
}

static int64_t finger_newest_s(const struct finger *s)
{
    return s->low ? s->points[s->run.points[s->run.count - 1]].at_s : INT64_MIN;
}

static void fill_finger(struct work *w, struct finding *f,
                        const struct finger *low, enum param limit)
{
    for (size_t i = 0; i < low->run.count; i++) {
        const struct point *p = &low->points[low->run.points[i]];

        work_rest_on_point(w, f, p);
        f->measured = p->value;
        f->peak = i == 0 ? p->value : fmin(f->peak, p->value);
    }
    f->limit = limit;
}

/* Is there a low value within the window of this time, before or after? */
static bool is_low_near(const struct finger *low, int64_t at_s, int window_d)
{
    for (size_t i = 0; low->low && i < low->run.count; i++) {
        int64_t apart_s = low->points[low->run.points[i]].at_s - at_s;

        if (apart_s >= -(int64_t)window_d * DAY_S &&
            apart_s <= (int64_t)window_d * DAY_S)
            return true;
    }
    return false;
}

/*
 * Symptoms decide: without any, the number alone is only a note.  One that
 * was told near in time to a low value counts until it is taken back twice:
 * not to be asked is not to be well.
 */
static void weigh_symptoms(struct work *w, struct finding *f,
                           const struct finger *pressure,
                           const struct finger *index)
{
    int window_d = work_count(w, P_IS5_SYMPTOM_WINDOW_D);
    const struct hand_point *worst = NULL;

    for (size_t i = 0; i < w->hand_count; i++) {
        const struct hand_point *p = &w->hand[i];

        if ((is_low_near(pressure, p->at_s, window_d) ||
             is_low_near(index, p->at_s, window_d)) &&
            (worst == NULL || p->grade >= worst->grade) &&
            hand_stands(w->hand, w->hand_count, i, GRADE_1))
            worst = p;
    }
    if (worst != NULL) {
        work_rest_on_hand(w, f, worst);
        return;
    }
    f->urgency = URGENCY_NOTE;
    f->confirmed = true;
}

/* The one filled in last is named: a severe index, else a severe pressure, else
 * the pressure. */
static void fill_limits(struct work *w, struct finding *f,
                        const struct finger *pressure,
                        const struct finger *index)
{
    if (index->low && !index->severe)
        fill_finger(w, f, index, P_IS5_INDEX);
    if (pressure->low)
        fill_finger(w, f, pressure,
                    pressure->severe ? P_IS5_PRESSURE_SEVERE : P_IS5_PRESSURE);
    if (index->severe)
        fill_finger(w, f, index, P_IS5_INDEX_SEVERE);
}

void rules_finger(struct work *w)
{
    struct finger pressure, index;
    struct finding *f;
    int64_t low_s;

    finger_state(w, Q_DIGITAL_PRESSURE, P_IS5_PRESSURE, P_IS5_PRESSURE_SEVERE,
                 &pressure);
    finger_state(w, Q_DIGITAL_BRACHIAL_INDEX, P_IS5_INDEX, P_IS5_INDEX_SEVERE,
                 &index);
    if (!pressure.low && !index.low) {
        work_not(w, RULE_IS_5,
                 pressure.why == WHY_NO_READING ? index.why : pressure.why);
        return;
    }
    low_s = finger_newest_s(&pressure);
    if (finger_newest_s(&index) > low_s)
        low_s = finger_newest_s(&index);
    f = work_add(w, RULE_IS_5);
    f->severe = index.severe || pressure.severe;
    f->confirmed = f->severe || (pressure.low && pressure.confirmed) ||
                   (index.low && index.confirmed);
    f->urgency =
        work_urgency(w, f->severe ? P_IS5_URGENCY_SEVERE : P_IS5_URGENCY);
    fill_limits(w, f, &pressure, &index);
    weigh_symptoms(w, f, &pressure, &index);
    f->historic =
        (!pressure.low || pressure.denied) && (!index.low || index.denied);
    if (!f->confirmed) {
        f->repeat_of =
            pressure.low ? Q_DIGITAL_PRESSURE : Q_DIGITAL_BRACHIAL_INDEX;
        f->repeat_by_s = low_s + (int64_t)work_count(w, P_IS5_REPEAT_D) * DAY_S;
    }
}
