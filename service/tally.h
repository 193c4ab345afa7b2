/*
 * tally - how often what was refused, held or not understood, per sender and
 * week: what a unit needs to mend its feed
 *
 * Store thread only.  Bounded: beyond TALLY_KINDS_MAX different rows of one
 * sender and week, further codes that no map has are counted in one row of
 * what = "", and beyond twice as many all else.
 */
#ifndef HEADGATE_SERVICE_TALLY_H
#define HEADGATE_SERVICE_TALLY_H

#include "adapters/buf.h"
#include "service/quarantine.h"

enum { TALLY_KINDS_MAX = 500 };

/* Stored: add at the end. */
enum tally_class {
    TALLY_TAKEN = 1, /* readings that are used; reason "" */
    TALLY_REFUSED,   /* answered with an error, and not kept */
    TALLY_QUARANTINED,
    TALLY_HELD,     /* kept and not used */
    TALLY_UNKNOWN,  /* a code that is in no map: kept, not used */
    TALLY_TOLERATED /* used, though it was not as it should be */
};

struct tally_row {
    int64_t at_ms;
    const char *source; /* profile, client or folder; "record" */
    enum quarantine_way way;
    enum tally_class class;
    const char *reason; /* word of a hold or of outcome.h; "" */
    const char *what;   /* "system|code" of the sender, or ""; never a value */
    const char *place;  /* in the message: "OBX-6", "Observation.status" */
    const char *unit;   /* of the patient, where the source is not a unit */
    const char *sample; /* where the sender finds one: control id, line */
    int64_t count;      /* 1 or more */
};
MUST_CHECK enum err tally_add(struct db *db, const struct tally_row *row);

/* What came in since Monday, by class and by the way it came. */
MUST_CHECK enum err tally_metrics(struct db *db, int64_t now_ms,
                                  struct buf *out);

/* "held", "refused" ... : static, safe for a metric. */
const char *tally_class_word(enum tally_class class);

/* The day (since 1970-01-01) of the Monday, by UTC, on which the week of an
 * instant begins. */
int64_t tally_week(int64_t at_ms);

#endif
