/* jose: base64url, signing and verifying */
#include "tests/jose_world.h"

/* ---- base64url ------------------------------------------------------------ */

static const struct {
    const char *bytes, *text;
} pairs[] = {
    /* RFC 4648, 10, without the padding */
    { "", "" },
    { "f", "Zg" },
    { "fo", "Zm8" },
    { "foo", "Zm9v" },
    { "foob", "Zm9vYg" },
    { "fooba", "Zm9vYmE" },
    { "foobar", "Zm9vYmFy" },
    /* RFC 7515, C: the octets 3 236 255 224 193 */
    { "\x03\xec\xff\xe0\xc1", "A-z_4ME" },
    /* RFC 7515, A.1.1: a header with a line break in it */
    { "{\"typ\":\"JWT\",\r\n \"alg\":\"HS256\"}",
      "eyJ0eXAiOiJKV1QiLA0KICJhbGciOiJIUzI1NiJ9" },
};

static void base64url_as_published(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(pairs); i++) {
        struct buf b;

        ROW(pairs[i].text);
        buf_init(&b, 1000);
        jose_base64_write(pairs[i].bytes, strlen(pairs[i].bytes), &b);
        assert_int_equal(b.len, strlen(pairs[i].text));
        assert_memory_equal(b.data != NULL ? b.data : "", pairs[i].text, b.len);
        buf_empty(&b);
        assert_int_equal(
            jose_base64_read(pairs[i].text, strlen(pairs[i].text), &b), ERR_OK);
        assert_int_equal(b.len, strlen(pairs[i].bytes));
        assert_memory_equal(b.data != NULL ? b.data : "", pairs[i].bytes,
                            b.len);
        buf_clear(&b);
    }
}

/* RFC 7515, 2: no padding, no line breaks, no other characters; RFC 4648,
 * 3.5: the bits that are left over are zero. */
static void base64url_is_strict(void **state)
{
    static const char *const wrong[] = { "Zg==",     "Zg=",    "Zm8=",  "Z",
                                         "Zm9vY",    "Zh",     "Zm9",   "+z_4",
                                         "A/z4",     "Zm9v\n", " Zm9v", "Zm 9v",
                                         "Zm9v\xff", "Zm.v" };

    (void)state;
    for (size_t i = 0; i < COUNT(wrong); i++) {
        struct buf b;

        ROW(wrong[i]);
        buf_init(&b, 1000);
        assert_int_equal(jose_base64_read(wrong[i], strlen(wrong[i]), &b),
                         ERR_FORM);
        buf_clear(&b);
    }
}

/* ---- signatures --------------------------------------------------------------- */

static void decode(const char *text, struct buf *out)
{
    buf_init(out, 4096);
    assert_int_equal(jose_base64_read(text, strlen(text), out), ERR_OK);
}

static void rs384_byte_by_byte(void **state)
{
    static const char input[] = RS384_INPUT_HEADER "." RFC7520_PAYLOAD;
    struct buf want, got;

    (void)state;
    decode(RS384_SIGNATURE, &want);
    buf_init(&got, 4096);
    assert_int_equal(jose_key_sign(rsa, input, strlen(input), &got), ERR_OK);
    assert_int_equal(got.len, want.len);
    assert_memory_equal(got.data, want.data, want.len);
    buf_clear(&got);
    buf_clear(&want);
}

static void a_whole_statement_byte_by_byte(void **state)
{
    struct buf payload, got;

    (void)state;
    decode(RFC7520_PAYLOAD, &payload);
    buf_init(&got, 4096);
    assert_int_equal(jose_sign(rsa, payload.data, payload.len, &got), ERR_OK);
    assert_string_equal(got.data, RS384_STATEMENT);
    buf_clear(&got);
    buf_clear(&payload);
}

/* RFC 6979, A.2.6: r and s as they are published, and not in DER. */
static void es384_as_published(void **state)
{
    struct buf raw, der;

    (void)state;
    decode(RFC6979_SIGNATURE, &raw);
    decode(RFC6979_DER, &der);
    assert_int_equal(raw.len, 96);
    assert_int_equal(jose_key_verify(ec, "sample", 6, raw.data, raw.len),
                     ERR_OK);
    assert_int_equal(jose_key_verify(ec, "sample", 6, der.data, der.len),
                     ERR_DENIED);
    assert_int_equal(jose_key_verify(ec, "Sample", 6, raw.data, raw.len),
                     ERR_DENIED);
    assert_int_equal(jose_key_verify(ec, "sample", 6, raw.data, 95),
                     ERR_DENIED);
    assert_int_equal(jose_key_verify(rsa, "sample", 6, raw.data, raw.len),
                     ERR_DENIED);
    buf_clear(&raw);
    buf_clear(&der);
}

/* CVE-2022-21449: r and s of zero pass where nobody looks at their range. */
static void es384_out_of_range(void **state)
{
    unsigned char raw[96] = { 0 };

    (void)state;
    assert_int_equal(jose_key_verify(ec, "sample", 6, raw, sizeof(raw)),
                     ERR_DENIED);
    memset(raw, 0xff, sizeof(raw));
    assert_int_equal(jose_key_verify(ec, "sample", 6, raw, sizeof(raw)),
                     ERR_DENIED);
}

static void statements_of_others(void **state)
{
    char payload[512];
    struct buf want;

    (void)state;
    decode(RFC7520_PAYLOAD, &want);
    assert_int_equal(verify(RS384_INPUT_HEADER "." RFC7520_PAYLOAD
                                               "." RS384_SIGNATURE,
                            payload, sizeof(payload)),
                     ERR_OK);
    assert_string_equal(payload, want.data);
    assert_int_equal(
        verify(ES384_INPUT "." ES384_SIGNATURE, payload, sizeof(payload)),
        ERR_OK);
    assert_string_equal(payload, want.data);
    /* RFC 7520, 4.1, whose key we have: another algorithm */
    assert_int_equal(verify(RFC7520_RS256, payload, sizeof(payload)),
                     ERR_DENIED);
    buf_clear(&want);
}

static void there_and_back(void **state)
{
    const struct jose_key *const both[] = { rsa, ec };

    (void)state;
    for (size_t i = 0; i < COUNT(both); i++) {
        char payload[64];
        struct buf token;

        buf_init(&token, JOSE_TOKEN_MAX);
        assert_int_equal(jose_sign(both[i], "{\"a\":1}", 7, &token), ERR_OK);
        assert_int_equal(verify(token.data, payload, sizeof(payload)), ERR_OK);
        assert_string_equal(payload, "{\"a\":1}");
        /* any other character makes another statement, or none */
        for (size_t at = 0; at < token.len; at++) {
            char before = token.data[at];

            if (before == '.')
                continue;
            token.data[at] = before == 'A' ? 'B' : 'A';
            assert_int_not_equal(verify(token.data, payload, sizeof(payload)),
                                 ERR_OK);
            token.data[at] = before;
        }
        buf_clear(&token);
    }
}

static void a_public_key_signs_nothing(void **state)
{
    struct buf token;

    (void)state;
    buf_init(&token, JOSE_TOKEN_MAX);
    assert_int_equal(jose_sign(jose_keys_at(keys, 0), "{}", 2, &token),
                     ERR_DENIED);
    assert_int_equal(token.len, 0);
    buf_clear(&token);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(base64url_as_published),
        cmocka_unit_test(base64url_is_strict),
        cmocka_unit_test(rs384_byte_by_byte),
        cmocka_unit_test(a_whole_statement_byte_by_byte),
        cmocka_unit_test(es384_as_published),
        cmocka_unit_test(es384_out_of_range),
        cmocka_unit_test(statements_of_others),
        cmocka_unit_test(there_and_back),
        cmocka_unit_test(a_public_key_signs_nothing),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
