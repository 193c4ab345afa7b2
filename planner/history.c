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

/* The point that a replicate joins, or NULL; *again: it comes too soon after
 * the newest independent point of its method to confirm it. */
static struct point *session_of(const struct collector *c,
                                const struct reading *r, bool *again)
{
    struct point *joined = NULL;

    *again = false;
    for (size_t i = c->count; i-- > 0;) {
        struct point *p = &c->points[i];
        const struct reading *first = &c->h->readings[p->readings[0]];

        if (p->at_s < c->intervention_s)
            break;
        if (p->method != r->method)
            continue;
        if (joined == NULL && may_join(p, r) &&
            readings_share_session(c->policy, first, r))
            joined = p;
        if (p->again)
            continue;
        *again = is_close(c->policy, first, r);
        break;
    }
    return joined;
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
        bool again;

        watch_interventions(&c, i);
        if (!usable(r, quantity) || (blank && blanked(&c, r)))
            continue;
        p = session_of(&c, r, &again);
        if (p != NULL)
            join(&c, p, i);
        else
            start_point(&c, r, i, again);
    }
    return c.count;
}

static struct reading as_reading(const struct point *p, double value)
{
    return (struct reading){ .value = value, .bound = p->bound };
}

static bool beyond(const struct run_rule *rule, const struct point *p)
{
    struct reading r = as_reading(p, p->value);

    return rule->above ? reading_at_least(&r, rule->limit)
                       : reading_below(&r, rule->limit);
}

/* Clearly on the good side: hysteresis_pct away from the limit. */
static bool inside(const struct run_rule *rule, const struct point *p)
{
    struct reading r = as_reading(p, p->value);
    double share = rule->hysteresis_pct / 100.0;

    return rule->above ? reading_below(&r, rule->limit * (1.0 - share))
                       : reading_at_least(&r, rule->limit * (1.0 + share));
}

static void keep(struct run *run, size_t point)
{
    if (run->count == RUN_POINTS_MAX) {
        memmove(run->points, run->points + 1,
                (RUN_POINTS_MAX - 1) * sizeof(run->points[0]));
        run->count--;
    }
    run->points[run->count++] = point;
}

/* One session counts once. */
static void count_point(const struct point *p, size_t *in_a_row)
{
    if (!p->again || *in_a_row == 0)
        ++*in_a_row;
}

static void step(const struct run_rule *rule, const struct point *points,
                 size_t i, size_t *in_a_row, size_t *inside_in_a_row,
                 struct run *run)
{
    const struct point *p = &points[i];

    if (beyond(rule, p)) {
        size_t before = run->count > 0 ? run->points[run->count - 1] : i;
        bool late =
            p->at_s - points[before].at_s > (int64_t)rule->window_d * DAY_S;

        if (!run->on && (*in_a_row == 0 || late)) {
            run->count = 0;
            *in_a_row = 0;
        }
        keep(run, i);
        *inside_in_a_row = 0;
        count_point(p, in_a_row);
        if (*in_a_row >= (size_t)rule->readings)
            run->on = true;
        return;
    }
    *in_a_row = 0;
    if (inside(rule, p))
        count_point(p, inside_in_a_row);
    else
        *inside_in_a_row = 0;
    if (run->on && *inside_in_a_row >= 2) {
        run->on = false;
        run->off_s = p->at_s;
    }
    if (!run->on)
        run->count = 0;
}

void run_walk(const struct run_rule *rule, const struct point *points,
              size_t count, enum method method, struct run *run)
{
    size_t in_a_row = 0, inside_in_a_row = 0;
    bool restart = false;

    *run = (struct run){ 0 };
    for (size_t i = 0; i < count; i++) {
        restart = restart || points[i].restart;
        if (points[i].method != method || points[i].disagree)
            continue;
        if (restart) {
            if (run->on)
                run->off_s = points[i].at_s;
            run->on = false;
            run->count = in_a_row = inside_in_a_row = 0;
            restart = false;
        }
        step(rule, points, i, &in_a_row, &inside_in_a_row, run);
    }
    if (restart)
        run->on = false;
}

/* Has another method since shown two in a row inside the limit? */
static bool contradicted(const struct run_rule *rule,
                         const struct point *points, size_t count,
                         enum method method, int64_t after_s)
{
    for (int m = 0; m < METHOD_COUNT; m++) {
        size_t in_a_row = 0;

        if (m == (int)method)
            continue;
        for (size_t i = 0; i < count; i++) {
            if ((int)points[i].method != m || points[i].disagree ||
                points[i].at_s <= after_s)
                continue;
            if (inside(rule, &points[i]))
                count_point(&points[i], &in_a_row);
            else
                in_a_row = 0;
        }
        if (in_a_row >= 2)
            return true;
    }
    return false;
}

static int64_t newest_s(const struct point *points, size_t count,
                        enum method method)
{
    int64_t at_s = INT64_MIN;

    for (size_t i = 0; i < count; i++) {
        if (points[i].method == method && points[i].at_s > at_s)
            at_s = points[i].at_s;
    }
    return at_s;
}

bool run_best(const struct run_rule *rule, const struct point *points,
              size_t count, struct run *run)
{
    int64_t best_s = INT64_MIN;
    bool found = false;

    *run = (struct run){ 0 };
    for (int m = 0; m < METHOD_COUNT; m++) {
        struct run candidate;
        int64_t at_s = newest_s(points, count, (enum method)m);

        if (at_s == INT64_MIN)
            continue;
        run_walk(rule, points, count, (enum method)m, &candidate);
        if (!candidate.on || at_s <= best_s ||
            contradicted(rule, points, count, (enum method)m, at_s))
            continue;
        *run = candidate;
        best_s = at_s;
        found = true;
    }
    return found;
}

/* Did this method show a value that is not beyond the limit in between? */
static bool was_denied(const struct run_rule *rule, const struct point *points,
                       size_t from, size_t to)
{
    for (size_t i = from + 1; i < to; i++) {
        if (points[i].method == points[from].method && !points[i].disagree &&
            !beyond(rule, &points[i]))
            return true;
    }
    return false;
}

bool run_confirmed(const struct run_rule *rule, const struct point *points,
                   const struct run *run)
{
    for (size_t i = 1; i < run->count; i++) {
        size_t before = run->points[i - 1], now = run->points[i];

        if (!points[now].again &&
            points[now].at_s - points[before].at_s <=
                (int64_t)rule->window_d * DAY_S &&
            !was_denied(rule, points, before, now))
            return true;
    }
    return false;
}

bool run_denied(const struct run_rule *rule, const struct point *points,
                size_t count, const struct run *run)
{
    return run->count > 0 &&
           was_denied(rule, points, run->points[run->count - 1], count);
}
