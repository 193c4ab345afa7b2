/*
 * The pause that a record is given, where several requests were under way when
 * it fell ill, and where the clock is set back.
 *
 * What a pause is for: one trial after it, and a wait that doubles with each
 * trial that fails (record.h); requests that were sent before it are no trial.
 */
#include "service/record.h"

#include "tests/http_world.h"

enum { FIRST_MS = 1000, LAST_MS = 600000, AT_ONCE = 8 };

struct scene {
    struct world w;
    struct http_server *server;
    struct record *record;
    char url[64];
};

static int64_t now_ms;

static int64_t the_clock(void)
{
    return now_ms;
}

static void on_request(void *arg, struct http_request *r)
{
    (void)arg;
    http_reply(r, 503, NULL, 0, "text/plain", "answer", 6);
}

static void open_scene(struct scene *s)
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
    buf_init(&why, 1024);
    assert_int_equal(record_open(s->w.client, &options, &s->record, &why),
                     ERR_OK);
    buf_clear(&why);
}

static void close_scene(struct scene *s)
{
    record_close(s->record);
    s->w.server = s->server;
    world_end(&s->w);
}

/* So many requests at the same time, all of them in vain. */
static void ask_at_once(struct scene *s, size_t count)
{
    const struct record_request q = { .method = "GET",
                                      .target = "/Task/7",
                                      .answer_max = 1024 };
    struct result results[AT_ONCE] = { { 0 } };
    struct record_call *call;
    size_t done = 0;

    assert_true(count <= AT_ONCE);
    for (size_t i = 0; i < count; i++)
        assert_int_equal(
            record_call_start(s->record, &q, take_answer, &results[i], &call),
            ERR_OK);
    while (done < count && !s->w.late) {
        uv_run(&s->w.loop, UV_RUN_ONCE);
        done = 0;
        for (size_t i = 0; i < count; i++)
            done += results[i].times;
    }
    assert_int_equal(done, count);
}

static void test_one_outage_is_one_pause(void **state)
{
    struct record_view view;
    struct scene s;
    int64_t wait_ms;

    (void)state;
    open_scene(&s);
    ask_at_once(&s, AT_ONCE);
    record_look(s.record, &view);
    assert_int_equal(view.state, RECORD_PAUSING);
    assert_int_equal(view.pauses, 1);
    assert_false(record_may_ask(s.record, &wait_ms));
    assert_in_range(wait_ms, 1, FIRST_MS);
    close_scene(&s);
}

/* smart.h bounds its waits in the same way. */
static void test_a_clock_set_back(void **state)
{
    struct scene s;
    int64_t wait_ms;

    (void)state;
    open_scene(&s);
    ask_at_once(&s, 5);
    now_ms -= INT64_C(24) * 3600 * 1000;
    if (!record_may_ask(s.record, &wait_ms))
        assert_in_range(wait_ms, 1, LAST_MS);
    close_scene(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_one_outage_is_one_pause),
        cmocka_unit_test(test_a_clock_set_back),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
