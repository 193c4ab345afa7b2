/* The rules on the hand, and the flow that stands beside it. */
#include "planner/rules_work.h"

#include "planner/series.h"

#include <math.h>

static bool has_acute_signs(const struct hand_point *p, void *arg)
{
    (void)arg;
    return p->acute;
}

static bool has_motor_loss(const struct hand_point *p, void *arg)
{
    (void)arg;
    return p->motor_loss;
}

/* Nothing seen, or nothing that bad, or found better since. */
static enum why why_well(const struct hand_point *points, size_t count,
                         enum grade grade)
{
    if (count == 0)
        return WHY_NO_READING;
    for (size_t i = 0; i < count; i++) {
        if (points[i].grade >= grade)
            return WHY_TAKEN_BACK;
    }
    return WHY_INSIDE;
}

/* A grade that stands; signs of emergency count from any status. */
static void tissue_loss(struct work *w)
{
    struct hand_point hand[HAND_POINTS_MAX];
    size_t n = hand_collect(w->h, w->policy, true, hand, HAND_POINTS_MAX);
    size_t at = 0;
    struct finding *f;

    /* a pale, cold, pulseless hand is acute whatever its grade */
    if (!hand_standing(hand, n, (enum grade)work_get(w, P_IS2_GRADE), &at) &&
        !hand_standing_if(hand, n, sign_info(SIGN_COLD_PULSELESS_HAND)->grade,
                          has_acute_signs, NULL, &at)) {
        work_not(w, RULE_IS_2,
                 why_well(hand, n, (enum grade)work_get(w, P_IS2_GRADE)));
        return;
    }
    f = work_add(w, RULE_IS_2);
    f->urgency = work_urgency(w, P_IS2_URGENCY);
    f->limit = P_IS2_GRADE;
    work_rest_on_hand(w, f, &hand[at]);
}

/* New weakness is a sign of emergency: from any status, and it is not
 * outweighed by rest pain that is told later. */
static void rest_pain(struct work *w)
{
    enum grade least = (enum grade)work_get(w, P_IS3_GRADE);
    enum grade above = (enum grade)work_get(w, P_IS2_GRADE);
    struct hand_point all[HAND_POINTS_MAX];
    size_t n = hand_collect(w->h, w->policy, true, all, HAND_POINTS_MAX);
    size_t at = 0, weak_at = 0;
    bool stands = hand_standing(w->hand, w->hand_count, least, &at) &&
                  w->hand[at].grade < above;
    /* weakness of long ago is no longer new */
    bool weak =
        hand_standing_if(all, n, least, has_motor_loss, NULL, &weak_at) &&
        all[weak_at].grade < above &&
        !(stands && work_is_old(w, all[weak_at].at_s));
    struct finding *f;

    if (!stands && !weak) {
        work_not(w, RULE_IS_3,
                 work_find(w, RULE_IS_2) != NULL
                     ? WHY_STRONGER
                     : why_well(w->hand, w->hand_count, least));
        return;
    }
    f = work_add(w, RULE_IS_3);
    f->with_sign = weak;
    f->urgency = work_urgency(w, weak ? P_IS3_URGENCY_MOTOR : P_IS3_URGENCY);
    f->limit = P_IS3_GRADE;
    if (stands)
        work_rest_on_hand(w, f, &w->hand[at]);
    if (weak)
        work_rest_on_hand(w, f, &all[weak_at]);
}

/* Where the complaints that stand begin: after two statements in a row that
 * there were none. */
static size_t series_start(const struct work *w, size_t newest, enum grade mild)
{
    size_t first = newest;
    int better = 0;

    for (size_t i = newest + 1; i-- > 0 && better < 2;) {
        if (w->hand[i].grade >= mild) {
            first = i;
            better = 0;
        } else if (w->hand[i].graded) {
            better++;
        }
    }
    return first;
}

/* Were there enough points of the mild grade close together?  Once there
 * were, a further complaint at any distance keeps it up. */
static bool mild_confirmed(struct work *w, size_t newest, struct finding *f)
{
    enum grade mild = (enum grade)work_get(w, P_IS4_GRADE_MILD);
    int64_t window_s = (int64_t)work_count(w, P_IS4_WINDOW_D) * DAY_S;
    int64_t apart_s = (int64_t)(work_get(w, P_APART_H) * HOUR_S);
    size_t first = series_start(w, newest, mild);
    bool confirmed = false;

    for (size_t i = first; i <= newest; i++) {
        int near = 0;

        if (w->hand[i].grade < mild)
            continue;
        work_rest_on_hand(w, f, &w->hand[i]);
        for (size_t k = first, last = i; k <= i; k++) {
            if (w->hand[k].grade < mild ||
                w->hand[k].at_s < w->hand[i].at_s - window_s ||
                (near > 0 && w->hand[k].at_s - w->hand[last].at_s < apart_s))
                continue;
            near++;
            last = k;
        }
        confirmed = confirmed || near >= work_count(w, P_IS4_READINGS_MILD);
    }
    return confirmed;
}

static void intermittent(struct work *w)
{
    struct finding *f, plain;
    size_t at = 0, severe_at = 0;
    bool mild, severe;

    if (!hand_standing(w->hand, w->hand_count,
                       (enum grade)work_get(w, P_IS4_GRADE_MILD), &at)) {
        work_not(w, RULE_IS_4,
                 why_well(w->hand, w->hand_count,
                          (enum grade)work_get(w, P_IS4_GRADE_MILD)));
        return;
    }
    if (w->hand[at].grade >= (enum grade)work_get(w, P_IS3_GRADE)) {
        work_not(w, RULE_IS_4, WHY_STRONGER);
        return;
    }
    f = work_add(w, RULE_IS_4);
    f->limit = P_IS4_GRADE_MILD;
    f->urgency = work_urgency(w, P_IS4_URGENCY_MILD);
    plain = *f;
    mild = mild_confirmed(w, at, f);
    severe = hand_standing(w->hand, w->hand_count,
                           (enum grade)work_get(w, P_IS4_GRADE), &severe_at);
    /* one of long ago must not hide what is told now */
    if (severe && !(mild && work_is_old(w, w->hand[severe_at].at_s))) {
        *f = plain;
        f->severe = true;
        f->limit = P_IS4_GRADE;
        f->urgency = work_urgency(w, P_IS4_URGENCY);
        work_rest_on_hand(w, f, &w->hand[severe_at]);
    } else if (!mild) {
        work_remove(w, RULE_IS_4, WHY_TOO_FEW); /* one mild complaint */
    }
}

/* The run of low points of one quantity that holds now. */
struct finger {
    bool low, severe, confirmed;
    bool denied; /* a later value is not low */
    enum why why;
    struct run run;
    struct point points[POINTS_MAX];
};

static void finger_state(struct work *w, enum quantity q, enum param limit,
                         struct finger *s)
{
    struct run_rule rule = { .limit = work_get(w, limit),
                             .above = false,
                             .readings = 1,
                             .window_d = work_count(w, P_IS5_REPEAT_D),
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
    severe.limit = work_get(w, P_IS5_INDEX_SEVERE);
    s->severe =
        q == Q_DIGITAL_BRACHIAL_INDEX && run_best(&severe, s->points, n, &run);
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
 * was told near in time to a low value counts until two later statements say
 * that the hand is well: not to be asked is not to be well.
 */
static void weigh_symptoms(struct work *w, struct finding *f,
                           const struct finger *pressure,
                           const struct finger *index)
{
    int window_d = work_count(w, P_IS5_SYMPTOM_WINDOW_D);
    const struct hand_point *worst = NULL;
    size_t at = 0;

    if (hand_standing(w->hand, w->hand_count, GRADE_1, &at)) {
        for (size_t i = 0; i < w->hand_count; i++) {
            const struct hand_point *p = &w->hand[i];

            if (p->grade >= GRADE_1 &&
                (is_low_near(pressure, p->at_s, window_d) ||
                 is_low_near(index, p->at_s, window_d)) &&
                (worst == NULL || p->grade >= worst->grade))
                worst = p;
        }
    }
    if (worst != NULL) {
        work_rest_on_hand(w, f, worst);
        return;
    }
    f->urgency = URGENCY_NOTE;
    f->confirmed = true;
}

static void finger_pressure(struct work *w)
{
    struct finger pressure, index;
    struct finding *f;
    int64_t low_s;

    finger_state(w, Q_DIGITAL_PRESSURE, P_IS5_PRESSURE, &pressure);
    finger_state(w, Q_DIGITAL_BRACHIAL_INDEX, P_IS5_INDEX, &index);
    if (!pressure.low && !index.low) {
        work_not(w, RULE_IS_5,
                 pressure.why == WHY_NO_READING ? index.why : pressure.why);
        return;
    }
    low_s = finger_newest_s(&pressure);
    if (finger_newest_s(&index) > low_s)
        low_s = finger_newest_s(&index);
    f = work_add(w, RULE_IS_5);
    f->severe = index.severe;
    f->confirmed = f->severe || (pressure.low && pressure.confirmed) ||
                   (index.low && index.confirmed);
    f->urgency =
        work_urgency(w, f->severe ? P_IS5_URGENCY_SEVERE : P_IS5_URGENCY);
    /* the one filled in last is named: a severe index, else the pressure */
    if (index.low && !f->severe)
        fill_finger(w, f, &index, P_IS5_INDEX);
    if (pressure.low)
        fill_finger(w, f, &pressure, P_IS5_PRESSURE);
    if (f->severe)
        fill_finger(w, f, &index, P_IS5_INDEX_SEVERE);
    weigh_symptoms(w, f, &pressure, &index);
    f->historic =
        (!pressure.low || pressure.denied) && (!index.low || index.denied);
    if (!f->confirmed) {
        f->repeat_of =
            pressure.low ? Q_DIGITAL_PRESSURE : Q_DIGITAL_BRACHIAL_INDEX;
        f->repeat_by_s = low_s + (int64_t)work_count(w, P_IS5_REPEAT_D) * DAY_S;
    }
}

void rules_hand(struct work *w)
{
    tissue_loss(w);
    rest_pain(w);
    intermittent(w);
    finger_pressure(w);
}

/* The most urgent finding of ischaemia that makes a referral, or NULL. */
static struct finding *worst_ischaemia(struct work *w)
{
    struct finding *worst = NULL;

    for (size_t i = 0; i < w->out->count; i++) {
        struct finding *f = &w->out->list[i];

        if (rule_info(f->rule)->group == GROUP_HAND && f->confirmed &&
            f->rule != RULE_IS_1 && f->urgency > URGENCY_NOTE &&
            (worst == NULL || f->urgency > worst->urgency))
            worst = f;
    }
    return worst;
}

/* The newest valid flow of one method in this stage of the access, or NULL. */
static const struct point *newest_flow_by(const struct work *w, int method)
{
    for (size_t i = w->flow_count; i-- > 0;) {
        const struct point *p = &w->flow[i];

        if ((int)p->method == method && !p->disagree &&
            p->at_s >= w->intervention_s)
            return p;
    }
    return NULL;
}

/* High or low, and measured near enough to the ischaemia: sets *rule. */
static bool flow_says(const struct work *w, const struct point *flow,
                      int64_t at_s, enum rule *rule)
{
    struct reading r = { .value = flow->value, .bound = flow->bound };
    enum param window_d = P_IS6_WINDOW_D;

    *rule = RULE_IS_6;
    if (!reading_at_least(&r, work_get(w, P_IS6_FLOW))) {
        if (!reading_below(&r, work_get(w, P_IS7_FLOW)))
            return false; /* a bound that leaves it open */
        *rule = RULE_IS_7;
        window_d = P_IS7_WINDOW_D;
    }
    return flow->at_s >= at_s - (int64_t)work_count(w, window_d) * DAY_S;
}

/*
 * The flow that stands beside an ischaemia: the newest of all methods.  Where
 * two methods contradict each other about high and low, none does.
 */
static const struct point *flow_beside(const struct work *w, int64_t at_s,
                                       enum rule *rule)
{
    const struct point *found = NULL;

    for (int m = 0; m < METHOD_COUNT; m++) {
        const struct point *p = newest_flow_by(w, m);
        enum rule says;

        if (p == NULL || !flow_says(w, p, at_s, &says))
            continue;
        if (found != NULL && says != *rule)
            return NULL;
        if (found == NULL || p->at_s > found->at_s)
            found = p;
        *rule = says;
    }
    return found;
}

/* Which flow stands beside an ischaemia decides what can be done. */
void rules_hand_and_flow(struct work *w)
{
    struct finding *worst = worst_ischaemia(w), *f;
    const struct point *flow;
    enum rule rule = RULE_IS_6;

    if (worst == NULL) {
        work_not(w, RULE_IS_6, WHY_NO_ISCHAEMIA);
        work_not(w, RULE_IS_7, WHY_NO_ISCHAEMIA);
        return;
    }
    flow = flow_beside(w, worst->at_s, &rule);
    if (flow == NULL) {
        worst->flow_unknown = true;
        work_not(w, RULE_IS_6, WHY_FLOW_UNKNOWN);
        work_not(w, RULE_IS_7, WHY_FLOW_UNKNOWN);
        return;
    }
    work_not(w, rule == RULE_IS_6 ? RULE_IS_7 : RULE_IS_6, WHY_INSIDE);
    f = work_add(w, rule);
    f->urgency = worst->urgency;
    f->grade = worst->grade;
    f->limit = rule == RULE_IS_6 ? P_IS6_FLOW : P_IS7_FLOW;
    f->measured = f->peak = flow->value;
    work_rest_on_point(w, f, flow);
    f->at_s = worst->at_s; /* it is the ischaemia that raises */
}
