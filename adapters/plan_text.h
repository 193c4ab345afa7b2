/*
 * plan_text - what the files that write a plan for people share; private to
 * plan_text*.c
 *
 *     plan_text.c         head, why there is none, order of the whole
 *     plan_text_parts.c   lines, lists, rows of two columns
 *     plan_text_tables.c  ladder, hand
 *     plan_text_card.c    first tie, what was done, what now, the card
 *     plan_text_made.c    what was measured
 *     plan_text_rest.c    target, outflow, what is missing, what it rests on
 *
 * A line may be longer than the page: it is wrapped at the end.  The lines of
 * a table are not.  Widths are those of the display, since a letter may be
 * more than one byte.
 */
#ifndef HEADGATE_ADAPTERS_PLAN_TEXT_H
#define HEADGATE_ADAPTERS_PLAN_TEXT_H

#include "adapters/plan_say.h"

struct text {
    const struct plan_document *d;
    struct buf *out;
    struct words words; /* of the line that is being made */
};

/* Begins a page in out. */
void text_open(struct text *t, const struct plan_document *d, struct buf *out);
/* What stands in page goes to out, wrapped; page is cleared. */
void text_close(struct buf *page, struct buf *out);

/* Each ends its line and gives back the words of it; of "" nothing is said. */
void text_title(struct text *t, const char *title);
void text_line(struct text *t, const char *line);
void text_item(struct text *t, const char *item);
/* A sentence that somebody else appends to a buf. */
void text_said(struct text *t,
               void (*say)(const struct plan_document *d, struct buf *out));
/* Ends a line that was made of parts. */
void text_end(struct text *t);
/* Part of a line, as it is but for blanks that do not break. */
void text_put(struct text *t, const char *text);
/* As wide as this many columns: what is shorter is filled with blanks, after
 * it or before it. */
void text_left(struct text *t, const char *text, size_t columns);
void text_right(struct text *t, const char *text, size_t columns);

/* Two columns, the right one broken between words. */
enum { TEXT_LEFT_COLUMNS = 24 };
void text_row(struct text *t, const char *left, const char *text);

void text_target(struct text *t);
void text_ladder(struct text *t);
void text_hand(struct text *t);
void text_stages(struct text *t);
void text_first(struct text *t);
void text_card(struct text *t);
void text_outflow(struct text *t);
void text_made_from(struct text *t);
void text_missing(struct text *t);
void text_warnings(struct text *t);
void text_rests_on(struct text *t);

#endif
