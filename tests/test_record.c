/*
 * record: tokens, other hosts, and what comes back
 *
 * That a client must not send a token to another host: SMART App Launch 2.2,
 * Backend Services ("a backend service should not blindly follow references").
 */
#include "tests/record_kit.h"

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
        cmocka_unit_test(test_pieces),
        cmocka_unit_test(test_cancel),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
