/* jose_claims: who, for whom, how long, what for */
#include "adapters/jose_claims.h"
#include "tests/test.h"

enum { NOW_S = 1790000000 };

#define ISS "\"iss\":\"https://issuer.example\""
#define AUD "\"aud\":\"https://headgate.example\""
#define EXP "\"exp\":1790000300"
#define SUB "\"sub\":\"unit-a\""
#define ALL ISS "," AUD "," EXP "," SUB

static const struct {
    const char *name, *json;
    const char *client, *scope; /* if it is taken */
    const char *why;            /* if not */
} rows[] = {
    { "the least", "{" ALL "}", "unit-a", "", NULL },
    /* RFC 8693, 4.2: a text with blanks between */
    { "scope as a text", "{" ALL ",\"scope\":\"system/Task.rs system/*.c\"}",
      "unit-a", "system/Task.rs system/*.c", NULL },
    { "scope as a list", "{" ALL ",\"scope\":[\"a\",\"b\"]}", "unit-a", "a b",
      NULL },
    { "scp as a list", "{" ALL ",\"scp\":[\"a\",\"b\"]}", "unit-a", "a b",
      NULL },
    { "scp as a text", "{" ALL ",\"scp\":\"a b\"}", "unit-a", "a b", NULL },
    { "an empty list", "{" ALL ",\"scp\":[]}", "unit-a", "", NULL },
    { "client_id goes before sub (RFC 9068, 2.2)",
      "{" ALL ",\"client_id\":\"c-7\"}", "c-7", "", NULL },
    /* RFC 7519, 4.1.3: one or several */
    { "several audiences",
      "{" ISS "," EXP "," SUB
      ",\"aud\":[\"https://x.example\",\"https://headgate.example\"]}",
      "unit-a", "", NULL },
    { "expired within the leeway",
      "{" ISS "," AUD "," SUB ",\"exp\":1789999941}", "unit-a", "", NULL },
    { "a time with a fraction (RFC 7519, 2)",
      "{" ISS "," AUD "," SUB ",\"exp\":1790000000.5}", "unit-a", "", NULL },
    { "not yet, within the leeway", "{" ALL ",\"nbf\":1790000060}", "unit-a",
      "", NULL },
    { "nbf long ago", "{" ALL ",\"nbf\":0}", "unit-a", "", NULL },

    { "expired", "{" ISS "," AUD "," SUB ",\"exp\":1789999940}", NULL, NULL,
      "expired" },
    { "expired long ago", "{" ISS "," AUD "," SUB ",\"exp\":0}", NULL, NULL,
      "expired" },
    { "not yet", "{" ALL ",\"nbf\":1790000061}", NULL, NULL, "not-yet" },
    { "no exp", "{" ISS "," AUD "," SUB "}", NULL, NULL, "form" },
    { "exp as a text", "{" ISS "," AUD "," SUB ",\"exp\":\"1790000300\"}", NULL,
      NULL, "form" },
    { "exp that no clock says", "{" ISS "," AUD "," SUB ",\"exp\":1e300}", NULL,
      NULL, "form" },
    { "exp before all time", "{" ISS "," AUD "," SUB ",\"exp\":-1}", NULL, NULL,
      "form" },
    { "nbf as a text", "{" ALL ",\"nbf\":\"0\"}", NULL, NULL, "form" },
    { "another issuer",
      "{\"iss\":\"https://issuer.example/\"," AUD "," EXP "," SUB "}", NULL,
      NULL, "issuer" },
    { "no issuer", "{" AUD "," EXP "," SUB "}", NULL, NULL, "issuer" },
    { "an issuer that is a list",
      "{\"iss\":[\"https://issuer.example\"]," AUD "," EXP "," SUB "}", NULL,
      NULL, "issuer" },
    { "another audience",
      "{" ISS "," EXP "," SUB ",\"aud\":\"https://headgate.example.x\"}", NULL,
      NULL, "audience" },
    { "no audience", "{" ISS "," EXP "," SUB "}", NULL, NULL, "audience" },
    { "no audience in a list", "{" ISS "," EXP "," SUB ",\"aud\":[]}", NULL,
      NULL, "audience" },
    { "an audience that is no text",
      "{" ISS "," EXP "," SUB ",\"aud\":[1,null]}", NULL, NULL, "audience" },
    { "nobody", "{" ISS "," AUD "," EXP "}", NULL, NULL, "client" },
    { "an empty name", "{" ISS "," AUD "," EXP ",\"sub\":\"\"}", NULL, NULL,
      "client" },
    { "a name that is a number", "{" ISS "," AUD "," EXP ",\"sub\":1}", NULL,
      NULL, "client" },
    { "a scope that is a number", "{" ALL ",\"scope\":1}", NULL, NULL,
      "scope" },
    { "a list with a number", "{" ALL ",\"scp\":[\"a\",1]}", NULL, NULL,
      "scope" },
    { "two scopes in one", "{" ALL ",\"scp\":[\"a b\"]}", NULL, NULL, "scope" },
    { "an issuer twice", "{" ALL "," ISS "}", NULL, NULL, "form" },
    { "no object", "[]", NULL, NULL, "form" },
    { "no JSON", "", NULL, NULL, "form" },
};

static void claims_are_checked(void **state)
{
    const struct jose_expected expected = { "https://issuer.example",
                                            "https://headgate.example", NOW_S };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct jose_claims claims = { .client = "as before" };
        const char *why = NULL;
        enum err e = jose_claims_read(rows[i].json, strlen(rows[i].json),
                                      &expected, &claims, &why);

        ROW(rows[i].name);
        if (rows[i].why == NULL) {
            assert_int_equal(e, ERR_OK);
            assert_string_equal(claims.client, rows[i].client);
            assert_string_equal(claims.scope, rows[i].scope);
            assert_null(why);
        } else {
            assert_true(e == ERR_FORM || e == ERR_DENIED);
            assert_string_equal(why, rows[i].why);
            assert_string_equal(claims.client, "as before");
        }
    }
}

static void what_is_too_long(void **state)
{
    static char json[2 * JOSE_SCOPE_SIZE + 1000], text[JOSE_SCOPE_SIZE + 1];
    const struct jose_expected expected = { "https://issuer.example",
                                            "https://headgate.example", NOW_S };
    const char *why;
    struct jose_claims claims;

    (void)state;
    memset(text, 'x', JOSE_SCOPE_SIZE);
    for (size_t len = JOSE_SCOPE_SIZE; len + 1 >= JOSE_SCOPE_SIZE; len--) {
        text[len] = '\0';
        snprintf(json, sizeof(json), "{" ALL ",\"scope\":\"%s\"}", text);
        assert_int_equal(
            jose_claims_read(json, strlen(json), &expected, &claims, &why),
            len < JOSE_SCOPE_SIZE ? ERR_OK : ERR_FORM);
    }
    for (size_t len = JOSE_CLIENT_SIZE; len + 1 >= JOSE_CLIENT_SIZE; len--) {
        snprintf(json, sizeof(json),
                 "{" ISS "," AUD "," EXP ",\"sub\":\"%.*s\"}", (int)len, text);
        assert_int_equal(
            jose_claims_read(json, strlen(json), &expected, &claims, &why),
            len < JOSE_CLIENT_SIZE ? ERR_OK : ERR_FORM);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(claims_are_checked),
        cmocka_unit_test(what_is_too_long),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
