#include "planner/band.h"

#include "planner/series.h"

#include <math.h>
#include <string.h>

bool band_is_placing(const struct reading *r)
{
    if (!reading_counts(r))
        return false;
    return r->quantity == Q_DOWEL_DIAMETER ||
           (r->quantity == Q_ACCESS_INTERVENTION && r->sign == SIGN_BANDED &&
            r->present);
}

bool band_is_one_procedure(const struct policy *policy, const struct reading *a,
                           const struct reading *b)
{
    return fabs((double)(a->start_s - b->start_s)) <
               policy_get(policy, P_APART_H) * HOUR_S ||
           readings_share_session(policy, a, b);
}

static bool is_vague(const struct reading *r)
{
    return r->precision == AT_MONTH || r->precision == AT_YEAR;
}

/* Was the band taken away, or the access given up? */
static bool ends_band(const struct reading *r)
{
    if (!reading_counts(r))
        return false;
    return (r->quantity == Q_BAND_RELEASED && r->value > 0.5) ||
           (r->quantity == Q_ACCESS_INTERVENTION && r->sign == SIGN_CLOSED &&
            r->present);
}

/* The newest placing; h->count if there is none. */
static size_t newest_placing(const struct history *h)
{
    for (size_t i = h->count; i-- > 0;) {
        if (band_is_placing(&h->readings[i]))
            return i;
    }
    return h->count;
}

/* When the procedure began that this placing belongs to. */
static int64_t procedure_s(const struct history *h, const struct policy *policy,
                           size_t newest)
{
    const struct reading *placing = &h->readings[newest];
    int64_t at_s = placing->start_s;
    bool exact = placing->precision != AT_DAY;

    if (is_vague(placing))
        return placing->end_s;
    for (size_t i = newest; i-- > 0;) {
        const struct reading *r = &h->readings[i];

        if (!band_is_placing(r) || is_vague(r) ||
            !band_is_one_procedure(policy, placing, r))
            continue;
        if (r->precision != AT_DAY || !exact)
            at_s = r->start_s;
        exact = exact || r->precision != AT_DAY;
    }
    return at_s;
}

void band_find(const struct history *h, const struct policy *policy,
               struct band *band)
{
    size_t newest = newest_placing(h);
    int64_t placed_s;

    *band = (struct band){ 0 };
    if (newest == h->count)
        return;
    placed_s = h->readings[newest].start_s;
    *band = (struct band){ .placed = true,
                           .index = newest,
                           .at_s = procedure_s(h, policy, newest) };
    band->change_s = band->at_s;
    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        if (r->start_s > placed_s && ends_band(r))
            band->placed = false;
        if (r->quantity == Q_BAND_STRETCHED && reading_counts(r) &&
            r->start_s > placed_s && r->start_s > band->change_s)
            band->change_s = r->start_s;
    }
}

int64_t band_stage_s(const struct work *w)
{
    return w->intervention_s > w->band.change_s ? w->intervention_s
                                                : w->band.change_s;
}

size_t band_points(const struct work *w, enum quantity quantity, int64_t from_s,
                   struct point *points)
{
    size_t n =
        series_collect(w->h, w->policy, quantity, false, points, POINTS_MAX);
    size_t first = 0;

    if (quantity == Q_ACCESS_FLOW)
        series_mark_low_pressure(w->h, w->policy, points, n);
    while (first < n && points[first].at_s < from_s)
        first++;
    memmove(points, points + first, (n - first) * sizeof(*points));
    return n - first;
}

bool band_is_base(const struct history *h, const struct policy *policy,
                  const struct point *p)
{
    if (p->disagree || p->low_pressure || p->bound != BOUND_NONE)
        return false;
    for (size_t i = 0; i < h->count; i++) {
        if (reading_is_intervention(&h->readings[i]) &&
            !is_vague(&h->readings[i]) &&
            readings_share_session(policy, &h->readings[i],
                                   &h->readings[p->readings[0]]))
            return false;
    }
    return true;
}

size_t band_flows(const struct work *w, int method, int64_t from_s,
                  const struct point *flow, size_t count, struct point *out)
{
    size_t n = 0;

    for (size_t i = 0; i < count; i++) {
        if ((int)flow[i].method != method || flow[i].at_s < from_s ||
            (n == 0 && !band_is_base(w->h, w->policy, &flow[i])))
            continue;
        out[n++] = flow[i];
    }
    return n;
}

bool band_is_younger(const struct history *h, double age_y)
{
    double year_s = 365.2425 * DAY_S;

    return h->born_s != INT64_MIN &&
           (double)(h->now_s - h->born_s) < age_y * year_s;
}
