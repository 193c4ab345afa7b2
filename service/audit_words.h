/*
 * audit_words - what a walk along the audit trail found, for people
 *
 * Any thread.
 */
#ifndef HEADGATE_SERVICE_AUDIT_WORDS_H
#define HEADGATE_SERVICE_AUDIT_WORDS_H

#include "adapters/buf.h"

#include <stdint.h>

/* Append the sentence, without a line end.  broken, why: of struct audit_walk;
 * broken is not 0. */
void audit_say_broken(int64_t broken, const char *why, struct buf *out);

#endif
