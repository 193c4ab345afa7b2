#include "tests/cohort/model.h"

#include <math.h>
#include <stdlib.h>

/* One row, one line. */
/* clang-format off */
static const struct event_info table[EVENT_KINDS] = {
[EVENT_THRILL_LOST] = { "thrill-lost", Q_THRILL, SIGN_THRILL_ABSENT, "LF-6", true, 30, true },
[EVENT_BLEEDING] = { "bleeding", Q_BLEEDING_ACTIVE, SIGN_NONE, "BL-1", true, 30, false },
[EVENT_RUPTURE] = { "rupture-threat", Q_RUPTURE_THREAT, SIGN_NONE, "BL-1", true, 30, false },
[EVENT_ULCER] = { "hand-ulcer", Q_HAND_SYMPTOM, SIGN_HAND_ULCER, "IS-2", true, 60, true },
[EVENT_PULSELESS] = { "cold-pulseless-hand", Q_HAND_SYMPTOM, SIGN_COLD_PULSELESS_HAND, "IS-2", true, 60, true },
[EVENT_WEAKNESS] = { "weakness", Q_HAND_SYMPTOM, SIGN_MOTOR_WEAKNESS, "IS-3", true, 60, false },
[EVENT_MONOMELIC] = { "weakness-after-creation", Q_HAND_SYMPTOM, SIGN_MOTOR_WEAKNESS, "IS-1", true, 60, true },
[EVENT_SEPSIS] = { "sepsis", Q_INFECTION_SIGN, SIGN_INFECTION_SEPSIS, "IN-1", true, 30, false },
[EVENT_GRAFT_EXPOSED] = { "graft-exposed", Q_INFECTION_SIGN, SIGN_GRAFT_EXPOSED, "IN-1", true, 30, false },
[EVENT_INFECTION] = { "infection", Q_INFECTION_SIGN, SIGN_INFECTION_LOCAL, "IN-1", false, 30, false },
[EVENT_SWELLING] = { "arm-swelling", Q_ACCESS_SIGN, SIGN_ARM_SWELLING, "LF-6", false, 30, false },
[EVENT_ADMISSION] = { "heart-failure-admission", Q_HEART_FAILURE_SIGN, SIGN_HF_ADMISSION, "HF-4", false, 90, false },
[EVENT_OUTFLOW_TREATED] = { "outflow-treated", Q_ACCESS_INTERVENTION, SIGN_ANGIOPLASTY_OUTFLOW, "", false, 0, false },
[EVENT_BAND] = { "band", Q_ACCESS_INTERVENTION, SIGN_BANDED, "", false, 0, false },
};
/* clang-format on */

const struct event_info *event_info(enum event_kind k)
{
    return &table[k];
}

static void add(struct person *p, enum event_kind kind, double day)
{
    if (p->event_count < EVENTS_MAX)
        p->events[p->event_count++] = (struct event){ kind, day };
}

/* Some day on which there is an access, with an hour of the day. */
static double any_day(struct rng *r, const struct cohort_options *o,
                      const struct person *p)
{
    double from = fmax(30.0, p->created + 60.0);

    double day = floor(rng_between(r, from, o->days - 40));

    return day + rng_between(r, 0.3, 0.8);
}

static void maybe(struct rng *r, const struct cohort_options *o,
                  struct person *p, enum event_kind kind, double per_year)
{
    if (rng_unit(r) < per_year * o->days / 365.0)
        add(p, kind, any_day(r, o, p));
}

/* The access clots and is opened again two days later. */
static void thrombosis(struct rng *r, const struct cohort_options *o,
                       struct person *p)
{
    double per_year = p->flow_story == FLOW_FALLS_LOW ? 0.15 : 0.02;
    double day;

    if (rng_unit(r) >= per_year * o->days / 365.0)
        return;
    day = any_day(r, o, p);
    add(p, EVENT_THRILL_LOST, day);
    add(p, EVENT_OUTFLOW_TREATED, day + 2.0);
}

static void of_the_hand(struct rng *r, struct person *p)
{
    enum event_kind loss = rng_unit(r) < 0.75 ? EVENT_ULCER : EVENT_PULSELESS;

    if (p->hand_story == HAND_ULCER)
        add(p, loss, floor(p->hand_from) + rng_int(r, 20, 40) + 0.5);
    else if (p->hand_story == HAND_WEAKNESS)
        add(p, EVENT_WEAKNESS, p->hand_from);
    else if (p->hand_story == HAND_NEW_ACCESS)
        add(p, EVENT_MONOMELIC, p->hand_from);
}

/* More than three treatments of the outflow in a year. */
static void repeated_treatment(struct rng *r, const struct cohort_options *o,
                               struct person *p)
{
    double day = o->days * rng_between(r, 0.15, 0.3);

    for (int i = 0; i < 4; i++) {
        add(p, EVENT_OUTFLOW_TREATED, floor(day) + 0.4);
        day += rng_int(r, 60, 95);
    }
}

static int by_day(const void *a, const void *b)
{
    double x = ((const struct event *)a)->day;
    double y = ((const struct event *)b)->day;

    return (x > y) - (x < y);
}

void person_events(struct rng *r, const struct cohort_options *o,
                   struct person *p)
{
    double flow = course_at(&p->flow, o->days * 0.9);
    bool young = p->created > 0;

    of_the_hand(r, p);
    if (p->band < NEVER)
        add(p, EVENT_BAND, p->band);
    else if (!young && flow > 1700 && rng_unit(r) < 0.08)
        repeated_treatment(r, o, p);
    else
        thrombosis(r, o, p);
    maybe(r, o, p, EVENT_BLEEDING, 0.015);
    maybe(r, o, p, EVENT_RUPTURE, 0.01);
    maybe(r, o, p, EVENT_SEPSIS, 0.008);
    if (p->type == SIGN_TYPE_AVG)
        maybe(r, o, p, EVENT_GRAFT_EXPOSED, 0.02);
    maybe(r, o, p, EVENT_INFECTION, 0.02);
    maybe(r, o, p, EVENT_SWELLING, p->narrow ? 0.1 : 0.015);
    maybe(r, o, p, EVENT_ADMISSION, flow > 1500 ? 0.06 : 0.03);
    qsort(p->events, (size_t)p->event_count, sizeof(p->events[0]), by_day);
}
