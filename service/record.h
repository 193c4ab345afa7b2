/*
 * record - the clinical record as the target of requests
 *
 * Loop thread.  Every request to the record goes through here, so that what
 * holds of all of them is in one place: the token, the one renewal of it
 * after a 401, the rule that nothing leaves for another host, the request id,
 * and the pause that a record in trouble is given (a circuit breaker).
 *
 *     asking --(5 passing failures in a row, or it asks to wait)--> pausing
 *     pausing --(the wait is over)--> probing: one request at a time
 *     probing --(an answer)--> asking;  --(a failure)--> pausing, longer
 *
 * Who asks, asks record_may_ask() before a piece of work begins.  A request
 * of work that is under way is sent whatever the state is.
 */
#ifndef HEADGATE_SERVICE_RECORD_H
#define HEADGATE_SERVICE_RECORD_H

#include "adapters/http_client.h"

struct record;
struct record_call;
struct smart;

struct record_options {
    const char *url; /* FHIR base of the record, no trailing slash; copied */
    const char *token_file; /* NULL: none; read again after a 401; copied */
    struct smart *smart;    /* NULL: none; borrowed, open for longer */
    int timeout_ms;
    int retry_first_ms, retry_last_ms; /* of the pauses */
    int64_t (*now_ms)(void);
};

/* ERR_MEMORY; ERR_IO the token file cannot be read, ERR_CONFIG the URL is no
 * address: see why */
MUST_CHECK enum err record_open(struct http_client *client,
                                const struct record_options *options,
                                struct record **record, struct buf *why);
/* No call may be under way. */
void record_close(struct record *record);

const char *record_url(const struct record *record);

struct record_request {
    const char *method;
    /* What follows the base: "/Task/7", "" the base itself, "?..."; or a whole
     * URL of the same scheme, host and port. */
    const char *target;
    const char *const *headers; /* further lines, NULL-terminated; or NULL */
    const char *body;           /* NULL for none */
    size_t body_len;
    const char *body_type; /* NULL: application/fhir+json */
    const char *accept;    /* NULL: application/fhir+json */
    size_t answer_max;
    int timeout_ms;         /* 0: that of the record */
    http_piece_fn on_piece; /* see http_client.h; called with arg */
    /* For a link that the record gave with its word that no token is wanted:
     * any host, and without the token. */
    bool without_token;
};

/*
 * record_call_start - one request
 *
 * on_done as for http_call_start; also with ERR_DENIED: no token can be had,
 * and nothing was sent.  A 401 has been tried twice, with two tokens where
 * there are two.
 *
 * On an error on_done is not called:
 * ERR_DENIED   the target is of another host: nothing was sent
 * ERR_FORM     the target is neither a URL nor what may follow a base
 * ERR_MEMORY, ERR_STOPPED, ERR_LIMIT (the URL is too long)
 */
MUST_CHECK enum err record_call_start(struct record *record,
                                      const struct record_request *request,
                                      http_done_fn on_done, void *arg,
                                      struct record_call **call);
void record_call_cancel(struct record_call *call);

/*
 * May a piece of work begin?  If not, *wait_ms (not NULL) is how long to wait
 * before asking again, at least 1.  While probing only one may; that place is
 * given back by the next answer, or by itself after the time that an answer
 * may take.
 */
bool record_may_ask(struct record *record, int64_t *wait_ms);

/* A person's word that the record, or the server that gives its tokens, is
 * mended: a pause ends now, and the next that asks may try it.  A failure of
 * that begins a longer one. */
void record_try_now(struct record *record);

/* Is this a URL of the same scheme, host and port as the record's? */
bool record_is_same_origin(const struct record *record, const char *url);

/* How it goes, for readiness, metrics and people. */
enum record_state { RECORD_ASKING, RECORD_PAUSING, RECORD_REFUSING };
struct record_view {
    enum record_state state; /* REFUSING: it pauses, for it takes no token */
    int64_t since_ms;        /* of the state */
    int64_t until_ms;        /* of the pause */
    long status;             /* of the last answer that was no success */
    uint64_t calls, failures, pauses, renewed, foreign;
};
void record_look(const struct record *record, struct record_view *view);

#endif
