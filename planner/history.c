#include "planner/history.h"

#include <math.h>
#include <string.h>

bool reading_is_intervention(const struct reading *r)
{
    if (!reading_counts(r))
        return false;
    switch ((int)r->quantity) {
    case Q_DOWEL_DIAMETER:
    case Q_BAND_STRETCHED:
        return true;
    case Q_BAND_RELEASED:
        return r->value > 0.5;
    case Q_ACCESS_INTERVENTION:
        return r->present;
    default:
        return false;
    }
}

/* What collecting needs to remember of the readings before. */
struct collector {
    const struct history *h;
    const struct policy *policy;
    struct point *points;
    size_t max, count;
    bool intervened;        /* since the newest point of any method */
    int64_t intervention_s; /* newest; INT64_MIN if none */
};

static bool usable(const struct reading *r, enum quantity quantity)
{
    return r->quantity == quantity && reading_counts(r) &&
           r->precision != AT_MONTH && r->precision != AT_YEAR &&
           isfinite(r->value);
}

bool readings_share_session(const struct policy *policy,
                            const struct reading *a, const struct reading *b)
{
    double session_s = policy_get(policy, P_SESSION_H) * HOUR_S;

    if (a->precision == AT_DAY || b->precision == AT_DAY)
        return a->start_s < b->end_s && b->start_s < a->end_s;
    return fabs((double)(a->start_s - b->start_s)) <= session_s;
}

static bool may_join(const struct point *p, const struct reading *r)
{
    return p->bound == BOUND_NONE && r->bound == BOUND_NONE &&
           p->reading_count < POINT_READINGS_MAX;
}

/* Too close to be a confirmation, though perhaps not one session. */
static bool is_close(const struct policy *policy, const struct reading *a,
                     const struct reading *b)
{
    return fabs((double)(a->start_s - b->start_s)) <
               policy_get(policy, P_APART_H) * HOUR_S ||
           readings_share_session(policy, a, b);
}

/* Does it come too soon after the newest independent one of these points, of
 * its method and since the last intervention, to confirm it? */
static bool comes_again(const struct history *h, const struct policy *policy,
                        const struct point *points, size_t count,
                        const struct reading *r, enum method method,
                        int64_t intervention_s)
{
    for (size_t i = count; i-- > 0 && points[i].at_s >= intervention_s;) {
        if (points[i].method == method && !points[i].again)
            return is_close(policy, &h->readings[points[i].readings[0]], r);
    }
    return false;
}

/* The point that a replicate joins, or NULL. */
static struct point *session_of(const struct collector *c,
                                const struct reading *r)
{
    for (size_t i = c->count; i-- > 0;) {
        struct point *p = &c->points[i];

        if (p->at_s < c->intervention_s)
            break;
        if (p->method != r->method)
            continue;
        if (may_join(p, r) &&
            readings_share_session(c->policy, &c->h->readings[p->readings[0]],
                                   r))
            return p;
        if (!p->again)
            break;
    }
    return NULL;
}

static void join(const struct collector *c, struct point *p, size_t index)
{
    double least = INFINITY, most = -INFINITY, sum = 0;

    p->readings[p->reading_count++] = index;
    for (size_t i = 0; i < p->reading_count; i++) {
        double value = c->h->readings[p->readings[i]].value;

        least = fmin(least, value);
        most = fmax(most, value);
        sum += value;
    }
    p->value = sum / (double)p->reading_count;
    p->least = least;
    p->most = most;
    p->disagree =
        most - least >
        fabs(p->value) / 100.0 * policy_get(c->policy, P_REPLICATE_SPREAD_PCT);
}

static void start_point(struct collector *c, const struct reading *r,
                        size_t index, bool again)
{
    struct point *p;

    if (c->count == c->max) {
        memmove(c->points, c->points + 1, (c->max - 1) * sizeof(*c->points));
        c->count--;
    }
    p = &c->points[c->count++];
    *p = (struct point){ .at_s = r->start_s,
                         .value = r->value,
                         .least = r->value,
                         .most = r->value,
                         .bound = r->bound,
                         .method = r->method,
                         .restart = c->intervened,
                         .again = again,
                         .reading_count = 1,
                         .readings = { index } };
    c->intervened = false;
}

static bool blanked(const struct collector *c, const struct reading *r)
{
    double blanking_s = policy_get(c->policy, P_BLANKING_D) * DAY_S;

    return c->intervention_s != INT64_MIN &&
           (double)(r->start_s - c->intervention_s) < blanking_s;
}

/* Was something done at the time of this reading?  Those that arrived later
 * but are of the same time are looked for too. */
static void watch_interventions(struct collector *c, size_t index)
{
    int64_t at_s = c->h->readings[index].start_s;

    if (index > 0 && c->h->readings[index - 1].start_s == at_s)
        return; /* the first reading of this second has looked at all */
    for (size_t i = index; i < c->h->count && c->h->readings[i].start_s == at_s;
         i++) {
        if (!reading_is_intervention(&c->h->readings[i]))
            continue;
        c->intervened = c->intervened || c->intervention_s != at_s;
        c->intervention_s = at_s;
    }
}

size_t points_collect(const struct history *h, const struct policy *policy,
                      enum quantity quantity, bool blank, struct point *points,
                      size_t max)
{
    struct collector c = { .h = h,
                           .policy = policy,
                           .points = points,
                           .max = max,
                           .intervention_s = INT64_MIN };

    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];
        struct point *p;

        watch_interventions(&c, i);
        if (!usable(r, quantity) || (blank && blanked(&c, r)))
            continue;
        p = session_of(&c, r);
        if (p != NULL)
            join(&c, p, i);
        else
            start_point(&c, r, i,
                        comes_again(h, policy, points, c.count, r, r->method,
                                    c.intervention_s));
    }
    return c.count;
}

void point_put(struct point *p, double value)
{
    double factor = value / p->value;
    double one = p->least * factor, other = p->most * factor;

    if (p->least == p->most)
        one = other = value;
    p->least = fmin(one, other);
    p->most = fmax(one, other);
    if (p->value == 0.0 && p->disagree) {
        p->least = -INFINITY; /* there is no proportion to nothing */
        p->most = INFINITY;
    }
    p->value = value;
}

void points_mark(const struct history *h, const struct policy *policy,
                 struct point *points, size_t count)
{
    int64_t intervention_s = INT64_MIN, before_s = INT64_MIN;
    size_t next = 0;

    for (size_t i = 0; i < count; i++) {
        struct point *p = &points[i];

        for (; next < h->count && h->readings[next].start_s <= p->at_s;
             next++) {
            if (reading_is_intervention(&h->readings[next]))
                intervention_s = h->readings[next].start_s;
        }
        p->restart = intervention_s > before_s;
        p->again =
            comes_again(h, policy, points, i, &h->readings[p->readings[0]],
                        p->method, intervention_s);
        before_s = p->at_s;
    }
}
