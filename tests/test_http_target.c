/* http_target: paths and queries against RFC 3986 and RFC 9112 */
#include "adapters/http_target.h"
#include "tests/test.h"

static const struct {
    const char *raw;
    enum err want;
    const char *path, *pairs; /* pairs as "[name=value]..." */
} cases[] = {
    { "/", ERR_OK, "/", "" },
    { "/a/b%20c", ERR_OK, "/a/b c", "" },
    { "/a+b", ERR_OK, "/a+b", "" },       /* a plus is a plus in a path */
    { "/%7Euser", ERR_OK, "/~user", "" }, /* RFC 3986 section 6.2.2.2 */
    { "/caf%C3%A9", ERR_OK, "/caf\xc3\xa9", "" },
    { "/a?b", ERR_OK, "/a", "[b=]" },
    { "/a?b=", ERR_OK, "/a", "[b=]" },
    { "/a?=b", ERR_OK, "/a", "[=b]" },
    { "/a?&&b=1&", ERR_OK, "/a", "[b=1]" },
    { "/a?b=1&c=2&b=3", ERR_OK, "/a", "[b=1][c=2][b=3]" },
    { "/a?b=c=d", ERR_OK, "/a", "[b=c=d]" },
    { "/a?b=x+y%2Bz", ERR_OK, "/a", "[b=x y+z]" },
    { "/a?b=/?x", ERR_OK, "/a", "[b=/?x]" },
    { "/a?x&y&z", ERR_OK, "/a", "[x=][y=][z=]" },
    { "*", ERR_OK, "*", "" },
    { "http://h.example/a?b=1", ERR_OK, "/a", "[b=1]" },
    { "HTTP://h.example", ERR_OK, "/", "" },
    { "https://h.example?b=1", ERR_OK, "/", "[b=1]" },
    { "http:///a", ERR_FORM, NULL, NULL },
    { "", ERR_FORM, NULL, NULL },
    { "a", ERR_FORM, NULL, NULL },
    { "h.example:443", ERR_FORM, NULL, NULL }, /* for CONNECT only */
    { "/a%00b", ERR_FORM, NULL, NULL },
    { "/a?b=%00", ERR_FORM, NULL, NULL },
    { "/a?b%00=1", ERR_FORM, NULL, NULL },
    { "/a%", ERR_FORM, NULL, NULL },
    { "/a%4", ERR_FORM, NULL, NULL },
    { "/a%4?1", ERR_FORM, NULL, NULL },
    { "/a%4G", ERR_FORM, NULL, NULL },
    { "/a?b=%4&1", ERR_FORM, NULL, NULL }, /* "%4&1" is no escape */
    { "/a b", ERR_FORM, NULL, NULL },
    { "/a\tb", ERR_FORM, NULL, NULL },
    { "/a\x7f", ERR_FORM, NULL, NULL },
};

static void add_pair(void *arg, const char *name, const char *value)
{
    char *text = arg;
    size_t used = strlen(text);

    snprintf(text + used, 256 - used, "[%s=%s]", name, value);
}

static void test_targets(void **state)
{
    size_t i;

    (void)state;
    for (i = 0; i < COUNT(cases); i++) {
        struct http_target t = { NULL, NULL, 0 };
        char got[256] = "";

        ROW(cases[i].raw);
        assert_int_equal(http_target_read(cases[i].raw, &t), cases[i].want);
        if (cases[i].want != ERR_OK)
            continue;
        http_target_each(&t, add_pair, got);
        assert_string_equal(t.path, cases[i].path);
        assert_string_equal(got, cases[i].pairs);
        http_target_clear(&t);
    }
}

static void test_first_value(void **state)
{
    struct http_target t;

    (void)state;
    assert_int_equal(http_target_read("/a?b=1&c&b=2", &t), ERR_OK);
    assert_string_equal(http_target_query(&t, "b"), "1");
    assert_string_equal(http_target_query(&t, "c"), "");
    assert_null(http_target_query(&t, "1"));
    assert_null(http_target_query(&t, "B"));
    http_target_clear(&t);
    assert_int_equal(http_target_read("/a", &t), ERR_OK);
    assert_null(http_target_query(&t, ""));
    http_target_clear(&t);
    http_target_clear(&t);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_targets),
        cmocka_unit_test(test_first_value),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
