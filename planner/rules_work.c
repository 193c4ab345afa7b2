/* What the evaluators share: findings, why a rule does not hold, evidence. */
#include "planner/rules_work.h"

#include <math.h>
#include <string.h>

struct finding *work_add(struct work *w, enum rule rule)
{
    struct finding *f = &w->out->list[w->out->count++];

    *f = (struct finding){ .rule = rule,
                           .confirmed = true,
                           .measured = NAN,
                           .peak = NAN,
                           .baseline = NAN,
                           .mean_pressure_mmhg = NAN,
                           .usual_pressure_mmhg = NAN,
                           .at_s = INT64_MIN };
    return f;
}

static size_t place_of(const struct findings *findings, enum rule rule)
{
    size_t i = 0;

    while (i < findings->count && findings->list[i].rule != rule)
        i++;
    return i;
}

const struct finding *rules_find(const struct findings *findings,
                                 enum rule rule)
{
    size_t at = place_of(findings, rule);

    return at < findings->count ? &findings->list[at] : NULL;
}

struct finding *work_find(struct work *w, enum rule rule)
{
    size_t at = place_of(w->out, rule);

    return at < w->out->count ? &w->out->list[at] : NULL;
}

void work_remove(struct work *w, enum rule rule, enum why why)
{
    size_t at = place_of(w->out, rule);

    if (at == w->out->count)
        return;
    w->out->count--;
    memmove(&w->out->list[at], &w->out->list[at + 1],
            (w->out->count - at) * sizeof(w->out->list[0]));
    w->out->why[rule] = why;
}

void work_not(struct work *w, enum rule rule, enum why why)
{
    if (w->out->why[rule] == WHY_HOLDS)
        w->out->why[rule] = why;
}

struct run_rule work_run_rule(const struct work *w, enum param limit,
                              bool above, enum param readings,
                              enum param of_last, enum param window_d)
{
    return (struct run_rule){ .limit = work_get(w, limit),
                              .above = above,
                              .readings = work_count(w, readings),
                              .of_last = work_count(w, of_last),
                              .window_d = work_count(w, window_d),
                              .hysteresis_pct = work_get(w, P_HYSTERESIS_PCT) };
}

enum why work_why_not(const struct run_rule *rule, const struct point *points,
                      size_t count)
{
    size_t usable = 0;

    for (size_t i = count; i-- > 0 && usable < 3;) {
        if (points[i].disagree)
            continue;
        if (run_beyond(rule, &points[i]))
            return WHY_TOO_FEW;
        usable++;
    }
    if (usable > 0)
        return WHY_INSIDE;
    return count > 0 ? WHY_CONTRADICTORY : WHY_NO_READING;
}

bool work_is_old(const struct work *w, int64_t at_s)
{
    return w->h->now_s - at_s > (int64_t)work_count(w, P_HISTORIC_D) * DAY_S;
}

void work_rest_on(const struct work *w, struct finding *f, size_t index)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        if (f->evidence[i] == index)
            return;
    }
    if (f->evidence_count == EVIDENCE_MAX) {
        memmove(f->evidence, f->evidence + 1,
                (EVIDENCE_MAX - 1) * sizeof(f->evidence[0]));
        f->evidence_count--;
    }
    f->evidence[f->evidence_count++] = index;
    if (w->h->readings[index].start_s > f->at_s)
        f->at_s = w->h->readings[index].start_s;
}

void work_rest_on_point(const struct work *w, struct finding *f,
                        const struct point *p)
{
    for (size_t i = 0; i < p->reading_count; i++)
        work_rest_on(w, f, p->readings[i]);
}

void work_rest_on_hand(const struct work *w, struct finding *f,
                       const struct hand_point *p)
{
    for (size_t i = 0; i < p->reading_count; i++)
        work_rest_on(w, f, p->readings[i]);
    if (p->grade > f->grade)
        f->grade = p->grade;
}
