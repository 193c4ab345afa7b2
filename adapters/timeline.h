/*
 * timeline - what happened at one access, event by event, the oldest first
 *
 * Put together from its history (flows, treatments with the flows before and
 * after each, signs) and from what was said and done about it (suggestions,
 * reminders), which the caller brings.  At the end what is due next.
 *
 * For people (text, by month, in the language of the site) and for programs
 * (one JSON object a line, words that do not change).  A flow is the mean of
 * its session, as the rules see it; one that they do not use says so.
 */
#ifndef HEADGATE_ADAPTERS_TIMELINE_H
#define HEADGATE_ADAPTERS_TIMELINE_H

#include "adapters/buf.h"
#include "adapters/worksheet_series.h"
#include "adapters/zone.h"
#include "planner/triage.h"

enum {
    TIMELINE_MAX = 4096, /* entries; the newest are kept, and it is said */
    TIMELINE_TASK_SIZE = 72,
    TIMELINE_NEXT_MAX = 64,
    TIMELINE_GAP_D = 28 /* days without a flow that are worth a line, where a
                           follow-up was due; a proposed default without direct
                           source */
};

/* ---- what the caller brings ------------------------------------------------ */

enum timeline_act {
    /* by headgate */
    TIMELINE_OPENED,
    TIMELINE_RAISED,
    TIMELINE_CORRECTED,
    TIMELINE_PUT_AGAIN,
    TIMELINE_ENDED,      /* of a suggestion: reason */
    TIMELINE_RECORDED,   /* of a reminder: what it asked for has come */
    TIMELINE_NOT_NEEDED, /* of a reminder: it ended without that */
    /* by people */
    TIMELINE_TAKEN,
    TIMELINE_ON_HOLD,
    TIMELINE_DECLINED,
    TIMELINE_COMPLETED,
    TIMELINE_SET_ASIDE, /* failed, or entered in error */
    TIMELINE_ACTS
};

/* What was said of an access, or done with what was said. */
struct timeline_said {
    int64_t at_s;
    enum timeline_act act;
    bool reminder;
    enum group group;
    int number;                    /* of the suggestion, or of the reminder */
    unsigned rules;                /* bits 1 << enum rule; 0: not kept */
    enum urgency urgency;          /* of a suggestion, where we said it */
    enum end_reason reason;        /* TIMELINE_ENDED */
    int64_t due_s;                 /* INT64_MIN: not known */
    bool silent;                   /* it was never posted */
    char task[TIMELINE_TASK_SIZE]; /* id; "": none */
};

/* A suggestion or a reminder, as it stands now. */
struct timeline_open {
    bool reminder, taken;
    bool open;    /* else it is over */
    bool silent;  /* it was never posted */
    bool overdue; /* of a reminder: its day passed before it was done */
    bool missed;  /* of a reminder that is over: what it asked for did not come
                     by its day, and a suggestion took its place */
    enum group group;
    int number;
    int64_t due_s, ended_s; /* ended_s: INT64_MIN while it is open */
    char task[TIMELINE_TASK_SIZE];
};

struct timeline_source {
    const struct history *history;
    const struct policy *policy;
    const struct zone *zone;
    const char *patient, *patient_number, *access; /* "": not known */
    const struct timeline_said *said;              /* in any order */
    size_t said_count;
    const struct timeline_open *open; /* also those that are over */
    size_t open_count;
    int64_t follow_up_s; /* of follow_up_next(); INT64_MAX: none */
};

/* ---- what comes of it ------------------------------------------------------ */

enum timeline_kind {
    TIMELINE_FLOW,
    TIMELINE_TREATMENT,
    TIMELINE_SIGN,
    TIMELINE_SAID,
    TIMELINE_OVERDUE, /* a reminder whose day passed */
    TIMELINE_GAP      /* no flow for weeks, and a follow-up was due */
};

/* The flows before and after a treatment, by one method. */
struct timeline_change {
    double before_ml_min, after_ml_min; /* NAN: none */
    int64_t before_s, after_s;
    enum method before_method, after_method;
    double pct; /* change of the flow; NAN: one is missing, or the methods
                   differ */
};

struct timeline_entry {
    enum timeline_kind kind;
    int64_t at_s;
    enum precision precision;
    struct sheet_point flow;       /* TIMELINE_FLOW */
    struct sheet_event treatment;  /* TIMELINE_TREATMENT */
    struct timeline_change change; /* TIMELINE_TREATMENT */
    enum quantity quantity;        /* TIMELINE_SIGN */
    enum sign sign;                /* of a coded one; else SIGN_NONE */
    int times;                     /* TIMELINE_SIGN: that month */
    bool preliminary;              /* TIMELINE_SIGN */
    struct timeline_said said;     /* TIMELINE_SAID */
    struct timeline_open reminder; /* TIMELINE_OVERDUE */
    int64_t gap_from_s, gap_to_s;  /* TIMELINE_GAP */
    bool gap_goes_on;              /* to now */
    int days; /* TIMELINE_OVERDUE: from the day it was due until it was done, or
                 now; TIMELINE_GAP: its length */
};

struct timeline {
    struct timeline_entry *entries; /* owned; the oldest first */
    size_t count;
    size_t lost; /* older ones that there was no room for */
};

/*
 * timeline_make
 *
 * out  to be cleared, also after an error
 *
 * ERR_MEMORY; ERR_LIMIT: more than eight times TIMELINE_MAX
 */
MUST_CHECK enum err timeline_make(const struct timeline_source *source,
                                  struct timeline *out);
void timeline_clear(struct timeline *t);

/* Append; errors are those of the buf, see buf_ok(). */
void timeline_text(const struct timeline_source *source,
                   const struct timeline *t, struct buf *out);

/*
 * timeline_json - one object a line, the oldest first
 *
 *     {"kind":"access", access, patient_number, from, to, lost}: the first one
 *     {"kind":"flow", at, value, bound, method, readings, use}
 *     {"kind":"treatment", at, treatment, size_mm, steps, before, after,
 *      before_at, after_at, before_method, after_method, change_pct}
 *     {"kind":"sign", at, code, times, preliminary}
 *     {"kind":"suggestion" or "reminder", at, group, number, act, rules,
 *      urgency, reason, due, task, silent}
 *     {"kind":"overdue", at, group, number, days, open, missed, task}
 *     {"kind":"gap", at, from, to, days, open}
 *     {"kind":"next", what, group, number, due, days, taken, task, silent}: at
 *      the end
 *
 * Flows are mL/min; at, from, to are instants of UTC, due is a day of the
 * site; days of "next" are negative when it is overdue.  Every member is
 * always there; what is not known is null.
 */
void timeline_json(const struct timeline_source *source,
                   const struct timeline *t, struct buf *out);

/* From one day of the site to another. */
int timeline_days(int64_t from_s, int64_t to_s, const struct zone *zone);

/* Is something of this still open, in the order in which it is due?  A list of
 * places in source->open; returns how many. */
size_t timeline_next(const struct timeline_source *source, size_t *list,
                     size_t max);

#endif
