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
 * Sources: ndjson.org; FHIR Bulk Data Access 2.0.0, output files.  What a
 * file is, is told by its first bytes: RFC 1952 (gzip), the Unicode Standard,
 * 23.8 (byte order marks).
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
/*
 * The same for a file of which a part has been taken before: read gives what
 * stands from offset on, which begins the line after that many lines (see
 * feed_taken and feed_lines).
 */
MUST_CHECK enum err feed_new_at(feed_read_fn read, void *arg, uint64_t offset,
                                uint64_t lines, struct feed **out);
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

/* What has not been taken yet, in pieces: a feed_read_fn whose arg is the
 * feed, for whoever reads something else than lines. */
enum err feed_read_on(void *arg, char *data, size_t size, size_t *got);

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

/* The next feed_next gives what the last one gave, line and error. */
void feed_again(struct feed *feed);

/* Bytes of the file taken so far: where the next line begins. */
uint64_t feed_taken(const struct feed *feed);
/* Lines that end before it, blank ones among them. */
uint64_t feed_lines(const struct feed *feed);

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

/* ---- parcels --------------------------------------------------------------
 *
 * A step through a file: the lines that go into one Bundle, and those between
 * them that cannot.  Behind it a later run goes on, so that nothing of the
 * file is taken twice and nothing is passed over.
 */

/* A line that is not in the Bundle. */
struct feed_fault {
    enum err err;         /* ERR_FORM, ERR_LIMIT */
    struct feed_entry at; /* start: within faulty; len: of the line */
    bool kept;            /* its text is in faulty */
};

struct feed_parcel {
    struct feed_batch batch;   /* count 0: no line could be used */
    struct buf faulty;         /* the text of faults, one after the other */
    struct feed_fault *faults; /* as many as entries_max */
    size_t fault_count;
    uint64_t taken, lines; /* behind the parcel, as feed_taken, feed_lines */
};

/* As feed_batch_init; bytes_max bounds the Bundle and faulty, each. */
MUST_CHECK enum err feed_parcel_init(struct feed_parcel *parcel,
                                     size_t entries_max, size_t bytes_max);
void feed_parcel_clear(struct feed_parcel *parcel);

/*
 * feed_parcel_next - the next step
 *
 * ERR_OK      a parcel with at least one line; valid until the next call
 * ERR_ABSENT  there are no more lines
 * ERR_IO, ERR_MEMORY  it ends here; what was gathered is not valid
 */
MUST_CHECK enum err feed_parcel_next(struct feed *feed,
                                     struct feed_parcel *parcel);

/* ---- what a file is ------------------------------------------------------- */

enum feed_kind {
    FEED_JSON,  /* an object comes first: lines or a document */
    FEED_HL7,   /* messages of HL7 v2, see hl7_batch.h */
    FEED_EMPTY, /* nothing but blanks */
    FEED_GZIP,
    FEED_UTF16, /* or UTF-32, or else bytes of NUL: no UTF-8 */
    FEED_OTHER
};
enum { FEED_HEAD_SIZE = 4096 }; /* bytes that are enough to tell */

/*
 * head  the first bytes, FEED_HEAD_SIZE or the whole file
 * name  of the file, NULL if there is none: one that ends in .ndjson or .jsonl
 *       is of lines, whatever the first of them is
 */
enum feed_kind feed_kind_of(const char *head, size_t len, const char *name);
/* Why a file of this kind is not read, for a person; NULL for the first two. */
const char *feed_kind_reason(enum feed_kind kind);

/*
 * Look at the first bytes of a feed without taking anything; *len is at most
 * FEED_HEAD_SIZE.  They are borrowed until the feed is read.  ERR_IO.
 */
MUST_CHECK enum err feed_head(struct feed *feed, const char **head,
                              size_t *len);

/* Does the name say that the file is of lines? */
bool feed_named_lines(const char *name);

/* Is the resourceType of the whole, not of something within, Bundle?  Only
 * brackets and strings are followed; whoever takes it judges the rest. */
bool feed_is_bundle(const char *text, size_t len);

#endif
