/*
 * queue_text - text of a record made fit for a terminal
 *
 * Names and labels come from outside.  A terminal obeys control characters,
 * and marks of writing direction can make a number read as another, so both
 * are taken out before anything is counted or printed.
 */
#ifndef HEADGATE_ADAPTERS_QUEUE_TEXT_H
#define HEADGATE_ADAPTERS_QUEUE_TEXT_H

#include "adapters/buf.h"
#include "adapters/zone.h"

/*
 * Append text as one line of words: control characters, line feeds and runs
 * of blanks become one blank, none at either end; characters without width
 * are left out; bytes that are not UTF-8 become "?".  What is longer than
 * QUEUE_TEXT_MAX characters is cut there, and ends in "...".
 */
enum { QUEUE_TEXT_MAX = 4000 };
void queue_text_clean(struct buf *out, const char *text);

/* Is every byte of it part of UTF-8? */
bool queue_text_is_utf8(const char *text);

/* Columns of clean text: its code points but for combining marks, which
 * stand on the one before.  Wide characters count as one. */
size_t queue_text_columns(const char *text, size_t len);

struct queue_span {
    const char *text;
    size_t len;
};

/*
 * queue_text_line - take the next line of at most columns from clean text
 *
 * rest   in: what is left; out: what is left after the line
 *
 * Lines end between words.  A number stays with its unit of measure where
 * both fit on a line; a word longer than a line is cut between characters.
 * Returns false if nothing is left.
 */
bool queue_text_line(struct queue_span *rest, size_t columns,
                     struct queue_span *line);

/*
 * queue_page_wrap - lines of text, each broken at the width of the terminal
 *
 * What a line is continued with stands a little further in than the line.
 * columns  0: QUEUE_COLUMNS_DEFAULT; else brought into LEAST..MOST
 */
enum {
    QUEUE_COLUMNS_LEAST = 60,
    QUEUE_COLUMNS_MOST = 200,
    QUEUE_COLUMNS_DEFAULT = 100 /* not a terminal */
};
size_t queue_columns(int columns);
void queue_page_wrap(const char *text, size_t len, int columns,
                     struct buf *out);

/* Days from the site's today to the day of due_s; negative: it has passed. */
int64_t queue_days(int64_t due_s, int64_t now_s, const struct zone *zone);

#endif
