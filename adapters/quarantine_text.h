/*
 * quarantine_text - what is held and what could not be taken in, for people
 * and for programs
 *
 * out->err holds what went wrong (ERR_LIMIT, ERR_MEMORY), see buf_ok.
 */
#ifndef HEADGATE_ADAPTERS_QUARANTINE_TEXT_H
#define HEADGATE_ADAPTERS_QUARANTINE_TEXT_H

#include "adapters/codes.h"
#include "adapters/zone.h"

#include <stdbool.h>
#include <stdint.h>

/* All text is borrowed, "" if not known, never NULL. */
struct quarantine_line {
    int64_t number;   /* that a person types */
    bool held;        /* a reading that is stored; else a whole input */
    bool emergency;   /* a sign of emergency */
    int64_t since_ms; /* UTC */
    const char *patient_name, *patient_number, *unit;
    const char *what;        /* "Access blood flow", "HL7 v2 message" */
    const char *reason;      /* the word */
    const char *why;         /* the same, for a person */
    const char *hint;        /* "litres?" */
    const char *place;       /* "OBX[3]-5" */
    const char *source;      /* who sent it: a whole input */
    const char *way;         /* "hl7"; of a whole input */
    const char *observation; /* id; of a reading */
};

/* What mends it, for a person, with the number to type. */
void quarantine_write_mend(const struct quarantine_line *line, struct buf *out);

/* A line for a person, and below it what mends it. */
void quarantine_write_line(const struct quarantine_line *line,
                           const struct zone *zone, struct buf *out);

/*
 * One JSON object and a line feed:
 *
 *     number, kind ("held" or "quarantined"), since (instant, UTC), patient,
 *     patient_number, unit, what, reason, why, hint, place, source, way,
 *     observation (id), emergency (true or false), mend
 *
 * What is not known is null.
 */
void quarantine_write_json(const struct quarantine_line *line, struct buf *out);

/* What was sent, line by line (CR, LF or CRLF), each a little further in;
 * what would steer a terminal becomes "?". */
void quarantine_write_raw(const char *bytes, size_t len, struct buf *out);

/* "urn:example:machine|QB1 is access-flow in mL/min", "the unit 'ml' of
 * urn:example:machine|QB1 is mL" */
void quarantine_write_mapped(const struct codes_line *line, struct buf *out);

/* What a person has mapped; text as in quarantine_line. */
struct quarantine_mapping {
    struct codes_line line; /* id: its number */
    int64_t at_ms;
    const char *who, *why;
    bool at_work;    /* what came before is still being looked at again */
    int64_t gone_ms; /* since when it is taken back; 0: it counts */
    const char *gone_who, *gone_why;
    int64_t lost; /* Observations that were used by it and are no more */
};

/* A paragraph for a person, with the command that takes it back. */
void quarantine_write_mapping(const struct quarantine_mapping *m,
                              const struct zone *zone, struct buf *out);

/*
 * One JSON object and a line feed:
 *
 *     number, at (instant, UTC), by, why, system, code, target, unit, arm, from
 *     (instant), at_work, taken_back: null or { at, by, why, lost }
 *
 * A word of a unit has system "urn:headgate:unit", or that and its code, see
 * codes.h.  What is not said is null.
 */
void quarantine_write_mapping_json(const struct quarantine_mapping *m,
                                   struct buf *out);

/* A code that no map has; text as in quarantine_line. */
struct quarantine_unmapped {
    const char *system, *code;
    int64_t count, number; /* how often; of one input that has it */
    bool sign;             /* a sign that nobody can read for that reason */
};

/* "12 times urn:example:machine|QB1, such as 4711" */
void quarantine_write_unmapped(const struct quarantine_unmapped *u,
                               struct buf *out);

/*
 * One JSON object and a line feed:
 *
 *     kind ("unmapped"), system, code, count, number, sign (true or false)
 */
void quarantine_write_unmapped_json(const struct quarantine_unmapped *u,
                                    struct buf *out);

/* The same for those that did not fit: kind ("more-unmapped"), count */
void quarantine_write_more_json(int64_t count, struct buf *out);

/* How many of a reason, and since when the oldest. */
struct quarantine_sum {
    const char *reason; /* the word */
    bool held;
    int64_t count, oldest_ms;
};
/* "12 held, unit: the unit is missing ... (the oldest for 3 days)" */
void quarantine_write_sum(const struct quarantine_sum *sum, const char *why,
                          int64_t now_ms, struct buf *out);

/* "3 days", "5 hours", "less than an hour" */
void quarantine_write_age(int64_t age_ms, struct buf *out);

#endif
