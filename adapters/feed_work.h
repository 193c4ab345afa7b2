/* feed_work - how a Bundle of lines grows; private to adapters/feed*.c */
#ifndef HEADGATE_ADAPTERS_FEED_WORK_H
#define HEADGATE_ADAPTERS_FEED_WORK_H

#include "adapters/feed.h"

/* Begin another one. */
void feed_batch_renew(struct feed_batch *batch);
/* Is there room for a line of that many bytes? */
bool feed_batch_fits(const struct feed_batch *batch, size_t len);
/* Only what fits. */
void feed_batch_add(struct feed_batch *batch, const struct feed_line *line);
/* Close the brackets.  ERR_MEMORY. */
MUST_CHECK enum err feed_batch_complete(struct feed_batch *batch);

#endif
