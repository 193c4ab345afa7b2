/*
 * decision_write - what was decided, for people and for programs
 *
 * out->err holds what went wrong (ERR_LIMIT, ERR_MEMORY), see buf_ok.
 */
#ifndef HEADGATE_ADAPTERS_DECISION_WRITE_H
#define HEADGATE_ADAPTERS_DECISION_WRITE_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "planner/policy.h"

/* Text is borrowed; of a record, where it may be NULL: patient to task. */
struct decision_row {
    int64_t at_ms;
    bool reminder;      /* of a reminder; else of a referral */
    bool silent;        /* nothing was posted */
    const char *group;  /* group_word */
    int number;         /* of the episode, or of the reminder */
    const char *act;    /* "opened", "raised" ... */
    const char *reason; /* of an end; else NULL */
    const char *rules;  /* "HF-1 HF-2"; "" if none is kept */
    enum urgency urgency;
    const char *patient, *patient_number, *access;
    const char *policy; /* version, date, approver */
    const char *task;   /* id */
};

/* "2026-11-29 14:05  Fictional, Wren, 1001; Fistula A-7 (left upper arm);
 * flow 1: opened, urgent; HF-1; policy 1 (2026-11-01, Role); posted" */
void decision_write_line(const struct decision_row *d, const struct zone *zone,
                         struct buf *out);

/*
 * One object a line; each member is always there, null where nothing is known:
 * at (instant), kind ("referral", "reminder"), patient, patient_number,
 * access, group, number, act, reason, urgency, rules, policy, task, silent
 */
void decision_write_json(const struct decision_row *d, struct buf *out);

#endif
