/*
 * queue_write - the referral queue for programs and for people
 *
 * Rows are written as they are given: the caller sorts them, signs of
 * emergency that are held first, then the most urgent and by the day they are
 * due, then what is to be measured again, then the visits that are due, then
 * what is in hand and has lost its ground, then what was put off.
 *
 *     queue_write.c   the list for people
 *     queue_json.c    rows for programs
 *     queue_filter.c  a part of it, and what is said of the rest
 *     queue_text.c    text made fit for a terminal, lines, days
 *
 * out->err holds what went wrong (ERR_LIMIT, ERR_MEMORY), see buf_ok.
 */
#ifndef HEADGATE_ADAPTERS_QUEUE_WRITE_H
#define HEADGATE_ADAPTERS_QUEUE_WRITE_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "planner/policy.h"
#include "planner/triage.h"

struct queue_filter;
struct queue_hidden;

/* All text is borrowed, UTF-8, "" if it is not known, never NULL. */
struct queue_row {
    bool reminder; /* to measure again, or, of group "follow-up", that a visit
                      is due; else a referral */
    enum urgency urgency;     /* of a referral */
    enum episode_state state; /* EPISODE_TAKEN: a person has it in hand;
                                 anything else is open, also what was handed
                                 over and not taken since */
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
    const char *margin;      /* of one that is held: what became of it, in 17
                                characters at most; NULL: "NOT PLACED" */
    int64_t input;           /* held: the number of a whole input that could not
                                be taken in; 0: it is an Observation */
    /* Not of every row; NULL and 0 for none. */
    const char *owner;             /* taken: who has it in hand; else who it
                                      was handed to; in words */
    const char *put_off_by;        /* who put it off, in words */
    int64_t put_off_until_s;       /* not to be dealt with before; UTC */
    bool escalated;                /* nobody took it within its time, or, if it
                                      is held, saw to it */
    int64_t access_id, patient_id; /* rows of the store */
    bool deceased; /* in hand, of a patient who is known to be dead: it only
                      waits to be closed */
    const char *replaced_by; /* the number of the record that is to be used
                                instead of this one; NULL: none */
    const char *died; /* recorded as dead since: a day, a month, a year, "" not
                         known when; NULL: not recorded as dead.  Where deceased
                         is false, something is dated later, and the death is
                         doubtful */
};

/* Is it put off at this moment?  What is to be phoned about at once, a reminder
 * and what has lost its ground cannot be. */
bool queue_is_put_off(const struct queue_row *row, int64_t now_s);

/* Is the patient recorded as dead, against what was measured since? */
bool queue_is_death_doubtful(const struct queue_row *row);

/* Has its day passed?  Not of what is put off. */
bool queue_is_overdue(const struct queue_row *row, int64_t now_s,
                      const struct zone *zone);

/*
 * queue_write_json - one row as one line: a JSON object and a line feed
 *
 * Every member is always there; what is not known is null.
 *
 *     kind            "held-emergency", "referral" or "reminder"
 *     urgency         urgency_word; null for a reminder, which has none
 *     state           "open", "taken" (a person has it in hand) or "put-off"
 *                     (until a day that has not come)
 *     patient, patient_number, unit, access
 *     seen            the headline
 *     suggestion
 *     rules           array of ids
 *     group
 *     opened          instant, UTC: "2026-11-25T09:30:00Z"
 *     open_days       days at the site since then
 *     due             date at the site: "2026-12-02"
 *     due_days        days from the site's today to due; negative: overdue
 *     task            id of the Task
 *     silent          true: the Task was never posted, see silent mode
 *     ground_gone     true: in hand, and nothing holds any more
 *     observation     id, of a sign of emergency that is held; it has neither
 *                     group nor Task nor day
 *     input           number of what could not be taken in at all and may have
 *                     such a sign in it, instead of observation
 *     owner           taken: who has it in hand; else who it was handed to and
 *                     has not taken it; in words
 *     put_off_until   date at the site; put_off_by: who did, in words
 *     escalated       true: nobody took it within its time
 *     replaced_by     number of the patient's record to use instead, or null
 *     recorded_deceased  true: the record says that the patient is dead
 *     deceased        since when: "2026-11-25", "2026-11", "2026"; null: no
 *                     date is known
 *     death_doubtful  true: recorded so, and something is dated later: ask now
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
    /* NULL: all is there; else the rows are what it left */
    const struct queue_filter *filter;
    const struct queue_hidden *hidden;
    bool cut; /* there were more rows than can be shown */
};

/*
 * queue_write_table - the queue as a list for a person at a terminal
 *
 * A section for each urgency in words, then for each row by when it is due and
 * since when it is open on the left; who, which access, which unit, what was
 * seen and what is suggested on the right; a summary in the end.  A queue
 * without rows says so in words, and one that is filtered says that first.
 */
void queue_write_table(const struct queue_row *rows, size_t count,
                       const struct queue_options *options, struct buf *out);

#endif
