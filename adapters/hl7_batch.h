/*
 * hl7_batch - messages of HL7 v2 out of a file
 *
 * A file or batch (FHS, BHS ... BTS, FTS), plain messages one after the other,
 * or messages in MLLP frames; segments end in CR, LF or CRLF.  Each message
 * begins with MSH.  In bounded memory.
 *
 * Source: HL7 v2.5.1, 2.10.3 (batch protocol).
 */
#ifndef HEADGATE_ADAPTERS_HL7_BATCH_H
#define HEADGATE_ADAPTERS_HL7_BATCH_H

#include "adapters/feed.h"

struct hl7_batch;

/* read and arg as in feed.h; offset: of the first byte that read gives. */
MUST_CHECK enum err hl7_batch_new(feed_read_fn read, void *arg, uint64_t offset,
                                  struct hl7_batch **out);
void hl7_batch_free(struct hl7_batch *batch);

struct hl7_batch_message {
    uint64_t number;      /* 1 is the first */
    uint64_t line;        /* of its MSH, from 1 */
    uint64_t offset, end; /* in the file: of its MSH, and behind it */
    const char *bytes;    /* borrowed until the next call; NULL on ERR_LIMIT */
    size_t len;
};

/*
 * ERR_ABSENT  there is none
 * ERR_FORM    something that belongs to no message stands here; skipped
 * ERR_LIMIT   longer than HL7_MESSAGE_MAX; skipped
 * ERR_IO, ERR_MEMORY
 */
MUST_CHECK enum err hl7_batch_next(struct hl7_batch *batch,
                                   struct hl7_batch_message *message);

/* Do these first bytes of a file look like HL7 v2? */
bool hl7_batch_looks(const char *bytes, size_t len);

#endif
