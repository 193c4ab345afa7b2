/*
 * buf - text and bytes that grow up to a ceiling
 *
 * The first failed append marks the buffer; later appends do nothing, so a
 * writer appends freely and asks once, with buf_ok(), at the end.  The bytes
 * are always followed by a NUL that is not counted.
 */
#ifndef HEADGATE_ADAPTERS_BUF_H
#define HEADGATE_ADAPTERS_BUF_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>

struct buf {
    char *data; /* NUL-terminated; "" while empty */
    size_t len;
    size_t size;
    size_t ceiling; /* most bytes ever held */
    enum err err;   /* ERR_OK, ERR_LIMIT or ERR_MEMORY */
};

void buf_init(struct buf *b, size_t ceiling);
void buf_clear(struct buf *b); /* frees; the buffer may be used again */
void buf_empty(struct buf *b); /* forgets the bytes, keeps the memory */

void buf_add(struct buf *b, const void *data, size_t len);
void buf_puts(struct buf *b, const char *text);
void buf_printf(struct buf *b, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* ERR_OK if every append since init or empty has succeeded. */
MUST_CHECK enum err buf_ok(const struct buf *b);

/*
 * buf_lost - how often a buf of this thread has had no memory
 *
 * A text is put together out of small ones, in bufs of their own; where one of
 * them has failed, a number is missing in a sentence that looks whole.  So who
 * hands out a text compares this with what it was before:
 *
 *     unsigned long before = buf_lost();
 *     ...
 *     buf_keep_whole(out, before);      out fails if any buf has
 */
unsigned long buf_lost(void);
void buf_keep_whole(struct buf *out, unsigned long before);

/* Hand the bytes over to the caller (free() them); the buffer is emptied. */
char *buf_take(struct buf *b);

#endif
