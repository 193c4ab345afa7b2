/*
 * queue_page - what the files that write the queue for people share; private
 *
 *     queue_write.c  the page: title, sections, summary
 *     queue_entry.c  one row of it
 */
#ifndef HEADGATE_ADAPTERS_QUEUE_PAGE_H
#define HEADGATE_ADAPTERS_QUEUE_PAGE_H

#include "adapters/queue_text.h"
#include "adapters/queue_write.h"

enum queue_style { PLAIN, BOLD, DIM, ALARM, WARN };

struct queue_page {
    const struct queue_options *options;
    size_t columns;
    struct buf *out;
    struct buf words; /* the paragraph being written, as clean text */
};

/* Text in a style: with colours, or the same without. */
void queue_page_put(struct queue_page *p, enum queue_style style,
                    const char *text, size_t len);

/* Start the words of a paragraph; the caller adds to page->words. */
void queue_page_begin(struct queue_page *p, const char *text);
struct queue_span queue_page_words(struct queue_page *p);
/* The words as a paragraph from the left edge. */
void queue_page_paragraph(struct queue_page *p, enum queue_style style);

/* A reminder that a visit is due. */
bool queue_is_visit(const struct queue_row *row);

/* One row: when on the left, what on the right. */
void queue_entry_write(struct queue_page *p, const struct queue_row *row);

#endif
