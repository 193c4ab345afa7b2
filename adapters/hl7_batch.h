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
    const char *bytes;    /* borrowed until the next call; NULL unless ERR_OK */
    size_t len;           /* with the end of its last segment, not of a frame */
    bool cut;             /* ERR_OK: its last segment has no end, so the file
                             may end too early, and with it a value */
    const char *problem;  /* on ERR_FORM and ERR_LIMIT, for a person; static */
};

/*
 * hl7_batch_next - the next message
 *
 * What begins with MSH at the beginning of a line or a frame is a message and
 * has a number, whatever becomes of it; it ends before the next one, before a
 * segment of the batch, or with its frame.  Reading may be taken up again at
 * any `end`, with hl7_batch_new; lines are then counted from there, and counts
 * of a batch whose begin was not read are not looked at.
 *
 * ERR_ABSENT  there is none
 * ERR_FORM    something that belongs to no message stands here; or a frame that
 *             does not end; or a count (BTS-1, FTS-1) that is not what was read
 *             here.  Skipped; *message says where it is and what, its number is
 *             that of the message, or of the last one before.
 * ERR_LIMIT   longer than HL7_MESSAGE_MAX; skipped
 * ERR_IO      reading failed
 */
MUST_CHECK enum err hl7_batch_next(struct hl7_batch *batch,
                                   struct hl7_batch_message *message);

/* Do these first bytes of a file look like HL7 v2? */
bool hl7_batch_looks(const char *bytes, size_t len);

#endif
