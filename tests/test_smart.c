/* smart: who waits for a token, how long one is served */
#include "tests/smart_world.h"

/* ---- how long a token is served ---------------------------------------------------- */

/* SMART App Launch 2.2: expires_in is a lifetime in seconds; the token is
 * renewed at 80 % of it. */
static void a_token_has_a_life(void **state)
{
    struct asker a;

    (void)state;
    say(200, GRANT("one", "100"), NULL);
    say(200, GRANT("two", "100"), NULL);
    assert_false(look().has_token);
    assert_string_equal(ask(&a, NULL), "one");
    assert_true(look().has_token);
    assert_int_equal(look().expires_ms - clock_now_ms, 100000);
    clock_now_ms += 79999;
    assert_string_equal(ask(&a, NULL), "one");
    assert_int_equal(as.asked, 1);
    clock_now_ms += 1;
    assert_string_equal(ask(&a, NULL), "two");
    assert_int_equal(as.asked, 2);
    assert_int_equal(as.discovered, 1); /* where it is is remembered */
}

/* RFC 6749, 5.1 leaves expires_in out; SMART: 300 at most. */
static void a_life_that_is_not_said(void **state)
{
    struct asker a;

    (void)state;
    say(200, "{\"access_token\":\"one\",\"token_type\":\"bearer\"}", NULL);
    ask(&a, NULL);
    assert_int_equal(look().expires_ms - clock_now_ms, 300000);
}

/* Past 80 %, and the server has a fault: the old token is good to its end. */
static void an_old_token_helps(void **state)
{
    struct asker a;

    (void)state;
    say(200, GRANT("one", "100"), NULL);
    say(503, "", "20");
    say(503, "", NULL);
    ask(&a, NULL);
    clock_now_ms += 90000;
    assert_string_equal(ask(&a, NULL), "one");
    assert_int_equal(as.asked, 2);
    assert_string_equal(ask(&a, NULL), "one"); /* and nobody asks meanwhile */
    assert_int_equal(as.asked, 2);
    clock_now_ms += 10000; /* its end; still within Retry-After */
    assert_string_equal(ask(&a, NULL), "");
    assert_int_equal(a.err, ERR_IO);
    assert_int_equal(as.asked, 2);
    clock_now_ms += 10000;
    ask(&a, NULL);
    assert_int_equal(as.asked, 3);
    assert_false(look().has_token);
}

/* ---- who waits ------------------------------------------------------------------------ */

static void many_ask_once(void **state)
{
    static struct asker many[SMART_WAITS_MAX];
    struct smart_wait *wait;

    (void)state;
    say(200, GRANT("one", "100"), NULL);
    for (size_t i = 0; i < COUNT(many); i++)
        begin(&many[i], NULL);
    assert_int_equal(smart_token(smart, NULL, on_token, &many[0], &wait),
                     ERR_LIMIT);
    for (size_t i = 0; i < COUNT(many); i++) {
        run_until(&w, &many[i].answered);
        assert_string_equal(many[i].token, "one");
    }
    assert_int_equal(as.asked, 1);
    assert_int_equal(look().fetches, 1);
}

/* The fetch that is under way is theirs as well. */
static void who_comes_while_it_asks(void **state)
{
    struct asker a[3];

    (void)state;
    say(200, GRANT("one", "100"), NULL);
    as.hold = true;
    begin(&a[0], NULL);
    while (as.held == NULL)
        uv_run(&w.loop, UV_RUN_ONCE);
    as.hold = false;
    begin(&a[1], NULL);
    uv_run(&w.loop, UV_RUN_NOWAIT);
    begin(&a[2], "another"); /* refused with a token of long ago */
    for (int i = 0; i < 5; i++)
        uv_run(&w.loop, UV_RUN_NOWAIT);
    give_answer(as.held);
    for (size_t i = 0; i < 3; i++) {
        run_until(&w, &a[i].answered);
        assert_string_equal(a[i].token, "one");
    }
    assert_int_equal(look().fetches, 1);
}

static void who_gives_up_is_not_called(void **state)
{
    struct asker a[3];

    (void)state;
    say(200, GRANT("one", "100"), NULL);
    for (size_t i = 0; i < 3; i++)
        begin(&a[i], NULL);
    smart_cancel(a[0].wait); /* at once */
    a[1].cancels = &a[2];    /* from the call-back, of one that is due too */
    run_until(&w, &a[1].answered);
    begin(&a[0], NULL); /* what comes later finds all in order */
    run_until(&w, &a[0].answered);
    assert_string_equal(a[0].token, "one");
    assert_false(a[2].answered);
}

/* A 401 at the record: the token is dropped, and fetched once, however many
 * were refused with it. */
static void a_token_that_was_refused(void **state)
{
    struct asker a[4];

    (void)state;
    say(200, GRANT("one", "100"), NULL);
    say(200, GRANT("two", "100"), NULL);
    ask(&a[0], NULL);
    for (size_t i = 0; i < 3; i++)
        begin(&a[i], "one");
    for (size_t i = 0; i < 3; i++) {
        run_until(&w, &a[i].answered);
        assert_string_equal(a[i].token, "two");
    }
    /* somebody slow, whose answer came when there was another already */
    assert_string_equal(ask(&a[3], "one"), "two");
    assert_int_equal(as.asked, 2);
    assert_int_equal(look().forced, 1);
    assert_int_equal(as.discovered, 2); /* it may have moved */
}

/* ---- stopping -------------------------------------------------------------------------------- */

static void closing_while_it_asks(void **state)
{
    struct smart_wait *wait;
    struct asker a;

    (void)state;
    as.hold = true;
    begin(&a, NULL);
    while (as.held == NULL)
        uv_run(&w.loop, UV_RUN_ONCE);
    smart_close(smart, set_flag, &closed);
    assert_true(a.answered);
    assert_int_equal(a.err, ERR_STOPPED);
    assert_int_equal(smart_token(smart, NULL, on_token, &a, &wait),
                     ERR_STOPPED);
    run_until(&w, &closed);
    smart = NULL;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)
        TEST(a_token_has_a_life),       TEST(a_life_that_is_not_said),
        TEST(an_old_token_helps),       TEST(many_ask_once),
        TEST(who_comes_while_it_asks),  TEST(who_gives_up_is_not_called),
        TEST(a_token_that_was_refused), TEST(closing_while_it_asks),
    };

    return cmocka_run_group_tests(tests, write_key, remove_key);
}
