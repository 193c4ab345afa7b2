/*
 * feed - files of resources, one a line (NDJSON), in bounded memory
 *
 *     bytes --> lines --> collection Bundles of at most so many entries
 *
 * Lines end with LF or CRLF, the last may end with the file.  A byte order
 * mark at the start of the file and blank lines are skipped.  Each line keeps
 * its number and its offset in the file, so that a person finds it again.
 *
 * A line is put into a Bundle only if its brackets and strings close within
 * it: whatever else is wrong with it, it can then not break out of its entry
 * and take others with it, or pretend to be several.
 *
 * Source: ndjson.org; FHIR Bulk Data Access 2.0.0, output files.
 */
#ifndef HEADGATE_ADAPTERS_FEED_H
#define HEADGATE_ADAPTERS_FEED_H

#include "adapters/buf.h"

#include <stdint.h>
#include <stdio.h>

enum {
    FEED_LINE_MAX = 1 << 20, /* bytes of a line without its end */
    FEED_DEPTH_MAX = 64      /* brackets within brackets; FHIR's own too */
};

/*
 * Read up to size bytes (1 or more) to data.  *got 0: the end.
 *
 * ERR_IO   reading failed; what was got before has been given
 */
typedef enum err (*feed_read_fn)(void *arg, char *data, size_t size,
                                 size_t *got);
/* The same from a FILE * as arg. */
enum err feed_read_file(void *arg, char *data, size_t size, size_t *got);

struct feed;

/* ERR_MEMORY.  arg is borrowed. */
MUST_CHECK enum err feed_new(feed_read_fn read, void *arg, struct feed **out);
void feed_free(struct feed *feed);

/*
 * feed_is_lines - is this NDJSON, or one JSON document?
 *
 * Looks ahead without taking anything.  It is NDJSON if the name ends in
 * .ndjson or .jsonl, or if the first line that is not blank is a whole JSON
 * object and something follows it.  A document printed over several lines
 * begins with a bracket that its first line does not close; one line alone is
 * one document.
 *
 * name   of the file; NULL if there is none
 *
 * ERR_IO
 */
MUST_CHECK enum err feed_is_lines(struct feed *feed, const char *name,
                                  bool *lines);

/* All that has not been taken yet, for one document, without the byte order
 * mark.  ERR_IO, ERR_MEMORY; ERR_LIMIT: more than out may hold. */
MUST_CHECK enum err feed_rest(struct feed *feed, struct buf *out);

struct feed_line {
    uint64_t number;  /* 1 is the first; blank ones count */
    uint64_t offset;  /* of its first byte in the file */
    const char *text; /* borrowed, until the next call; NULL on ERR_LIMIT */
    size_t len;       /* without the line's end; on ERR_LIMIT all that was
                         skipped over */
};

/*
 * feed_next - the next line
 *
 * ERR_ABSENT  there is none
 * ERR_FORM    the line is not one JSON object by its brackets and strings, or
 *             nests deeper than FEED_DEPTH_MAX
 * ERR_LIMIT   it is longer than FEED_LINE_MAX, and has been skipped over
 * ERR_IO      reading failed
 *
 * After ERR_FORM and ERR_LIMIT, *line says which line it is, and the next
 * call goes on with the one after it.
 */
MUST_CHECK enum err feed_next(struct feed *feed, struct feed_line *line);

/* The next feed_next gives the line that the last one gave on ERR_OK. */
void feed_again(struct feed *feed);

/* Bytes of the file taken so far, for a progress bar. */
uint64_t feed_taken(const struct feed *feed);

/* ---- Bundles -------------------------------------------------------------- */

struct feed_entry {
    uint64_t line, offset; /* as in struct feed_line */
    size_t start, len;     /* the line within body */
};

struct feed_batch {
    struct buf body; /* the Bundle, once feed_gather has returned ERR_OK */
    size_t count;
    struct feed_entry *entries;
    size_t entries_max, bytes_max;
    bool complete;
    struct feed_line problem; /* text is NULL */
};

/*
 * entries_max  1 or more
 * bytes_max    of the whole Bundle, 256 or more
 *
 * ERR_RANGE, ERR_MEMORY
 */
MUST_CHECK enum err feed_batch_init(struct feed_batch *batch,
                                    size_t entries_max, size_t bytes_max);
void feed_batch_clear(struct feed_batch *batch);

/*
 * feed_gather - lines into a Bundle, until it is full or they end
 *
 * ERR_OK      the Bundle is complete; the next call begins another
 * ERR_ABSENT  there are no more lines, and no Bundle
 * ERR_FORM, ERR_LIMIT  a line that cannot be sent, see batch->problem; the
 *             next call goes on with the same Bundle.  ERR_LIMIT also if a
 *             line does not fit a Bundle by itself
 * ERR_IO, ERR_MEMORY   it ends here
 */
MUST_CHECK enum err feed_gather(struct feed *feed, struct feed_batch *batch);

/*
 * feed_batch_single - entry i of a complete Bundle as a Bundle of its own
 *
 * For one that was refused as a whole: sent one by one, only the entries at
 * fault are lost.  A collection also of one, since what a collection brings
 * is held where it is unclear, and not refused.
 *
 * out   emptied first
 */
void feed_batch_single(const struct feed_batch *batch, size_t i,
                       struct buf *out);

#endif
