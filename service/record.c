#include "service/record_work.h"

#include "service/file.h"
#include "service/log.h"
#include "service/retry.h"
#include "service/smart.h"

#include <stdlib.h>
#include <string.h>

enum {
    FAILURES_MAX = 5, /* passing failures in a row before a pause */
    DOUBLINGS_MAX = 20,
    ASK_AGAIN_MS = 500 /* while another tries */
};

/* ---- the token of a file ------------------------------------------------ */

static enum err read_token(struct record *r, char **token, struct buf *why)
{
    struct buf text;
    enum err e;

    buf_init(&text, RECORD_TOKEN_MAX);
    e = file_read(r->token_file, &text, why);
    if (e == ERR_OK) {
        text.data[strcspn(text.data, "\r\n")] = '\0';
        *token = strdup(text.data);
        e = *token != NULL ? ERR_OK : ERR_MEMORY;
    }
    buf_clear(&text);
    return e;
}

bool record_has_new_token(struct record *r)
{
    struct buf why;
    char *token;
    enum err e;

    if (r->token_file == NULL)
        return false;
    buf_init(&why, RECORD_URL_MAX);
    e = read_token(r, &token, &why);
    buf_clear(&why);
    if (e != ERR_OK)
        return false;
    /* an empty one is a file that is just being written */
    if (token[0] == '\0' ||
        (r->token != NULL && strcmp(token, r->token) == 0)) {
        free(token);
        return false;
    }
    free(r->token);
    r->token = token;
    return true;
}

bool record_is_same_origin(const struct record *r, const char *url)
{
    struct origin other;

    return origin_read(url, &other) == ERR_OK &&
           origin_equal(&r->origin, &other);
}

/* ---- how the record does ------------------------------------------------ */

static void enter(struct record *r, enum record_state state)
{
    if (r->view.state != state)
        r->view.since_ms = r->options.now_ms();
    r->view.state = state;
}

static void pause_for(struct record *r, enum record_state state,
                      int64_t wait_ms)
{
    int64_t now_ms = r->options.now_ms();

    enter(r, state);
    r->view.until_ms = now_ms + wait_ms;
    r->pause_ms = wait_ms;
    r->view.pauses++;
    r->failures = 0;
    r->probe_ms = 0;
    if (r->pauses < DOUBLINGS_MAX)
        r->pauses++;
    log_event(state == RECORD_REFUSING ? LOG_ERROR : LOG_WARN, "record.pause",
              KEY_INT("status", r->view.status), KEY_INT("wait_ms", wait_ms));
}

/* The record, not the request, is in trouble. */
static bool is_passing(const struct http_answer *a)
{
    if (a->err == ERR_IO || a->err == ERR_TIMEOUT)
        return true;
    return a->err == ERR_OK && (a->status == 429 || a->status == 502 ||
                                a->status == 503 || a->status == 504);
}

static void note_trouble(struct record *r, const struct http_answer *a)
{
    int64_t asked_ms = 0, wait_ms;
    bool asked = a->retry_after != NULL &&
                 retry_after_ms(a->retry_after, r->options.now_ms(),
                                &asked_ms) == ERR_OK;
    bool probing = r->probe_ms != 0;

    /* what was under way when the pause began says nothing new */
    if (r->view.state != RECORD_ASKING && !probing && !asked)
        return;
    r->failures++;
    if (asked && asked_ms > 0) {
        pause_for(r, RECORD_PAUSING, asked_ms);
        return;
    }
    if (r->failures < FAILURES_MAX && !probing)
        return;
    wait_ms = retry_wait_ms(r->pauses, r->options.retry_first_ms,
                            r->options.retry_last_ms);
    pause_for(r, RECORD_PAUSING, wait_ms);
}

void record_note_answer(struct record *r, const struct http_answer *a)
{
    bool success = a->err == ERR_OK && a->status >= 200 && a->status < 300;

    r->view.calls++;
    if (!success) {
        r->view.failures++;
        r->view.status = a->err == ERR_OK ? a->status : 0;
    }
    if (a->err == ERR_OK && a->status == 401) {
        pause_for(r, RECORD_REFUSING, r->options.retry_last_ms);
        return;
    }
    if (is_passing(a)) {
        note_trouble(r, a);
        return;
    }
    if (r->view.state != RECORD_ASKING)
        log_event(LOG_INFO, "record.back", KEY_INT("status", a->status));
    enter(r, RECORD_ASKING);
    r->failures = r->pauses = 0;
    r->probe_ms = 0;
}

/* How long nobody may begin; 0: the place of the one that may is free. */
static int64_t time_left_ms(struct record *r, int64_t now_ms)
{
    int64_t left_ms;

    if (r->view.until_ms - now_ms > r->pause_ms)
        r->view.until_ms = now_ms + r->pause_ms; /* the clock went back */
    if (r->probe_ms > now_ms)
        r->probe_ms = now_ms;
    left_ms = r->view.until_ms - now_ms;
    if (left_ms > 0 || r->probe_ms == 0)
        return left_ms;
    left_ms = r->probe_ms + r->options.timeout_ms - now_ms;
    /* it is answered sooner than that, as a rule */
    return left_ms > ASK_AGAIN_MS ? ASK_AGAIN_MS : left_ms;
}

bool record_may_ask(struct record *r, int64_t *wait_ms)
{
    int64_t now_ms = r->options.now_ms(), left_ms = 0;

    if (r->view.state != RECORD_ASKING)
        left_ms = time_left_ms(r, now_ms);
    if (r->view.state != RECORD_ASKING && left_ms <= 0)
        r->probe_ms = now_ms;
    if (wait_ms != NULL)
        *wait_ms = left_ms;
    return left_ms <= 0;
}

void record_try_now(struct record *r)
{
    int64_t now_ms = r->options.now_ms();

    if (r->view.state != RECORD_ASKING && r->view.until_ms > now_ms)
        r->view.until_ms = now_ms;
    if (r->options.smart != NULL)
        smart_try_now(r->options.smart);
}

void record_note_denied(struct record *r)
{
    if (r->view.state == RECORD_ASKING || r->probe_ms != 0)
        pause_for(r, RECORD_REFUSING, r->options.retry_last_ms);
}

void record_look(const struct record *r, struct record_view *view)
{
    *view = r->view;
}

/* ---- opening and closing ------------------------------------------------ */

const char *record_url(const struct record *r)
{
    return r->url;
}

enum err record_open(struct http_client *client,
                     const struct record_options *options,
                     struct record **record, struct buf *why)
{
    struct record *r = calloc(1, sizeof(*r));
    enum err e = ERR_OK;

    if (r == NULL)
        return ERR_MEMORY;
    r->client = client;
    r->options = *options;
    r->view.since_ms = options->now_ms();
    r->url = strdup(options->url);
    if (options->token_file != NULL)
        r->token_file = strdup(options->token_file);
    r->options.url = r->url;
    r->options.token_file = r->token_file;
    if (r->url == NULL || (options->token_file != NULL && !r->token_file))
        e = ERR_MEMORY;
    if (e == ERR_OK && origin_read(options->url, &r->origin) != ERR_OK) {
        buf_printf(why, "[record] url: %s is no address of http or https",
                   options->url);
        e = ERR_CONFIG;
    }
    if (e == ERR_OK && r->token_file != NULL)
        e = read_token(r, &r->token, why);
    if (e == ERR_OK)
        *record = r;
    else
        record_close(r);
    return e;
}

void record_close(struct record *r)
{
    free(r->url);
    free(r->token_file);
    free(r->token);
    free(r);
}
