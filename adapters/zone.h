/*
 * zone - local time of a place, from the system's zone database
 *
 * The C library knows one zone per process, in the environment; this service
 * decodes in several threads.  So a zone is read once into a structure that
 * nothing changes afterwards: any thread may use it without a lock.
 *
 * Times are seconds since 1970-01-01, UTC unless called local; within the
 * years 0..9999.  A local time is what the clock on the wall shows, counted
 * as if it were UTC.
 *
 * Source of the format: RFC 8536 (TZif), version 2 and later; the rule for
 * years after the last listed change: POSIX.1-2017, XBD 8.3, TZ.
 */
#ifndef HEADGATE_ADAPTERS_ZONE_H
#define HEADGATE_ADAPTERS_ZONE_H

#include "planner/err.h"

#include <stddef.h>
#include <stdint.h>

struct zone;

/* No place has ever been further from UTC; RFC 8536 sets the same limit. */
enum { ZONE_OFFSET_MAX_S = 26 * 3600 };

/*
 * zone_load - the zone of this name: "Europe/Berlin"
 *
 * "UTC" and "Etc/UTC" need no file; a system without a zone database still
 * has these.  The caller owns *out, see zone_free.
 *
 * ERR_UNKNOWN  no such zone, or not the name of one (absolute, "..")
 * ERR_FORM     the file is damaged, of version 1, or counts leap seconds
 * ERR_IO       the file is there and cannot be read
 */
MUST_CHECK enum err zone_load(const char *name, struct zone **out);

/* The same from the bytes of a TZif file: ERR_FORM, ERR_MEMORY. */
MUST_CHECK enum err zone_parse(const unsigned char *data, size_t len,
                               struct zone **out);

void zone_free(struct zone *zone);

/* Seconds that local time is ahead of UTC (east is positive) at at_s. */
int32_t zone_offset_s(const struct zone *zone, int64_t at_s);

/*
 * zone_utc_s - when the clock on the wall first shows local_s or later
 *
 * A local time that the clocks leave out becomes the moment they change; of
 * one that they show twice, it is the first.
 */
int64_t zone_utc_s(const struct zone *zone, int64_t local_s);

#endif
