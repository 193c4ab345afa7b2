/*
 * fhir_time - FHIR R4 date, dateTime and instant as intervals of UTC time
 *
 * A date leaves open which second of the day is meant; so each text becomes
 * the half-open interval [start_s, end_s) that it may mean.  A date has no
 * zone: it is that day in the site's zone, from one local midnight to the
 * next, 23 or 25 hours where the clocks change.  Months and years likewise.
 * A time without a zone is not valid FHIR.
 *
 * Source: HL7 FHIR R4 (4.0.1), data types date, dateTime, instant.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_TIME_H
#define HEADGATE_ADAPTERS_FHIR_TIME_H

#include "adapters/zone.h"
#include "planner/reading.h"

struct fhir_time {
    int64_t start_s, end_s; /* UTC, seconds since 1970-01-01 */
    enum precision precision;
};

/*
 * fhir_time_read - a dateTime (or date): YYYY, YYYY-MM, YYYY-MM-DD, or full
 *
 * zone    the site's zone, used for dates without a time
 * out     second precision for a full dateTime: end_s = start_s + 1;
 *         fractions of any length are accepted and dropped; second 60 is
 *         read as 59
 *
 * ERR_FORM   not a dateTime: wrong form, no zone after a time, or a day that
 *            does not exist (30 February, or one the zone left out)
 * ERR_RANGE  the year is outside 1900..2199
 */
MUST_CHECK enum err fhir_time_read(const char *text, size_t len,
                                   const struct zone *zone,
                                   struct fhir_time *out);

/* The same for an instant: full date, time to the second, and zone. */
MUST_CHECK enum err fhir_instant_read(const char *text, size_t len,
                                      struct fhir_time *out);

enum { FHIR_TIME_SIZE = 32 };

/*
 * Write UTC times: "2026-03-06T08:12:00Z", with milliseconds, or the date.
 * Four digits is all FHIR has for a year, so times before the year 1 or after
 * 9999 are written as the nearest that can be.
 */
void fhir_time_write(int64_t at_s, char out[FHIR_TIME_SIZE]);
void fhir_time_write_ms(int64_t at_ms, char out[FHIR_TIME_SIZE]);
/* The calendar date of at_s in the site's zone: "2026-03-06". */
void fhir_date_write(int64_t at_s, const struct zone *zone,
                     char out[FHIR_TIME_SIZE]);

#endif
