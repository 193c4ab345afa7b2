/*
 * record: tokens, other hosts, and when the record is given a pause
 *
 * Status codes and Retry-After: RFC 9110, 15 and 10.2.3; 429: RFC 6585, 4.
 * That a client must not send a token to another host: SMART App Launch 2.2,
 * Backend Services ("a backend service should not blindly follow references").
 */
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

static int64_t the_clock(void)
{
    return now_ms;
}

static void keep(char *to, size_t size, const char *text)
{
    snprintf(to, size, "%s", text != NULL ? text : "");
}

static void on_request(void *arg, struct http_request *r)
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

static void write_token(struct scene *s, const char *token)
{
    FILE *f = fopen(s->token_path, "w");

    assert_non_null(f);
    fprintf(f, "%s\n", token);
    fclose(f);
}

static void open_scene(struct scene *s, const char *token)
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

static void close_scene(struct scene *s)
{
    record_close(s->record);
    s->w.server = s->server;
    world_end(&s->w);
    if (s->token_path[0] != '\0')
        unlink(s->token_path);
}

static void answers(struct scene *s, const int *statuses, size_t count)
{
    memcpy(s->statuses, statuses, count * sizeof(*statuses));
    s->status_count = count;
    s->asked = 0;
}

static enum err ask_as(struct scene *s, const struct record_request *q)
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

static enum err ask(struct scene *s, const char *target)
{
    return ask_as(s, &(struct record_request){ .method = "GET",
                                               .target = target,
                                               .answer_max = 1024 });
}

static void test_what_is_sent(void **state)
{
    struct scene s;

    (void)state;
    open_scene(&s, "secret-1");
    assert_int_equal(ask(&s, "/Task/7"), ERR_OK);
    assert_int_equal(s.result.status, 200);
    assert_string_equal(s.path, "/fhir/Task/7");
    assert_string_equal(s.authorization, "Bearer secret-1");
    assert_string_equal(s.accept, "application/fhir+json; fhirVersion=4.0");
    assert_int_equal(strlen(s.request_id), 16);
    assert_string_equal(s.body_type, "");
    assert_int_equal(ask_as(&s, &(struct record_request){ .method = "POST",
                                                          .target = "/Task",
                                                          .body = "{}",
                                                          .body_len = 2,
                                                          .answer_max = 1024 }),
                     ERR_OK);
    assert_string_equal(s.body_type, "application/fhir+json");
    close_scene(&s);
}

static void test_other_hosts(void **state)
{
    static const char *const foreign[] = {
        "http://127.0.0.1:1/fhir?page=2",
        "https://127.0.0.1/fhir?page=2",
        "http://other.example/fhir?page=2",
        "http://127.0.0.1@other.example/fhir",
        "http://127.0.0.1.other.example/fhir",
        "HTTP://OTHER.example/",
        "ftp://127.0.0.1/",
        "http:///fhir",
        "http://other.example\\@127.0.0.1/fhir",
    };
    struct scene s;
    struct record_view view;
    char url[128];

    (void)state;
    open_scene(&s, "secret-1");
    for (size_t i = 0; i < COUNT(foreign); i++) {
        ROW(foreign[i]);
        assert_int_equal(ask(&s, foreign[i]), ERR_DENIED);
    }
    assert_int_equal(s.asked, 0);
    record_look(s.record, &view);
    assert_int_equal(view.foreign, COUNT(foreign));
    ROW("glued to a base without a path it would be another host");
    assert_int_equal(ask(&s, "@other.example/"), ERR_FORM);
    assert_int_equal(ask(&s, ".other.example/"), ERR_FORM);
    assert_int_equal(s.asked, 0);
    ROW("a link of the record itself");
    snprintf(url, sizeof(url), "%s?page=2", s.url);
    assert_int_equal(ask(&s, url), ERR_OK);
    assert_string_equal(s.authorization, "Bearer secret-1");
    ROW("a redirect is an answer, and nobody goes there");
    answers(&s, (const int[]){ 302 }, 1);
    assert_int_equal(ask(&s, "/Task/7"), ERR_OK);
    assert_int_equal(s.result.status, 302);
    assert_int_equal(s.asked, 1);
    ROW("without a token, any host");
    assert_int_equal(
        ask_as(&s, &(struct record_request){ .method = "GET",
                                             .target = url,
                                             .answer_max = 1024,
                                             .without_token = true }),
        ERR_OK);
    assert_string_equal(s.authorization, "");
    close_scene(&s);
}

static void test_too_large(void **state)
{
    struct scene s;

    (void)state;
    open_scene(&s, NULL);
    assert_int_equal(ask_as(&s, &(struct record_request){ .method = "GET",
                                                          .target = "/Task",
                                                          .answer_max = 5 }),
                     ERR_LIMIT);
    assert_string_equal(s.authorization, "");
    close_scene(&s);
}

static void test_token_is_read_again(void **state)
{
    struct scene s;
    struct record_view view;

    (void)state;
    open_scene(&s, "old");
    answers(&s, (const int[]){ 401, 200 }, 2);
    write_token(&s, "new");
    assert_int_equal(ask(&s, "/Task/7"), ERR_OK);
    assert_int_equal(s.result.status, 200);
    assert_int_equal(s.asked, 2);
    assert_string_equal(s.authorization, "Bearer new");
    ROW("the same token is not tried twice");
    answers(&s, (const int[]){ 401 }, 1);
    assert_int_equal(ask(&s, "/Task/7"), ERR_OK);
    assert_int_equal(s.result.status, 401);
    assert_int_equal(s.asked, 1);
    record_look(s.record, &view);
    assert_int_equal(view.state, RECORD_REFUSING);
    assert_false(record_may_ask(s.record, NULL));
    close_scene(&s);
}

/* Asked, and how it stands then. */
static enum record_state state_after(struct scene *s, int status)
{
    struct record_view view;

    answers(s, &status, 1);
    assert_int_equal(ask(s, "/Task/7"), ERR_OK);
    record_look(s->record, &view);
    return view.state;
}

static void test_pause(void **state)
{
    struct scene s;
    int64_t wait_ms;

    (void)state;
    open_scene(&s, NULL);
    for (int i = 0; i < 4; i++)
        assert_int_equal(state_after(&s, 503), RECORD_ASKING);
    ROW("an answer of any other kind begins the count again");
    assert_int_equal(state_after(&s, 422), RECORD_ASKING);
    for (int i = 0; i < 4; i++)
        assert_int_equal(state_after(&s, 502), RECORD_ASKING);
    assert_true(record_may_ask(s.record, &wait_ms));
    assert_int_equal(wait_ms, 0);
    assert_int_equal(state_after(&s, 504), RECORD_PAUSING);
    assert_false(record_may_ask(s.record, &wait_ms));
    assert_in_range(wait_ms, 1, FIRST_MS);
    ROW("one may try when the wait is over, and the next may not");
    now_ms += wait_ms;
    assert_true(record_may_ask(s.record, NULL));
    assert_false(record_may_ask(s.record, &wait_ms));
    assert_in_range(wait_ms, 1, 5000);
    ROW("it failed: a longer pause, at once");
    assert_int_equal(state_after(&s, 503), RECORD_PAUSING);
    assert_false(record_may_ask(s.record, &wait_ms));
    assert_in_range(wait_ms, 1, 2 * FIRST_MS);
    ROW("the try that nobody answered gives its place back");
    now_ms += wait_ms;
    assert_true(record_may_ask(s.record, NULL));
    now_ms += 5000;
    assert_true(record_may_ask(s.record, NULL));
    assert_int_equal(state_after(&s, 200), RECORD_ASKING);
    assert_true(record_may_ask(s.record, NULL));
    assert_true(record_may_ask(s.record, NULL));
    close_scene(&s);
}

/* A person has mended it, and does not wait for the end of the pause. */
static void test_a_word(void **state)
{
    struct scene s;
    struct record_view view;
    int64_t wait_ms;

    (void)state;
    open_scene(&s, NULL);
    s.retry_after = "120";
    assert_int_equal(state_after(&s, 503), RECORD_PAUSING);
    record_look(s.record, &view);
    assert_int_equal(view.until_ms, now_ms + 120000);
    assert_false(record_may_ask(s.record, NULL));
    record_try_now(s.record);
    ROW("one may try, and no more than one");
    assert_true(record_may_ask(s.record, NULL));
    assert_false(record_may_ask(s.record, &wait_ms));
    record_try_now(s.record);
    assert_false(record_may_ask(s.record, NULL));
    ROW("it was not mended: it is left alone again");
    s.retry_after = NULL;
    assert_int_equal(state_after(&s, 503), RECORD_PAUSING);
    assert_false(record_may_ask(s.record, NULL));
    ROW("it was");
    record_try_now(s.record);
    assert_true(record_may_ask(s.record, NULL));
    assert_int_equal(state_after(&s, 200), RECORD_ASKING);
    ROW("of one that is asked nothing changes");
    record_try_now(s.record);
    assert_true(record_may_ask(s.record, NULL));
    assert_true(record_may_ask(s.record, NULL));
    close_scene(&s);
}

static void test_asked_to_wait(void **state)
{
    struct scene s;
    int64_t wait_ms;

    (void)state;
    open_scene(&s, NULL);
    s.retry_after = "120";
    assert_int_equal(state_after(&s, 429), RECORD_PAUSING);
    assert_false(record_may_ask(s.record, &wait_ms));
    assert_int_equal(wait_ms, 120000);
    ROW("in words of a date");
    now_ms = 1774000000000; /* 2026-03-20T09:46:40Z */
    s.retry_after = "Fri, 20 Mar 2026 09:47:40 GMT";
    assert_int_equal(state_after(&s, 503), RECORD_PAUSING);
    assert_false(record_may_ask(s.record, &wait_ms));
    assert_int_equal(wait_ms, 60000);
    close_scene(&s);
}

static void test_nobody_there(void **state)
{
    struct scene s;
    struct record_view view;

    (void)state;
    open_scene(&s, NULL);
    s.w.server = s.server;
    world_close_server(&s.w);
    for (int i = 0; i < 5; i++)
        assert_int_equal(ask(&s, "/Task/7"), ERR_IO);
    record_look(s.record, &view);
    assert_int_equal(view.state, RECORD_PAUSING);
    assert_int_equal(view.calls, 5);
    assert_int_equal(view.failures, 5);
    record_close(s.record);
    world_end(&s.w);
}

static bool count_bytes(void *arg, const char *piece, size_t len)
{
    (void)arg;
    (void)piece;
    return len < 100;
}

static void test_pieces(void **state)
{
    struct scene s;
    struct record_request q = { .method = "GET",
                                .target = "/x",
                                .answer_max = 6,
                                .on_piece = count_bytes };

    (void)state;
    open_scene(&s, NULL);
    assert_int_equal(ask_as(&s, &q), ERR_OK);
    assert_int_equal(s.result.body_len, 0);
    ROW("the ceiling holds of pieces as well");
    q.answer_max = 5;
    assert_int_equal(ask_as(&s, &q), ERR_LIMIT);
    ROW("what is no success is gathered");
    q.answer_max = 6;
    answers(&s, (const int[]){ 404 }, 1);
    assert_int_equal(ask_as(&s, &q), ERR_OK);
    assert_string_equal(s.result.body, "answer");
    close_scene(&s);
}

static void test_cancel(void **state)
{
    struct scene s;
    struct record_call *call;
    struct record_request q = { .method = "GET",
                                .target = "/x",
                                .answer_max = 6 };

    (void)state;
    open_scene(&s, "secret-1");
    s.result.times = 0;
    assert_int_equal(
        record_call_start(s.record, &q, take_answer, &s.result, &call), ERR_OK);
    record_call_cancel(call);
    assert_int_equal(ask(&s, "/x"), ERR_OK);
    assert_int_equal(s.result.times, 1);
    close_scene(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_what_is_sent),
        cmocka_unit_test(test_other_hosts),
        cmocka_unit_test(test_too_large),
        cmocka_unit_test(test_token_is_read_again),
        cmocka_unit_test(test_pause),
        cmocka_unit_test(test_a_word),
        cmocka_unit_test(test_asked_to_wait),
        cmocka_unit_test(test_nobody_there),
        cmocka_unit_test(test_pieces),
        cmocka_unit_test(test_cancel),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
