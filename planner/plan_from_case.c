/* What was done to the band in the case that goes on, and what was measured
 * after each step. */
#include "planner/plan_from_work.h"

#include "planner/series.h"
#include "planner/series_raw.h"

#include <math.h>

static bool is_banded_sign(const struct reading *r)
{
    return r->quantity == Q_ACCESS_INTERVENTION && r->present &&
           r->sign == SIGN_BANDED;
}

/* A step that a stage is made of. */
static bool is_step(const struct reading *r)
{
    if (!reading_counts(r))
        return false;
    return r->quantity == Q_DOWEL_DIAMETER || r->quantity == Q_BAND_STRETCHED ||
           (r->quantity == Q_BAND_RELEASED && r->value > 0.5);
}

static bool is_of_band(const struct reading *r)
{
    return is_step(r) || (reading_counts(r) && is_banded_sign(r));
}

/* When it had certainly happened.  What was done to the band is told apart
 * from a flow of that day; of other interventions a day is taken as its
 * beginning, as the rules take it. */
static int64_t done_s(const struct reading *r)
{
    if (r->precision == AT_MONTH || r->precision == AT_YEAR ||
        (r->precision == AT_DAY && is_of_band(r)))
        return r->end_s;
    return r->start_s;
}

/* ---- the case -------------------------------------------------------------- */

/* From when a step is of the case; INT64_MAX: the newest is too old. */
static int64_t case_from_s(const struct from_work *w)
{
    int64_t room_s = (int64_t)(from_get(w, P_PLAN_CASE_H) * HOUR_S);
    int64_t newest_s = INT64_MIN;

    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (is_of_band(r) && r->end_s > newest_s)
            newest_s = r->end_s;
    }
    return newest_s == INT64_MIN || w->h->now_s - newest_s > room_s
               ? INT64_MAX
               : newest_s - room_s;
}

/* The same step told twice. */
static bool is_repeat(const struct reading *a, const struct reading *b)
{
    return a->quantity == b->quantity &&
           !(a->value > b->value || a->value < b->value);
}

/* Those that a plan can go on from stand in order and have a size. */
static void add_step(struct from_work *w, size_t index)
{
    const struct reading *r = &w->h->readings[index];
    const struct reading *last =
        w->step_count > 0 ? &w->h->readings[w->steps[w->step_count - 1]] : NULL;

    if (from_is_vague(r)) {
        from_refuse(w, PLAN_ORDER);
        return;
    }
    if (last != NULL && last->start_s == r->start_s) {
        if (!is_repeat(last, r))
            from_refuse(w, PLAN_ORDER);
        return;
    }
    if (r->bound != BOUND_NONE || !isfinite(r->value)) {
        from_refuse(w, PLAN_SIZE);
        return;
    }
    /* before the first tie it was done to an earlier band: the plan begins
     * after it */
    if (last == NULL && r->quantity != Q_DOWEL_DIAMETER)
        return;
    if (w->step_count == PLAN_STAGES_MAX)
        from_refuse(w, PLAN_STAGES_FULL);
    else
        w->steps[w->step_count++] = index;
}

static void find_steps(struct from_work *w, int64_t from_s)
{
    bool banded = false, any = false;

    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (!is_of_band(r) || r->end_s < from_s)
            continue;
        any = any || is_step(r);
        banded = banded || !is_step(r);
        if (is_step(r))
            add_step(w, i);
    }
    if (banded && !any)
        from_refuse(w, PLAN_SIZE);
}

bool from_is_of_case(const struct from_work *w, size_t index)
{
    const struct reading *r = &w->h->readings[index];

    if (w->step_count > 0 && is_banded_sign(r) && r->end_s >= w->case_from_s)
        return true; /* says once more that there was a tie */
    for (size_t i = 0; i < w->step_count; i++) {
        if (r->start_s == w->h->readings[w->steps[i]].start_s && is_step(r))
            return true;
    }
    return false;
}

void from_find_case(struct from_work *w)
{
    int64_t from_s = case_from_s(w);

    w->since_s = INT64_MIN;
    w->until_s = INT64_MAX;
    w->case_from_s = from_s;
    if (from_s != INT64_MAX)
        find_steps(w, from_s);
    if (w->step_count > 0)
        w->until_s = w->out->case_s = w->h->readings[w->steps[0]].start_s;
    for (size_t i = 0; i < w->h->count; i++) {
        const struct reading *r = &w->h->readings[i];

        if (!reading_is_intervention(r) || r->start_s >= w->until_s ||
            from_is_of_case(w, i))
            continue;
        if (done_s(r) > w->since_s)
            w->since_s = done_s(r);
    }
}

/* ---- flows ----------------------------------------------------------------- */

/* Is it certain that it was measured in this time? */
static bool is_within(const struct from_work *w, const struct point *p,
                      int64_t from_s, int64_t to_s)
{
    const struct reading *r = &w->h->readings[p->readings[0]];

    return p->at_s >= from_s && p->at_s < to_s &&
           (!from_is_vague(r) || r->end_s <= to_s);
}

/* Each value that was sent. */
static size_t sent_values(struct from_work *w, const struct point *p,
                          enum plan_use use, int stage, size_t count,
                          double *values)
{
    for (size_t i = 0; i < p->reading_count && count < PLAN_READS_MAX; i++) {
        const struct reading *r = &w->h->readings[p->readings[i]];

        if (r->quantity != Q_ACCESS_FLOW)
            continue;
        values[count++] = r->value;
        from_rest_on(w, use, stage, p->readings[i]);
    }
    return count;
}

static bool has_reading(const struct point *p, size_t index)
{
    for (size_t i = 0; i < p->reading_count; i++) {
        if (p->readings[i] == index)
            return true;
    }
    return false;
}

/* Each value that was computed from the raw ones of the point. */
static size_t computed_values(struct from_work *w, const struct point *p,
                              enum plan_use use, int stage, size_t count,
                              double *values)
{
    struct computed_list list;

    raw_compute(w->h, w->policy, Q_ACCESS_FLOW, &list);
    for (size_t i = 0; i < list.count && count < PLAN_READS_MAX; i++) {
        const struct computed *c = &list.list[i];

        if (c->method != p->method || !has_reading(p, c->readings[0]))
            continue;
        values[count++] = c->value;
        for (size_t k = 0; k < c->reading_count; k++)
            from_rest_on(w, use, stage, c->readings[k]);
    }
    return count;
}

size_t from_flows(struct from_work *w, enum method method, int64_t from_s,
                  int64_t to_s, enum plan_use use, int stage, double *values)
{
    size_t count = 0;

    for (size_t i = 0; i < w->flow_count; i++) {
        const struct point *p = &w->flow[i];

        if (p->method != method || !from_is_fit(w, p) ||
            !is_within(w, p, from_s, to_s))
            continue;
        count = p->computed ? computed_values(w, p, use, stage, count, values)
                            : sent_values(w, p, use, stage, count, values);
    }
    return count;
}

/* ---- stages ---------------------------------------------------------------- */

static enum plan_step step_of(const struct reading *r)
{
    return r->quantity == Q_DOWEL_DIAMETER   ? PLAN_TIED
           : r->quantity == Q_BAND_STRETCHED ? PLAN_STRETCHED
                                             : PLAN_RELEASED;
}

/* The pressure nearest to the last flow of a stage, else to the step. */
static void stage_pressure(struct from_work *w, int stage,
                           struct plan_stage *out)
{
    size_t key = w->steps[stage];
    struct computed c;

    for (size_t i = 0; i < w->out->ground_count; i++) {
        const struct plan_ground *g = &w->out->grounds[i];

        if (g->use == PLAN_USE_STAGE_FLOW && g->stage == stage)
            key = g->reading;
    }
    if (!raw_pressure(w->h, w->policy, key, &c))
        return;
    out->map_mmhg = c.value;
    for (size_t i = 0; i < c.reading_count; i++)
        from_rest_on(w, PLAN_USE_STAGE_MAP, stage, c.readings[i]);
}

static void stage_index(struct from_work *w, int stage, int64_t from_s,
                        int64_t to_s, struct plan_stage *out)
{
    struct point points[POINTS_MAX];
    size_t n = series_collect(w->h, w->policy, Q_DIGITAL_BRACHIAL_INDEX, false,
                              points, POINTS_MAX);

    for (size_t i = n; i-- > 0 && points[i].at_s >= from_s;) {
        const struct point *p = &points[i];

        if (p->disagree || p->bound != BOUND_NONE ||
            !is_within(w, p, from_s, to_s))
            continue;
        out->index = p->value;
        for (size_t k = 0; k < p->reading_count; k++)
            from_rest_on(w, PLAN_USE_STAGE_INDEX, stage, p->readings[k]);
        return;
    }
}

/* Whoever felt last tells; a lost one is believed at once. */
static void stage_thrill(struct from_work *w, int stage, int64_t from_s,
                         int64_t to_s, struct plan_stage *out)
{
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (r->quantity != Q_THRILL || !r->present || r->start_s < from_s ||
            r->start_s >= to_s || r->end_s > to_s ||
            !(reading_counts(r) || reading_is_emergency(r)))
            continue;
        out->weak_thrill = r->sign != SIGN_THRILL_PRESENT;
        from_rest_on(w, PLAN_USE_STAGE_THRILL, stage, i);
        return;
    }
}

/* Flows of the case by another method than that of the baseline. */
static void count_others(struct from_work *w)
{
    for (size_t i = 0; i < w->flow_count && w->step_count > 0; i++) {
        if (w->flow[i].at_s >= w->until_s)
            from_count_other(w, &w->flow[i]);
    }
}

void from_stages(struct from_work *w)
{
    struct plan_input *in = &w->out->in;

    for (size_t i = 0; i < w->step_count; i++) {
        const struct reading *r = &w->h->readings[w->steps[i]];
        struct plan_stage *stage = &in->stages[i];
        int64_t to_s = i + 1 < w->step_count
                           ? w->h->readings[w->steps[i + 1]].start_s
                           : INT64_MAX;

        *stage = (struct plan_stage){
            .step = step_of(r), .dowel_mm = NAN, .map_mmhg = NAN, .index = NAN
        };
        if (stage->step == PLAN_TIED)
            stage->dowel_mm = r->value;
        w->out->stage_s[i] = r->start_s;
        w->out->balloon_mm[i] = stage->step == PLAN_STRETCHED ? r->value : NAN;
        from_rest_on(w, PLAN_USE_STEP, (int)i, w->steps[i]);
        stage->flow_count =
            from_flows(w, in->method, r->start_s, to_s, PLAN_USE_STAGE_FLOW,
                       (int)i, stage->flow_ml_min);
        stage_pressure(w, (int)i, stage);
        stage_index(w, (int)i, r->start_s, to_s, stage);
        stage->finger_mmhg =
            from_finger(w, r->start_s, to_s, PLAN_USE_STAGE_FINGER, (int)i);
        stage_thrill(w, (int)i, r->start_s, to_s, stage);
    }
    in->stage_count = w->step_count;
    count_others(w);
}
