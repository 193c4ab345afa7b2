/*
 * certificates - until when those are good that the settings name
 *
 * A service starts with a certificate that has ended, since without one it
 * would not serve at all; but it says so, `headgate check` fails, and while
 * the one in force is good no other takes its place that is not.
 *
 * Source: RFC 5280, 4.1.2.5 (validity).
 */
#ifndef HEADGATE_SERVICE_CERTIFICATES_H
#define HEADGATE_SERVICE_CERTIFICATES_H

#include "adapters/tls_stream.h"
#include "service/config.h"

enum { CERTIFICATE_SOON_DAYS = 21 }; /* common practice, no source */

enum certificate_state {
    CERTIFICATE_GOOD,
    CERTIFICATE_SOON,  /* ends within CERTIFICATE_SOON_DAYS */
    CERTIFICATE_EARLY, /* has not begun */
    CERTIFICATE_ENDED
};

enum certificate_state certificate_state(const struct tls_term *term,
                                         int64_t now_s);

/*
 * certificates_check - a line of each certificate in use: of http, mllp and of
 * us as a client of the record; and of authorities that have ended or will soon
 *
 * out  lines for a person, each with its end
 *
 * false: one has ended or not begun, or all authorities of a file have ended.
 * A file that cannot be read has no line here: others say that.
 */
bool certificates_check(const struct config *config, int64_t now_s,
                        struct buf *out);

/* A warning in the log of each certificate that is not good for long. */
void certificates_log(const struct config *config, int64_t now_s);

/*
 * certificate_may_follow - may the one in this file take the place of the one in
 * force?
 *
 * ERR_CONFIG  it has ended or not begun, while the one in force is good; why:
 *             what is wrong, for a person
 */
MUST_CHECK enum err certificate_may_follow(const char *path,
                                           const struct tls_term *fresh,
                                           const struct tls_term *held,
                                           int64_t now_s, struct buf *why);

#endif
