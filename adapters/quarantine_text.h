/*
 * quarantine_text - what is held and what could not be taken in, for people
 * and for programs
 *
 * out->err holds what went wrong (ERR_LIMIT, ERR_MEMORY), see buf_ok.
 */
#ifndef HEADGATE_ADAPTERS_QUARANTINE_TEXT_H
#define HEADGATE_ADAPTERS_QUARANTINE_TEXT_H

#include "adapters/buf.h"
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
