/*
 * tokens - who may come in: bearer tokens, known by their SHA-256 alone
 *
 * The file has one client a line: a name, the SHA-256 of its token in
 * hexadecimal and, if it may not do everything, its scopes (adapters/rights.h)
 * with blanks between.  '#' starts a comment.  A line "none" says that it is
 * meant if there are none: HL7 v2 and a drop folder need none.
 *
 *     unit-a   ba78...15ad
 *     sender   248d...06c1  system/Observation.c system/BodyStructure.cu
 *     monitor  e3b0...b855  headgate/metrics.r
 */
#ifndef HEADGATE_SERVICE_TOKENS_H
#define HEADGATE_SERVICE_TOKENS_H

#include "adapters/buf.h"

struct tokens;

/* ERR_IO, ERR_CONFIG (a line is not of the form, or has a scope that is not
 * system/ or headgate/, or one with a limit, which could not be kept: why says
 * which line; or there is no token at all) */
MUST_CHECK enum err tokens_load(const char *path, struct tokens **tokens,
                                struct buf *why);
void tokens_free(struct tokens *tokens);

/* The token in the value of an Authorization header; NULL: there is none.
 * Borrowed. */
const char *tokens_bearer(const char *authorization);

struct tokens_client {
    int line;           /* of the file, which tells who without a name */
    const char *scopes; /* NULL: everything; borrowed */
    const char *name;   /* for the report to this sender; borrowed */
};

/* Is this token one of them?  NULL: no.  How long the answer takes does not
 * depend on which. */
bool tokens_accept(const struct tokens *tokens, const char *token,
                   struct tokens_client *client);

#endif
