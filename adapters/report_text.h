/*
 * report_text - what of a unit's feed could not be used in a week, and what
 * would mend it: a page that can be mailed to the unit
 *
 * Nothing in it is of a patient: reasons, codes, places, and where the unit
 * finds an example in its own records (a control id, a line, the id of a
 * resource).
 *
 * Weeks are those of ISO 8601, by UTC.
 */
#ifndef HEADGATE_ADAPTERS_REPORT_TEXT_H
#define HEADGATE_ADAPTERS_REPORT_TEXT_H

#include "adapters/buf.h"

#include <stdbool.h>
#include <stdint.h>

enum report_class {
    REPORT_TAKEN,
    REPORT_REFUSED,
    REPORT_QUARANTINED,
    REPORT_HELD,
    REPORT_UNKNOWN,
    REPORT_TOLERATED,
    REPORT_CLASSES
};

/* All text is borrowed, "" if there is none, never NULL. */
struct report_row {
    enum report_class class;
    const char *unit;      /* whose page it is on */
    const char *reason;    /* a word */
    const char *why;       /* the same in plain words */
    const char *what;      /* "system|code" as it was sent */
    const char *place;     /* "OBX-6" */
    const char *way;       /* "hl7" */
    const char *sample;    /* where the unit finds one of them */
    int64_t count, before; /* in this week and the one before */
};

/*
 * report_write_page - the page of one unit
 *
 * rows  all of the same unit, those of a class together
 * week  day (since 1970-01-01) of its Monday
 */
void report_write_page(const struct report_row *rows, size_t count,
                       int64_t week, struct buf *out);

/*
 * One JSON object and a line feed: week ("2026-W47"), unit, class ("held"),
 * reason, what, place, way, sample, count, before, mend.  What is not known is
 * null.
 */
void report_write_json(const struct report_row *row, int64_t week,
                       struct buf *out);

const char *report_class_word(enum report_class class);

/* What the sender can do about it. */
const char *report_mend(const struct report_row *row);

enum { REPORT_WEEK_SIZE = 16 };
/* "2026-W47" of the day of a Monday. */
void report_week_write(int64_t week, char out[REPORT_WEEK_SIZE]);
/* The day of the Monday of "2026-W47"; false: there is no such week. */
bool report_week_read(const char *text, int64_t *week);

#endif
