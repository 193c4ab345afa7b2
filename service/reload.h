/*
 * reload - settings that are read again while the service runs (SIGHUP)
 *
 * Read again, and in force at once, without a connection being ended:
 *
 *     tokens, the keys of JWTs, http.jwt_*      doors.h
 *     http.rate, rate_burst, failures_max, proxy    gate.h
 *     certificates, keys and authorities of HTTP, of MLLP and to the record
 *     the policy: with another one every access is reviewed again
 *     log.level
 *
 * All of it is read before any of it is put in place: if one file is wrong,
 * nothing changes.  Whatever else stands in the file otherwise than it did
 * counts at the next start; the log says how many settings that are, and
 * service_reload names them.
 */
#ifndef HEADGATE_SERVICE_RELOAD_H
#define HEADGATE_SERVICE_RELOAD_H

#include "adapters/tls_stream.h"
#include "service/config.h"

/* The certificate of http; *context NULL without one.  Errors as
 * tls_context_open; why: what is wrong. */
MUST_CHECK enum err reload_open_tls(const struct config *config,
                                    struct tls_context **context,
                                    struct buf *why);

#endif
