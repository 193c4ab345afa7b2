/*
 * http_target - the target of an HTTP request line, taken apart and decoded
 *
 *     /fhir/Observation?code=abc&_count=5
 *     `---- path -----' `---- query ----'
 *
 * Text decoded here is handed on as C strings, so an encoded NUL is refused:
 * it would hide what follows it.
 */
#ifndef HEADGATE_ADAPTERS_HTTP_TARGET_H
#define HEADGATE_ADAPTERS_HTTP_TARGET_H

#include "planner/err.h"

#include <stddef.h>

struct http_target {
    char *path;        /* percent-decoded */
    const char *pairs; /* name NUL value NUL, in the order sent */
    size_t pair_count; /* repeats count; value "" if there was none */
};

/*
 * http_target_read - decode a target as it stands in the request line
 *
 * The origin form ("/a?b"), the absolute form ("http://h/a?b") and "*" are
 * taken.  In the query "+" is a space; empty parts ("a&&b") are skipped.
 *
 * ERR_FORM    none of these forms, a blank or a control character, "%" without
 *             two hexadecimal digits, "%00"
 * ERR_MEMORY
 *
 * Source: RFC 9112 section 3.2, RFC 3986 section 2.1.
 */
MUST_CHECK enum err http_target_read(const char *raw, struct http_target *t);

void http_target_clear(struct http_target *t);

/* First value of a parameter; NULL if absent. */
const char *http_target_query(const struct http_target *t, const char *name);

/* Visit every parameter in order. */
void http_target_each(const struct http_target *t,
                      void (*visit)(void *arg, const char *name,
                                    const char *value),
                      void *arg);

#endif
