/*
 * demo - a year of an invented dialysis network, as FHIR R4 resources
 *
 * Same seed and same last day, same bytes.  Nothing happens after 00:00 UTC
 * of the last day, neither a measurement nor its sending, so the feed may be
 * loaded on that day.
 *
 * Noise of an access flow: a session differs from the true flow and a
 * reading from its session, both normal, such that single readings of
 * different sessions have a coefficient of variation of 14.2 % and readings
 * of one session one of 7.7 %.  A reading outside the range of its story is
 * drawn again, and so is a whole series that would by chance confirm what
 * its story does not say.
 *
 * Source of the noise: Huisman et al., Nephrol Dial Transplant 2005
 * (ultrasound dilution).
 */
#ifndef HEADGATE_TESTS_DEMO_DEMO_H
#define HEADGATE_TESTS_DEMO_DEMO_H

#include "adapters/buf.h"

#include <stdint.h>

#define DEMO_SEED UINT64_C(20240229)

struct demo;

/*
 * demo_new - invent the year
 *
 * end_day  the last day, days since 1970-01-01 (UTC)
 * seed     any number
 *
 * ERR_RANGE   end_day is not within the years 1971 to 2199
 * ERR_MEMORY
 */
MUST_CHECK enum err demo_new(int64_t end_day, uint64_t seed,
                             struct demo **demo);
void demo_free(struct demo *demo);

/* How many resources there are, in the order in which they arrive. */
size_t demo_count(const struct demo *demo);

/* Append the JSON of the i-th resource, one line without its end; i must be
 * below demo_count().  Ask buf_ok() afterwards. */
void demo_resource(const struct demo *demo, size_t i, struct buf *out);

/*
 * demo_feed - append everything, one line each
 *
 * bundle  0: one resource a line; n: one collection Bundle of up to n
 *         resources a line
 */
void demo_feed(const struct demo *demo, size_t bundle, struct buf *out);

/* The scenario as a Markdown table; needs no data. */
void demo_truth(struct buf *out);

/* What the rules should say, as JSON; needs no data. */
void demo_expected(struct buf *out);

/*
 * demo_day - "2026-03-06" as days since 1970-01-01
 *
 * ERR_FORM  not a date of that form, or a day that does not exist
 */
MUST_CHECK enum err demo_day(const char *text, int64_t *day);

#endif
