/*
 * plan_text - what the files that write a plan for people share; private to
 * plan_text*.c
 *
 *     plan_text.c         head, why there is none, order of the whole
 *     plan_text_tables.c  ladder, hand
 *     plan_text_card.c    first tie, what was done, what now, the card
 *     plan_text_made.c    what was measured
 *     plan_text_rest.c    target, outflow, what is missing, what it rests on
 *
 * A line may be longer than the page: it is wrapped at the end.  The lines of
 * a table are not.
 */
#ifndef HEADGATE_ADAPTERS_PLAN_TEXT_H
#define HEADGATE_ADAPTERS_PLAN_TEXT_H

#include "adapters/plan_words.h"

/* "4.0", "3.25": a diameter, in mm. */
void text_mm(struct buf *out, double mm);
/* "tie over a 4.0 mm dowel (measured outer diameter)" */
void text_tie(struct buf *out, const char *verb, double dowel_mm);
void text_title(struct buf *out, const char *title);
/* Flow, as a person may rely on it: "1250". */
void text_flow(struct buf *out, double flow_ml_min);
/* "70 (60 to 82) mmHg": 50, 5 and 95 of 100; "not known" */
void text_range(struct buf *out, const struct plan_range *r, int decimals,
                const char *unit);
/* "<1", "12", ">99": a chance in per cent */
void text_chance(char out[8], double chance);
void text_date(const struct plan_document *d, int64_t at_s, struct buf *out);
/* "2026-03-05 09:02", as the site's clock says; only what is known of it. */
void text_when(const struct plan_document *d, const struct reading *r,
               struct buf *out);
/* Two columns, the right one broken between words; text is emptied. */
enum { TEXT_LEFT_COLUMNS = 24 };
void text_row(const char *left, struct buf *text, struct buf *out);

void text_target(const struct plan_document *d, struct buf *out);
void text_ladder(const struct plan_document *d, struct buf *out);
void text_hand(const struct plan_document *d, struct buf *out);
void text_stages(const struct plan_document *d, struct buf *out);
void text_first(const struct plan_document *d, struct buf *out);
void text_card(const struct plan_document *d, struct buf *out);
void text_outflow(const struct plan_document *d, struct buf *out);
void text_made_from(const struct plan_document *d, struct buf *out);
void text_missing(const struct plan_document *d, struct buf *out);
void text_warnings(const struct plan_document *d, struct buf *out);
void text_rests_on(const struct plan_document *d, struct buf *out);

#endif
