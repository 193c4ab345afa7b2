#include "service/smart_work.h"

#include "adapters/hex.h"

#include <openssl/crypto.h>
#include <openssl/rand.h>
#include <stdio.h>
#include <string.h>

enum {
    SERVER_MAX = 262144, /* bytes of a smart-configuration */
    ANSWER_MAX = 65536,
    FORM_MAX = 65536,
    JTI_BYTES = 16
};

static const struct oauth_error network = {
    "network", "the authorisation server cannot be reached", true
};
static const struct oauth_error late = {
    "timeout", "the authorisation server does not answer in time", true
};
static const struct oauth_error ours = {
    "memory",
    "no request for a token can be made: no memory, or settings that are too "
    "long",
    true
};
static const struct oauth_error none = {
    "no-configuration",
    "the record has no .well-known/smart-configuration; name the token address "
    "in record.smart_token_url",
    false
};
static const struct oauth_error unclear = {
    "bad-configuration",
    "the record's .well-known/smart-configuration cannot be read", true
};
static const struct oauth_error redirect = {
    "redirect",
    "the record answers with a redirect when asked for its "
    ".well-known/smart-configuration, and redirects are not followed",
    false
};
static const struct oauth_error busy = {
    "record-busy", "the record cannot say at the moment where tokens are had",
    true
};

static void go(struct smart *s, enum smart_state next);

static void no_answer(struct smart *s, enum err e)
{
    smart_failed(s, e,
                 e == ERR_TIMEOUT ? &late
                 : e == ERR_IO    ? &network
                                  : &ours,
                 NULL, NULL);
}

/* ---- discovery ---------------------------------------------------------- */

static const struct oauth_error *configuration_error(long status)
{
    if (status >= 300 && status < 400)
        return &redirect;
    return status == 429 || status >= 500 ? &busy : &none;
}

static void on_discovered(void *arg, const struct http_answer *answer)
{
    struct smart *s = arg;
    const struct oauth_error *wrong;
    struct buf why;

    s->call = NULL;
    if (answer->err != ERR_OK) {
        no_answer(s, answer->err);
        return;
    }
    if (answer->status != 200) {
        smart_failed(s, ERR_IO, configuration_error(answer->status), NULL,
                     answer->retry_after);
        return;
    }
    buf_init(&why, SMART_WHY_SIZE);
    if (oauth_server_read(answer->body, answer->body_len, &s->server, &why) !=
        ERR_OK) {
        smart_failed(s, ERR_FORM, &unclear, NULL, NULL);
    } else if ((wrong = smart_check_server(s, &why)) != NULL) {
        smart_failed(s, ERR_DENIED, wrong, why.data, NULL);
    } else {
        s->server_known = s->server_fresh = true;
        go(s, FETCHING);
    }
    buf_clear(&why);
}

static enum err discover(struct smart *s)
{
    static const char *const headers[] = { "Accept: application/json", NULL };
    struct http_call_options options = { .method = "GET",
                                         .headers = headers,
                                         .timeout_ms = s->options.timeout_ms,
                                         .answer_max = SERVER_MAX };
    struct buf url;
    enum err e;

    buf_init(&url, OAUTH_URL_SIZE);
    buf_printf(&url, "%s/.well-known/smart-configuration", s->record_url);
    e = buf_ok(&url);
    options.url = url.data;
    if (e == ERR_OK)
        e = http_call_start(s->client, &options, on_discovered, s, &s->call);
    buf_clear(&url);
    return e;
}

/* ---- the token ---------------------------------------------------------- */

static const char *address(const struct smart *s)
{
    return s->token_url != NULL ? s->token_url : s->server.token_url;
}

/* May it be that the server has moved since we last read where it is? */
static bool ask_elsewhere(struct smart *s, const struct oauth_error *error)
{
    return s->token_url == NULL && !s->server_fresh &&
           (strcmp(error->word, "invalid_client") == 0 ||
            strcmp(error->word, "no-such-address") == 0);
}

static void on_answered(void *arg, const struct http_answer *answer)
{
    struct smart *s = arg;
    struct oauth_answer granted;
    enum err e;

    s->call = NULL;
    if (answer->err != ERR_OK) {
        no_answer(s, answer->err);
        return;
    }
    e = oauth_answer_read(answer->status, answer->body, answer->body_len,
                          &granted);
    if (e != ERR_OK) {
        no_answer(s, e);
    } else if (granted.token != NULL) {
        smart_granted(s, &granted);
    } else if (ask_elsewhere(s, granted.error)) {
        s->server_known = false;
        go(s, DISCOVERING);
    } else {
        smart_failed(s, ERR_IO, granted.error, NULL, answer->retry_after);
    }
    oauth_answer_clear(&granted);
}

static enum err write_jti(char out[2 * JTI_BYTES + 1])
{
    unsigned char random[JTI_BYTES];

    if (RAND_bytes(random, sizeof(random)) != 1)
        return ERR_MEMORY; /* never one that could have been before */
    hex_write(random, sizeof(random), out);
    return ERR_OK;
}

static enum err write_form(struct smart *s, struct buf *form)
{
    char jti[2 * JTI_BYTES + 1];
    struct oauth_statement what = { .client_id = s->client_id,
                                    .token_url = address(s),
                                    .jti = jti,
                                    .now_s = s->asked_ms / 1000 };
    struct buf statement;
    enum err e = write_jti(jti);

    buf_init(&statement, JOSE_TOKEN_MAX);
    if (e == ERR_OK)
        e = oauth_statement_write(s->key, &what, &statement);
    if (e == ERR_OK) {
        oauth_form_write(s->scopes, statement.data, form);
        e = buf_ok(form);
    }
    buf_clear(&statement);
    return e;
}

static enum err ask(struct smart *s)
{
    static const char *const headers[] = {
        "Accept: application/json",
        "Content-Type: application/x-www-form-urlencoded", NULL
    };
    struct http_call_options options = { .method = "POST",
                                         .url = address(s),
                                         .headers = headers,
                                         .timeout_ms = s->options.timeout_ms,
                                         .answer_max = ANSWER_MAX };
    struct buf form;
    enum err e;

    buf_init(&form, FORM_MAX);
    s->asked_ms = s->options.now_ms();
    e = write_form(s, &form);
    options.body = form.data;
    options.body_len = form.len;
    if (e == ERR_OK)
        e = http_call_start(s->client, &options, on_answered, s, &s->call);
    buf_clear(&form);
    return e;
}

/* ---- states ------------------------------------------------------------- */

static void go(struct smart *s, enum smart_state next)
{
    enum err e = ERR_OK;

    s->state = next;
    switch (next) {
    case RESTING:
        break;
    case DISCOVERING:
        e = discover(s);
        break;
    case FETCHING:
        e = ask(s);
        break;
    }
    if (e != ERR_OK)
        no_answer(s, e);
}

void smart_fetch(struct smart *s)
{
    s->fetches++;
    s->server_fresh = false;
    go(s, s->token_url != NULL || s->server_known ? FETCHING : DISCOVERING);
}
