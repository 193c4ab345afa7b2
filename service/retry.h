/*
 * retry - what an answer of a server means for trying again, and when
 *
 * Source of Retry-After: RFC 9110, 10.2.3; of the dates in it: 5.6.7.
 */
#ifndef HEADGATE_SERVICE_RETRY_H
#define HEADGATE_SERVICE_RETRY_H

#include "adapters/http_client.h"

enum retry_class {
    RETRY_LATER,   /* passing: the same again, later */
    RETRY_PAUSED,  /* the set-up, here or there, is wrong and may be mended: the
                      same again, after the longest wait */
    RETRY_UNCLEAR, /* may be for good: the same again, a few times */
    RETRY_NEVER    /* the same bytes will never be taken */
};

/* Of an answer that is not 2xx, or no answer. */
enum retry_class retry_class(const struct http_answer *answer);

/* How long to wait after the nth failure (from 0): anything up to a bound
 * (full jitter) that begins at first and doubles each time, up to last. */
int64_t retry_wait_ms(int tries, int first_ms, int last_ms);

/* How long to wait where somebody must mend the set-up: last_ms, less up to a
 * quarter by chance. */
int64_t retry_paused_ms(int last_ms);

/*
 * How long to wait after the nth unclear answer in a row (from 0).  A minute,
 * then five times as long each time: a record that says 500 while it is
 * mended has hours, not seconds, before a Task is put aside.  Where last_ms
 * is less than five minutes all is shorter in proportion; never less than
 * the smaller of last_ms and a minute doubled each time.  Up to an eighth is
 * added by chance, so that what failed together does not come back together.
 */
int64_t retry_unclear_ms(int tries, int last_ms);

/*
 * Retry-After, seconds or HTTP-date, as a wait from now_ms; at most an hour.
 * ERR_FORM: neither.
 */
MUST_CHECK enum err retry_after_ms(const char *text, int64_t now_ms,
                                   int64_t *wait_ms);

#endif
