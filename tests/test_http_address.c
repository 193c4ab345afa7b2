/* Addresses as values: RFC 4291 (2.2, 2.5.5.2), RFC 4632 for prefixes, and the
 * forms of RFC 7239, section 6, for a name with a port. */
#include "adapters/http_address.h"
#include "tests/test.h"

#include <arpa/inet.h>
#include <netinet/in.h>

static void reads_every_form(void **state)
{
    static const struct {
        const char *text, *same_as; /* NULL: not an address */
    } cases[] = {
        { "192.0.2.7", "192.0.2.7" },
        { "192.0.2.7:47011", "192.0.2.7" },
        { "::ffff:192.0.2.7", "192.0.2.7" },
        { "[::ffff:192.0.2.7]:1", "192.0.2.7" },
        { "2001:db8::1", "2001:db8::1" },
        { "[2001:db8::1]", "2001:db8::1" },
        { "[2001:db8:0:0::1]:443", "2001:db8::1" },
        { "", NULL },
        { "unknown", NULL },
        { "192.0.2", NULL },
        { "192.0.2.256", NULL },
        { "[2001:db8::1", NULL },
        { "[2001:db8::1]x", NULL },
        { "host.example", NULL },
        { "192.0.2.7, 192.0.2.8", NULL },
        { "0000000000000000000000000000000000000000000000000000000000000000001",
          NULL },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct http_address got, want;
        bool read =
            http_address_read(cases[i].text, strlen(cases[i].text), &got);

        ROW(cases[i].text);
        assert_int_equal(read, cases[i].same_as != NULL);
        assert_int_equal(got.known, read);
        if (!read)
            continue;
        assert_true(http_address_read(cases[i].same_as,
                                      strlen(cases[i].same_as), &want));
        assert_true(http_address_same(&got, &want));
    }
}

static void is_the_same_over_both_families(void **state)
{
    struct sockaddr_in four = { .sin_family = AF_INET };
    struct sockaddr_in6 six = { .sin6_family = AF_INET6 };
    struct sockaddr local = { .sa_family = AF_UNIX };
    struct http_address a, b;

    (void)state;
    inet_pton(AF_INET, "127.0.0.9", &four.sin_addr);
    inet_pton(AF_INET6, "::ffff:127.0.0.9", &six.sin6_addr);
    http_address_set(&a, (struct sockaddr *)&four);
    http_address_set(&b, (struct sockaddr *)&six);
    assert_true(http_address_same(&a, &b));
    assert_true(http_address_is_loopback(&a));
    inet_pton(AF_INET6, "::1", &six.sin6_addr);
    http_address_set(&b, (struct sockaddr *)&six);
    assert_true(http_address_is_loopback(&b));
    assert_false(http_address_same(&a, &b));
    inet_pton(AF_INET6, "::2", &six.sin6_addr);
    http_address_set(&b, (struct sockaddr *)&six);
    assert_false(http_address_is_loopback(&b));
    http_address_set(&b, &local);
    assert_false(b.known);
    assert_false(http_address_is_loopback(&b));
}

static void knows_its_prefixes(void **state)
{
    static const struct {
        const char *list, *address;
        bool in;
    } cases[] = {
        { "10.1.0.0/16", "10.1.255.255", true },
        { "10.1.0.0/16", "10.2.0.0", false },
        { "10.1.0.0/17", "10.1.128.0", false },
        { "192.0.2.7", "192.0.2.7", true },
        { "192.0.2.7", "192.0.2.6", false },
        { "192.0.2.7, 2001:db8::/33", "2001:db8:7fff::", true },
        { "192.0.2.7, 2001:db8::/33", "2001:db8:8000::", false },
        { "::/0", "192.0.2.1", true },
        { "", "192.0.2.1", false },
    };
    struct http_prefixes list;
    struct http_address a = { .known = false };
    const char *bad = "";

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].list);
        assert_int_equal(http_prefixes_read(cases[i].list, &list, &bad),
                         ERR_OK);
        assert_true(
            http_address_read(cases[i].address, strlen(cases[i].address), &a));
        assert_int_equal(http_prefixes_have(&list, &a), cases[i].in);
    }
    a.known = false;
    assert_int_equal(http_prefixes_read("::/0", &list, &bad), ERR_OK);
    assert_false(http_prefixes_have(&list, &a));
    assert_int_equal(http_prefixes_read("10.0.0.0/8, x", &list, &bad),
                     ERR_FORM);
    assert_string_equal(bad, "x");
}

/* One host has a whole /64 (RFC 4291, 2.5.1), and one address of IPv4. */
static void tells_hosts_apart(void **state)
{
    static const struct {
        const char *a, *b;
        bool same;
    } cases[] = {
        { "192.0.2.7", "192.0.2.7", true },
        { "192.0.2.7", "192.0.2.8", false },
        { "192.0.2.7", "::ffff:192.0.2.7", true },
        { "2001:db8::1", "2001:db8::ffff:ffff:ffff:ffff", true },
        { "2001:db8::1", "2001:db8:0:1::1", false },
        { "2001:db8:0:1::1", "2001:db8:0:1:8000::", true },
        { "::1", "::ffff:192.0.2.7", false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct http_address a, b;

        ROW(cases[i].b);
        assert_true(http_address_read(cases[i].a, strlen(cases[i].a), &a));
        assert_true(http_address_read(cases[i].b, strlen(cases[i].b), &b));
        assert_int_equal(http_address_same_host(&a, &b), cases[i].same);
        assert_int_equal(http_address_same_host(&b, &a), cases[i].same);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_every_form),
        cmocka_unit_test(is_the_same_over_both_families),
        cmocka_unit_test(knows_its_prefixes),
        cmocka_unit_test(tells_hosts_apart),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
