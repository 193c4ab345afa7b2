/*
 * Two flows of one session that contradict each other confirm nothing.  Where
 * one of them is beyond a limit, a third one is asked for: HF-2 or LF-1, LF-2,
 * not confirmed.
 */
#include "planner/rules_work.h"

/* The newest flow of this stage, if its measurements disagree; or NULL. */
static const struct point *disagreeing(const struct work *w)
{
    const struct point *newest = NULL;

    for (size_t i = 0; i < w->flow_count; i++) {
        if (w->flow[i].at_s >= w->intervention_s)
            newest = &w->flow[i];
    }
    return newest != NULL && newest->disagree ? newest : NULL;
}

static bool any_beyond(const struct work *w, const struct point *p,
                       enum param limit, bool above)
{
    for (size_t i = 0; i < p->reading_count; i++) {
        const struct reading *r = &w->h->readings[p->readings[i]];

        if (r->quantity != Q_ACCESS_FLOW)
            continue;
        if (above ? reading_at_least(r, work_get(w, limit))
                  : reading_below(r, work_get(w, limit)))
            return true;
    }
    return false;
}

static void ask(struct work *w, enum rule rule, enum param limit,
                enum param urgency, const struct point *p)
{
    struct finding *f = work_add(w, rule);

    f->confirmed = false;
    f->disagree = true;
    f->urgency = work_urgency(w, urgency);
    f->quantity = f->repeat_of = Q_ACCESS_FLOW;
    f->limit = limit;
    f->measured = f->peak = p->value;
    work_rest_on_point(w, f, p);
    f->repeat_by_s = f->at_s + (int64_t)work_count(w, P_THIRD_D) * DAY_S;
}

static void ask_for_low(struct work *w, const struct point *p)
{
    bool graft = w->h->access_type == SIGN_TYPE_AVG;
    enum rule rule = graft ? RULE_LF_1 : RULE_LF_2;
    enum param limit = graft ? P_LF1_FLOW : P_LF2_FLOW;

    if ((!graft && w->h->access_type != SIGN_TYPE_AVF) ||
        !any_beyond(w, p, limit, false) || work_find(w, rule) != NULL ||
        (!graft && !work_is_in_use(w, rule)))
        return;
    ask(w, rule, limit, graft ? P_LF1_URGENCY : P_LF2_URGENCY, p);
}

void rules_third_flow(struct work *w)
{
    const struct point *p = disagreeing(w);

    if (p == NULL)
        return;
    if (!any_beyond(w, p, P_HF2_FLOW, true))
        ask_for_low(w, p);
    else if (work_find(w, RULE_HF_1) == NULL && work_find(w, RULE_HF_2) == NULL)
        ask(w, RULE_HF_2, P_HF2_FLOW, P_HF2_URGENCY, p);
}
