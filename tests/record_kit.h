/* record_kit - a record that gives the answers it is told to, and who asks it */
#ifndef HEADGATE_TESTS_RECORD_KIT_H
#define HEADGATE_TESTS_RECORD_KIT_H

#include "service/record.h"

#include "tests/http_world.h"

#include <unistd.h>

enum { FIRST_MS = 1000, LAST_MS = 60000 };

/* The record: what it answers, and what it was asked. */
struct scene {
    struct world w;
    struct http_server *server;
    struct record *record;
    char url[64], token_path[64];
    /* the next answers; the last one stays */
    int statuses[16];
    size_t status_count, asked;
    const char *retry_after;
    char authorization[128], accept[128], request_id[64], path[256],
        body_type[64];
    struct result result;
};

static int64_t now_ms;

static inline int64_t the_clock(void)
{
    return now_ms;
}

static inline void keep(char *to, size_t size, const char *text)
{
    snprintf(to, size, "%s", text != NULL ? text : "");
}

static inline void on_request(void *arg, struct http_request *r)
{
    struct scene *s = arg;
    size_t at = s->asked < s->status_count ? s->asked : s->status_count - 1;
    const struct http_header_line lines[] = {
        { "Retry-After", s->retry_after }, { "Location", "https://x.example/" }
    };

    s->asked++;
    keep(s->authorization, sizeof(s->authorization),
         http_header(r, "Authorization"));
    keep(s->accept, sizeof(s->accept), http_header(r, "Accept"));
    keep(s->request_id, sizeof(s->request_id), http_header(r, "X-Request-Id"));
    keep(s->body_type, sizeof(s->body_type), http_header(r, "Content-Type"));
    keep(s->path, sizeof(s->path), http_path(r));
    if (s->retry_after != NULL)
        http_reply(r, s->statuses[at], lines, 1, "text/plain", "answer", 6);
    else
        http_reply(r, s->statuses[at], lines + 1,
                   s->statuses[at] / 100 == 3 ? 1 : 0, "text/plain", "answer",
                   6);
}

static inline void write_token(struct scene *s, const char *token)
{
    FILE *f = fopen(s->token_path, "w");

    assert_non_null(f);
    fprintf(f, "%s\n", token);
    fclose(f);
}

static inline void open_scene(struct scene *s, const char *token)
{
    struct record_options options = { .timeout_ms = 5000,
                                      .retry_first_ms = FIRST_MS,
                                      .retry_last_ms = LAST_MS,
                                      .now_ms = the_clock };
    struct buf why;

    memset(s, 0, sizeof(*s));
    now_ms = 1000000000;
    world_init(&s->w);
    assert_int_equal(http_server_open(&s->w.loop, &s->w.options, on_request,
                                      world_refusal, s, &s->server),
                     ERR_OK);
    snprintf(s->url, sizeof(s->url), "http://127.0.0.1:%d/fhir",
             http_server_port(s->server));
    options.url = s->url;
    if (token != NULL) {
        snprintf(s->token_path, sizeof(s->token_path),
                 "/tmp/headgate-record-%ld", (long)getpid());
        write_token(s, token);
        options.token_file = s->token_path;
    }
    buf_init(&why, 1024);
    assert_int_equal(record_open(s->w.client, &options, &s->record, &why),
                     ERR_OK);
    buf_clear(&why);
    s->statuses[0] = 200;
    s->status_count = 1;
}

static inline void close_scene(struct scene *s)
{
    record_close(s->record);
    s->w.server = s->server;
    world_end(&s->w);
    if (s->token_path[0] != '\0')
        unlink(s->token_path);
}

static inline void answers(struct scene *s, const int *statuses, size_t count)
{
    memcpy(s->statuses, statuses, count * sizeof(*statuses));
    s->status_count = count;
    s->asked = 0;
}

static inline enum err ask_as(struct scene *s, const struct record_request *q)
{
    struct record_call *call;
    enum err e =
        record_call_start(s->record, q, take_answer, &s->result, &call);

    if (e != ERR_OK)
        return e;
    s->result.times = 0;
    while (s->result.times == 0 && !s->w.late)
        uv_run(&s->w.loop, UV_RUN_ONCE);
    assert_false(s->w.late);
    return s->result.err;
}

static inline enum err ask(struct scene *s, const char *target)
{
    return ask_as(s, &(struct record_request){ .method = "GET",
                                               .target = target,
                                               .answer_max = 1024 });
}

#endif
