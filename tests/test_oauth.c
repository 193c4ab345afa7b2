/* oauth: the words with an authorisation server */
#include "adapters/oauth.h"
#include "tests/jose_world.h"

/* ---- .well-known/smart-configuration ---------------------------------------- */

/* In the form of the example in SMART App Launch 2.2, "Conformance" (from
 * memory), what concerns a backend service. */
#define PUBLISHED                                                              \
    "{\"issuer\":\"https://ehr.example\","                                     \
    "\"jwks_uri\":\"https://ehr.example/.well-known/jwks.json\","              \
    "\"token_endpoint\":\"https://ehr.example/auth/token\","                   \
    "\"token_endpoint_auth_methods_supported\":[\"client_secret_basic\","      \
    "\"private_key_jwt\"],"                                                    \
    "\"grant_types_supported\":[\"authorization_code\","                       \
    "\"client_credentials\"],"                                                 \
    "\"scopes_supported\":[\"openid\",\"system/*.rs\"],"                       \
    "\"capabilities\":[\"client-confidential-asymmetric\"]}"

#define TOKEN_URL "\"token_endpoint\":\"https://r.example/t\""

static const struct {
    const char *name, *json;
    enum err want;
    bool keys, rs384, es384;
} servers[] = {
    { "as published", PUBLISHED, ERR_OK, true, true, true },
    { "it says nothing more", "{" TOKEN_URL "}", ERR_OK, true, true, true },
    { "no signed statements",
      "{" TOKEN_URL ",\"token_endpoint_auth_methods_supported\":"
      "[\"client_secret_basic\"]}",
      ERR_OK, false, true, true },
    { "one algorithm",
      "{" TOKEN_URL ",\"token_endpoint_auth_signing_alg_values_supported\":"
      "[\"ES384\"]}",
      ERR_OK, true, false, true },
    { "no address", "{}", ERR_FORM, false, false, false },
    { "an empty address", "{\"token_endpoint\":\"\"}", ERR_FORM, false, false,
      false },
    { "a number for an address", "{\"token_endpoint\":1}", ERR_FORM, false,
      false, false },
    { "two addresses", "{" TOKEN_URL "," TOKEN_URL "}", ERR_FORM, false, false,
      false },
    { "a list", "[]", ERR_FORM, false, false, false },
    { "a page", "<html>", ERR_FORM, false, false, false },
};

static void configurations(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(servers); i++) {
        struct oauth_server s;
        struct buf why;

        ROW(servers[i].name);
        buf_init(&why, 1000);
        assert_int_equal(oauth_server_read(servers[i].json,
                                           strlen(servers[i].json), &s, &why),
                         servers[i].want);
        assert_int_equal(why.len == 0, servers[i].want == ERR_OK);
        if (servers[i].want == ERR_OK) {
            assert_int_equal(s.takes_keys, servers[i].keys);
            assert_int_equal(s.takes_rs384, servers[i].rs384);
            assert_int_equal(s.takes_es384, servers[i].es384);
        }
        if (i == 0) {
            assert_string_equal(s.token_url, "https://ehr.example/auth/token");
            assert_string_equal(s.scopes, "openid system/*.rs");
        }
        buf_clear(&why);
    }
}

/* ---- the statement and the form ----------------------------------------------- */

static void the_statement(void **state)
{
    const struct oauth_statement what = { .client_id = "headgate \"1\"",
                                          .token_url = "https://r.example/t",
                                          .jti = "j-1",
                                          .now_s = 1790000000 };
    struct buf token;
    char payload[1000];

    (void)state;
    buf_init(&token, JOSE_TOKEN_MAX);
    assert_int_equal(oauth_statement_write(ec, &what, &token), ERR_OK);
    assert_int_equal(verify(token.data, payload, sizeof(payload)), ERR_OK);
    /* RFC 7523, 3, and SMART: at most five minutes; no nbf */
    assert_string_equal(payload,
                        "{\"iss\":\"headgate \\\"1\\\"\",\"sub\":\"headgate "
                        "\\\"1\\\"\",\"aud\":\"https://r.example/t\",\"jti\":"
                        "\"j-1\",\"iat\":1790000000,\"exp\":1790000240}");
    buf_clear(&token);
}

static void the_form(void **state)
{
    struct buf form;

    (void)state;
    buf_init(&form, 1000);
    oauth_form_write("system/*.rs a&b", "x.y-_.z", &form);
    assert_string_equal(
        form.data,
        "grant_type=client_credentials&scope=system%2F%2A.rs%20a%26b"
        "&client_assertion_type=urn%3Aietf%3Aparams%3Aoauth%3Aclient-assertion"
        "-type%3Ajwt-bearer&client_assertion=x.y-_.z");
    buf_clear(&form);
}

/* ---- answers ------------------------------------------------------------------- */

static const struct {
    const char *name;
    long status;
    const char *body;
    const char *token; /* if one is granted */
    int life_s;
    const char *scope; /* NULL: not said */
    const char *error; /* if none is */
    bool passing;
} answers[] = {
    /* SMART App Launch 2.2, "Issue access token", the example (from memory);
     * RFC 6749, 5.1 */
    { "as published", 200,
      "{\"access_token\":\"m7rt6i7s9nuxkjvi8vsx\",\"token_type\":\"bearer\","
      "\"expires_in\":300,\"scope\":\"system/*.rs\"}",
      "m7rt6i7s9nuxkjvi8vsx", 300, "system/*.rs", NULL, false },
    { "Bearer", 200, "{\"access_token\":\"a\",\"token_type\":\"BeArEr\"}", "a",
      300, NULL, NULL, false },
    { "a life in quotes", 200,
      "{\"access_token\":\"a\",\"token_type\":\"bearer\",\"expires_in\":"
      "\"60\"}",
      "a", 60, NULL, NULL, false },
    { "a life of years", 200,
      "{\"access_token\":\"a\",\"token_type\":\"bearer\",\"expires_in\":1e12}",
      "a", 86400, NULL, NULL, false },
    { "no scope at all", 200,
      "{\"access_token\":\"a\",\"token_type\":\"bearer\",\"scope\":\"\"}", "a",
      300, "", NULL, false },
    { "no life left", 200,
      "{\"access_token\":\"a\",\"token_type\":\"bearer\",\"expires_in\":0}",
      NULL, 0, NULL, "bad-answer", true },
    { "a life that is no number", 200,
      "{\"access_token\":\"a\",\"token_type\":\"bearer\",\"expires_in\":\"x\"}",
      NULL, 0, NULL, "bad-answer", true },
    { "another type", 200, "{\"access_token\":\"a\",\"token_type\":\"DPoP\"}",
      NULL, 0, NULL, "no-bearer", false },
    { "no type", 200, "{\"access_token\":\"a\"}", NULL, 0, NULL, "bad-answer",
      true },
    { "an empty token", 200,
      "{\"access_token\":\"\",\"token_type\":\"bearer\"}", NULL, 0, NULL,
      "bad-answer", true },
    { "a token that would split a header", 200,
      "{\"access_token\":\"a\\r\\nX: y\",\"token_type\":\"bearer\"}", NULL, 0,
      NULL, "bad-answer", true },
    { "a token with a blank", 200,
      "{\"access_token\":\"a b\",\"token_type\":\"bearer\"}", NULL, 0, NULL,
      "bad-answer", true },
    { "two tokens", 200,
      "{\"access_token\":\"a\",\"access_token\":\"b\",\"token_type\":"
      "\"bearer\"}",
      NULL, 0, NULL, "bad-answer", true },
    { "a page to log in on", 200, "<html>", NULL, 0, NULL, "bad-answer", true },
    /* RFC 6749, 5.2: 400, and 401 for invalid_client */
    { "invalid_client, 401", 401, "{\"error\":\"invalid_client\"}", NULL, 0,
      NULL, "invalid_client", false },
    { "invalid_client, 400", 400, "{\"error\":\"invalid_client\"}", NULL, 0,
      NULL, "invalid_client", false },
    { "401 without words", 401, "", NULL, 0, NULL, "invalid_client", false },
    { "unauthorized_client", 400, "{\"error\":\"unauthorized_client\"}", NULL,
      0, NULL, "unauthorized_client", false },
    { "invalid_scope", 400, "{\"error\":\"invalid_scope\"}", NULL, 0, NULL,
      "invalid_scope", false },
    { "invalid_scope, 403", 403, "{\"error\":\"invalid_scope\"}", NULL, 0, NULL,
      "invalid_scope", false },
    { "an error of its own", 400, "{\"error\":\"<b>x\"}", NULL, 0, NULL,
      "other", false },
    { "not now", 400, "{\"error\":\"temporarily_unavailable\"}", NULL, 0, NULL,
      "temporarily_unavailable", true },
    { "not now, 503", 503, "{\"error\":\"temporarily_unavailable\"}", NULL, 0,
      NULL, "server", true },
    { "a fault that blames us", 500, "{\"error\":\"invalid_client\"}", NULL, 0,
      NULL, "server", true },
    { "too many", 429, "", NULL, 0, NULL, "throttled", true },
    { "elsewhere", 302, "", NULL, 0, NULL, "redirect", false },
    { "elsewhere, with the form", 307, "{\"access_token\":\"a\"}", NULL, 0,
      NULL, "redirect", false },
    { "nothing there", 404, "<html>", NULL, 0, NULL, "no-such-address", false },
    { "not by POST", 405, "", NULL, 0, NULL, "no-such-address", false },
    { "400 without words", 400, "no", NULL, 0, NULL, "bad-answer", true },
    { "an error that is no text", 400, "{\"error\":{}}", NULL, 0, NULL,
      "bad-answer", true },
};

static void answers_are_read(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(answers); i++) {
        struct oauth_answer a;

        ROW(answers[i].name);
        assert_int_equal(oauth_answer_read(answers[i].status, answers[i].body,
                                           strlen(answers[i].body), &a),
                         ERR_OK);
        if (answers[i].token != NULL) {
            assert_null(a.error);
            assert_string_equal(a.token, answers[i].token);
            assert_int_equal(a.life_s, answers[i].life_s);
            assert_int_equal(a.says_scope, answers[i].scope != NULL);
            if (answers[i].scope != NULL)
                assert_string_equal(a.scope, answers[i].scope);
        } else {
            assert_null(a.token);
            assert_string_equal(a.error->word, answers[i].error);
            assert_int_equal(a.error->passing, answers[i].passing);
            assert_true(strlen(a.error->text) > 20); /* words for a person */
        }
        oauth_answer_clear(&a);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(configurations),
        cmocka_unit_test(the_statement),
        cmocka_unit_test(the_form),
        cmocka_unit_test(answers_are_read),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
