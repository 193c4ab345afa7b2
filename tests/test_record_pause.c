/*
 * When the record is given a pause, how long, and what ends it.
 *
 * Status codes and Retry-After: RFC 9110, 15 and 10.2.3; 429: RFC 6585, 4.
 */
#include "tests/record_kit.h"

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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pause),
        cmocka_unit_test(test_a_word),
        cmocka_unit_test(test_asked_to_wait),
        cmocka_unit_test(test_nobody_there),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
