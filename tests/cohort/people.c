#include "tests/cohort/model.h"
#include "tests/demo/series.h"

#include <math.h>

/*
 * Who the patients are and what is true of them.  Sources and marks of the
 * numbers are in README.md; a share without a source is chosen such that
 * every rule has cases, and not to be like any unit.
 *
 * No statement draws twice where C leaves the order open.
 */

/* Basile et al. 2008: mean and standard deviation, mL/min. */
#define LOWER_ARM 948.0, 428.0 / 948.0
#define UPPER_ARM 1580.0, 553.0 / 1580.0
#define GRAFT     1150.0, 0.30

static bool chance(struct rng *r, double share)
{
    return rng_unit(r) < share;
}

const char *flow_story_word(enum flow_story s)
{
    static const char *const words[FLOW_STORIES] = { "steady", "rises",
                                                     "falls",  "falls-low",
                                                     "high",   "banded" };

    return words[s];
}

const char *hand_story_word(enum hand_story s)
{
    static const char *const words[HAND_STORIES] = { "well",        "tolerable",
                                                     "intolerable", "rest-pain",
                                                     "ulcer",       "weakness",
                                                     "new-access" };

    return words[s];
}

/* A row of a table of shares; what is left over falls to the first. */
static int draw_row(struct rng *r, const double *shares, int count)
{
    double u = rng_unit(r);

    for (int i = 1; i < count; i++) {
        if (u < shares[i])
            return i;
        u -= shares[i];
    }
    return 0;
}

static void draw_access(struct rng *r, const struct cohort_options *o,
                        struct person *p)
{
    p->unit = (enum demo_unit_id)(p->number % UNIT_COUNT);
    p->type = chance(r, 0.25) ? SIGN_TYPE_AVG : SIGN_TYPE_AVF;
    p->upper = chance(r, 0.45);
    p->left = chance(r, 0.7);
    p->male = chance(r, 0.6);
    p->birth_year = 1935 + rng_int(r, 0, 55);
    p->height_m =
        chance(r, 0.3) ? (p->male ? 1.74 : 1.62) + 0.06 * rng_normal(r) : NAN;
    p->created = -(double)rng_int(r, 200, 2200);
    p->band = NEVER;
    p->goes_over = NEVER;
    if (p->unit == UNIT_CORVANE)
        p->goes_over = o->days * 0.55;
    p->duplex_bias = 1.10 + 0.05 * rng_normal(r);
}

static double usual_flow(struct rng *r, const struct person *p)
{
    if (p->type == SIGN_TYPE_AVG)
        return noisy(r, GRAFT, 620, 2200);
    return p->upper ? noisy(r, UPPER_ARM, 450, 3600)
                    : noisy(r, LOWER_ARM, 300, 2800);
}

static double low_limit(const struct person *p)
{
    return p->type == SIGN_TYPE_AVG ? 600.0 : 500.0;
}

static void flow_steady(struct rng *r, const struct cohort_options *o,
                        struct person *p)
{
    double flow = usual_flow(r, p);
    double drift = 0.03 * rng_normal(r) * o->days / 365.0;

    course_add(&p->flow, 0, flow);
    course_add(&p->flow, o->days, flow * (1.0 + drift));
}

static void flow_changes(struct rng *r, const struct cohort_options *o,
                         struct person *p, double before, double after,
                         int fastest_d, int slowest_d)
{
    double from = o->days * rng_between(r, 0.28, 0.65);

    course_add(&p->flow, from, before);
    course_add(&p->flow, from + rng_int(r, fastest_d, slowest_d), after);
}

/* Kinds of bands: right, creeping back, too tight, not enough. */
static void flow_banded(struct rng *r, const struct cohort_options *o,
                        struct person *p)
{
    static const double shares[] = { 0, 0.35, 0.22, 0.18 };
    double before = rng_between(r, 2100, 3200), after, again;
    int kind = draw_row(r, shares, COUNT(shares));

    p->band = floor(o->days * rng_between(r, 0.22, 0.4)) + 0.4;
    switch (kind) {
    case 1:
        after = rng_between(r, 750, 1050);
        break;
    case 2:
        after = rng_between(r, 0.65, 0.92) * low_limit(p);
        break;
    case 3:
        after = before * rng_between(r, 0.75, 0.88);
        break;
    default:
        after = before * rng_between(r, 0.38, 0.46);
    }
    course_add(&p->flow, 0, before);
    course_add(&p->flow, p->band - 0.001, before);
    course_add(&p->flow, p->band, after);
    if (kind == 1) {
        course_add(&p->flow, p->band + 45, after);
        again = rng_between(r, 1650, 2200);
        course_add(&p->flow, p->band + rng_int(r, 200, 300), again);
    }
}

static void draw_flow(struct rng *r, const struct cohort_options *o,
                      struct person *p)
{
    static const double shares[FLOW_STORIES] = {
        0, 0.10, 0.14, 0.07, 0.03, 0.05
    };
    double before;

    p->flow_story = (enum flow_story)draw_row(r, shares, FLOW_STORIES);
    switch (p->flow_story) {
    case FLOW_RISES:
        before = rng_between(r, 700, 1400);
        flow_changes(r, o, p, before, rng_between(r, 1550, 2900), 120, 330);
        break;
    case FLOW_FALLS:
        /* Ends well below 1000, where the rule of falls looks. */
        before = rng_between(r, 600, 1300);
        flow_changes(r, o, p, before, before * rng_between(r, 0.57, 0.65), 10,
                     60);
        break;
    case FLOW_FALLS_LOW:
        before = low_limit(p) * rng_between(r, 1.15, 1.7);
        flow_changes(r, o, p, before, low_limit(p) * rng_between(r, 0.6, 0.95),
                     60, 240);
        break;
    case FLOW_HIGH:
        course_add(&p->flow, 0, rng_between(r, 2050, 3100));
        break;
    case FLOW_BANDED:
        flow_banded(r, o, p);
        break;
    case FLOW_STEADY:
    case FLOW_STORIES:
        flow_steady(r, o, p);
        break;
    }
}

static void draw_dose(struct rng *r, const struct cohort_options *o,
                      struct person *p)
{
    static const double shares[] = { 0, 0.05, 0.05, 0.015 };
    double before = noisy(r, 1.52, 0.08, 1.35, 1.9), after;
    double from = o->days * rng_between(r, 0.25, 0.7);

    course_add(&p->dose, from, before);
    switch (draw_row(r, shares, COUNT(shares))) {
    case 1:
        after = rng_between(r, 0.95, 1.13);
        break;
    case 2:
        after = before - rng_between(r, 0.3, 0.42);
        break;
    case 3:
        after = rng_between(r, 0.7, 0.84);
        break;
    default:
        return;
    }
    course_add(&p->dose, from + rng_int(r, 14, 60), after);
}

/* The outflow narrows: static pressure rises, needles bleed longer. */
static void draw_outflow(struct rng *r, const struct cohort_options *o,
                         struct person *p)
{
    bool graft = p->type == SIGN_TYPE_AVG;
    double from = o->days * rng_between(r, 0.2, 0.65);

    course_add(&p->ratio, from,
               graft ? noisy(r, 0.36, 0.15, 0.2, 0.43)
                     : noisy(r, 0.2, 0.25, 0.08, 0.3));
    p->narrow = chance(r, 0.08);
    if (p->narrow) {
        from += rng_int(r, 40, 150);
        course_add(&p->ratio, from,
                   graft ? rng_between(r, 0.58, 0.75)
                         : rng_between(r, 0.42, 0.6));
    }
    p->needles_from = p->needles_to = NEVER;
    if (chance(r, 0.03)) {
        p->needles_from = o->days * rng_between(r, 0.2, 0.6);
        p->needles_to = p->needles_from + rng_int(r, 90, 200);
        p->needles_pct = rng_between(r, 13, 25);
    }
}

static void draw_hand(struct rng *r, const struct cohort_options *o,
                      struct person *p)
{
    static const double shares[HAND_STORIES] = { 0,     0.04,  0.03, 0.02,
                                                 0.015, 0.015, 0.02 };

    p->hand_story = (enum hand_story)draw_row(r, shares, HAND_STORIES);
    p->hand_from = p->hand_to = NEVER;
    p->finger_mmhg = noisy(r, 100, 0.25, 50, 160);
    if (p->hand_story == HAND_WELL) {
        /* A new access that does well, so that youth alone says nothing. */
        if (chance(r, 0.04) && p->flow_story == FLOW_STEADY)
            p->created = rng_int(r, 20, o->days / 2) + 0.4;
        return;
    }
    p->finger_mmhg = noisy(r, 45, 0.35, 12, 80);
    p->hand_from = floor(o->days * rng_between(r, 0.2, 0.75)) + 0.5;
    if (p->hand_story == HAND_NEW_ACCESS) {
        /* With a course of flow that is as old as the access. */
        p->flow.count = 0;
        p->flow_story = FLOW_STEADY;
        p->band = NEVER;
        flow_steady(r, o, p);
        p->created = floor(p->hand_from) + 0.4;
        p->hand_from = p->created + rng_between(r, 2, 60) / 24.0;
    }
    p->hand_to = p->hand_from + rng_int(r, 60, 200);
}

static void draw_measuring(struct rng *r, struct person *p)
{
    static const double every_d[UNIT_COUNT] = { 28.0, 30.44, 28.0 };
    int first = rng_int(r, 1, 2); /* Monday or Tuesday, and so on */

    p->flow_every_d = every_d[p->unit];
    if (p->unit == UNIT_CORVANE && chance(r, 0.35))
        p->flow_every_d = 56.0;
    p->output_every_d = NEVER;
    if (p->unit == UNIT_ALDER && chance(r, 0.4))
        p->output_every_d = 28.0;
    else if (chance(r, 0.25))
        p->output_every_d = 91.0;
    p->measures_ratio = chance(r, 0.4);
    p->measures_recirculation = chance(r, 0.5);
    p->screens_finger = p->unit == UNIT_BRINDLE && chance(r, 0.5);
    for (int i = 0; i < 5; i += 2)
        p->weekdays[i + first] = true;
    p->start_min = 60 * (7 + 5 * rng_int(r, 0, 1));
    p->start_min += 5 * rng_int(r, 0, 6);
}

void person_draw(struct rng *r, const struct cohort_options *o, int number,
                 struct person *p)
{
    *p = (struct person){ .number = number };
    p->systolic_mmhg = rng_between(r, 118, 152);
    p->pump_ml_min = 10 * rng_int(r, 27, 33);
    p->minutes = 15 * rng_int(r, 15, 17);
    p->output_l_min = 4.8 * (1.0 + 0.15 * rng_normal(r));
    p->output_factor = 1.4;
    draw_access(r, o, p);
    draw_flow(r, o, p);
    draw_dose(r, o, p);
    draw_outflow(r, o, p);
    draw_hand(r, o, p);
    draw_measuring(r, p);
    person_events(r, o, p);
}
