/* The rule on a dose of dialysis that falls; see rules_dose.c for a low one. */
#include "planner/rules_work.h"
#include "planner/series.h"
#include "planner/series_raw.h"

#include <math.h>

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

void rules_dose_fall(struct work *w)
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
