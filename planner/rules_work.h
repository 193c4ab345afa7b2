/* rules_work - what the evaluators of the rules share; private to rules*.c */
#ifndef HEADGATE_PLANNER_RULES_WORK_H
#define HEADGATE_PLANNER_RULES_WORK_H

#include "planner/rules.h"

/* The band that is in place. */
struct band {
    bool placed;
    size_t index;     /* the newest reading that says so */
    int64_t at_s;     /* when it was placed */
    int64_t change_s; /* when it was last changed (stretched), or placed */
    bool for_hand;    /* the hand was short of blood before it */
};

/* One evaluation; the points are collected once. */
struct work {
    const struct history *h;
    const struct policy *policy;
    struct findings *out;
    size_t flow_count, hand_count;
    int64_t intervention_s; /* newest; INT64_MIN if none */
    struct band band;
    struct point flow[POINTS_MAX];
    struct hand_point hand[HAND_POINTS_MAX];
};

static inline double work_get(const struct work *w, enum param p)
{
    return policy_get(w->policy, p);
}
static inline int work_count(const struct work *w, enum param p)
{
    return policy_count(w->policy, p);
}
static inline enum urgency work_urgency(const struct work *w, enum param p)
{
    return policy_urgency(w->policy, p);
}

/* The first second of the last so many days, whole days counted: a reading of
 * this many days and some hours ago is of the last so many days. */
static inline int64_t work_days_ago(const struct work *w, enum param days)
{
    return w->h->now_s - ((int64_t)work_count(w, days) + 1) * DAY_S + 1;
}

/* A new, confirmed finding of this rule. */
struct finding *work_add(struct work *w, enum rule rule);

/* The finding of this rule, or NULL. */
struct finding *work_find(struct work *w, enum rule rule);
/* Take the finding of this rule away again, and say why. */
void work_remove(struct work *w, enum rule rule, enum why why);

/* This rule does not hold, because; the first reason given stays. */
void work_not(struct work *w, enum rule rule, enum why why);

/* The rule on rows of the policy that most flow rules share. */
struct run_rule work_run_rule(const struct work *w, enum param limit,
                              bool above, enum param readings,
                              enum param of_last, enum param window_d);

/* Why a run of these points does not hold: no reading, inside, too few. */
enum why work_why_not(const struct run_rule *rule, const struct point *points,
                      size_t count);

/* The same of those of this stage of the access; WHY_STAGE if all, or all
 * flows, are of an earlier one, or too near to what was done. */
enum why work_why_not_now(const struct work *w, const struct run_rule *rule,
                          const struct point *points, size_t count);

/* The type of access whose low-flow limit counts: its own, or where the type
 * is not known that of the lower limit, below which a flow is low for both. */
enum sign work_low_flow_type(const struct work *w);

/*
 * work_signs - let a finding rest on the newest few readings since from_s
 * that are a sign and were not taken back; how many.  They do not make an older
 * finding new.
 */
size_t work_signs(const struct work *w, struct finding *f, int64_t from_s,
                  bool (*is_sign)(const struct reading *));
/* The same with the complaint of the hand that stands. */
bool work_hand_sign(const struct work *w, struct finding *f, int64_t from_s);

/* Has a later reading taken this sign back: looked for and not found, a lesser
 * class of heart failure, a thrill felt again? */
bool work_is_taken_back(const struct work *w, size_t index);

bool work_is_cardiac_sign(const struct reading *r);
/* Signs of dysfunction of the access, a lost thrill among them; not bleeding,
 * which takes several sessions. */
bool work_is_dysfunction_sign(const struct reading *r);
bool work_is_thrill_lost(const struct reading *r);

/* What a low or falling flow is worth with the clinical signs of the last
 * window_d days beside it: urgency with a sign, more with a lost thrill. */
void work_low_signs(const struct work *w, struct finding *f,
                    enum param window_d, enum param urgency);

/* Is the access old enough, and cannulated, so that a low flow is a loss?  If
 * not, says why this rule does not hold. */
bool work_is_in_use(struct work *w, enum rule rule);

/* Is a stenosis of the outflow known that was not treated since? */
bool work_has_stenosis(const struct work *w);

/* Too long ago to raise anything now (general.historic_d). */
bool work_is_old(const struct work *w, int64_t at_s);

/* Let a finding rest on a reading; its time is that of its newest one. */
void work_rest_on(const struct work *w, struct finding *f, size_t index);
void work_rest_on_point(const struct work *w, struct finding *f,
                        const struct point *p);
void work_rest_on_hand(const struct work *w, struct finding *f,
                       const struct hand_point *p);

/* What is looked for: readings of a quantity that say yes, or no. */
struct wanted {
    bool (*is)(const struct reading *r); /* of the kind */
    bool (*says_yes)(const struct reading *r);
    bool emergency;  /* believed from a preliminary reading too */
    bool per_sign;   /* only a no about the same sign takes it back */
    enum sign of;    /* only this sign says yes; SIGN_NONE: any */
    int taken_back;  /* by so many later sessions that say no */
    int64_t since_s; /* nothing before counts; of an emergency, nothing that
                        was certainly before */
};

/* The newest such sign that stands; *any: one was seen at all. */
bool work_standing(const struct work *w, const struct wanted *wanted, bool *any,
                   size_t *index);
bool work_says_present(const struct reading *r);

/* Was the thrill felt as it should be?  A weak one says neither this nor that
 * it is lost. */
bool work_is_thrill_felt(const struct reading *r);
/* The newest lost thrill since then that no later session felt again. */
bool work_thrill_lost(const struct work *w, int64_t since_s, size_t *index);

/* The points of what is read again and again during a session, as the lines'
 * pressures and the pump flow are: the values of a session do not contradict
 * each other, their mean is what the session was like. */
size_t work_session_means(const struct work *w, enum quantity quantity,
                          struct point *points);

/* Does the limit of the single-pool Kt/V apply: no schedule but three sessions
 * a week, and no residual clearance that matters, is known? */
bool work_spktv_applies(const struct work *w);
/* Is the newest single-pool Kt/V of the window of AD-1 below its limit? */
bool work_newest_spktv_low(const struct work *w, struct point *newest);

/* The evaluators: each adds what it finds. */
void rules_high_flow(struct work *w);     /* HF-1, HF-2, HF-5, HF-6 */
void rules_cardiac_share(struct work *w); /* HF-3 */
void rules_cardiac_signs(struct work *w); /* HF-4; after HF-1 to HF-3 */
void rules_low_flow(struct work *w);      /* LF-1, LF-2 */
void rules_flow_fall(struct work *w);     /* LF-3 */
void rules_third_flow(struct work *w);    /* after high and low are settled */
void rules_pressure(struct work *w);      /* LF-4 */
void rules_recirculation(struct work *w); /* LF-5; after the dose */
void rules_dysfunction(struct work *w);   /* LF-6 */
void rules_bleeding(struct work *w);      /* BL-1 */
void rules_infection(struct work *w);     /* IN-1 */
void rules_nerves(struct work *w);        /* IS-1 */
void rules_hand(struct work *w);          /* IS-2 to IS-5 */
void rules_finger(struct work *w);        /* IS-5; of rules_hand() */
void rules_hand_and_flow(struct work *w); /* IS-6, IS-7; after the others */
void rules_dose(struct work *w);          /* AD-1, AD-2 */
void rules_dose_fall(struct work *w);     /* AD-2; of rules_dose() */
void rules_band_find(struct work *w);     /* w->band; before the others */
void rules_band(struct work *w);          /* PB-2 to PB-4; after the others */
void rules_follow_up(struct work *w);     /* PB-1 */

#endif
