/*
 * queue_digest - a week of the queue, for each unit: what came, what became of
 * it, what is left
 *
 * Counts, and the reasons that people gave; no name of a patient.
 */
#ifndef HEADGATE_ADAPTERS_QUEUE_DIGEST_H
#define HEADGATE_ADAPTERS_QUEUE_DIGEST_H

#include "adapters/buf.h"
#include "planner/rules.h"

#include <stdbool.h>

enum { DIGEST_REASONS_MAX = 20, DIGEST_REASON_SIZE = 200 };

struct digest_reason {
    char text[DIGEST_REASON_SIZE]; /* UTF-8; "": none was given */
    size_t count;
};

/* All but the last six: of the week. */
struct digest_unit {
    const char *name;                  /* "": not known; borrowed */
    size_t opened;                     /* suggestions, as headgate decided */
    size_t opened_by_rule[RULE_COUNT]; /* one by two rules counts for each */
    size_t ended;                      /* by headgate: their ground has gone */
    size_t taken;                      /* by a person, for the first time */
    int64_t median_taken_s;            /* from opened to taken; -1: none was */
    size_t completed, declined;        /* by a person */
    size_t voided;                     /* deleted, failed or entered in error */
    size_t reason_count;
    struct digest_reason reasons[DIGEST_REASONS_MAX]; /* of the declined */
    size_t other_reasons;  /* declined with reasons that do not fit here */
    size_t open_now;       /* suggestions, in hand or not */
    size_t overdue_now;    /* of them */
    size_t reminders_due;  /* open now, and due in the week after */
    size_t deceased;       /* patients left out: recorded as deceased */
    size_t death_doubtful; /* recorded so, but something is dated later */
    int64_t today; /* what "now" is, at the site: days since 1970-01-01 */
};

/* week  day (since 1970-01-01) of its Monday, at the site */
void queue_digest_head(int64_t week, bool silent, struct buf *out);
/* Of a week that is over: what of it is as it is today.  Else nothing. */
void queue_digest_now(int64_t week, int64_t today, struct buf *out);
void queue_digest_write(const struct digest_unit *u, struct buf *out);
/* What the counts rest on.  any: there was a unit. */
void queue_digest_foot(bool any, struct buf *out);

/*
 * One object and a line feed: week ("2026-W47"), unit (null: not known), new,
 * new_by_rule ({"HF-1":2}), taken, median_hours_to_taken (null: none was),
 * completed, declined, declined_reasons ([{reason, count}], reason null: none
 * was given), void, ended, open_now, overdue_now, reminders_due, deceased, death_doubtful,
 * as_of ("2026-11-26": the day that these five are of), silent.
 */
void queue_digest_json(const struct digest_unit *u, int64_t week, bool silent,
                       struct buf *out);

#endif
