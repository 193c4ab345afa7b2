/* Points in a row: when a rule on them goes on, and when off again. */
#include "planner/history.h"

#include <math.h>
#include <string.h>

static bool is_beyond(const struct run_rule *rule, double value,
                      enum bound bound)
{
    struct reading r = { .value = value, .bound = bound };

    if (!rule->above)
        return reading_below(&r, rule->limit);
    return reading_at_least(&r, rule->limit) &&
           !(rule->strict && r.bound != BOUND_ABOVE && r.value <= rule->limit);
}

/* Where replicates disagree their mean is nobody's value: what all of them say
 * counts. */
bool run_beyond(const struct run_rule *rule, const struct point *p)
{
    if (p->disagree)
        return is_beyond(rule, p->least, BOUND_NONE) &&
               is_beyond(rule, p->most, BOUND_NONE);
    return is_beyond(rule, p->value, p->bound);
}

bool run_astride(const struct run_rule *rule, const struct point *p)
{
    return p->disagree && is_beyond(rule, p->least, BOUND_NONE) !=
                              is_beyond(rule, p->most, BOUND_NONE);
}

/* One that neither confirms nor denies; a session whose values contradict
 * each other is not saved by a further value of it. */
static bool is_passed_over(const struct run_rule *rule,
                           const struct point *points, size_t at)
{
    for (size_t i = at + 1; i-- > 0;) {
        const struct point *p = &points[i];

        if (p->method != points[at].method)
            continue;
        if (run_astride(rule, p) ||
            (rule->skip_low_pressure && p->low_pressure))
            return true;
        if (!p->again)
            break;
    }
    return false;
}

static bool is_inside(const struct run_rule *rule, double value,
                      enum bound bound)
{
    struct reading r = { .value = value, .bound = bound };
    /* limits of a pressure before the pump are negative */
    double margin = fabs(rule->limit) * rule->hysteresis_pct / 100.0;

    return rule->above ? reading_below(&r, rule->limit - margin)
                       : reading_at_least(&r, rule->limit + margin);
}

bool run_inside(const struct run_rule *rule, const struct point *p)
{
    if (p->disagree)
        return is_inside(rule, p->least, BOUND_NONE) &&
               is_inside(rule, p->most, BOUND_NONE);
    return is_inside(rule, p->value, p->bound);
}

/* A reading of the last hours of a day is of that day: hours do not count. */
static bool is_within(int64_t from_s, int64_t to_s, int days)
{
    return (to_s - from_s) / DAY_S <= days;
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

enum { OF_LAST_MAX = 8 };

/* What a walk remembers of the points of its method. */
struct walk {
    int inside_in_a_row;
    int sessions;                 /* seen, at most OF_LAST_MAX */
    bool beyond[OF_LAST_MAX];     /* of the last sessions, newest first */
    int64_t start_s[OF_LAST_MAX]; /* and when they were */
    int64_t last_s;               /* the newest point beyond the limit */
    int64_t streak_s; /* the first of those that were not interrupted */
};

/* How many of the last sessions the rule looks at. */
static int sessions_seen(const struct run_rule *rule, const struct walk *walk)
{
    int of_last = rule->of_last > 0 ? rule->of_last : rule->readings;

    return of_last < walk->sessions ? of_last : walk->sessions;
}

/* And how many of those were beyond. */
static int count_beyond(const struct run_rule *rule, const struct walk *walk)
{
    int count = 0;

    for (int i = 0; i < sessions_seen(rule, walk); i++)
        count += walk->beyond[i];
    return count;
}

/* One session counts once; the newest value of it tells. */
static void count_session(struct walk *walk, const struct point *p,
                          bool is_beyond)
{
    if (!p->again || walk->sessions == 0) {
        if (walk->sessions < OF_LAST_MAX)
            walk->sessions++;
        for (int i = walk->sessions - 1; i > 0; i--) {
            walk->beyond[i] = walk->beyond[i - 1];
            walk->start_s[i] = walk->start_s[i - 1];
        }
        walk->start_s[0] = p->at_s;
    }
    walk->beyond[0] = is_beyond;
}

/* Do the newest points that the rule needs lie close enough together? */
static bool is_dense(const struct run_rule *rule, const struct walk *walk,
                     int64_t at_s)
{
    int needed = rule->readings;

    if (rule->span_d == 0)
        return true;
    for (int i = 0; i < walk->sessions; i++) {
        if (walk->beyond[i] && --needed == 0)
            return is_within(walk->start_s[i], at_s, rule->span_d);
    }
    return false;
}

/* While it does not hold, a run keeps what may still count: of the last
 * sessions; where points must lie apart, from the first of the row on. */
static void trim(const struct run_rule *rule, const struct point *points,
                 const struct walk *walk, struct run *run)
{
    int seen = sessions_seen(rule, walk);
    size_t gone = 0;
    int64_t from_s;

    if (run->on || seen == 0)
        return;
    from_s = walk->start_s[seen - 1];
    if (rule->apart_d > 0 && walk->streak_s < from_s)
        from_s = walk->streak_s;
    while (gone < run->count && points[run->points[gone]].at_s < from_s)
        gone++;
    run->count -= gone;
    memmove(run->points, run->points + gone,
            run->count * sizeof(run->points[0]));
}

static void step_beyond(const struct run_rule *rule, const struct point *points,
                        size_t i, struct walk *walk, struct run *run)
{
    const struct point *p = &points[i];
    bool late = !is_within(walk->last_s, p->at_s, rule->window_d);

    if (!run->on && count_beyond(rule, walk) > 0 && late) {
        run->count = 0;
        walk->sessions = 0;
    }
    count_session(walk, p, true);
    if (count_beyond(rule, walk) == 1)
        walk->streak_s = walk->start_s[0];
    trim(rule, points, walk, run);
    keep(run, i);
    walk->last_s = p->at_s;
    walk->inside_in_a_row = 0;
    if (count_beyond(rule, walk) >= rule->readings &&
        is_dense(rule, walk, p->at_s) &&
        (double)(p->at_s - walk->streak_s) >= rule->apart_d * DAY_S)
        run->on = true;
}

static void step_within(const struct run_rule *rule, const struct point *points,
                        size_t i, struct walk *walk, struct run *run)
{
    const struct point *p = &points[i];

    count_session(walk, p, false);
    /* what its session said before is no longer evidence */
    while (!run->on && run->count > 0 &&
           points[run->points[run->count - 1]].at_s >= walk->start_s[0])
        run->count--;
    if (!run_inside(rule, p))
        walk->inside_in_a_row = 0;
    else if (!p->again || walk->inside_in_a_row == 0)
        walk->inside_in_a_row++;
    if (run->on && walk->inside_in_a_row >= 2) {
        run->on = false;
        run->off_s = p->at_s;
        walk->sessions = 0;
    }
    if (!run->on && count_beyond(rule, walk) == 0)
        run->count = 0;
    trim(rule, points, walk, run);
}

void run_walk(const struct run_rule *rule, const struct point *points,
              size_t count, enum method method, struct run *run)
{
    struct walk walk = { 0 };
    bool restart = false;

    *run = (struct run){ 0 };
    for (size_t i = 0; i < count; i++) {
        restart = restart || points[i].restart;
        if (points[i].method != method || is_passed_over(rule, points, i))
            continue;
        if (restart) {
            if (run->on)
                run->off_s = points[i].at_s;
            run->on = false;
            run->count = 0;
            walk = (struct walk){ 0 };
            restart = false;
        }
        if (run_beyond(rule, &points[i]))
            step_beyond(rule, points, i, &walk, run);
        else
            step_within(rule, points, i, &walk, run);
    }
    if (restart)
        run->on = false;
}

bool run_contradicted(const struct run_rule *rule, const struct point *points,
                      size_t count, enum method method, int64_t after_s)
{
    for (int m = 0; m < METHOD_COUNT; m++) {
        size_t in_a_row = 0;

        if (m == (int)method)
            continue;
        for (size_t i = 0; i < count; i++) {
            if ((int)points[i].method != m || points[i].at_s <= after_s ||
                is_passed_over(rule, points, i))
                continue;
            if (!run_inside(rule, &points[i]))
                in_a_row = 0;
            else if (!points[i].again || in_a_row == 0)
                in_a_row++;
        }
        if (in_a_row >= 2)
            return true;
    }
    return false;
}

/* When this method last said something. */
static int64_t newest_s(const struct run_rule *rule, const struct point *points,
                        size_t count, enum method method)
{
    for (size_t i = count; i-- > 0;) {
        if (points[i].method == method && !is_passed_over(rule, points, i))
            return points[i].at_s;
    }
    return INT64_MIN;
}

bool run_best(const struct run_rule *rule, const struct point *points,
              size_t count, struct run *run)
{
    int64_t best_s = INT64_MIN;
    bool found = false;

    *run = (struct run){ 0 };
    for (int m = 0; m < METHOD_COUNT; m++) {
        struct run candidate;
        int64_t at_s = newest_s(rule, points, count, (enum method)m);

        if (at_s == INT64_MIN)
            continue;
        run_walk(rule, points, count, (enum method)m, &candidate);
        if (!candidate.on || at_s <= best_s ||
            (!rule->alone &&
             run_contradicted(rule, points, count, (enum method)m, at_s)))
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
        if (points[i].method == points[from].method &&
            !is_passed_over(rule, points, i) && !run_beyond(rule, &points[i]))
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
            is_within(points[before].at_s, points[now].at_s, rule->window_d) &&
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
