/*
 * smart_work - what the files of smart share; private to them
 *
 *     smart.c         who waits, what is served
 *     smart_open.c    settings and keys
 *     smart_fetch.c   one fetch: discovery, the signed statement, the answer
 *     smart_check.c   which addresses and settings are taken
 */
#ifndef HEADGATE_SERVICE_SMART_WORK_H
#define HEADGATE_SERVICE_SMART_WORK_H

#include "adapters/oauth.h"
#include "service/smart.h"

enum {
    SMART_WHY_SIZE = 512,
    SMART_DENIED_MS = 300000, /* nobody asks again after a no */
    SMART_WAIT_MAX_MS = 3600 * 1000
};

enum smart_state { RESTING, DISCOVERING, FETCHING };

struct smart_wait {
    struct smart *smart;
    struct smart_wait *next;
    smart_done_fn on_done;
    void *arg;
    bool due; /* is to be answered in this round */
};

struct smart {
    struct http_client *client;
    struct smart_options options; /* the texts are those below */
    char *record_url, *client_id, *token_url, *scopes;
    struct jose_key *key, *next_key;
    enum smart_state state;
    struct http_call *call; /* not NULL only while DISCOVERING or FETCHING */
    struct oauth_server server;
    bool server_known, server_fresh; /* fresh: read in this fetch */
    int64_t asked_ms;                /* when the token was asked for */
    char *token;                     /* NULL: none */
    int64_t expires_ms, renew_ms;
    int64_t next_ms; /* nobody asks before; 0: at once */
    bool denied;
    int tries; /* failures in a row */
    enum err err;
    const char *error;
    char why[SMART_WHY_SIZE];
    char scope[OAUTH_SCOPE_SIZE], missing[OAUTH_SCOPE_SIZE];
    uint64_t fetches, failures, forced;
    struct smart_wait *waits; /* oldest first */
    unsigned wait_count;
    uv_timer_t timer; /* answers are given from the loop */
    bool closing;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

/* ---- smart_check.c ------------------------------------------------------ */

/* What is wrong with an address, an oauth_error of ours; NULL: it is taken.
 * why gets words. */
const struct oauth_error *smart_check_server(const struct smart *s,
                                             struct buf *why);
/* ERR_CONFIG */
MUST_CHECK enum err smart_check_options(const struct smart_options *o,
                                        struct buf *why);

/* ---- smart_fetch.c ------------------------------------------------------ */

/* Begin, from the loop; ends in smart_granted or smart_failed. */
void smart_fetch(struct smart *s);

/* ---- smart_open.c ------------------------------------------------------- */

/* All but the timer. */
MUST_CHECK enum err smart_make(const struct smart_options *options,
                               struct smart **smart, struct buf *why);
void smart_free(struct smart *s);

/* ---- smart.c ------------------------------------------------------------ */

void smart_drop_token(struct smart *s);
/* Takes answer->token over. */
void smart_granted(struct smart *s, struct oauth_answer *answer);
/* why: NULL, or words instead of error->text; retry_after: NULL, or what the
 * server said */
void smart_failed(struct smart *s, enum err e, const struct oauth_error *error,
                  const char *why, const char *retry_after);

#endif
