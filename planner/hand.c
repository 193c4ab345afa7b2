#include "planner/hand.h"

#include <string.h>

static bool is_hand(const struct reading *r, bool emergencies)
{
    if (r->quantity != Q_HAND_SYMPTOM && r->quantity != Q_HAND_ISCHAEMIA_GRADE)
        return false;
    if (r->precision == AT_MONTH || r->precision == AT_YEAR)
        return false;
    return reading_counts(r) ||
           (emergencies && r->status == READING_PRELIMINARY);
}

int hand_territories(unsigned signs)
{
    return ((signs & HAND_BIT(SIGN_NUMBNESS_MEDIAN)) != 0) +
           ((signs & HAND_BIT(SIGN_NUMBNESS_ULNAR)) != 0) +
           ((signs & HAND_BIT(SIGN_NUMBNESS_RADIAL)) != 0);
}

unsigned hand_signs_from(enum grade grade)
{
    unsigned signs = 0;

    for (unsigned s = SIGN_NO_COMPLAINT; s <= SIGN_GRADE_4B; s++) {
        if (sign_info((enum sign)s)->grade >= grade)
            signs |= HAND_BIT(s);
    }
    return signs;
}

/* What a value that counts says against a complaint. */
static void take_statement(struct hand_point *p, const struct reading *r)
{
    p->provisional = false;
    if (!r->present) {
        p->denied |= HAND_BIT(r->sign);
        return;
    }
    if (r->quantity == Q_HAND_ISCHAEMIA_GRADE)
        p->scored = true;
    if (r->sign == SIGN_NO_COMPLAINT)
        p->no_complaint = true;
    p->graded = p->scored || p->no_complaint;
}

static void take(struct hand_point *p, const struct reading *r, size_t index)
{
    const struct sign_info *sign = sign_info(r->sign);

    p->last = index;
    if (p->reading_count < HAND_SIGNS_MAX)
        p->readings[p->reading_count++] = index;
    else if (r->present && sign->grade > p->grade)
        p->readings[HAND_SIGNS_MAX - 1] = index;
    /* a preliminary statement may alarm, but it does not say all clear */
    if (reading_counts(r))
        take_statement(p, r);
    if (!r->present)
        return;
    p->seen |= HAND_BIT(r->sign);
    if (sign->grade > p->grade)
        p->grade = sign->grade;
}

size_t hand_collect(const struct history *h, const struct policy *policy,
                    bool emergencies, struct hand_point *points, size_t max)
{
    size_t count = 0;

    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        if (!is_hand(r, emergencies))
            continue;
        if (count == 0 ||
            !readings_share_session(
                policy, &h->readings[points[count - 1].readings[0]], r)) {
            if (count == max) {
                memmove(points, points + 1, (max - 1) * sizeof(*points));
                count--;
            }
            points[count++] = (struct hand_point){ .at_s = r->start_s,
                                                   .provisional = true,
                                                   .first = i };
        }
        take(&points[count - 1], r, i);
    }
    return count;
}

static bool says_gone(const struct hand_point *p, const struct hand_end *end)
{
    if (p->seen & end->again)
        return false;
    if (p->denied & end->denied)
        return true;
    return p->grade < end->below && ((end->scored && p->scored) ||
                                     (end->no_complaint && p->no_complaint));
}

bool hand_taken_back(const struct hand_point *points, size_t count,
                     int64_t at_s, const struct hand_end *end)
{
    int times = 0;

    for (size_t i = 0; i < count && times < 2; i++) {
        const struct hand_point *p = &points[i];

        if (p->at_s <= at_s)
            continue;
        if (says_gone(p, end))
            times += p->at_s >= at_s + end->apart_s;
        else if ((p->seen & end->again) || p->grade >= end->below)
            times = 0;
    }
    return times >= 2;
}

bool hand_stands(const struct hand_point *points, size_t count, size_t index,
                 enum grade grade)
{
    unsigned signs = points[index].seen & hand_signs_from(grade);

    for (unsigned s = SIGN_NO_COMPLAINT; s <= SIGN_GRADE_4B; s++) {
        struct hand_end end = { .again = HAND_BIT(s),
                                .denied = HAND_BIT(s),
                                .scored = true,
                                .below = grade };

        if (!(signs & HAND_BIT(s)))
            continue;
        end.no_complaint = sign_info((enum sign)s)->grade < GRADE_4A;
        if (!hand_taken_back(points, count, points[index].at_s, &end))
            return true;
    }
    return false;
}

bool hand_standing(const struct hand_point *points, size_t count,
                   enum grade grade, size_t *index)
{
    for (size_t i = count; i-- > 0;) {
        if (points[i].grade < grade || !hand_stands(points, count, i, grade))
            continue;
        *index = i;
        return true;
    }
    return false;
}

bool hand_is_alarm(const struct reading *r, unsigned signs)
{
    return (r->quantity == Q_HAND_SYMPTOM ||
            r->quantity == Q_HAND_ISCHAEMIA_GRADE) &&
           r->present && r->status != READING_WITHDRAWN &&
           (HAND_BIT(r->sign) & signs) != 0;
}

int64_t hand_alarm_s(const struct reading *r, int64_t now_s)
{
    if (r->precision != AT_MONTH)
        return r->start_s;
    return r->end_s < now_s ? r->end_s : now_s;
}

const struct hand_point *hand_point_of(const struct hand_point *points,
                                       size_t count, size_t reading)
{
    for (size_t i = count; i-- > 0;) {
        if (points[i].first <= reading && reading <= points[i].last)
            return &points[i];
    }
    return NULL;
}

enum grade hand_worst(const struct hand_point *points, size_t count,
                      int64_t at_s, int window_d, size_t *index)
{
    enum grade worst = GRADE_NONE;

    for (size_t i = 0; i < count; i++) {
        if (points[i].at_s > at_s ||
            points[i].at_s < at_s - (int64_t)window_d * DAY_S)
            continue;
        if (points[i].grade > worst) {
            worst = points[i].grade;
            if (index != NULL)
                *index = i;
        }
    }
    return worst;
}
