#include "service/smart_work.h"

#include "adapters/rights.h"
#include "service/log.h"
#include "service/retry.h"

#include <openssl/crypto.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *copy_text(const char *text)
{
    size_t len = strlen(text) + 1;
    char *copy = malloc(len);

    if (copy != NULL)
        memcpy(copy, text, len);
    return copy;
}

/* ---- who waits ---------------------------------------------------------- */

static void forget(struct smart *s, struct smart_wait *w)
{
    struct smart_wait **at = &s->waits;

    while (*at != w)
        at = &(*at)->next;
    *at = w->next;
    s->wait_count--;
    free(w);
}

void smart_cancel(struct smart_wait *w)
{
    forget(w->smart, w);
}

static struct smart_wait *first_due(const struct smart *s)
{
    struct smart_wait *w = s->waits;

    while (w != NULL && !w->due)
        w = w->next;
    return w;
}

/* Answer all that wait now.  Each may ask again, cancel others or close. */
static void answer_all(struct smart *s, enum err e, const char *why)
{
    char *token = NULL;
    struct smart_wait *w;

    if (e == ERR_OK) {
        token = copy_text(s->token); /* s->token may be dropped meanwhile */
        e = token != NULL ? ERR_OK : ERR_MEMORY;
        why = token != NULL ? "" : "there is no memory for the token";
    }
    for (w = s->waits; w != NULL; w = w->next)
        w->due = true;
    while ((w = first_due(s)) != NULL) {
        smart_done_fn on_done = w->on_done;
        void *arg = w->arg;

        forget(s, w);
        on_done(arg, e, token, why);
    }
    free(token);
}

/* ---- the token ---------------------------------------------------------- */

void smart_drop_token(struct smart *s)
{
    if (s->token != NULL)
        OPENSSL_cleanse(s->token, strlen(s->token));
    free(s->token);
    s->token = NULL;
    s->expires_ms = s->renew_ms = 0;
}

static void note_scope(struct smart *s, const struct oauth_answer *a)
{
    struct buf missing;
    bool before = s->missing[0] != '\0';

    snprintf(s->scope, sizeof(s->scope), "%s",
             a->says_scope ? a->scope : s->scopes);
    buf_init(&missing, sizeof(s->missing) - 1);
    rights_missing(s->scopes, s->scope, &missing);
    snprintf(s->missing, sizeof(s->missing), "%s",
             missing.len > 0 ? missing.data : "");
    buf_clear(&missing);
    if (s->missing[0] != '\0')
        log_event(LOG_WARN, "smart.scope",
                  KEY_WORD("granted", "less than asked for"));
    else if (before)
        log_event(LOG_INFO, "smart.scope", KEY_WORD("granted", "all"));
}

void smart_granted(struct smart *s, struct oauth_answer *a)
{
    smart_drop_token(s);
    s->state = RESTING;
    s->token = a->token;
    a->token = NULL;
    /* from the asking on, not the answer: rather too short than too long */
    s->expires_ms = s->asked_ms + a->life_s * 1000;
    s->renew_ms = s->asked_ms + a->life_s * 800;
    s->next_ms = 0;
    s->denied = false;
    s->tries = 0;
    s->err = ERR_OK;
    s->error = "";
    s->why[0] = '\0';
    note_scope(s, a);
    log_event(LOG_INFO, "smart.token", KEY_INT("life_s", a->life_s));
    answer_all(s, ERR_OK, "");
}

static bool is_alive(const struct smart *s, int64_t now_ms)
{
    return s->token != NULL && now_ms < s->expires_ms;
}

/* No token can be had now: an old one that still lives, or the reason. */
static void answer_without(struct smart *s)
{
    if (is_alive(s, s->options.now_ms()))
        answer_all(s, ERR_OK, "");
    else
        answer_all(s, s->err, s->why);
}

void smart_failed(struct smart *s, enum err e, const struct oauth_error *error,
                  const char *why, const char *retry_after)
{
    int64_t now_ms = s->options.now_ms(), asked_ms = 0, wait_ms;

    s->state = RESTING;
    s->failures++;
    s->denied = !error->passing;
    s->err = s->denied ? ERR_DENIED : e;
    s->error = error->word;
    snprintf(s->why, sizeof(s->why), "%s", why != NULL ? why : error->text);
    wait_ms = s->denied ? SMART_DENIED_MS
                        : retry_wait_ms(s->tries, s->options.retry_first_ms,
                                        s->options.retry_last_ms);
    if (retry_after != NULL &&
        retry_after_ms(retry_after, now_ms, &asked_ms) == ERR_OK &&
        asked_ms > wait_ms)
        wait_ms = asked_ms;
    s->next_ms = now_ms + wait_ms;
    if (s->tries < 30)
        s->tries++;
    if (s->denied)
        s->server_known = false; /* what is mended there is seen */
    log_event(s->denied ? LOG_ERROR : LOG_WARN, "smart.failed",
              KEY_TABLE("why", s->error), KEY_INT("wait_ms", wait_ms));
    answer_without(s);
}

/* ---- asking ------------------------------------------------------------- */

static bool must_wait(struct smart *s, int64_t now_ms)
{
    /* a clock that was set back must not make the wait longer */
    if (s->next_ms - now_ms > SMART_WAIT_MAX_MS)
        s->next_ms = 0;
    return now_ms < s->next_ms;
}

static void on_timer(uv_timer_t *timer)
{
    struct smart *s = timer->data;
    int64_t now_ms = s->options.now_ms();

    if (s->waits == NULL || s->state != RESTING)
        return;
    if (is_alive(s, now_ms) && now_ms < s->renew_ms)
        answer_all(s, ERR_OK, "");
    else if (must_wait(s, now_ms))
        answer_without(s);
    else
        smart_fetch(s);
}

void smart_try_now(struct smart *s)
{
    s->next_ms = 0;
    s->tries = 0;
}

enum err smart_token(struct smart *s, const char *refused,
                     smart_done_fn on_done, void *arg, struct smart_wait **wait)
{
    struct smart_wait *w, **at = &s->waits;

    if (s->closing)
        return ERR_STOPPED;
    if (s->wait_count == SMART_WAITS_MAX)
        return ERR_LIMIT;
    w = calloc(1, sizeof(*w));
    if (w == NULL)
        return ERR_MEMORY;
    if (refused != NULL && s->token != NULL && strcmp(refused, s->token) == 0) {
        smart_drop_token(s);
        s->server_known = false;
        s->forced++;
        log_event(LOG_WARN, "smart.refused", KEY_INT("count", s->forced));
    }
    *w = (struct smart_wait){ .smart = s, .on_done = on_done, .arg = arg };
    while (*at != NULL)
        at = &(*at)->next;
    *at = w;
    s->wait_count++;
    uv_timer_start(&s->timer, on_timer, 0, 0);
    *wait = w;
    return ERR_OK;
}

/* ---- looking ------------------------------------------------------------ */

void smart_look(const struct smart *s, struct smart_view *view)
{
    int64_t now_ms = s->options.now_ms();

    *view =
        (struct smart_view){ .has_token = is_alive(s, now_ms),
                             .next_ms = s->next_ms > now_ms ? s->next_ms : 0,
                             .scope = s->scope,
                             .missing = s->missing,
                             .why = s->why,
                             .error = s->error,
                             .fetches = s->fetches,
                             .failures = s->failures,
                             .forced = s->forced };
    view->expires_ms = view->has_token ? s->expires_ms : 0;
    view->denied = view->next_ms != 0 && s->denied;
}

void smart_write_keys(const struct smart *s, struct buf *out)
{
    const struct jose_key *keys[2] = { s->key, s->next_key };

    jose_keys_write(keys, s->next_key != NULL ? 2 : 1, out);
}

/* ---- opening and closing ------------------------------------------------ */

enum err smart_open(uv_loop_t *loop, struct http_client *client,
                    const struct smart_options *options, struct smart **out,
                    struct buf *why)
{
    struct smart *s;
    enum err e = smart_make(options, &s, why);

    if (e != ERR_OK)
        return e;
    s->client = client;
    uv_timer_init(loop, &s->timer);
    s->timer.data = s;
    *out = s;
    return ERR_OK;
}

static void on_timer_closed(uv_handle_t *handle)
{
    struct smart *s = handle->data;
    void (*on_closed)(void *) = s->on_closed;
    void *arg = s->closed_arg;

    smart_free(s);
    on_closed(arg);
}

void smart_close(struct smart *s, void (*on_closed)(void *arg), void *arg)
{
    s->closing = true;
    s->on_closed = on_closed;
    s->closed_arg = arg;
    if (s->call != NULL)
        http_call_cancel(s->call);
    s->call = NULL;
    s->state = RESTING;
    answer_all(s, ERR_STOPPED, "the service is stopping");
    uv_close((uv_handle_t *)&s->timer, on_timer_closed);
}
