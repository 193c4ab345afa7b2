/*
 * hl7_batch_work - a file of messages line by line; for hl7_batch alone
 *
 * The window into the file:
 *
 *     data          from            at            to             WINDOW
 *      |   taken     |   looked at   |  not yet    |    room        |
 *
 * A message is looked at line by line until something begins that is not part
 * of it; it then lies between from and at.  One that becomes too long is taken
 * as it is looked at, so that the window is never full.
 */
#ifndef HEADGATE_ADAPTERS_HL7_BATCH_WORK_H
#define HEADGATE_ADAPTERS_HL7_BATCH_WORK_H

#include "adapters/hl7.h"
#include "adapters/hl7_batch.h"

enum {
    HL7_BATCH_START = 0x0b,
    HL7_BATCH_END = 0x1c,
    HL7_BATCH_WINDOW = HL7_MESSAGE_MAX + (64 << 10)
};

struct hl7_batch {
    feed_read_fn read;
    void *arg;
    char *data;
    size_t from, at, to;
    uint64_t offset; /* of data[from] in the file */
    uint64_t line;   /* that at stands in */
    uint64_t number; /* messages begun */
    enum err failed; /* of the last read */
    bool ended;      /* nothing more is to be read */
    bool begun;      /* the byte order mark has been looked for */
    bool in_frame;
    bool has_file, has_batch;  /* FHS, BHS have been read, and not their end */
    uint64_t batches, members; /* in the file, in the batch */
};

/* What has been looked at is done with. */
void hl7_batch_take(struct hl7_batch *batch);
/* Are there n bytes at `at`?  Reads on if need be, which moves what lies in the
 * window. */
bool hl7_batch_has(struct hl7_batch *batch, size_t n);
/* Do these bytes stand at `at`? */
bool hl7_batch_is_at(struct hl7_batch *batch, const char *bytes, size_t len);

enum hl7_batch_kind {
    KIND_END,
    KIND_FRAME,
    KIND_MESSAGE,
    KIND_FHS,
    KIND_BHS,
    KIND_BTS,
    KIND_FTS,
    KIND_OTHER
};

/* What begins at `at`, which is the beginning of a line. */
enum hl7_batch_kind hl7_batch_kind_at(struct hl7_batch *batch);
/* A name, and then a sign that may part fields, or the end of the line. */
bool hl7_batch_is_segment(const char *at, size_t len, const char *name);

bool hl7_batch_ends_line(char c);
/* Pass over the CR, LF or CRLF at `at`. */
void hl7_batch_pass_end(struct hl7_batch *batch);

enum hl7_batch_ending { LINE_OVER, FRAME_OVER, FRAME_BEGINS, FILE_OVER };

/*
 * Pass over a line and its end; the begin of a frame is left.
 *
 * drop  take it at once; set if what lies before `at` is too long for a message
 */
enum hl7_batch_ending hl7_batch_pass_line(struct hl7_batch *batch, bool *drop);

#endif
