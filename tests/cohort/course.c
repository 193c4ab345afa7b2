#include "tests/cohort/model.h"

#include <math.h>

void course_add(struct course *c, double day, double value)
{
    if (c->count == COURSE_MAX)
        return;
    c->knot[c->count].day = day;
    c->knot[c->count++].value = value;
}

double course_at(const struct course *c, double day)
{
    int i = 0;

    while (i < c->count && c->knot[i].day <= day)
        i++;
    if (i == 0)
        return c->knot[0].value;
    if (i == c->count)
        return c->knot[i - 1].value;
    return c->knot[i - 1].value + (c->knot[i].value - c->knot[i - 1].value) *
                                      (day - c->knot[i - 1].day) /
                                      (c->knot[i].day - c->knot[i - 1].day);
}

double course_peak(const struct course *c, double day, double days,
                   double since)
{
    double from = fmax(day - days, since);
    double peak = fmax(course_at(c, from), course_at(c, day));

    for (int i = 0; i < c->count; i++)
        if (c->knot[i].day >= from && c->knot[i].day <= day)
            peak = fmax(peak, c->knot[i].value);
    return peak;
}

bool person_hand_on(const struct person *p, double day)
{
    return day >= p->hand_from && day < p->hand_to;
}

double person_output(const struct person *p, double day)
{
    double flow_l_min = course_at(&p->flow, day) / 1000.0;

    return p->output_l_min + p->output_factor * flow_l_min;
}

/* Where the pump asks for more than the access gives, the rest comes round
 * again. */
double person_recirculation(const struct person *p, double day)
{
    double flow = course_at(&p->flow, day);
    double pct = 0.0;

    if (flow < p->pump_ml_min)
        pct = 100.0 * (1.0 - flow / p->pump_ml_min);
    if (day >= p->needles_from && day < p->needles_to)
        pct = fmax(pct, p->needles_pct);
    return pct;
}

double person_stage(const struct person *p, double day)
{
    double stage = p->created;

    for (int i = 0; i < p->event_count; i++) {
        enum event_kind k = p->events[i].kind;

        if (p->events[i].day <= day &&
            (k == EVENT_BAND || k == EVENT_OUTFLOW_TREATED))
            stage = fmax(stage, p->events[i].day);
    }
    return stage;
}
