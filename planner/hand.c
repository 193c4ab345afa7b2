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

static unsigned nerve_of(enum sign s)
{
    switch ((int)s) {
    case SIGN_NUMBNESS_MEDIAN:
        return 1;
    case SIGN_NUMBNESS_ULNAR:
        return 2;
    case SIGN_NUMBNESS_RADIAL:
        return 4;
    default:
        return 0;
    }
}

int hand_territories(const struct hand_point *point)
{
    unsigned n = point->nerves;

    return (int)((n & 1) + (n >> 1 & 1) + (n >> 2 & 1));
}

static void take(struct hand_point *p, const struct reading *r, size_t index)
{
    const struct sign_info *sign = sign_info(r->sign);

    if (p->reading_count < HAND_SIGNS_MAX)
        p->readings[p->reading_count++] = index;
    else if (r->present && sign->grade > p->grade)
        p->readings[HAND_SIGNS_MAX - 1] = index;
    /* a preliminary statement may alarm, but it does not say all clear */
    if (reading_counts(r) &&
        (r->quantity == Q_HAND_ISCHAEMIA_GRADE || r->sign == SIGN_NO_COMPLAINT))
        p->graded = true;
    if (reading_counts(r))
        p->provisional = false;
    if (!r->present)
        return;
    if (sign->grade > p->grade)
        p->grade = sign->grade;
    p->motor_loss = p->motor_loss || r->sign == SIGN_MOTOR_WEAKNESS;
    p->acute = p->acute || r->sign == SIGN_COLD_PULSELESS_HAND;
    p->nerves |= nerve_of(r->sign);
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
            points[count++] =
                (struct hand_point){ .at_s = r->start_s, .provisional = true };
        }
        take(&points[count - 1], r, i);
    }
    return count;
}

bool hand_standing(const struct hand_point *points, size_t count,
                   enum grade grade, size_t *index)
{
    int better = 0;

    for (size_t i = count; i-- > 0;) {
        if (points[i].grade >= grade) {
            *index = i;
            return better < 2;
        }
        if (points[i].graded)
            better++;
    }
    return false;
}

bool hand_standing_if(const struct hand_point *points, size_t count,
                      enum grade grade,
                      bool (*is)(const struct hand_point *point, void *arg),
                      void *arg, size_t *index)
{
    int better = 0;

    for (size_t i = count; i-- > 0 && better < 2;) {
        if (is(&points[i], arg)) {
            *index = i;
            return true;
        }
        if (points[i].grade >= grade)
            better = 0;
        else if (points[i].graded)
            better++;
    }
    return false;
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
