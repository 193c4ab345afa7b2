/*
 * smart_world - an authorisation server that says what it is told, a smart
 * with a clock of the test's own, and those who ask it for tokens
 */
#ifndef HEADGATE_TESTS_SMART_WORLD_H
#define HEADGATE_TESTS_SMART_WORLD_H

#include "service/smart.h"
#include "tests/http_world.h"
#include "tests/jose_kit.h"

#include <unistd.h>

enum { ANSWERS_MAX = 8, MINUTES_5 = 300000 };

/* ---- an authorisation server that says what it is told ----------------------- */

struct answer {
    int status;
    const char *body, *retry_after;
};

static struct {
    struct answer answers[ANSWERS_MAX];
    unsigned told, asked, discovered;
    const char *server; /* JSON behind the token address; "" nothing more */
    int server_status;
    bool hold; /* the token requests are not answered */
    struct http_request *held;
} as;

#define GRANT(token, life)                                                     \
    "{\"access_token\":\"" token                                               \
    "\",\"token_type\":\"Bearer\",\"expires_in\":" life "}"

static inline void say(int status, const char *body, const char *retry_after)
{
    assert_true(as.told < ANSWERS_MAX);
    as.answers[as.told++] = (struct answer){ status, body, retry_after };
}

static inline void give_answer(struct http_request *r)
{
    const struct answer *a;
    struct http_header_line line = { "Retry-After", NULL };

    assert_true(as.asked < as.told); /* it asks more often than it should */
    a = &as.answers[as.asked++];
    line.value = a->retry_after;
    http_reply(r, a->status, &line, a->retry_after != NULL ? 1 : 0,
               "application/json", a->body, strlen(a->body));
}

static inline void on_request(void *arg, struct http_request *r)
{
    struct world *w = arg;
    char json[512];

    if (strcmp(http_path(r), "/token") == 0 && as.hold) {
        as.held = r;
    } else if (strcmp(http_path(r), "/token") == 0) {
        give_answer(r);
    } else {
        as.discovered++;
        snprintf(json, sizeof(json),
                 "{\"token_endpoint\":\"http://127.0.0.1:%d/token\"%s}",
                 http_server_port(w->server), as.server);
        http_reply(r, as.server_status, NULL, 0, "application/json", json,
                   strlen(json));
    }
    wake_test();
}

/* ---- a smart, with a clock of our own ------------------------------------------ */

static struct world w;
static struct smart *smart;
static bool closed;
static int64_t clock_now_ms;
static char key_path[64];

static inline int64_t test_clock(void)
{
    return clock_now_ms;
}

static inline int write_key(void **state)
{
    int fd;

    (void)state;
    snprintf(key_path, sizeof(key_path), "/tmp/headgate-smart-XXXXXX");
    fd = mkstemp(key_path);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, RFC6979_PEM, strlen(RFC6979_PEM)),
                     strlen(RFC6979_PEM));
    close(fd);
    return 0;
}

static inline int remove_key(void **state)
{
    (void)state;
    unlink(key_path);
    return 0;
}

static inline int start(void **state)
{
    char url[64];
    struct smart_options options = { .record_url = url,
                                     .client_id = "headgate",
                                     .key_path = key_path,
                                     .scopes = "system/Task.rs",
                                     .timeout_ms = 5000,
                                     .retry_first_ms = 1000,
                                     .retry_last_ms = 60000,
                                     .now_ms = test_clock };
    struct buf why;

    (void)state;
    memset(&as, 0, sizeof(as));
    as.server = "";
    as.server_status = 200;
    closed = false;
    clock_now_ms = INT64_C(1790000000000);
    world_init(&w);
    assert_int_equal(http_server_open(&w.loop, &w.options, on_request,
                                      world_refusal, &w, &w.server),
                     ERR_OK);
    snprintf(url, sizeof(url), "http://127.0.0.1:%d/fhir",
             http_server_port(w.server));
    buf_init(&why, 1000);
    assert_int_equal(smart_open(&w.loop, w.client, &options, &smart, &why),
                     ERR_OK);
    buf_clear(&why);
    return 0;
}

static inline void close_smart(void)
{
    smart_close(smart, set_flag, &closed);
    run_until(&w, &closed);
    smart = NULL;
}

static inline int stop(void **state)
{
    (void)state;
    if (smart != NULL)
        close_smart();
    world_end(&w);
    return 0;
}

/* ---- who asks -------------------------------------------------------------------- */

struct asker {
    struct smart_wait *wait;
    bool answered;
    enum err err;
    char token[32], why[200];
    struct asker *cancels; /* when it is answered */
};

static inline void on_token(void *arg, enum err e, const char *token,
                            const char *why)
{
    struct asker *a = arg;

    assert_false(a->answered);
    a->answered = true;
    a->wait = NULL;
    a->err = e;
    assert_int_equal(token != NULL, e == ERR_OK);
    assert_int_equal(why[0] == '\0', e == ERR_OK);
    snprintf(a->token, sizeof(a->token), "%s", token != NULL ? token : "");
    snprintf(a->why, sizeof(a->why), "%s", why);
    if (a->cancels != NULL)
        smart_cancel(a->cancels->wait);
    wake_test();
}

static inline void begin(struct asker *a, const char *refused)
{
    memset(a, 0, sizeof(*a));
    assert_int_equal(smart_token(smart, refused, on_token, a, &a->wait),
                     ERR_OK);
    assert_false(a->answered); /* never from inside */
}

/* Ask and wait: the token, or "" and a->err. */
static inline const char *ask(struct asker *a, const char *refused)
{
    begin(a, refused);
    run_until(&w, &a->answered);
    return a->token;
}

static inline struct smart_view look(void)
{
    struct smart_view view;

    smart_look(smart, &view);
    return view;
}

#endif
