/*
 * Flows that confirm nothing, and are to be measured again: two of one session
 * that contradict each other across a limit, and one below a low limit that
 * was measured at low pressure.  HF-2 or LF-1, LF-2, not confirmed.
 */
#include "planner/rules_work.h"
#include "planner/series.h"

/* The newest flow of this stage, or NULL. */
static const struct point *newest_flow(const struct work *w)
{
    const struct point *newest = NULL;

    for (size_t i = 0; i < w->flow_count; i++) {
        if (w->flow[i].at_s >= w->intervention_s)
            newest = &w->flow[i];
    }
    return newest;
}

static struct finding *ask(struct work *w, enum rule rule, enum param limit,
                           enum param urgency, const struct point *p)
{
    struct finding *f = work_add(w, rule);

    f->confirmed = false;
    f->urgency = work_urgency(w, urgency);
    f->quantity = f->repeat_of = Q_ACCESS_FLOW;
    f->limit = limit;
    f->measured = f->peak = p->value;
    work_rest_on_point(w, f, p);
    f->repeat_by_s = f->at_s + (int64_t)work_count(w, P_THIRD_D) * DAY_S;
    return f;
}

static bool is_low_known(struct work *w)
{
    return work_find(w, RULE_LF_1) != NULL || work_find(w, RULE_LF_2) != NULL ||
           work_find(w, RULE_LF_3) != NULL;
}

/* Of a type that is not known, below the limit that both types share; and not
 * where it may be a fistula that is not in use yet. */
static void ask_for_low(struct work *w, const struct point *p)
{
    bool graft = work_low_flow_type(w) == SIGN_TYPE_AVG;
    enum rule rule = graft ? RULE_LF_1 : RULE_LF_2;
    enum param limit = graft ? P_LF1_FLOW : P_LF2_FLOW;
    struct run_rule low = { .limit = work_get(w, limit) };
    bool is_astride = run_astride(&low, p);
    bool is_doubtful = p->low_pressure && run_beyond(&low, p);
    struct finding *f;

    if (is_astride ? work_find(w, rule) != NULL
                   : !is_doubtful || is_low_known(w))
        return;
    if (w->h->access_type != SIGN_TYPE_AVG && !work_is_in_use(w, rule))
        return;
    f = ask(w, rule, limit, graft ? P_LF1_URGENCY : P_LF2_URGENCY, p);
    f->disagree = is_astride;
    f->low_pressure = !is_astride;
    if (f->low_pressure)
        series_pressure_at(w->h, w->policy, p->readings[0],
                           &f->mean_pressure_mmhg, &f->usual_pressure_mmhg);
}

void rules_third_flow(struct work *w)
{
    struct run_rule high = { .limit = work_get(w, P_HF2_FLOW), .above = true };
    const struct point *p = newest_flow(w);

    if (p == NULL)
        return;
    if (!run_astride(&high, p))
        ask_for_low(w, p);
    else if (work_find(w, RULE_HF_1) == NULL && work_find(w, RULE_HF_2) == NULL)
        ask(w, RULE_HF_2, P_HF2_FLOW, P_HF2_URGENCY, p)->disagree = true;
}
