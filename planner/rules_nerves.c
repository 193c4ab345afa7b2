/*
 * IS-1: the nerves of the hand may be dying, within hours of a procedure.
 *
 * New weakness, or numbness in several nerve territories, that began soon
 * after the access was made or its flow was raised.  A time that is not known
 * does not suppress; only one that is known to be too long ago does.
 */
#include "planner/rules_work.h"

static bool raises_flow(const struct reading *r)
{
    if (!reading_counts(r))
        return false;
    if (r->quantity == Q_BAND_RELEASED)
        return r->value > 0.5;
    return r->quantity == Q_BAND_STRETCHED ||
           (r->present &&
            (r->sign == SIGN_CREATED || r->sign == SIGN_ANGIOPLASTY_OUTFLOW ||
             r->sign == SIGN_ANGIOPLASTY_INFLOW));
}

/* Did it begin soon after a procedure, as far as is known?  *index is the
 * place of that procedure, if there is one. */
static bool is_soon_after(const struct work *w, int64_t onset_s, bool *known,
                          size_t *index)
{
    int64_t most_s = (int64_t)(work_get(w, P_IS1_ONSET_H) * HOUR_S);

    *known = false;
    for (size_t i = w->h->count; i-- > 0;) {
        const struct reading *r = &w->h->readings[i];

        if (!raises_flow(r) || r->start_s > onset_s)
            continue;
        *known = true;
        *index = i;
        return onset_s - r->end_s <= most_s;
    }
    return false;
}

/* What it takes, and what was found of it. */
struct nerves {
    const struct work *w;
    bool known; /* the procedure before it */
    size_t procedure;
    bool late; /* some such sign was there, too long after */
};

static bool is_nerve_sign(const struct work *w, const struct hand_point *p)
{
    return p->motor_loss ||
           hand_territories(p) >= work_count(w, P_IS1_TERRITORIES);
}

static bool is_suspect(const struct hand_point *p, void *arg)
{
    struct nerves *n = arg;
    bool soon, known;
    size_t at = 0;

    if (!is_nerve_sign(n->w, p))
        return false;
    soon = is_soon_after(n->w, p->at_s, &known, &at);
    if (known && !soon) {
        n->late = true;
        return false;
    }
    n->known = known;
    n->procedure = at;
    return true;
}

void rules_nerves(struct work *w)
{
    struct hand_point hand[HAND_POINTS_MAX];
    size_t count = hand_collect(w->h, w->policy, true, hand, HAND_POINTS_MAX);
    struct nerves nerves = { .w = w };
    struct finding *f;
    int64_t at_s;
    size_t at = 0;

    if (!hand_standing_if(hand, count, GRADE_2A, is_suspect, &nerves, &at)) {
        work_not(w, RULE_IS_1,
                 count == 0    ? WHY_NO_READING
                 : nerves.late ? WHY_TOO_LATE
                               : WHY_INSIDE);
        return;
    }
    f = work_add(w, RULE_IS_1);
    f->quantity = Q_HAND_SYMPTOM;
    f->urgency = work_urgency(w, P_IS1_URGENCY);
    f->limit = P_IS1_ONSET_H;
    f->with_sign = hand[at].motor_loss;
    work_rest_on_hand(w, f, &hand[at]);
    at_s = f->at_s;
    if (nerves.known)
        work_rest_on(w, f, nerves.procedure);
    f->at_s = at_s;
}
