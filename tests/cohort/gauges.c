#include "tests/cohort/model.h"

#include <math.h>

/*
 * When the rules are true of a true value.  The limits are those that the
 * rules are described with, not those of a policy file: a policy that is
 * changed is measured against the same truth.
 */

enum { YOUNG_D = 56, BASELINE_D = 183, DOSE_BASELINE_D = 120 };

static double above(double value, double limit, double *v, double *l)
{
    *v = value;
    *l = limit;
    return 100.0 * (value / limit - 1.0);
}

static double below(double value, double limit, double *v, double *l)
{
    *v = value;
    *l = limit;
    return 100.0 * (1.0 - value / limit);
}

static double flow_at(const struct person *p, double day)
{
    return day < p->created ? NAN : course_at(&p->flow, day);
}

static double yes(bool holds)
{
    return holds ? 100.0 : -100.0;
}

static double hf1(const struct person *p, double day, double *v, double *l)
{
    return above(flow_at(p, day), 2000.0, v, l);
}

static double hf2(const struct person *p, double day, double *v, double *l)
{
    return above(flow_at(p, day), 1500.0, v, l);
}

/* The severe limit: the other makes a note and no suggestion. */
static double hf3(const struct person *p, double day, double *v, double *l)
{
    double flow = flow_at(p, day), enough, share;

    if (p->output_every_d >= NEVER)
        return NAN;
    enough = above(flow, 800.0, v, l);
    share = above(flow / 1000.0 / person_output(p, day), 0.30, v, l);
    return fmin(enough, share);
}

static bool happened(const struct person *p, enum event_kind kind, double day,
                     double within_d, int times)
{
    for (int i = 0; i < p->event_count; i++)
        if (p->events[i].kind == kind && p->events[i].day <= day &&
            day - p->events[i].day < within_d)
            times--;
    return times <= 0;
}

static double hf4(const struct person *p, double day, double *v, double *l)
{
    double flow = flow_at(p, day);
    bool share = p->output_every_d < NEVER && flow >= 1000.0 &&
                 flow / 1000.0 / person_output(p, day) >= 0.20;

    (void)above(flow, 1500.0, v, l);
    if (!happened(p, EVENT_ADMISSION, day, 90.0, 1))
        return NAN;
    return share ? fmax(0.0, hf2(p, day, v, l)) : hf2(p, day, v, l);
}

static double hf5(const struct person *p, double day, double *v, double *l)
{
    double beyond = hf2(p, day, v, l);

    return happened(p, EVENT_OUTFLOW_TREATED, day, 365.0, 4) ? beyond : NAN;
}

static double hf6(const struct person *p, double day, double *v, double *l)
{
    double flow = flow_at(p, day);
    double high = above(flow, 2000.0, v, l);
    double for_height = above(flow / pow(p->height_m, 2.7), 603.0, v, l);

    return isnan(p->height_m) ? NAN : fmin(high, for_height);
}

static double is3(const struct person *p, double day, double *v, double *l)
{
    (void)above(3, 3, v, l);
    return yes(person_hand_on(p, day) && p->hand_story >= HAND_REST_PAIN);
}

static double is4(const struct person *p, double day, double *v, double *l)
{
    (void)above(2, 2, v, l);
    return yes(person_hand_on(p, day));
}

static double is5(const struct person *p, double day, double *v, double *l)
{
    double pressure = below(p->finger_mmhg, 60.0, v, l);
    double index = 100.0 * (1.0 - p->finger_mmhg / p->systolic_mmhg / 0.6);

    return person_hand_on(p, day) ? fmax(pressure, index) : NAN;
}

static double is6(const struct person *p, double day, double *v, double *l)
{
    double beyond = above(flow_at(p, day), 1000.0, v, l);

    return person_hand_on(p, day) ? beyond : NAN;
}

static double is7(const struct person *p, double day, double *v, double *l)
{
    double beyond = below(flow_at(p, day), 1000.0, v, l);

    return person_hand_on(p, day) ? beyond : NAN;
}

static double lf1(const struct person *p, double day, double *v, double *l)
{
    double beyond = below(flow_at(p, day), 600.0, v, l);

    return p->type == SIGN_TYPE_AVG ? beyond : NAN;
}

static bool is_young(const struct person *p, double day)
{
    return day < p->created + YOUNG_D;
}

static double lf2(const struct person *p, double day, double *v, double *l)
{
    double beyond = below(flow_at(p, day), 500.0, v, l);

    return p->type == SIGN_TYPE_AVG || is_young(p, day) ? NAN : beyond;
}

/* A quarter below the highest true flow of the half year before, since the
 * last intervention; and below 1000. */
static double lf3(const struct person *p, double day, double *v, double *l)
{
    double since = person_stage(p, day);
    double peak = course_peak(&p->flow, day, BASELINE_D, since);
    double absolute = below(flow_at(p, day), 1000.0, v, l);
    double fall = below(flow_at(p, day), 0.75 * peak, v, l);

    return is_young(p, day) ? NAN : fmin(fall, absolute);
}

static double lf4(const struct person *p, double day, double *v, double *l)
{
    double limit = p->type == SIGN_TYPE_AVG ? 0.50 : 0.35;

    if (!p->measures_ratio)
        return NAN;
    return above(course_at(&p->ratio, day), limit, v, l);
}

static double lf5(const struct person *p, double day, double *v, double *l)
{
    if (!p->measures_recirculation)
        return NAN;
    return above(person_recirculation(p, day), 5.0, v, l);
}

static double lf6(const struct person *p, double day, double *v, double *l)
{
    double limit = p->type == SIGN_TYPE_AVG ? 0.50 : 0.35;
    double beyond = above(course_at(&p->ratio, day), limit, v, l);

    return yes(p->narrow && beyond > 0.0);
}

static double ad1(const struct person *p, double day, double *v, double *l)
{
    return below(course_at(&p->dose, day), 1.2, v, l);
}

static double ad2(const struct person *p, double day, double *v, double *l)
{
    double peak = course_peak(&p->dose, day, DOSE_BASELINE_D, -NEVER);

    return below(course_at(&p->dose, day), peak - 0.2, v, l);
}

static bool is_banded(const struct person *p, double day)
{
    return day >= p->band;
}

static double pb1(const struct person *p, double day, double *v, double *l)
{
    (void)above(1, 1, v, l);
    return is_banded(p, day) ? 100.0 : NAN;
}

static double pb2(const struct person *p, double day, double *v, double *l)
{
    double floor_ml_min = p->type == SIGN_TYPE_AVG ? 600.0 : 500.0;
    double beyond = below(flow_at(p, day), floor_ml_min, v, l);

    return is_banded(p, day) ? beyond : NAN;
}

static double pb3(const struct person *p, double day, double *v, double *l)
{
    double before = course_at(&p->flow, p->band - 1.0);
    double fall_pct = 100.0 * (1.0 - course_at(&p->flow, p->band) / before);
    double beyond = below(fall_pct, 30.0, v, l);

    return is_banded(p, day) ? beyond : NAN;
}

static double pb4(const struct person *p, double day, double *v, double *l)
{
    double first = course_at(&p->flow, p->band);
    double limit = fmin(fmax(1.5 * first, 1000.0), 1500.0);
    double beyond = above(flow_at(p, day), limit, v, l);

    return is_banded(p, day) ? beyond : NAN;
}

static bool has_rest_pain(const struct person *p)
{
    return p->hand_story == HAND_REST_PAIN;
}

static bool has_less_than_rest_pain(const struct person *p)
{
    return p->hand_story == HAND_TOLERABLE || p->hand_story == HAND_INTOLERABLE;
}

static bool nobody(const struct person *p)
{
    (void)p;
    return false;
}

/* The fall that must be found is 35 %: 13.3 % beyond the limit of 25 %. */
#define OF_A_FALL (100.0 * (1.0 - 0.65 / 0.75) - 0.01)

/* One row, one line. */
/* clang-format off */
static const struct gauge table[] = {
{ "HF-1", "access-flow", hf1, NULL, 20, true },
{ "HF-2", "access-flow", hf2, NULL, 20, true },
{ "HF-3", "cardiac-output", hf3, NULL, NAN, true },
{ "HF-4", "access-flow", hf4, NULL, NAN, true },
{ "HF-5", "access-flow", hf5, NULL, NAN, true },
{ "HF-6", "access-flow", hf6, nobody, NAN, true }, /* a note */
{ "IS-3", "check", is3, has_rest_pain, NAN, false },
{ "IS-4", "check", is4, has_less_than_rest_pain, NAN, false },
{ "IS-5", "finger", is5, NULL, NAN, true },
{ "IS-6", "access-flow", is6, NULL, NAN, true },
{ "IS-7", "access-flow", is7, NULL, NAN, true },
{ "LF-1", "access-flow", lf1, NULL, 20, true },
{ "LF-2", "access-flow", lf2, NULL, 20, true },
{ "LF-3", "access-flow", lf3, NULL, OF_A_FALL, true },
{ "LF-4", "static-pressure", lf4, NULL, NAN, true },
{ "LF-5", "recirculation", lf5, NULL, NAN, true },
{ "LF-6", "check", lf6, NULL, NAN, false },
{ "AD-1", "spktv", ad1, NULL, NAN, true },
{ "AD-2", "spktv", ad2, NULL, NAN, true },
{ "PB-1", "access-flow", pb1, nobody, NAN, false }, /* a date, not a finding */
{ "PB-2", "access-flow", pb2, NULL, 20, true },
{ "PB-3", "access-flow", pb3, NULL, NAN, true },
{ "PB-4", "access-flow", pb4, NULL, 20, true },
};
/* clang-format on */

const struct gauge *gauges(size_t *count)
{
    *count = COUNT(table);
    return table;
}
