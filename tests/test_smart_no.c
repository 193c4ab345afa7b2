/* smart: when there is no token, and when nobody asks for one */
#include "tests/smart_world.h"

/* ---- a no, and a not now ---------------------------------------------------------------- */

static const struct {
    const char *name;
    int status;
    const char *body, *word;
} refusals[] = {
    { "invalid_client, 401", 401, "{\"error\":\"invalid_client\"}",
      "invalid_client" },
    { "invalid_client, 400", 400, "{\"error\":\"invalid_client\"}",
      "invalid_client" },
    { "unauthorized_client", 400, "{\"error\":\"unauthorized_client\"}",
      "unauthorized_client" },
    { "invalid_scope", 400, "{\"error\":\"invalid_scope\"}", "invalid_scope" },
};

static void a_no_is_respected(void **state)
{
    struct asker a;

    (void)state;
    for (size_t i = 0; i < COUNT(refusals); i++) {
        ROW(refusals[i].name);
        say(refusals[i].status, refusals[i].body, NULL);
        assert_string_equal(ask(&a, NULL), "");
        assert_int_equal(a.err, ERR_DENIED);
        assert_string_equal(look().error, refusals[i].word);
        assert_true(look().denied);
        assert_int_equal(look().next_ms - clock_now_ms, MINUTES_5);
        clock_now_ms += MINUTES_5 - 1;
        ask(&a, NULL);
        assert_int_equal(a.err, ERR_DENIED);
        assert_int_equal(as.asked, i + 1);
        clock_now_ms += 1;
    }
    say(200, GRANT("one", "100"), NULL);
    assert_string_equal(ask(&a, NULL), "one");
    assert_string_equal(look().error, "");
    assert_string_equal(look().why, "");
    assert_false(look().denied);
    assert_int_equal(look().failures, COUNT(refusals));
}

/* A person has mended it, and does not wait five minutes. */
static void a_word_ends_the_wait(void **state)
{
    struct asker a;

    (void)state;
    say(400, "{\"error\":\"unauthorized_client\"}", NULL);
    say(400, "{\"error\":\"unauthorized_client\"}", NULL);
    say(503, "", "3000");
    say(200, GRANT("one", "100"), NULL);
    ask(&a, NULL);
    smart_try_now(smart);
    ROW("it was not: the wait is as long again");
    assert_string_equal(ask(&a, NULL), "");
    assert_int_equal(a.err, ERR_DENIED);
    assert_int_equal(look().next_ms - clock_now_ms, MINUTES_5);
    ask(&a, NULL);
    assert_int_equal(as.asked, 2);
    ROW("a wait that the server has asked for ends too");
    smart_try_now(smart);
    ask(&a, NULL);
    assert_int_equal(look().next_ms - clock_now_ms, 3000000);
    smart_try_now(smart);
    assert_string_equal(ask(&a, NULL), "one");
    ROW("a token that lives is kept");
    smart_try_now(smart);
    assert_string_equal(ask(&a, NULL), "one");
    assert_int_equal(as.asked, 4);
}

/* invalid_client where it was last known: perhaps it is elsewhere now. */
static void a_no_from_an_old_address(void **state)
{
    struct asker a;

    (void)state;
    say(200, GRANT("one", "100"), NULL);
    say(401, "{\"error\":\"invalid_client\"}", NULL);
    say(200, GRANT("two", "100"), NULL);
    ask(&a, NULL);
    clock_now_ms += 100000;
    assert_string_equal(ask(&a, NULL), "two");
    assert_int_equal(as.discovered, 2);
    assert_int_equal(as.asked, 3);
}

/* The wait is drawn from a bound that doubles: 1 s, 2 s, 4 s ... 60 s. */
static void a_fault_is_waited_out(void **state)
{
    int64_t bound_ms = 1000;
    struct asker a;

    (void)state;
    for (int i = 0; i < 7; i++) {
        int64_t wait_ms;

        say(500, "", NULL);
        ask(&a, NULL);
        assert_int_equal(a.err, ERR_IO);
        assert_false(look().denied);
        wait_ms = look().next_ms - clock_now_ms;
        assert_true(wait_ms >= 1 && wait_ms <= bound_ms);
        bound_ms = bound_ms * 2 > 60000 ? 60000 : bound_ms * 2;
        clock_now_ms = look().next_ms;
    }
}

/* A clock that is set back by a day must not keep us waiting for a day. */
static void a_clock_that_is_set_back(void **state)
{
    struct asker a;

    (void)state;
    say(401, "", NULL);
    say(200, GRANT("one", "100"), NULL);
    ask(&a, NULL);
    clock_now_ms -= 86400000;
    assert_string_equal(ask(&a, NULL), "one");
}

/* ---- discovery ------------------------------------------------------------------------------ */

static const struct {
    const char *name, *server;
    int status;
    enum err want;
    const char *word;
} servers[] = {
    { "not there", "", 404, ERR_DENIED, "no-configuration" },
    { "a redirect", "", 302, ERR_DENIED, "redirect" },
    { "a fault", "", 500, ERR_IO, "record-busy" },
    { "too many", "", 429, ERR_IO, "record-busy" },
    { "twice the same", ",\"token_endpoint\":\"x\"", 200, ERR_FORM,
      "bad-configuration" },
    { "no signed statements",
      ",\"token_endpoint_auth_methods_supported\":[\"client_secret_post\"]",
      200, ERR_DENIED, "no-key-login" },
    { "another algorithm",
      ",\"token_endpoint_auth_signing_alg_values_supported\":[\"RS384\"]", 200,
      ERR_DENIED, "no-algorithm" },
};

static void what_the_record_says(void **state)
{
    struct asker a;

    (void)state;
    for (size_t i = 0; i < COUNT(servers); i++) {
        ROW(servers[i].name);
        as.server = servers[i].server;
        as.server_status = servers[i].status;
        ask(&a, NULL);
        assert_int_equal(a.err, servers[i].want);
        assert_string_equal(look().error, servers[i].word);
        assert_true(strlen(a.why) > 20);
        clock_now_ms = look().next_ms;
    }
    assert_int_equal(as.asked, 0);
}

static void scopes_are_compared(void **state)
{
    struct asker a;

    (void)state;
    say(200,
        "{\"access_token\":\"one\",\"token_type\":\"bearer\",\"scope\":"
        "\"system/Task.r\"}",
        NULL);
    ask(&a, NULL);
    assert_string_equal(look().scope, "system/Task.r");
    assert_string_equal(look().missing, "may not search Task (system/Task.s)");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)
        TEST(a_no_is_respected),        TEST(a_word_ends_the_wait),
        TEST(a_no_from_an_old_address), TEST(a_fault_is_waited_out),
        TEST(a_clock_that_is_set_back), TEST(what_the_record_says),
        TEST(scopes_are_compared),
    };

    return cmocka_run_group_tests(tests, write_key, remove_key);
}
