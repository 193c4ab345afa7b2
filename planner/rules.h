/*
 * rules - which rules hold for an access now, and on what they rest
 *
 * A pure function of the history, the policy and the date: what was said
 * before plays no part here (see triage).  The limits come from the policy.
 */
#ifndef HEADGATE_PLANNER_RULES_H
#define HEADGATE_PLANNER_RULES_H

#include "planner/hand.h"
#include "planner/history.h"
#include "planner/prediction.h"

/* The numbers stand in stores: new ones come last. */
enum rule {
    RULE_HF_1, /* access flow very high */
    RULE_HF_2, /* access flow high */
    RULE_HF_3, /* share of the cardiac output raised */
    RULE_IS_2, /* tissue loss or acute ischaemia */
    RULE_IS_3, /* rest pain or motor loss */
    RULE_IS_4, /* intermittent symptoms */
    RULE_IS_5, /* low digital pressure with symptoms */
    RULE_IS_6, /* ischaemia, high flow */
    RULE_IS_7, /* ischaemia, normal or low flow */
    RULE_LF_1, /* graft flow low */
    RULE_LF_2, /* fistula flow low */
    RULE_HF_4, /* high flow with signs of the heart */
    RULE_HF_5, /* high flow with repeated treatment of the outflow */
    RULE_HF_6, /* flow high for the size of the body */
    RULE_IS_1, /* suspected ischaemic monomelic neuropathy */
    RULE_LF_3, /* flow falling */
    RULE_LF_4, /* static pressure ratio high */
    RULE_LF_5, /* recirculation */
    RULE_LF_6, /* clinical signs of dysfunction */
    RULE_AD_1, /* dose below the minimum */
    RULE_AD_2, /* dose falling */
    RULE_PB_1, /* follow-up after a band due, or overdue */
    RULE_PB_2, /* band too tight */
    RULE_PB_3, /* band not enough */
    RULE_PB_4, /* flow rising after a band */
    RULE_BL_1, /* haemorrhage, or threatened rupture */
    RULE_IN_1, /* suspected infection */
    RULE_IS_8, /* hand at risk, by prediction: see rules_predicted.h */
    RULE_COUNT
};

/* What one person is asked to look at: one open suggestion per group.  The
 * numbers stand in stores: new ones come last. */
enum group {
    GROUP_FLOW,
    GROUP_HAND,
    GROUP_LOW_FLOW,
    GROUP_DOSE,
    GROUP_AFTER_BAND,
    GROUP_FOLLOW_UP, /* visits that are due after a band */
    GROUP_BLEEDING,
    GROUP_INFECTION,
    GROUP_COUNT
};

struct rule_info {
    const char *id;   /* "HF-1" */
    const char *name; /* for people */
    enum group group;
};
const struct rule_info *rule_info(enum rule r);
const char *group_word(enum group g); /* "flow", "hand", "low-flow" */

/* The nth rule in the order in which people read them: HF-1, HF-2 ...;
 * n below RULE_COUNT. */
enum rule rule_by_order(int n);

/* Why a rule does not hold. */
enum why {
    WHY_HOLDS,        /* there is a finding */
    WHY_NO_READING,   /* nothing of the kind was recorded */
    WHY_INSIDE,       /* the newest values are not beyond the limit */
    WHY_TOO_FEW,      /* beyond the limit, not often enough or too far apart */
    WHY_STAGE,        /* something was done since: the series starts anew */
    WHY_TYPE_UNKNOWN, /* the limits differ, and the type is not known */
    WHY_OTHER_TYPE,   /* for the other type of access */
    WHY_CATHETER,     /* not for catheters */
    WHY_YOUNG,        /* the access has not matured */
    WHY_NOT_CANNULATED, /* no sign that needles have been placed */
    WHY_NO_PAIR,        /* nothing measured in the same session to go with it */
    WHY_NO_BASELINE,    /* too few values before, to compare with */
    WHY_NO_BAND,        /* no band, or it was released */
    WHY_NO_ISCHAEMIA,   /* the hand gives no ground */
    WHY_FLOW_UNKNOWN,   /* no usable flow, or flows that contradict */
    WHY_STRONGER,       /* another rule of the group says more */
    WHY_OPPOSITE,       /* the opposite problem was confirmed later */
    WHY_SCHEDULE,       /* not for this schedule, or it is not known */
    WHY_OTHER_ACCESS,   /* said at another access of the patient */
    WHY_TAKEN_BACK,     /* it was seen, and later found gone */
    WHY_TOO_LATE,       /* began too long after what might have caused it */
    WHY_DONE,           /* what was due has been recorded */
    WHY_CONTRADICTORY,  /* the values are there, and contradict each other */
    WHY_INACTIVE,       /* the access is recorded as no longer in use */
    WHY_COUNT
};

/* What a follow-up visit after a band asks for; bits of a set. */
enum visit_item {
    VISIT_THRILL = 1,
    VISIT_PUMP = 2,   /* pump flow reached, pressure before the pump */
    VISIT_HAND = 4,   /* symptoms of the hand */
    VISIT_FLOW = 8,   /* access flow */
    VISIT_DOSE = 16,  /* Kt/V or urea reduction */
    VISIT_FINGER = 32 /* finger pressure or index, where the hand was short
                         of blood before the band */
};

enum { FINDINGS_MAX = RULE_COUNT, EVIDENCE_MAX = 24 };
_Static_assert(RULE_COUNT <= 32, "sets of rules are 32 bits wide");

struct finding {
    enum rule rule;
    enum urgency urgency;
    enum quantity quantity; /* what was measured, of a rule that looks at
                               several; Q_NONE where the rule says it */
    bool severe;            /* the second, more serious limit of the rule */
    bool confirmed;  /* false: one reading so far, a repeat is asked for */
    bool historic;   /* its newest evidence is too old to raise anything, or
                           a later value denies it: it only keeps up */
    bool with_sign;  /* urgency was raised by a clinical sign, or, for
                            AD-2, it joins a low flow */
    bool elsewhere;  /* a note, because another finding (PB-2, PB-4, or
                            that of a low flow) says it in its Task */
    bool with_flow;  /* IS-8: it joins the suggestion on the high flow in place
                        of one of its own, see finding_group() */
    bool still_high; /* PB-4: not risen, but high as before */
    bool stenosis;   /* HF: a known outflow stenosis is untreated */
    bool disagree; /* not confirmed: the measurements of one session contradict
                      each other, a third one is asked for */
    bool low_pressure; /* not confirmed: a low flow, measured while the mean
                          pressure was low, is to be measured again */
    enum param limit;  /* the row of the policy that was crossed */
    double measured;   /* newest value, in the unit of the limit; NAN if the
                         rule has no number (grades: see grade) */
    double peak;       /* most extreme value of the evidence, same unit */
    double baseline;   /* what it is compared with, in the unit of the
                            quantity; NAN if the limit alone counts */
    double mean_pressure_mmhg;  /* at the newest value, and the usual one of */
    double usual_pressure_mmhg; /* the patient; NAN if not known */
    enum grade grade;           /* hand rules */
    int64_t at_s;               /* time of its newest evidence */
    int64_t occasion;        /* tells times of one and the same ground apart: a
                            greater one is news though the evidence is not; 0
                            for rules that have none */
    int64_t repeat_by_s;     /* not confirmed: a repeat is due by then */
    enum quantity repeat_of; /* not confirmed: what to measure again */
    int64_t repeat_from_s;   /* and not before; 0: at once */
    unsigned visit_items;    /* PB-1: what is missing, enum visit_item */
    bool flow_unknown;       /* hand: no valid flow near in time */
    size_t evidence_count;
    size_t evidence[EVIDENCE_MAX]; /* indices into history, oldest first */
};

struct findings {
    size_t count;
    struct finding list[FINDINGS_MAX];          /* at most one per rule */
    enum why why[RULE_COUNT];                   /* of those that do not hold */
    struct prediction predictions[PREDICTIONS]; /* see rules_predicted.h */
};

/* The group whose suggestion tells of it. */
enum group finding_group(const struct finding *f);

/* Evaluate all rules.  Of a catheter only haemorrhage and infection (BL-1,
 * IN-1) are looked at, of an access that is no longer in use the hand as well. */
void rules_evaluate(const struct history *h, const struct policy *policy,
                    struct findings *out);

/* Does a say more than b of the same group?  The more urgent one does; of
 * equals, high flow with signs of the heart before high flow alone. */
bool rules_leads(const struct finding *a, const struct finding *b);

/* The finding of a rule, or NULL. */
const struct finding *rules_find(const struct findings *findings,
                                 enum rule rule);

#endif
