/* jose: statements that are forged, cut or of another form */
#include "tests/jose_world.h"

/* ---- forgeries ------------------------------------------------------------------ */

/* A header with the true signature of an empty object over it; key NULL: no
 * signature. */
static enum err verify_header(const char *header, const struct jose_key *key)
{
    struct buf token, signature;
    char payload[64];
    enum err e;

    buf_init(&token, JOSE_TOKEN_MAX * 2);
    buf_init(&signature, 2048);
    jose_base64_write(header, strlen(header), &token);
    buf_puts(&token, ".");
    jose_base64_write("{}", 2, &token);
    if (key != NULL)
        assert_int_equal(jose_key_sign(key, token.data, token.len, &signature),
                         ERR_OK);
    buf_puts(&token, ".");
    jose_base64_write(signature.data, signature.len, &token);
    e = verify(token.data, payload, sizeof(payload));
    buf_clear(&signature);
    buf_clear(&token);
    return e;
}

#define RSA_KID "\"kid\":\"" RFC7520_KID "\""
#define EC_KID  "\"kid\":\"rfc6979\""

/* Each is signed truly over its bytes, with the RSA key or the EC key. */
static const struct {
    const char *name, *header;
    bool ec;
    enum err want;
} headers[] = {
    { "RSA", "{\"alg\":\"RS384\"," RSA_KID "}", false, ERR_OK },
    { "EC", "{\"alg\":\"ES384\"," EC_KID "}", true, ERR_OK },
    { "a kid is not needed with one key of the kind", "{\"alg\":\"RS384\"}",
      false, ERR_OK },
    { "blanks", " {\"alg\" : \"ES384\" ,\r\n " EC_KID "} ", true, ERR_OK },
    { "typ of an access token (RFC 9068)",
      "{\"alg\":\"RS384\",\"typ\":\"at+JWT\"}", false, ERR_OK },
    { "typ in full", "{\"alg\":\"RS384\",\"typ\":\"application/at+jwt\"}",
      false, ERR_OK },
    { "typ of something else", "{\"alg\":\"RS384\",\"typ\":\"logout+jwt\"}",
      false, ERR_DENIED },
    { "typ that is no text", "{\"alg\":\"RS384\",\"typ\":1}", false,
      ERR_DENIED },
    { "another algorithm of the key", "{\"alg\":\"RS256\"," RSA_KID "}", false,
      ERR_DENIED },
    { "PS384 with that key", "{\"alg\":\"PS384\"," RSA_KID "}", false,
      ERR_DENIED },
    { "the algorithm of the other key", "{\"alg\":\"ES384\"," RSA_KID "}",
      false, ERR_DENIED },
    { "the other key", "{\"alg\":\"RS384\"," EC_KID "}", false, ERR_DENIED },
    { "signed with the other key", "{\"alg\":\"RS384\"," RSA_KID "}", true,
      ERR_DENIED },
    { "none", "{\"alg\":\"none\"," RSA_KID "}", false, ERR_DENIED },
    { "None", "{\"alg\":\"None\"," RSA_KID "}", false, ERR_DENIED },
    { "a shared secret", "{\"alg\":\"HS384\"," RSA_KID "}", false, ERR_DENIED },
    { "small letters", "{\"alg\":\"rs384\"," RSA_KID "}", false, ERR_DENIED },
    { "no algorithm", "{" RSA_KID "}", false, ERR_FORM },
    { "an algorithm that is no text", "{\"alg\":384," RSA_KID "}", false,
      ERR_FORM },
    { "a kid that is not known", "{\"alg\":\"RS384\",\"kid\":\"x\"}", false,
      ERR_UNKNOWN },
    { "an empty kid", "{\"alg\":\"RS384\",\"kid\":\"\"}", false, ERR_UNKNOWN },
    { "a kid that is no text", "{\"alg\":\"RS384\",\"kid\":1}", false,
      ERR_FORM },
    { "the algorithm twice", "{\"alg\":\"none\",\"alg\":\"RS384\"," RSA_KID "}",
      false, ERR_FORM },
    { "the kid twice", "{\"alg\":\"RS384\",\"kid\":\"x\"," RSA_KID "}", false,
      ERR_FORM },
    { "what must be understood",
      "{\"alg\":\"RS384\"," RSA_KID ",\"crit\":[\"exp\"],\"exp\":1}", false,
      ERR_DENIED },
    { "nothing that must be understood",
      "{\"alg\":\"RS384\"," RSA_KID ",\"crit\":[]}", false, ERR_DENIED },
    { "an array", "[\"alg\",\"RS384\"]", false, ERR_FORM },
    { "no JSON", "alg=RS384", false, ERR_FORM },
    { "something behind it", "{\"alg\":\"RS384\"}{}", false, ERR_FORM },
    { "not UTF-8", "{\"alg\":\"RS384\",\"x\":\"\xff\"}", false, ERR_FORM },
    { "a key of its own is not looked at",
      "{\"alg\":\"ES384\",\"jwk\":{\"kty\":\"EC\",\"crv\":\"P-384\","
      "\"x\":\"" RFC6979_X "\",\"y\":\"" RFC6979_Y "\"},\"kid\":\"x\"}",
      true, ERR_UNKNOWN },
};

static void headers_that_lie(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(headers); i++) {
        ROW(headers[i].name);
        assert_int_equal(
            verify_header(headers[i].header, headers[i].ec ? ec : rsa),
            headers[i].want);
    }
    ROW("none, and no signature");
    assert_int_equal(verify_header("{\"alg\":\"none\"," RSA_KID "}", NULL),
                     ERR_FORM);
    ROW("no signature");
    assert_int_equal(verify_header("{\"alg\":\"RS384\"," RSA_KID "}", NULL),
                     ERR_FORM);
}

/* Without a kid the key must be the only one of its kind. */
static void no_kid(void **state)
{
    static const char *const kids[] = { "a", "b" };
    struct jose_key *two[2];
    struct jose_keys *both = keys;
    struct buf set, why;

    (void)state;
    buf_init(&set, 10000);
    buf_init(&why, 1000);
    for (size_t i = 0; i < 2; i++)
        two[i] = read_pem(RFC6979_PEM, kids[i]);
    jose_keys_write((const struct jose_key *const *)two, 2, &set);
    assert_int_equal(jose_keys_read(set.data, set.len, &keys, &why), ERR_OK);
    assert_int_equal(verify_header("{\"alg\":\"ES384\"}", ec), ERR_UNKNOWN);
    assert_int_equal(verify_header("{\"alg\":\"RS384\"}", rsa), ERR_UNKNOWN);
    assert_int_equal(verify_header("{\"alg\":\"ES384\",\"kid\":\"b\"}", ec),
                     ERR_OK);
    jose_keys_free(keys);
    keys = both;
    for (size_t i = 0; i < 2; i++)
        jose_key_free(two[i]);
    buf_clear(&set);
    buf_clear(&why);
}

static const struct {
    const char *name, *token;
    enum err want;
} tokens[] = {
    { "nothing", "", ERR_FORM },
    { "one part", "abc", ERR_FORM },
    { "two parts", ES384_INPUT, ERR_FORM },
    { "an empty signature", ES384_INPUT ".", ERR_FORM },
    { "four parts", ES384_INPUT "." ES384_SIGNATURE ".", ERR_FORM },
    { "five, as of an encrypted one", "a.b.c.d.e", ERR_FORM },
    { "no header", "." RFC7520_PAYLOAD "." ES384_SIGNATURE, ERR_FORM },
    { "DER instead of r and s", ES384_INPUT "." ES384_DER, ERR_DENIED },
    { "padding", ES384_INPUT "." ES384_SIGNATURE "=", ERR_FORM },
    { "a blank behind it", ES384_INPUT "." ES384_SIGNATURE " ", ERR_FORM },
    { "a line break behind it", ES384_INPUT "." ES384_SIGNATURE "\n",
      ERR_FORM },
    { "the signature of another", ES384_INPUT "." RFC6979_SIGNATURE,
      ERR_DENIED },
    { "the signature of the other key", ES384_INPUT "." RS384_SIGNATURE,
      ERR_DENIED },
};

static void tokens_that_are_none(void **state)
{
    char payload[512], cut[2048];

    (void)state;
    for (size_t i = 0; i < COUNT(tokens); i++) {
        ROW(tokens[i].name);
        assert_int_equal(verify(tokens[i].token, payload, sizeof(payload)),
                         tokens[i].want);
    }
    ROW("cut anywhere");
    for (size_t len = 0; len < strlen(ES384_INPUT "." ES384_SIGNATURE); len++) {
        snprintf(cut, sizeof(cut), "%.*s", (int)len,
                 ES384_INPUT "." ES384_SIGNATURE);
        assert_int_not_equal(verify(cut, payload, sizeof(payload)), ERR_OK);
    }
}

static void a_token_that_is_too_long(void **state)
{
    static char token[JOSE_TOKEN_MAX + 2];
    struct buf payload;

    (void)state;
    memset(token, 'A', sizeof(token) - 1);
    buf_init(&payload, JOSE_TOKEN_MAX);
    assert_int_equal(jose_verify(keys, token, JOSE_TOKEN_MAX + 1, &payload),
                     ERR_LIMIT);
    assert_int_equal(jose_verify(keys, token, JOSE_TOKEN_MAX, &payload),
                     ERR_FORM);
    buf_clear(&payload);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(headers_that_lie),
        cmocka_unit_test(no_kid),
        cmocka_unit_test(tokens_that_are_none),
        cmocka_unit_test(a_token_that_is_too_long),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
