/*
 * plan_band - what a plan says of a band in place, of flows by another
 * method, and of why to measure again; for text, page and Task
 *
 * Whole sentences, in the language of the catalogue; each appends nothing
 * where there is nothing to say, and no line end.
 */
#ifndef HEADGATE_ADAPTERS_PLAN_BAND_H
#define HEADGATE_ADAPTERS_PLAN_BAND_H

#include "adapters/plan_write.h"

/* "2026-02-27", or as much of it as is known. */
void plan_band_day(const struct plan_document *d, struct buf *out);

/* Since when there is a band, of which size, and that no size is named. */
void plan_band_say(const struct plan_document *d, struct buf *out);

/* A case that no plan goes with: a hand that is worse, a pressure that is
 * another, and when to loosen; of one on a band in place also a line for each
 * step. */
void plan_band_case_say(const struct plan_document *d, struct buf *out);

/* "2 flows by duplex ultrasound are not used ..." */
void plan_other_say(const struct plan_document *d, struct buf *out);

/* How many readings more the row of the card holds for; 0: the advice is not
 * to measure again, or the readings are as many. */
int plan_readings_more(const struct plan_document *d);
/* "2 of 4 readings: take 2 more; ..." */
void plan_again_say(const struct plan_document *d, struct buf *out);

#endif
