/*
 * smart - the bearer token for the record, fetched as a backend service
 *
 * Loop thread.  Who has a key instead of a token proves itself to the record's
 * authorisation server with a signed statement of five minutes at most and
 * gets a token of limited life (SMART App Launch 2.2, Backend Services).
 *
 *     RESTING --(a token is asked for, and there is none that is young
 *        ^       enough)--> DISCOVERING --> FETCHING --+
 *        +----------------------------------------------+
 *
 * A token is served until 80 % of its life are over.  If no other can be had
 * then, it is served to its end.  Many who ask at one time cause one fetch.
 *
 * The token, the key and the statement never reach a log, a text or a state
 * that is handed out.  Nothing is sent over plain http except to a loopback
 * address, and nothing to another origin than the record's unless the
 * configuration names it.
 *
 * Keys.  The one that signs is key_path.  next_key_path is published beside
 * it, so that the record has it before it signs: to change keys, make the
 * next one, restart, wait until the record has read the key set again, let
 * the next one become the key and restart.
 */
#ifndef HEADGATE_SERVICE_SMART_H
#define HEADGATE_SERVICE_SMART_H

#include "adapters/http_client.h"
#include "service/config.h"

struct smart;
struct smart_wait;

struct smart_options {
    const char *record_url; /* FHIR base of the record, no trailing slash */
    const char *client_id;
    const char *key_path;      /* PEM, RSA of 2048 bits or more, or P-384 */
    const char *next_key_path; /* NULL: none */
    const char *key_id;        /* kid of the key; NULL: its thumbprint */
    const char *token_url;     /* NULL: as the record's configuration says;
                                  else this one, whatever its host */
    const char *scopes;        /* as they are asked for, a blank between */
    int timeout_ms;            /* of one request; a fetch makes two at most,
                                  four after invalid_client */
    int retry_first_ms, retry_last_ms; /* waits after passing failures */
    int64_t (*now_ms)(void);
};

/* From the settings record.* and outbox.retry_*; the texts stay theirs. */
void smart_set_options(const struct config *config, int64_t (*now_ms)(void),
                       struct smart_options *options);

/* Can these be used?  keys out: the key set that would be served.  Errors as
 * for smart_open. */
MUST_CHECK enum err smart_try(const struct smart_options *options,
                              struct buf *keys, struct buf *why);

/*
 * smart_open - read the keys; nothing is sent yet
 *
 * Everything in the options is copied.  client must stay open until the
 * on_closed of smart_close.
 *
 * why  out: what is wrong, with the path, for a person
 *
 * ERR_IO      a key file cannot be read
 * ERR_CONFIG  a key that cannot be used, plain http, a scope of a person
 *             (user/, patient/), no scope
 * ERR_MEMORY
 */
MUST_CHECK enum err smart_open(uv_loop_t *loop, struct http_client *client,
                               const struct smart_options *options,
                               struct smart **smart, struct buf *why);

/*
 * A token, or why there is none.
 *
 * token  borrowed for the call; NULL unless err is ERR_OK
 * why    words for a person, without a value; "" on ERR_OK
 *
 * ERR_DENIED   the authorisation server, or this program (another host, plain
 *              http, no way of proving oneself that both know), says no:
 *              nobody asks again for five minutes
 * ERR_IO, ERR_TIMEOUT, ERR_LIMIT, ERR_FORM   no token at the moment; the wait
 *              before the next try grows
 * ERR_STOPPED  smart_close was called
 */
typedef void (*smart_done_fn)(void *arg, enum err err, const char *token,
                              const char *why);

/*
 * smart_token - ask for a token
 *
 * refused  NULL, or the token that was answered 401: if it is still the one
 *          that is served it is dropped and another is fetched; if another
 *          was fetched since, that one is served.  Read during the call only.
 * wait     out: for smart_cancel, until on_done
 *
 * on_done is called exactly once, later, from the loop, never from inside
 * this function and never after smart_cancel.  It may ask, cancel and close.
 *
 * ERR_LIMIT (SMART_WAITS_MAX wait already), ERR_MEMORY, ERR_STOPPED: on_done
 * is not called.
 */
enum { SMART_WAITS_MAX = 256 };
MUST_CHECK enum err smart_token(struct smart *smart, const char *refused,
                                smart_done_fn on_done, void *arg,
                                struct smart_wait **wait);
void smart_cancel(struct smart_wait *wait);

/* A person's word that what was wrong is mended: the wait after a
 * failure or a no ends, and for the next that asks a token is fetched. */
void smart_try_now(struct smart *smart);

/* How it stands, for readiness, metrics and people; no token in it. */
struct smart_view {
    bool has_token;      /* one that has not expired */
    int64_t expires_ms;  /* of it, wall clock; 0: there is none */
    int64_t next_ms;     /* nobody asks before; 0: no wait is on */
    bool denied;         /* the wait is for a no, not for a passing failure */
    const char *scope;   /* granted, "" while unknown; borrowed until the next
                           turn of the loop, as are the two below */
    const char *missing; /* "may not create or update Task; ..." or "" */
    const char *why;     /* of the last failure, words; "" after a success */
    const char *error;   /* word of the last failure, static: that of OAuth
                            ("invalid_client") or "foreign-host", "network"
                            ...; "" after a success */
    uint64_t fetches, failures, forced;
};
void smart_look(const struct smart *smart, struct smart_view *view);

/* The public halves of the keys as a JWK Set (RFC 7517), ready to be served. */
void smart_write_keys(const struct smart *smart, struct buf *out);

/* Who still waits is told ERR_STOPPED from inside; on_closed is called from
 * the loop, and all is freed then. */
void smart_close(struct smart *smart, void (*on_closed)(void *arg), void *arg);

#endif
