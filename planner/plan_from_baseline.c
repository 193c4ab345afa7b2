/* Which flows are the baseline of a plan. */
#include "planner/plan_from_work.h"

/* Of the access as it is now, before the case. */
static bool is_before_case(const struct from_work *w, const struct point *p)
{
    const struct reading *r = &w->h->readings[p->readings[0]];

    return p->at_s >= w->since_s && p->at_s < w->until_s &&
           (!from_is_vague(r) || r->end_s <= w->until_s);
}

static const struct point *newest_point(const struct from_work *w)
{
    for (size_t i = w->flow_count; i-- > 0;) {
        if (is_before_case(w, &w->flow[i]))
            return &w->flow[i];
    }
    return NULL;
}

/* In how many stages was this method used? */
static int stages_of(const struct from_work *w, enum method method)
{
    int count = 0;

    for (size_t s = 0; s < w->step_count; s++) {
        int64_t from_s = w->h->readings[w->steps[s]].start_s;
        int64_t to_s = s + 1 < w->step_count
                           ? w->h->readings[w->steps[s + 1]].start_s
                           : INT64_MAX;
        bool any = false;

        for (size_t i = 0; i < w->flow_count; i++)
            any = any || (w->flow[i].method == method &&
                          w->flow[i].at_s >= from_s && w->flow[i].at_s < to_s);
        count += any;
    }
    return count;
}

static bool is_of_session(const struct from_work *w, const struct point *p,
                          const struct point *newest)
{
    return is_before_case(w, p) && from_is_fit(w, p) &&
           readings_share_session(w->policy, &w->h->readings[p->readings[0]],
                                  &w->h->readings[newest->readings[0]]);
}

/* The method of the stages, else that of most readings, else the newest. */
static const struct point *choose_method(const struct from_work *w,
                                         const struct point *newest)
{
    const struct point *best = NULL;
    int best_score = -1;

    for (size_t i = w->flow_count; i-- > 0;) {
        const struct point *p = &w->flow[i];
        int score;

        if (!is_of_session(w, p, newest))
            continue;
        score = stages_of(w, p->method) * (POINT_READINGS_MAX + 1) +
                (int)p->reading_count;
        if (score > best_score) {
            best = p;
            best_score = score;
        }
    }
    return best;
}

/* When the flows of this method in the session of the newest began. */
static int64_t session_start_s(const struct from_work *w,
                               const struct point *newest, enum method method)
{
    for (size_t i = 0; i < w->flow_count; i++) {
        if (w->flow[i].method == method &&
            is_of_session(w, &w->flow[i], newest))
            return w->flow[i].at_s;
    }
    return newest->at_s;
}

/* Measured on the table just before: a step soon after says it, of flows
 * whose time is known, or, before the first step, a person. */
static bool is_on_table(const struct from_work *w, const struct point *p)
{
    int64_t room_s = (int64_t)(from_get(w, P_PLAN_CASE_H) * HOUR_S);

    if (w->until_s == INT64_MAX)
        return w->on_table && w->h->now_s - w->out->baseline_s <= room_s;
    return w->until_s - w->out->baseline_s <= room_s &&
           !from_is_vague(&w->h->readings[p->readings[0]]);
}

void from_count_other(struct from_work *w, const struct point *p)
{
    struct plan_from *out = w->out;
    size_t sent = 0;

    if (p->method == out->in.method)
        return;
    for (size_t i = 0; i < p->reading_count; i++)
        sent += w->h->readings[p->readings[i]].quantity == Q_ACCESS_FLOW;
    out->other_flow_count += sent > 0 ? sent : 1; /* computed: one value */
    out->other_method = p->method;
    out->in.other_method = true;
}

/* Those of the session of the baseline. */
static void count_others(struct from_work *w, const struct point *newest)
{
    for (size_t i = 0; i < w->flow_count; i++) {
        if (is_of_session(w, &w->flow[i], newest))
            from_count_other(w, &w->flow[i]);
    }
}

size_t from_baseline(struct from_work *w)
{
    const struct point *newest = newest_point(w), *best;
    struct plan_from *out = w->out;

    if (newest == NULL) {
        from_refuse(w, PLAN_NO_FLOW);
        return w->h->count;
    }
    best = choose_method(w, newest);
    if (best == NULL) {
        from_refuse(w, PLAN_FLOW_UNFIT);
        return w->h->count;
    }
    out->in.method = best->method;
    out->baseline_s = session_start_s(w, newest, best->method);
    out->expires_s = out->baseline_s +
                     (int64_t)(from_get(w, P_PLAN_VALID_D) * (double)DAY_S);
    out->in.on_table = is_on_table(w, best);
    count_others(w, newest);
    out->in.flow_count =
        from_flows(w, best->method, out->baseline_s, w->until_s, PLAN_USE_FLOW,
                   -1, out->in.flow_ml_min);
    if (out->expires_s < w->h->now_s)
        from_refuse(w, PLAN_FLOW_OLD);
    return best->readings[0];
}
