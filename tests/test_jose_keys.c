/* jose: keys from PEM, key sets, thumbprints */
#include "adapters/jose.h"
#include "tests/jose_kit.h"
#include "tests/test.h"

/* ---- PEM ------------------------------------------------------------------ */

static const struct {
    const char *name, *pem;
    enum err want;
    enum jose_alg alg;
    const char *thumbprint, *why;
} pems[] = {
    { "RSA, PKCS #8", RFC7520_PEM, ERR_OK, JOSE_RS384, RSA_THUMBPRINT, NULL },
    { "RSA, PKCS #1", RFC7520_PKCS1, ERR_OK, JOSE_RS384, RSA_THUMBPRINT, NULL },
    { "EC, PKCS #8", RFC6979_PEM, ERR_OK, JOSE_ES384, EC_THUMBPRINT, NULL },
    { "EC, SEC 1", RFC6979_SEC1, ERR_OK, JOSE_ES384, EC_THUMBPRINT, NULL },
    { "words in front", "a key\n" RFC6979_PEM, ERR_OK, JOSE_ES384,
      EC_THUMBPRINT, NULL },
    { "nothing", "", ERR_FORM, JOSE_RS384, NULL, "no private key" },
    { "no PEM", "{\"kty\":\"RSA\"}", ERR_FORM, JOSE_RS384, NULL,
      "no private key" },
    { "a public key", RFC6979_PUBLIC, ERR_FORM, JOSE_RS384, NULL,
      "no private key" },
    { "under a pass phrase", RFC6979_ENCRYPTED, ERR_FORM, JOSE_RS384, NULL,
      "pass phrase" },
    { "another curve", P256_PEM, ERR_RANGE, JOSE_RS384, NULL, "P-384" },
    { "too short", RSA1024_PEM, ERR_RANGE, JOSE_RS384, NULL, "1024 bits" },
    { "another kind", ED25519_PEM, ERR_RANGE, JOSE_RS384, NULL,
      "neither an RSA key" },
};

static void keys_from_pem(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(pems); i++) {
        struct jose_key *key = NULL;
        struct buf why;

        ROW(pems[i].name);
        buf_init(&why, 1000);
        assert_int_equal(jose_key_read_pem(pems[i].pem, strlen(pems[i].pem),
                                           NULL, &key, &why),
                         pems[i].want);
        if (pems[i].want == ERR_OK) {
            assert_int_equal(jose_key_alg(key), pems[i].alg);
            assert_string_equal(jose_key_kid(key), pems[i].thumbprint);
        } else {
            assert_null(key);
            assert_non_null(strstr(why.data, pems[i].why));
        }
        jose_key_free(key);
        buf_clear(&why);
    }
}

static void a_kid_of_our_choice(void **state)
{
    char kid[JOSE_KID_SIZE + 1];

    (void)state;
    memset(kid, 'k', sizeof(kid) - 1);
    kid[sizeof(kid) - 1] = '\0';
    for (size_t len = JOSE_KID_SIZE; len + 1 >= JOSE_KID_SIZE; len--) {
        struct jose_key *key = NULL;
        struct buf why;

        kid[len] = '\0';
        buf_init(&why, 1000);
        assert_int_equal(jose_key_read_pem(RFC6979_PEM, strlen(RFC6979_PEM),
                                           kid, &key, &why),
                         len < JOSE_KID_SIZE ? ERR_OK : ERR_RANGE);
        if (key != NULL)
            assert_string_equal(jose_key_kid(key), kid);
        jose_key_free(key);
        buf_clear(&why);
    }
}

/* ---- sets ----------------------------------------------------------------- */

#define RSA_PUBLIC "\"kty\":\"RSA\",\"n\":\"" RFC7520_N "\",\"e\":\"AQAB\""
#define EC_PUBLIC                                                              \
    "\"kty\":\"EC\",\"crv\":\"P-384\",\"x\":\"" RFC6979_X                      \
    "\",\"y\":\"" RFC6979_Y "\""
#define P256_PUBLIC                                                            \
    "\"kty\":\"EC\",\"crv\":\"P-256\",\"x\":\"" P256_X "\",\"y\":\"" P256_Y "\""
#define SET(keys) "{\"keys\":[" keys "]}"
/* a point that is not on the curve: the coordinates changed about */
#define OFF_CURVE                                                              \
    "\"kty\":\"EC\",\"crv\":\"P-384\",\"x\":\"" RFC6979_Y                      \
    "\",\"y\":\"" RFC6979_X "\""

static const struct {
    const char *name, *json;
    enum err want;
    size_t count;
    const char *why;
} sets[] = {
    { "two", SET("{" RSA_PUBLIC "},{" EC_PUBLIC ",\"kid\":\"e\"}"), ERR_OK, 2,
      NULL },
    { "a single key", "{" EC_PUBLIC "}", ERR_OK, 1, NULL },
    { "for signatures, by name",
      SET("{" RSA_PUBLIC ",\"use\":\"sig\",\"alg\":\"RS384\","
          "\"key_ops\":[\"verify\"]}"),
      ERR_OK, 1, NULL },
    { "other members", "{\"x\":1,\"keys\":[{" EC_PUBLIC ",\"x5c\":[]}]}",
      ERR_OK, 1, NULL },
    { "of other uses and kinds beside one",
      SET("{" RSA_PUBLIC ",\"use\":\"enc\"},"
          "{" RSA_PUBLIC ",\"alg\":\"RS256\"},"
          "{" RSA_PUBLIC ",\"alg\":\"ES384\"},"
          "{" EC_PUBLIC ",\"key_ops\":[\"sign\"]},"
          "{" P256_PUBLIC "},{\"kty\":\"OKP\"},{\"kty\":1},{" EC_PUBLIC "}"),
      ERR_OK, 1, NULL },
    { "another curve alone", SET("{" P256_PUBLIC "}"), ERR_ABSENT, 0,
      "no key" },
    { "empty", SET(""), ERR_ABSENT, 0, "no key" },
    { "no set", "{}", ERR_FORM, 0, "JWK Set" },
    { "an array", "[]", ERR_FORM, 0, "JWK Set" },
    { "no list", "{\"keys\":{}}", ERR_FORM, 0, "JWK Set" },
    { "no JSON", "keys", ERR_FORM, 0, "JSON" },
    { "no object", SET("1"), ERR_FORM, 0, "key 1" },
    { "a member twice", SET("{" EC_PUBLIC ",\"x\":\"AA\"}"), ERR_FORM, 0,
      "twice" },
    { "a private key", SET("{" EC_PUBLIC "},{" RSA_PUBLIC ",\"d\":\"AQ\"}"),
      ERR_DENIED, 0, "key 2: a private" },
    { "a shared key", SET("{\"kty\":\"oct\",\"k\":\"AQ\"}"), ERR_DENIED, 0,
      "key 1: a private" },
    { "too short",
      SET("{\"kty\":\"RSA\",\"n\":\"" RSA1024_N "\",\"e\":\"AQAB\"}"),
      ERR_RANGE, 0, "1024 bits" },
    { "an exponent of 1",
      SET("{\"kty\":\"RSA\",\"n\":\"" RFC7520_N "\",\"e\":\"AQ\"}"), ERR_FORM,
      0, "no public key" },
    { "an even exponent",
      SET("{\"kty\":\"RSA\",\"n\":\"" RFC7520_N "\",\"e\":\"Ag\"}"), ERR_FORM,
      0, "no public key" },
    { "a zero in front of the exponent (RFC 7518, 6.3.1)",
      SET("{\"kty\":\"RSA\",\"n\":\"" RFC7520_N "\",\"e\":\"AAEAAQ\"}"),
      ERR_FORM, 0, "zero byte" },
    { "no exponent", SET("{\"kty\":\"RSA\",\"n\":\"" RFC7520_N "\"}"), ERR_FORM,
      0, "its e" },
    { "padding",
      SET("{\"kty\":\"RSA\",\"n\":\"" RFC7520_N "\",\"e\":\"AQAB==\"}"),
      ERR_FORM, 0, "its e" },
    { "a coordinate cut",
      SET("{\"kty\":\"EC\",\"crv\":\"P-384\",\"x\":\"" P256_X
          "\",\"y\":\"" RFC6979_Y "\"}"),
      ERR_FORM, 0, "48 bytes" },
    { "off the curve", SET("{" OFF_CURVE "}"), ERR_FORM, 0, "key 1" },
    { "one kid for two",
      SET("{" RSA_PUBLIC ",\"kid\":\"k\"},{" EC_PUBLIC ",\"kid\":\"k\"}"),
      ERR_CONFLICT, 0, "key 2" },
    { "an empty kid", SET("{" EC_PUBLIC ",\"kid\":\"\"}"), ERR_FORM, 0,
      "its kid" },
    { "a kid that is no text", SET("{" EC_PUBLIC ",\"kid\":7}"), ERR_FORM, 0,
      "its kid" },
};

static void key_sets(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(sets); i++) {
        struct jose_keys *keys = NULL;
        struct buf why;

        ROW(sets[i].name);
        buf_init(&why, 1000);
        assert_int_equal(
            jose_keys_read(sets[i].json, strlen(sets[i].json), &keys, &why),
            sets[i].want);
        if (sets[i].want == ERR_OK) {
            assert_int_equal(jose_keys_count(keys), sets[i].count);
            assert_int_equal(why.len, 0);
        } else {
            assert_null(keys);
            assert_non_null(strstr(why.data, sets[i].why));
        }
        jose_keys_free(keys);
        buf_clear(&why);
    }
}

/* RFC 7638, 3.1; and the thumbprint stands in where there is no kid. */
static void thumbprints(void **state)
{
    static const struct {
        const char *json, *want;
    } rows[] = {
        { "{\"kty\":\"RSA\",\"n\":\"" RFC7638_N "\",\"e\":\"AQAB\"}",
          RFC7638_THUMBPRINT },
        { "{" EC_PUBLIC "}", EC_THUMBPRINT },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char thumbprint[JOSE_THUMBPRINT_SIZE];
        struct jose_keys *keys = NULL;
        struct buf why;

        buf_init(&why, 1000);
        assert_int_equal(
            jose_keys_read(rows[i].json, strlen(rows[i].json), &keys, &why),
            ERR_OK);
        assert_int_equal(jose_key_thumbprint(jose_keys_at(keys, 0), thumbprint),
                         ERR_OK);
        assert_string_equal(thumbprint, rows[i].want);
        assert_string_equal(jose_key_kid(jose_keys_at(keys, 0)), rows[i].want);
        jose_keys_free(keys);
        buf_clear(&why);
    }
}

/* More keys than are kept, each with a kid of its own. */
static void there_is_a_ceiling(void **state)
{
    (void)state;
    for (int count = JOSE_KEYS_MAX; count <= JOSE_KEYS_MAX + 1; count++) {
        struct jose_keys *keys = NULL;
        struct buf json, why;

        buf_init(&json, JOSE_SET_MAX);
        buf_init(&why, 1000);
        buf_puts(&json, "{\"keys\":[");
        for (int i = 0; i < count; i++)
            buf_printf(&json, "%s{" EC_PUBLIC ",\"kid\":\"k%d\"}",
                       i > 0 ? "," : "", i);
        buf_puts(&json, "]}");
        assert_int_equal(jose_keys_read(json.data, json.len, &keys, &why),
                         count == JOSE_KEYS_MAX ? ERR_OK : ERR_LIMIT);
        jose_keys_free(keys);
        buf_clear(&json);
        buf_clear(&why);
    }
}

/* What we hand out is public, whole, and read back by ourselves. */
static void what_is_written(void **state)
{
    const char *const pem[] = { RFC7520_PEM, RFC6979_PEM };
    struct jose_key *keys[2] = { NULL, NULL };
    struct buf set, why;

    (void)state;
    buf_init(&set, 10000);
    buf_init(&why, 1000);
    for (size_t i = 0; i < 2; i++)
        assert_int_equal(
            jose_key_read_pem(pem[i], strlen(pem[i]), NULL, &keys[i], &why),
            ERR_OK);
    jose_keys_write((const struct jose_key *const *)keys, 2, &set);
    assert_int_equal(buf_ok(&set), ERR_OK);
    assert_string_equal(
        set.data, "{\"keys\":[{\"kty\":\"RSA\",\"kid\":\"" RSA_THUMBPRINT
                  "\",\"use\":\"sig\",\"alg\":\"RS384\",\"n\":\"" RFC7520_N
                  "\",\"e\":\"AQAB\"},{\"kty\":\"EC\",\"kid\":\"" EC_THUMBPRINT
                  "\",\"use\":\"sig\",\"alg\":\"ES384\",\"crv\":\"P-384\","
                  "\"x\":\"" RFC6979_X "\",\"y\":\"" RFC6979_Y "\"}]}");
    for (size_t i = 0; i < 2; i++)
        jose_key_free(keys[i]);
    buf_clear(&set);
    buf_clear(&why);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(keys_from_pem),
        cmocka_unit_test(a_kid_of_our_choice),
        cmocka_unit_test(key_sets),
        cmocka_unit_test(thumbprints),
        cmocka_unit_test(there_is_a_ceiling),
        cmocka_unit_test(what_is_written),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
