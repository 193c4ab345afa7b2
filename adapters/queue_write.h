/*
 * queue_write - the referral queue for programs and for people
 *
 * Rows are written as they are given: the caller sorts them, signs of
 * emergency that are held first, then the most urgent and by the day they are
 * due, then what is to be measured again, then the visits that are due, then
 * what is in hand and has lost its ground.
 *
 * out->err holds what went wrong (ERR_LIMIT, ERR_MEMORY), see buf_ok.
 */
#ifndef HEADGATE_ADAPTERS_QUEUE_WRITE_H
#define HEADGATE_ADAPTERS_QUEUE_WRITE_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "planner/policy.h"
#include "planner/triage.h"

/* All text is borrowed, UTF-8, "" if it is not known, never NULL. */
struct queue_row {
    bool reminder; /* to measure again, or, of group "follow-up", that a visit
                      is due; else a referral */
    enum urgency urgency;     /* of a referral */
    enum episode_state state; /* EPISODE_TAKEN; anything else is open */
    const char *patient_name;
    const char *patient_number; /* business identifier or reference */
    const char *unit;           /* where the patient is dialysed */
    const char *access;         /* "Left upper-arm fistula A-0101" */
    const char *headline;       /* "flow 2240 mL/min (limit 2000, HF-1)"; of a
                               reminder: what to measure or record, and why */
    const char *suggestion;     /* one or two sentences */
    const char *task_id;
    const char *rules;       /* ids with a blank between: "HF-1 HF-2" */
    const char *group;       /* group_word: "flow", "hand", "low-flow" ... */
    int64_t opened_s, due_s; /* UTC; 0 if not known */
    bool silent;             /* its Task was never posted */
    bool held;               /* no referral: a sign of emergency among what is
                                held back; opened_s: since when */
    bool ground_gone;        /* a person has it in hand, and nothing holds any
                                more: it only waits to be closed */
    const char *observation; /* id, of one that is held */
};

/*
 * queue_write_json - one row as one line: a JSON object and a line feed
 *
 * Every member is always there; what is not known is null.
 *
 *     kind            "held-emergency", "referral" or "reminder"
 *     urgency         urgency_word; null for a reminder, which has none
 *     state           "open" or "taken" (a person has it in hand)
 *     patient, patient_number, unit, access
 *     seen            the headline
 *     suggestion
 *     rules           array of ids
 *     group
 *     opened          instant, UTC: "2026-11-25T09:30:00Z"
 *     due             date at the site: "2026-12-02"
 *     due_days        days from the site's today to due; negative: overdue
 *     task            id of the Task
 *     silent          true: the Task was never posted, see silent mode
 *     ground_gone     true: in hand, and nothing holds any more
 *     observation     id, of a sign of emergency that is held; it has neither
 *                     group nor Task nor day
 *
 * zone    of the site: a due date is one of its calendar
 */
void queue_write_json(const struct queue_row *row, int64_t now_s,
                      const struct zone *zone, struct buf *out);

struct queue_options {
    int columns; /* see queue_columns */
    bool colour; /* ANSI escapes; without them the same text */
    bool silent; /* silent mode: said at the top */
    int64_t now_s;
    const struct zone *zone; /* of the site */
};

/*
 * queue_write_table - the queue as a list for a person at a terminal
 *
 * A section for each urgency in words, then for each row by when on the left
 * and who, which access, which unit, what was seen and what is suggested on
 * the right; a summary in the end.  A queue without rows says so in words.
 */
void queue_write_table(const struct queue_row *rows, size_t count,
                       const struct queue_options *options, struct buf *out);

#endif
