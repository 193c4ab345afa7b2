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
    RULE_COUNT
};

/* What one person is asked to look at: one open suggestion per group. */
enum group { GROUP_FLOW, GROUP_HAND, GROUP_LOW_FLOW, GROUP_COUNT };

struct rule_info {
    const char *id;   /* "HF-1" */
    const char *name; /* for people */
    enum group group;
};
const struct rule_info *rule_info(enum rule r);
const char *group_word(enum group g); /* "flow", "hand", "low-flow" */

enum { FINDINGS_MAX = RULE_COUNT, EVIDENCE_MAX = 24 };

struct finding {
    enum rule rule;
    enum urgency urgency;
    bool severe;         /* the second, more serious limit of the rule */
    bool confirmed;      /* false: one reading so far, a repeat is asked for */
    bool historic;       /* its newest evidence is too old to raise anything, or
                           a later value denies it: it only keeps up */
    bool with_sign;      /* urgency was raised by a clinical sign */
    enum param limit;    /* the row of the policy that was crossed */
    double measured;     /* newest value, in the unit of the limit; NAN if the
                         rule has no number (grades: see grade) */
    double peak;         /* most extreme value of the evidence, same unit */
    enum grade grade;    /* hand rules */
    int64_t at_s;        /* time of its newest evidence */
    int64_t repeat_by_s; /* not confirmed: a repeat is due by then */
    enum quantity repeat_of; /* not confirmed: what to measure again */
    bool flow_unknown;       /* hand: no valid flow near in time */
    size_t evidence_count;
    size_t evidence[EVIDENCE_MAX]; /* indices into history, oldest first */
};

struct findings {
    size_t count;
    struct finding list[FINDINGS_MAX]; /* at most one per rule */
};

/* Evaluate all rules.  An access that is a catheter has no findings. */
void rules_evaluate(const struct history *h, const struct policy *policy,
                    struct findings *out);

#endif
