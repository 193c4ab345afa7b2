/* jose_world - two keys of the kit and the set of their public halves */
#ifndef HEADGATE_TESTS_JOSE_WORLD_H
#define HEADGATE_TESTS_JOSE_WORLD_H

#include "adapters/jose.h"
#include "tests/jose_kit.h"
#include "tests/test.h"

static struct jose_key *rsa, *ec;
static struct jose_keys *keys; /* the public halves of both */

static inline struct jose_key *read_pem(const char *pem, const char *kid)
{
    struct jose_key *key = NULL;
    struct buf why;

    buf_init(&why, 1000);
    assert_int_equal(jose_key_read_pem(pem, strlen(pem), kid, &key, &why),
                     ERR_OK);
    assert_int_equal(why.len, 0);
    buf_clear(&why);
    return key;
}

static inline int start(void **state)
{
    const struct jose_key *both[2];
    struct buf set, why;

    (void)state;
    rsa = read_pem(RFC7520_PEM, RFC7520_KID);
    ec = read_pem(RFC6979_PEM, "rfc6979");
    both[0] = rsa;
    both[1] = ec;
    buf_init(&set, 10000);
    buf_init(&why, 1000);
    jose_keys_write(both, 2, &set);
    assert_int_equal(jose_keys_read(set.data, set.len, &keys, &why), ERR_OK);
    assert_int_equal(jose_keys_count(keys), 2);
    buf_clear(&set);
    buf_clear(&why);
    return 0;
}

static inline int stop(void **state)
{
    (void)state;
    jose_key_free(rsa);
    jose_key_free(ec);
    jose_keys_free(keys);
    return 0;
}

static inline enum err verify(const char *token, char *payload, size_t size)
{
    struct buf out;
    enum err e;

    buf_init(&out, JOSE_TOKEN_MAX);
    e = jose_verify(keys, token, strlen(token), &out);
    snprintf(payload, size, "%s", out.len > 0 ? out.data : "");
    if (e != ERR_OK)
        assert_int_equal(out.len, 0); /* nothing unproven is handed out */
    buf_clear(&out);
    return e;
}

#endif
