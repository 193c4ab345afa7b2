#include "tests/cohort/keep.h"

#include <math.h>

/*
 * The questions and the look at the access, every second week or every week;
 * finger pressures; and what happens once.
 */

#define CV_FINGER 0.071 /* repeatability of finger systolic pressure */

enum { CHECK_MIN = 100, CHECK_D = 14, CHECK_CLOSE_D = 7 };

/* A complaint that the hand has at most checks, not at all. */
static enum sign complaint(struct maker *m)
{
    if (m->person->hand_story == HAND_REST_PAIN)
        return SIGN_PAIN_AT_REST;
    if (m->person->hand_story == HAND_INTOLERABLE && chance(m, 0.6))
        return SIGN_PAIN_ON_DIALYSIS_INTOLERABLE;
    return chance(m, 0.5) ? SIGN_PAIN_ON_DIALYSIS : SIGN_NUMBNESS;
}

/* A well hand is cold or hurts now and then, and that means nothing. */
static enum sign hand_sign(struct maker *m, int day)
{
    if (person_hand_on(m->person, day + 0.99))
        return chance(m, 0.7) ? complaint(m) : SIGN_NO_COMPLAINT;
    if (chance(m, 0.008))
        return SIGN_COLDNESS;
    return chance(m, 0.006) ? SIGN_PAIN_ON_DIALYSIS : SIGN_NO_COMPLAINT;
}

/* A narrow outflow makes needles bleed long, once it is past its limit. */
static bool bleeds_long(struct maker *m, int day)
{
    const struct person *p = m->person;
    double limit = p->type == SIGN_TYPE_AVG ? 0.5 : 0.35;

    if (p->narrow && course_at(&p->ratio, day) > limit)
        return chance(m, 0.85);
    return chance(m, 0.02);
}

static void make_check(struct maker *m, int day)
{
    struct note *n =
        keep_open(m, keep_session_start(m, day) + CHECK_MIN * MINUTE_S, false);
    enum sign hand = hand_sign(m, day);

    if (n == NULL)
        return;
    n->panel = true;
    keep_sign(n, Q_HAND_SYMPTOM, hand);
    keep_sign(n, Q_THRILL, SIGN_THRILL_PRESENT);
    keep_put(n, Q_BLEEDING_PROLONGED, bleeds_long(m, day) ? 1 : 0);
    if (chance(m, 0.01))
        keep_sign(n, Q_ACCESS_SIGN, SIGN_DIFFICULT_CANNULATION);
    keep_taking(m, "check", n->at_s, n->arrives_s, METHOD_UNSTATED, NULL);
}

/* Is it one of the two days on which a clotted access cannot be looked at? */
static bool is_clotted(const struct person *p, int day)
{
    for (int i = 0; i < p->event_count; i++)
        if (p->events[i].kind == EVENT_THRILL_LOST &&
            fabs(day - p->events[i].day) < 3.0)
            return true;
    return false;
}

static void make_checks(struct maker *m)
{
    const struct person *p = m->person;
    double d = fmax(rng_between(&m->rng, 0, CHECK_D), p->created + 1);

    while (d < m->cohort->o.days - 1 && m->err == ERR_OK) {
        int day = keep_session_day(m, d);
        bool close = p->narrow || person_hand_on(p, day);

        if (day < m->cohort->o.days && !is_clotted(p, day) && !chance(m, 0.08))
            make_check(m, day);
        d += close ? CHECK_CLOSE_D : CHECK_D;
    }
}

static void make_finger(struct maker *m, int day, double true_mmhg)
{
    double systolic =
        m->person->systolic_mmhg * (1.0 + 0.07 * rng_normal(&m->rng));
    double z = fmax(-3.0, fmin(3.0, rng_normal(&m->rng)));
    double finger = floor(true_mmhg * (1.0 + CV_FINGER * z) + 0.5);
    struct note *n;

    if (day >= m->cohort->o.days)
        return;
    n = keep_open(m, keep_session_start(m, day) + 5 * MINUTE_S, false);
    if (n == NULL)
        return;
    n->panel = true;
    keep_put(n, Q_DIGITAL_PRESSURE, finger);
    keep_put(n, Q_DIGITAL_BRACHIAL_INDEX,
             floor(100.0 * finger / systolic + 0.5) / 100.0);
    keep_taking(m, "finger", n->at_s, n->arrives_s, METHOD_UNSTATED, NULL);
}

/* Twice after complaints began; half-yearly where a unit screens everyone. */
static void make_fingers(struct maker *m)
{
    const struct person *p = m->person;
    double well_mmhg = p->hand_story == HAND_WELL ? p->finger_mmhg : 95.0;

    if (p->hand_from < NEVER && chance(m, 0.8)) {
        int first = keep_session_day(m, p->hand_from + rng_int(&m->rng, 4, 10));

        make_finger(m, first, p->finger_mmhg);
        make_finger(m, keep_session_day(m, first + rng_int(&m->rng, 7, 11)),
                    p->finger_mmhg);
    }
    for (double d = fmax(p->created + 90, rng_between(&m->rng, 0, 182));
         p->screens_finger && d < m->cohort->o.days - 1; d += 182) {
        int day = keep_session_day(m, d);

        make_finger(m, day,
                    person_hand_on(p, day) ? p->finger_mmhg : well_mmhg);
    }
}

static void make_event(struct maker *m, const struct event *e)
{
    const struct event_info *info = event_info(e->kind);
    struct note *n;

    if (e->day >= m->cohort->o.days - 1)
        return;
    n = keep_open(m, keep_time(m, e->day), true);
    if (n == NULL)
        return;
    if (info->sign == SIGN_NONE)
        keep_put(n, info->quantity, 1);
    else
        keep_sign(n, info->quantity, info->sign);
    keep_event(m, e, n->arrives_s);
    if (info->preliminary && chance(m, 0.2)) {
        n->status = "preliminary";
        (void)keep_again(m, m->cohort->note_count - 1, "final", 1.5);
    }
}

/* The creation of an old access is known by its date. */
static void make_creation(struct maker *m)
{
    bool old = m->person->created < 0;
    struct note *n = keep_open(m, keep_time(m, m->person->created), true);

    if (n == NULL)
        return;
    n->day_only = old;
    if (old)
        n->arrives_s = keep_time(m, 0.05);
    keep_sign(n, Q_ACCESS_INTERVENTION, SIGN_CREATED);
}

void checks_make(struct maker *m)
{
    make_creation(m);
    make_checks(m);
    make_fingers(m);
    for (int i = 0; i < m->person->event_count; i++)
        make_event(m, &m->person->events[i]);
}
