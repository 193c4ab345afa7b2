/*
 * mllp - frames of HL7's Minimal Lower Layer Protocol out of a byte stream
 *
 *     0x0B  message  0x1C 0x0D
 *
 * Bytes go in as they come from the network, in pieces of any size; whole
 * messages come out, one at a time.  What stands outside a frame is counted
 * and dropped.  A start byte within a frame begins anew: what was before it
 * is dropped and counted.  The last CR may be missing: the frame then ends
 * with what follows, or when mllp_settle is called after a while.
 *
 * Source: HL7 v2.5.1, appendix C (MLLP release 1); tolerances are ours.
 */
#ifndef HEADGATE_ADAPTERS_MLLP_H
#define HEADGATE_ADAPTERS_MLLP_H

#include "adapters/buf.h"

#include <stdbool.h>
#include <stdint.h>

struct mllp_counts {
    uint64_t frames;
    uint64_t outside;   /* bytes outside a frame, but for CR and LF */
    uint64_t restarted; /* frames that a new start byte cut off */
    uint64_t unended;   /* frames whose last CR was missing */
    uint64_t too_long;  /* frames longer than frame_max */
};

struct mllp {
    struct buf frame; /* what has come of the frame that is open */
    size_t frame_max;
    int state; /* private */
    struct mllp_counts counts;
};

void mllp_init(struct mllp *mllp, size_t frame_max);
void mllp_clear(struct mllp *mllp);

/*
 * mllp_feed - take bytes until a message is whole, or they are used up
 *
 * used  out: how many were taken; go on with the rest after the message in
 *       mllp->frame has been dealt with, which the next call empties
 *
 * ERR_OK      a whole message stands in mllp->frame
 * ERR_ABSENT  none yet
 * ERR_LIMIT   the open frame is longer than frame_max: what was read of it
 *             stands in mllp->frame; its rest is dropped by the next calls
 * ERR_MEMORY
 */
MUST_CHECK enum err mllp_feed(struct mllp *mllp, const char *bytes, size_t len,
                              size_t *used);

/* Nothing came for a while, or the other side has ended: a frame that lacks
 * only its last CR is whole (ERR_OK); else ERR_ABSENT. */
MUST_CHECK enum err mllp_settle(struct mllp *mllp);

/* Is a frame open, so that the other side is expected to go on? */
bool mllp_is_open(const struct mllp *mllp);

/* A message with its frame around it. */
void mllp_wrap(const char *message, size_t len, struct buf *out);

#endif
