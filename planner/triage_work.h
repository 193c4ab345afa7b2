/* triage_work - what the files of triage share; private to them */
#ifndef HEADGATE_PLANNER_TRIAGE_WORK_H
#define HEADGATE_PLANNER_TRIAGE_WORK_H

#include "planner/triage.h"

/* The findings of one group, summed up. */
struct sum {
    bool holds; /* a confirmed finding above a note */
    bool live;  /* one of them is not historic */
    enum urgency urgency;
    unsigned rules;
    unsigned immediate; /* rules that are immediate by themselves */
    enum grade grade;
    double flow_ml_min;
    int64_t occasion;
    size_t evidence_count;
    struct evidence evidence[EPISODE_EVIDENCE_MAX];
};

bool triage_has(const struct evidence *list, size_t count,
                const struct reading *r);
const struct reading *triage_find(const struct history *h,
                                  const struct evidence *e);

/* It goes with an ischaemia that another rule of its group finds: it is not a
 * sign of its own. */
bool triage_goes_with_another(enum rule r);

/* What an emergency is to people who have the Task before them. */
enum anew {
    ANEW_NOT,
    ANEW_SEEN, /* the same sign, seen again in a later session */
    ANEW_KIND  /* another kind of sign, or another bleeding */
};
enum anew triage_emergency(const struct history *h, const struct policy *policy,
                           const struct findings *findings, enum group group,
                           const struct episode *episode);

/* May a new episode open after this one was closed? */
bool triage_may_reopen(const struct history *h, const struct policy *policy,
                       const struct findings *findings, enum group group,
                       const struct episode *episode, const struct sum *s);

/*
 * The reminder of a group: fills the last part of the verdict.
 *
 * referred  the urgency of the group's open suggestion, which says as much as a
 *           reminder of no more urgency would; NULL if none is open
 */
void triage_repeat(const struct history *h, const struct policy *policy,
                   const struct findings *findings, enum group group,
                   const enum urgency *referred,
                   const struct repeat_state *repeat, struct verdict *out);

#endif
