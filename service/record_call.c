#include "service/record_work.h"

#include "adapters/hex.h"
#include "service/log.h"
#include "service/request_line.h"
#include "service/smart.h"

#include <openssl/rand.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { HEADERS_MAX = 16 };

struct record_call {
    struct record *record;
    struct http_call *http;  /* while the request is under way */
    struct smart_wait *wait; /* while a token is fetched */
    http_done_fn on_done;
    void *arg;
    http_piece_fn on_piece;
    uint64_t began_ns; /* by log_now_ns() */
    /* the request, kept for a second try */
    char *method, *url, *body;
    size_t body_len, answer_max;
    int timeout_ms;
    char *headers[HEADERS_MAX]; /* owned; the last is NULL */
    char *token;                /* in use; NULL: none */
    bool without_token, renewed;
};

static void free_call(struct record_call *c)
{
    for (size_t i = 0; i < HEADERS_MAX; i++)
        free(c->headers[i]);
    free(c->method);
    free(c->url);
    free(c->body);
    free(c->token);
    free(c);
}

/* Its address may say of whom it is, and is not told. */
static const char *method_of(const struct record_call *c)
{
    static const char *const words[] = { "GET", "POST", "PUT", "PATCH",
                                         "DELETE" };

    for (size_t i = 0; i < COUNT(words); i++) {
        if (strcmp(words[i], c->method) == 0)
            return words[i];
    }
    return "other";
}

static const char *type_of(const struct record_call *c)
{
    const char *base = c->record->url, *at = c->url, *type = "";

    if (at != NULL && strncmp(at, base, strlen(base)) == 0 &&
        at[strlen(base)] == '/') {
        at += strlen(base) + 1;
        type = request_type(at, strcspn(at, "/?"));
    }
    return type[0] != '\0' ? type : "none";
}

static void finish(struct record_call *c, const struct http_answer *answer)
{
    log_event(LOG_DEBUG, "record.call", KEY_TABLE("method", method_of(c)),
              KEY_TABLE("type", type_of(c)), KEY_INT("status", answer->status),
              KEY_ERR(answer->err), KEY_INT("sent", c->body_len),
              KEY_INT("bytes", answer->body_len),
              KEY_INT("renewed", c->renewed),
              KEY_INT("ms", log_ms_since(c->began_ns)));
    c->on_done(c->arg, answer);
    free_call(c);
}

static void fail(struct record_call *c, enum err e)
{
    struct http_answer answer = { .err = e, .body = "" };

    finish(c, &answer);
}

static enum err get_token(struct record_call *c, const char *refused);

/* Is there another token to try with?  Then it is tried. */
static bool renew(struct record_call *c)
{
    struct record *r = c->record;
    char *refused;
    enum err e;

    if (c->renewed || c->without_token ||
        (r->options.smart == NULL && !record_has_new_token(r)))
        return false;
    c->renewed = true;
    r->view.renewed++;
    refused = c->token;
    c->token = NULL;
    e = get_token(c, refused);
    free(refused);
    if (e != ERR_OK)
        fail(c, e);
    return true;
}

static void on_answer(void *arg, const struct http_answer *answer)
{
    struct record_call *c = arg;

    c->http = NULL;
    if (answer->err == ERR_OK && answer->status == 401 && renew(c))
        return;
    if (!c->without_token)
        record_note_answer(c->record, answer);
    finish(c, answer);
}

static bool on_piece(void *arg, const char *piece, size_t len)
{
    struct record_call *c = arg;

    return c->on_piece(c->arg, piece, len);
}

static enum err send_call(struct record_call *c)
{
    const char *headers[HEADERS_MAX + 1];
    struct buf auth;
    struct http_call_options options = { .method = c->method,
                                         .url = c->url,
                                         .headers = headers,
                                         .body = c->body,
                                         .body_len = c->body_len,
                                         .timeout_ms = c->timeout_ms,
                                         .answer_max = c->answer_max };
    size_t n = 0;
    enum err e = ERR_OK;

    if (c->on_piece != NULL)
        options.on_piece = on_piece;
    buf_init(&auth, RECORD_TOKEN_MAX + 64);
    while (c->headers[n] != NULL) {
        headers[n] = c->headers[n];
        n++;
    }
    if (c->token != NULL) {
        buf_printf(&auth, "Authorization: Bearer %s", c->token);
        headers[n++] = auth.data;
        e = buf_ok(&auth);
    }
    headers[n] = NULL;
    if (e == ERR_OK)
        e = http_call_start(c->record->client, &options, on_answer, c,
                            &c->http);
    buf_clear(&auth);
    return e;
}

static void on_token(void *arg, enum err e, const char *token, const char *why)
{
    struct record_call *c = arg;

    (void)why; /* smart has logged what can be said without a value */
    c->wait = NULL;
    if (e == ERR_OK) {
        c->token = strdup(token);
        e = c->token != NULL ? ERR_OK : ERR_MEMORY;
    }
    if (e == ERR_OK) {
        e = send_call(c);
        if (e != ERR_OK)
            fail(c, e);
        return;
    }
    if (e == ERR_DENIED)
        record_note_denied(c->record);
    fail(c, e);
}

/* refused: the token that got a 401; NULL: none did. */
static enum err get_token(struct record_call *c, const char *refused)
{
    struct record *r = c->record;

    if (c->without_token)
        return send_call(c);
    if (r->options.smart != NULL)
        return smart_token(r->options.smart, refused, on_token, c, &c->wait);
    if (r->token != NULL) {
        c->token = strdup(r->token);
        if (c->token == NULL)
            return ERR_MEMORY;
    }
    return send_call(c);
}

static bool add_header(struct record_call *c, size_t *n, const char *text)
{
    if (*n + 2 > HEADERS_MAX)
        return false;
    c->headers[*n] = strdup(text);
    return c->headers[(*n)++] != NULL;
}

/* Random, so that it says nothing of anyone; both sides may log it. */
static void write_request_id(char out[48])
{
    unsigned char random[8];
    char text[2 * sizeof(random) + 1];

    if (RAND_bytes(random, sizeof(random)) != 1)
        memset(random, 0, sizeof(random));
    hex_write(random, sizeof(random), text);
    snprintf(out, 48, "X-Request-Id: %s", text);
}

static bool set_headers(struct record_call *c, const struct record_request *q)
{
    char text[256], id[48];
    size_t n = 0;
    bool ok;

    snprintf(text, sizeof(text), "Accept: %s",
             q->accept != NULL ? q->accept
                               : "application/fhir+json; fhirVersion=4.0");
    write_request_id(id);
    ok = add_header(c, &n, text) && add_header(c, &n, id);
    /* some servers answer a search from one of a minute ago */
    if (strcmp(q->method, "GET") == 0)
        ok = ok && add_header(c, &n, "Cache-Control: no-cache");
    snprintf(text, sizeof(text), "Content-Type: %s",
             q->body_type != NULL ? q->body_type : "application/fhir+json");
    if (q->body != NULL)
        ok = ok && add_header(c, &n, text);
    for (size_t i = 0; ok && q->headers != NULL && q->headers[i] != NULL; i++)
        ok = add_header(c, &n, q->headers[i]);
    return ok;
}

static enum err copy_target(struct record_call *c, const char *text)
{
    c->url = strdup(text);
    return c->url != NULL ? ERR_OK : ERR_MEMORY;
}

/* ERR_DENIED: another host; ERR_FORM: neither a URL nor what follows a base. */
static enum err set_url(struct record_call *c, const char *target)
{
    struct record *r = c->record;
    struct buf url;
    enum err e;

    if (target[0] == '\0' || target[0] == '/' || target[0] == '?') {
        buf_init(&url, RECORD_URL_MAX);
        buf_printf(&url, "%s%s", r->url, target);
        e = buf_ok(&url);
        if (e == ERR_OK)
            e = copy_target(c, url.data);
        buf_clear(&url);
        return e;
    }
    if (strstr(target, "://") == NULL)
        return ERR_FORM;
    if (!c->without_token && !record_is_same_origin(r, target)) {
        r->view.foreign++;
        log_event(LOG_ERROR, "record.foreign",
                  KEY_INT("count", r->view.foreign));
        return ERR_DENIED;
    }
    return copy_target(c, target);
}

static enum err copy_request(struct record_call *c,
                             const struct record_request *q)
{
    c->method = strdup(q->method);
    c->body_len = q->body_len;
    c->answer_max = q->answer_max;
    c->on_piece = q->on_piece;
    c->timeout_ms =
        q->timeout_ms > 0 ? q->timeout_ms : c->record->options.timeout_ms;
    c->without_token = q->without_token;
    if (q->body != NULL) {
        c->body = malloc(q->body_len + 1);
        if (c->body == NULL)
            return ERR_MEMORY;
        memcpy(c->body, q->body, q->body_len);
        c->body[q->body_len] = '\0';
    }
    return c->method != NULL && set_headers(c, q) ? ERR_OK : ERR_MEMORY;
}

enum err record_call_start(struct record *r, const struct record_request *q,
                           http_done_fn on_done, void *arg,
                           struct record_call **call)
{
    struct record_call *c = calloc(1, sizeof(*c));
    enum err e;

    if (c == NULL)
        return ERR_MEMORY;
    c->record = r;
    c->began_ns = log_now_ns();
    c->on_done = on_done;
    c->arg = arg;
    e = copy_request(c, q);
    if (e == ERR_OK)
        e = set_url(c, q->target);
    if (e == ERR_OK)
        e = get_token(c, NULL);
    if (e == ERR_OK)
        *call = c;
    else
        free_call(c);
    return e;
}

void record_call_cancel(struct record_call *c)
{
    if (c->http != NULL)
        http_call_cancel(c->http);
    if (c->wait != NULL)
        smart_cancel(c->wait);
    free_call(c);
}
