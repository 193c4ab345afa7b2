/*
 * tokens - who may come in: bearer tokens, known by their SHA-256 alone
 *
 * The file has one client a line: a name and the SHA-256 of its token in
 * hexadecimal.  '#' starts a comment.
 */
#ifndef HEADGATE_SERVICE_TOKENS_H
#define HEADGATE_SERVICE_TOKENS_H

#include "adapters/buf.h"

struct tokens;

/* ERR_IO, ERR_CONFIG (a line is not of the form, why says
 * which; or there is no token at all) */
MUST_CHECK enum err tokens_load(const char *path, struct tokens **tokens,
                                struct buf *why);
void tokens_free(struct tokens *tokens);

/* Is this value of an Authorization header one of them?  NULL: no. */
bool tokens_accept(const struct tokens *tokens, const char *authorization);

#endif
