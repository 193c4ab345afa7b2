/*
 * What is seen of the hand: IS-2 to IS-4.
 *
 * Signs of emergency are believed from any status that is not withdrawn, and
 * looked for one by one: an older one must not hide a newer one of another
 * kind.
 */
#include "planner/rules_work.h"

/* All that was ever seen of the hand, preliminary readings too. */
struct alarms {
    struct hand_point hand[HAND_POINTS_MAX];
    size_t count;
};

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

static bool is_timed(const struct reading *r)
{
    return r->precision != AT_MONTH && r->precision != AT_YEAR;
}

/*
 * The newest of these signs that still stands, of those whose time is known to
 * the day or better, or (by_month) to the month only: the two are looked for
 * apart, as a sign of some day of the month must not hide what was seen on a
 * known one.  What takes a sign back is that very sign looked for and not
 * found, and what end says.
 */
static bool newest_alarm(const struct work *w, const struct alarms *all,
                         unsigned signs, bool by_month,
                         const struct hand_end *end, size_t *index)
{
    int64_t newest_s = INT64_MIN;

    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];
        int64_t at_s = hand_alarm_s(r, w->h->now_s);
        struct hand_end own = *end;

        if (!hand_is_alarm(r, signs) || at_s <= newest_s ||
            !(by_month ? r->precision == AT_MONTH : is_timed(r)))
            continue;
        own.again = own.denied = HAND_BIT(r->sign);
        /* loss of tissue may be painless */
        own.no_complaint =
            end->no_complaint && sign_info(r->sign)->grade < GRADE_4A;
        if (hand_taken_back(all->hand, all->count, at_s, &own))
            continue;
        newest_s = at_s;
        *index = i;
    }
    return newest_s > INT64_MIN;
}

/* Rest on the session of a sign; on the sign alone if it was seen outside of
 * those that are kept, or to the month only. */
static void rest_on_alarm(const struct work *w, struct finding *f,
                          const struct alarms *all, size_t index)
{
    const struct reading *r = &w->h->readings[index];
    const struct hand_point *p = hand_point_of(all->hand, all->count, index);
    int64_t at_s = hand_alarm_s(r, w->h->now_s);

    if (is_timed(r) && p != NULL)
        work_rest_on_hand(w, f, p);
    work_rest_on(w, f, index);
    if (sign_info(r->sign)->grade > f->grade)
        f->grade = sign_info(r->sign)->grade;
    if (at_s > f->at_s)
        f->at_s = at_s;
}

/* The newest loss of tissue of a known day, and beside it one that is known to
 * the month only, unless that month was over by then; how many. */
static size_t losses(const struct work *w, const struct alarms *all,
                     enum grade grade, const struct hand_end *end,
                     size_t index[2])
{
    unsigned signs = hand_signs_from(grade);
    const struct reading *readings = w->h->readings;
    size_t count = 0, month = 0;

    if (newest_alarm(w, all, signs, false, end, &index[0]))
        count = 1;
    if (newest_alarm(w, all, signs, true, end, &month) &&
        (count == 0 || readings[month].end_s > readings[index[0]].start_s))
        index[count++] = month;
    return count;
}

/* Loss of tissue, and a pale, cold, pulseless hand, which is acute whatever
 * its grade: the finding rests on both. */
static void tissue_loss(struct work *w, const struct alarms *all)
{
    enum grade grade = (enum grade)work_get(w, P_IS2_GRADE);
    struct hand_end loss_end = { .scored = true,
                                 .no_complaint = true,
                                 .below = grade,
                                 .apart_s = HAND_ALARM_LEAST_S };
    struct hand_end acute_end = loss_end;
    size_t loss_at[2] = { 0, 0 }, acute_at = 0, loss_count;
    struct finding *f;
    bool acute;

    acute_end.below = sign_info(SIGN_COLD_PULSELESS_HAND)->grade;
    loss_count = losses(w, all, grade, &loss_end, loss_at);
    acute = newest_alarm(w, all, HAND_BIT(SIGN_COLD_PULSELESS_HAND), false,
                         &acute_end, &acute_at);
    if (loss_count == 0 && !acute) {
        work_not(w, RULE_IS_2, why_well(all->hand, all->count, grade));
        return;
    }
    f = work_add(w, RULE_IS_2);
    f->urgency = work_urgency(w, P_IS2_URGENCY);
    f->limit = P_IS2_GRADE;
    for (size_t i = 0; i < loss_count; i++)
        rest_on_alarm(w, f, all, loss_at[i]);
    if (acute)
        rest_on_alarm(w, f, all, acute_at);
}

/* Beside a loss of tissue seen in the same session, which is IS-2's, new
 * weakness stands on its own readings. */
static void rest_on_weakness(const struct work *w, struct finding *f,
                             const struct alarms *all, size_t index,
                             enum grade above)
{
    const struct hand_point *p = hand_point_of(all->hand, all->count, index);

    if (p == NULL || p->grade < above) {
        rest_on_alarm(w, f, all, index);
        return;
    }
    for (size_t i = p->first; i <= p->last; i++) {
        const struct reading *r = &w->h->readings[i];

        if (hand_is_alarm(r, HAND_BIT(SIGN_MOTOR_WEAKNESS)) && is_timed(r))
            work_rest_on(w, f, i);
    }
    if (sign_info(SIGN_MOTOR_WEAKNESS)->grade > f->grade)
        f->grade = sign_info(SIGN_MOTOR_WEAKNESS)->grade;
}

/* New weakness is a sign of emergency, and it is not outweighed by rest pain
 * that is told later, nor by loss of tissue.  What is said of the blood says
 * nothing of the nerves: only that they were asked for ends it. */
static void rest_pain(struct work *w, const struct alarms *all)
{
    enum grade least = (enum grade)work_get(w, P_IS3_GRADE);
    enum grade above = (enum grade)work_get(w, P_IS2_GRADE);
    struct hand_end end = { .no_complaint = true,
                            .below = GRADE_1,
                            .apart_s = HAND_ALARM_LEAST_S };
    size_t at = 0, weak_at = 0;
    bool stands = hand_standing(w->hand, w->hand_count, least, &at) &&
                  w->hand[at].grade < above;
    /* weakness of long ago is no longer new */
    bool weak = newest_alarm(w, all, HAND_BIT(SIGN_MOTOR_WEAKNESS), false, &end,
                             &weak_at) &&
                !(stands && work_is_old(w, w->h->readings[weak_at].start_s));
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
        rest_on_weakness(w, f, all, weak_at, above);
}

/* Were there enough points of the mild grade, of complaints that stand, close
 * together?  Once there were, a further complaint at any distance keeps it
 * up. */
static bool mild_confirmed(struct work *w, size_t newest, struct finding *f)
{
    enum grade mild = (enum grade)work_get(w, P_IS4_GRADE_MILD);
    int64_t window_s = (int64_t)work_count(w, P_IS4_WINDOW_D) * DAY_S;
    int64_t apart_s = (int64_t)(work_get(w, P_APART_H) * HOUR_S);
    bool stands[HAND_POINTS_MAX];
    bool confirmed = false;

    for (size_t i = 0; i <= newest; i++)
        stands[i] = w->hand[i].grade >= mild &&
                    hand_stands(w->hand, w->hand_count, i, mild);
    for (size_t i = 0; i <= newest; i++) {
        int near = 0;

        if (!stands[i])
            continue;
        work_rest_on_hand(w, f, &w->hand[i]);
        for (size_t k = 0, last = i; k <= i; k++) {
            if (!stands[k] || w->hand[k].at_s < w->hand[i].at_s - window_s ||
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

void rules_hand(struct work *w)
{
    struct alarms all;

    all.count = hand_collect(w->h, w->policy, true, all.hand, HAND_POINTS_MAX);
    tissue_loss(w, &all);
    rest_pain(w, &all);
    intermittent(w);
    rules_finger(w);
}
