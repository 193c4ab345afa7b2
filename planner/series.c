/* Sent and computed values become one row of points. */
#include "planner/series.h"

#include "planner/series_raw.h"

#include <math.h>
#include <string.h>

enum { INTERVENTIONS_MAX = 256 };

/* The computed values as if each were a reading, so that those of a session
 * become one point by the same rules; interventions stand between. */
struct stand_in {
    size_t count;
    struct reading list[COMPUTED_MAX + INTERVENTIONS_MAX];
};

static struct reading as_reading(const struct history *h,
                                 const struct computed *c, enum quantity q,
                                 size_t place)
{
    struct reading r = h->readings[c->readings[0]];

    r.id = (int64_t)place;
    r.quantity = q;
    r.value = c->value;
    r.bound = c->bound;
    r.method = c->method;
    return r;
}

/* The first of the newest interventions that there is room for. */
static size_t first_intervention(const struct history *h)
{
    size_t kept = 0, i = h->count;

    while (i > 0 && kept < INTERVENTIONS_MAX) {
        i--;
        kept += reading_is_intervention(&h->readings[i]);
    }
    return i;
}

static void stand_in_for(const struct history *h,
                         const struct computed_list *computed, enum quantity q,
                         struct stand_in *out)
{
    size_t next = 0;

    out->count = 0;
    for (size_t i = first_intervention(h); i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        if (!reading_is_intervention(r))
            continue;
        for (; next < computed->count; next++) {
            struct reading c = as_reading(h, &computed->list[next], q, next);

            if (c.start_s >= r->start_s)
                break;
            out->list[out->count++] = c;
        }
        out->list[out->count++] = *r;
    }
    for (; next < computed->count; next++)
        out->list[out->count++] = as_reading(h, &computed->list[next], q, next);
}

static void rest_on(struct point *p, const struct computed *c)
{
    for (size_t i = 0; i < c->reading_count; i++) {
        size_t k = 0;

        while (k < p->reading_count && p->readings[k] != c->readings[i])
            k++;
        if (k == p->reading_count && k < POINT_READINGS_MAX)
            p->readings[p->reading_count++] = c->readings[i];
    }
}

/* Points of computed values alone, with the raw values as their readings. */
static size_t collect_computed(const struct history *h,
                               const struct policy *policy, enum quantity q,
                               bool blank, const struct computed_list *computed,
                               struct point *points, size_t max)
{
    struct stand_in stand_in;
    struct history own = *h;
    size_t count;

    stand_in_for(h, computed, q, &stand_in);
    own.readings = stand_in.list;
    own.count = stand_in.count;
    count = points_collect(&own, policy, q, blank, points, max);
    for (size_t i = 0; i < count; i++) {
        struct point p = points[i];

        points[i].reading_count = 0;
        points[i].computed = true;
        for (size_t k = 0; k < p.reading_count; k++)
            rest_on(&points[i],
                    &computed->list[stand_in.list[p.readings[k]].id]);
    }
    return count;
}

/* ---- the one that was sent, and the one that was computed ---------------- */

static bool share_session(const struct history *h, const struct policy *policy,
                          const struct point *sent, const struct point *other)
{
    const struct reading *first = &h->readings[sent->readings[0]];

    for (size_t i = 0; i < other->reading_count; i++) {
        if (readings_share_session(policy, first,
                                   &h->readings[other->readings[i]]))
            return !raw_intervened(h, sent->readings[0], other->readings[0]);
    }
    return false;
}

static double least_of(const struct point *p)
{
    return p->bound == BOUND_BELOW || p->bound == BOUND_AT_MOST ? -INFINITY
                                                                : p->value;
}

static double most_of(const struct point *p)
{
    return p->bound == BOUND_ABOVE || p->bound == BOUND_AT_LEAST ? INFINITY
                                                                 : p->value;
}

static bool agree(const struct policy *policy, const struct point *sent,
                  const struct point *other)
{
    double room = fabs(sent->value) / 100.0 *
                  policy_get(policy, P_COMPUTED_DIFFERENCE_PCT);

    return least_of(sent) <= most_of(other) + room &&
           least_of(other) <= most_of(sent) + room;
}

/* The sent point of the session of a computed one, the nearest; or NULL. */
static struct point *twin_of(const struct history *h,
                             const struct policy *policy, struct point *points,
                             size_t count, const struct point *p)
{
    struct point *best = NULL;

    for (size_t i = 0; i < count; i++) {
        struct point *sent = &points[i];

        if (sent->computed || sent->method != p->method ||
            fabs((double)(sent->at_s - p->at_s)) > RAW_REACH_S ||
            !share_session(h, policy, sent, p))
            continue;
        if (best == NULL || fabs((double)(sent->at_s - p->at_s)) <
                                fabs((double)(best->at_s - p->at_s)))
            best = sent;
    }
    return best;
}

/* In order of time; the oldest falls out when there is no room. */
static size_t insert(struct point *points, size_t count, size_t max,
                     const struct point *p)
{
    size_t at = count;

    while (at > 0 && points[at - 1].at_s > p->at_s)
        at--;
    if (count == max) {
        if (at == 0)
            return count;
        memmove(points, points + 1, (at - 1) * sizeof(*points));
        points[at - 1] = *p;
        return count;
    }
    memmove(points + at + 1, points + at, (count - at) * sizeof(*points));
    points[at] = *p;
    return count + 1;
}

/* What one and the other say together, as far as bounds leave it open. */
static double lowest(const struct point *p)
{
    return fmin(p->least, least_of(p));
}

static double highest(const struct point *p)
{
    return fmax(p->most, most_of(p));
}

static size_t merge(const struct history *h, const struct policy *policy,
                    struct point *points, size_t count, size_t max,
                    const struct point *computed, size_t computed_count)
{
    for (size_t i = 0; i < computed_count; i++) {
        const struct point *p = &computed[i];
        struct point *sent = twin_of(h, policy, points, count, p);
        struct computed raw = { .reading_count = p->reading_count };

        if (sent == NULL) {
            count = insert(points, count, max, p);
            continue;
        }
        memcpy(raw.readings, p->readings, sizeof(raw.readings));
        rest_on(sent, &raw);
        sent->least = fmin(lowest(sent), lowest(p));
        sent->most = fmax(highest(sent), highest(p));
        sent->disagree = sent->disagree || !agree(policy, sent, p);
    }
    points_mark(h, policy, points, count);
    return count;
}

/* ---- points, and what contradicts ------------------------------------------ */

static void compute(const struct history *h, const struct policy *policy,
                    enum quantity quantity, struct computed_list *out)
{
    if (quantity == Q_STDKTV)
        series_standard(h, policy, out);
    else
        raw_compute(h, policy, quantity, out);
}

/* The computed value that contradicts what was sent, if one does. */
static void contradict(const struct history *h, const struct policy *policy,
                       struct point *points, size_t count,
                       const struct point *own, size_t own_count,
                       const struct point *sent, struct contradiction *c)
{
    for (size_t i = 0; i < own_count; i++) {
        if (twin_of(h, policy, points, count, &own[i]) != sent ||
            agree(policy, sent, &own[i]))
            continue;
        c->computed = own[i].value;
        c->raw_count = own[i].reading_count;
        memcpy(c->raw, own[i].readings, sizeof(c->raw));
    }
}

/* Of one quantity; how many there are now. */
static size_t add_contradictions(const struct history *h,
                                 const struct policy *policy,
                                 enum quantity quantity, int64_t since_s,
                                 struct contradiction *list, size_t found,
                                 size_t max)
{
    struct computed_list computed;
    struct point points[POINTS_MAX], own[POINTS_MAX];
    size_t count =
        points_collect(h, policy, quantity, false, points, POINTS_MAX);
    size_t own_count;

    compute(h, policy, quantity, &computed);
    own_count = collect_computed(h, policy, quantity, false, &computed, own,
                                 POINTS_MAX);
    for (size_t i = 0; i < count && found < max; i++) {
        struct contradiction c = { .quantity = quantity,
                                   .sent = points[i],
                                   .computed = NAN };

        if (points[i].at_s < since_s)
            continue;
        contradict(h, policy, points, count, own, own_count, &points[i], &c);
        if (!isnan(c.computed) || points[i].disagree)
            list[found++] = c;
    }
    return found;
}

/* Urea that has not fallen: no dose comes of it. */
static size_t add_impossible(const struct history *h,
                             const struct policy *policy, int64_t since_s,
                             struct contradiction *list, size_t found,
                             size_t max)
{
    for (size_t i = 0; i < h->count && found < max; i++) {
        const struct reading *r = &h->readings[i];
        size_t pre;

        if (r->start_s < since_s || !raw_is_impossible(h, policy, i, &pre))
            continue;
        list[found++] = (struct contradiction){ .quantity = r->quantity,
                                                .impossible = true,
                                                .computed = NAN,
                                                .sent = { .at_s = r->start_s,
                                                          .value = r->value,
                                                          .reading_count = 1,
                                                          .readings = { i } },
                                                .raw_count = 1,
                                                .raw = { pre } };
    }
    return found;
}

size_t series_contradictions(const struct history *h,
                             const struct policy *policy, int64_t since_s,
                             struct contradiction *list, size_t max)
{
    static const enum quantity computable[] = {
        Q_ACCESS_FLOW, Q_MEAN_PRESSURE, Q_STATIC_PRESSURE_RATIO, Q_SPKTV,
        Q_STDKTV,      Q_URR,           Q_DIGITAL_BRACHIAL_INDEX
    };
    size_t found = 0;

    for (size_t i = 0; i < COUNT(computable); i++)
        found = add_contradictions(h, policy, computable[i], since_s, list,
                                   found, max);
    return add_impossible(h, policy, since_s, list, found, max);
}

size_t series_collect(const struct history *h, const struct policy *policy,
                      enum quantity quantity, bool blank, struct point *points,
                      size_t max)
{
    struct computed_list computed;
    struct point own[POINTS_MAX];
    size_t count = points_collect(h, policy, quantity, blank, points, max);

    compute(h, policy, quantity, &computed);
    if (computed.count == 0)
        return count;
    return merge(h, policy, points, count, max, own,
                 collect_computed(h, policy, quantity, blank, &computed, own,
                                  POINTS_MAX));
}

/* The place of the first reading after this time, h->count if there is none:
 * they stand in order of time. */
static size_t first_after(const struct history *h, int64_t at_s)
{
    size_t low = 0, high = h->count;

    while (low < high) {
        size_t middle = low + (high - low) / 2;

        if (h->readings[middle].start_s > at_s)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

double series_newest(const struct history *h, enum quantity quantity,
                     int64_t at_s, double days, size_t *index)
{
    for (size_t i = first_after(h, at_s); i-- > 0;) {
        const struct reading *r = &h->readings[i];

        if ((double)(at_s - r->start_s) > days * DAY_S)
            break;
        if (!raw_usable(r, quantity))
            continue;
        if (index != NULL)
            *index = i;
        return r->value;
    }
    return NAN;
}
