#include "service/tokens.h"
#include "tests/test.h"

#include <unistd.h>

/* FIPS 180-4: SHA-256 of "abc", of the 448-bit example, and of nothing. */
#define ABC        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
#define LONG       "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
#define EMPTY      "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
#define LONG_TOKEN "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"

static char path[64];

static int start(void **state)
{
    int fd;

    (void)state;
    snprintf(path, sizeof(path), "/tmp/headgate-tokens-XXXXXX");
    fd = mkstemp(path);
    assert_true(fd >= 0);
    close(fd);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    unlink(path);
    return 0;
}

static void write_file(const char *text)
{
    FILE *f = fopen(path, "w");

    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

/* ---- the file ------------------------------------------------------------- */

static const struct {
    const char *name, *text;
    enum err want;
    const char *line; /* what why names */
} files[] = {
    { "one", "unit-a " ABC "\n", ERR_OK, NULL },
    { "no line feed at the end", "unit-a " ABC, ERR_OK, NULL },
    { "nothing", "", ERR_CONFIG, "no token" },
    { "none, and it is meant", "# later\nnone\n", ERR_OK, NULL },
    { "none, and then one", "none\nunit-a " ABC "\n", ERR_OK, NULL },
    { "comments and blank lines", "# who\n\n  \t\n  # x\nunit-a " ABC "\n",
      ERR_OK, NULL },
    { "tabs, and the ends of lines of another system",
      "unit-a\t" ABC "\r\nunit-b\t" LONG "\r\n", ERR_OK, NULL },
    { "the digest alone", ABC "\n", ERR_CONFIG, ":1:" },
    { "the name alone", "unit-a\n", ERR_CONFIG, ":1:" },
    { "the token itself", "# \nunit-a abc\n", ERR_CONFIG, ":2:" },
    { "a digit short",
      "unit-a "
      "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015a\n",
      ERR_CONFIG, ":1:" },
    { "a digit more", "unit-a " ABC "0\n", ERR_CONFIG, ":1:" },
    { "not hexadecimal",
      "unit-a g"
      "a7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\n",
      ERR_CONFIG, ":1:" },
    { "something behind it", "unit-a " ABC " x\n", ERR_CONFIG, ":1:" },
    { "scopes",
      "unit-a " ABC " system/Task.rs\tsystem/*.c  headgate/metrics.r \r\n",
      ERR_OK, NULL },
    { "a scope of a person", "unit-a " ABC " user/Task.rs\n", ERR_CONFIG,
      ":1: behind" },
    { "a scope of one patient", "unit-a " ABC " patient/Task.rs\n", ERR_CONFIG,
      ":1: behind" },
    /* it would have to be kept to, and is not */
    { "a scope with a limit",
      "unit-a " ABC " system/Observation.r?category=laboratory\n", ERR_CONFIG,
      ":1: behind" },
    { "a good scope first", "unit-a " ABC " system/Task.r system/Task.rx\n",
      ERR_CONFIG, ":1: behind" },
    { "a comment behind it", "unit-a " ABC " # the unit\n", ERR_CONFIG,
      ":1: behind" },
    { "a good one first", "unit-a " ABC "\nunit-b nonsense\n", ERR_CONFIG,
      ":2:" },
};

static void the_file_is_checked(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(files); i++) {
        struct tokens *t = NULL;
        struct buf why;

        ROW(files[i].name);
        write_file(files[i].text);
        buf_init(&why, 1000);
        assert_int_equal(tokens_load(path, &t, &why), files[i].want);
        assert_int_equal(t != NULL, files[i].want == ERR_OK);
        if (files[i].line != NULL) {
            assert_non_null(strstr(why.data, files[i].line));
            /* who made the mistake may have put a token there */
            assert_null(strstr(why.data, "abc"));
            assert_null(strstr(why.data, "unit-"));
        } else {
            assert_int_equal(why.len, 0);
        }
        tokens_free(t);
        buf_clear(&why);
    }
}

static void a_file_that_is_not_there(void **state)
{
    struct tokens *t = NULL;
    struct buf why;

    (void)state;
    buf_init(&why, 1000);
    assert_int_equal(tokens_load("/tmp/headgate-none/tokens", &t, &why),
                     ERR_IO);
    assert_null(t);
    assert_non_null(strstr(why.data, "/tmp/headgate-none/tokens"));
    buf_clear(&why);
    tokens_free(NULL);
}

static void there_is_a_ceiling(void **state)
{
    enum { MOST = 256 };
    struct tokens_client client;
    struct tokens *t = NULL;
    struct buf why;

    (void)state;
    for (int count = MOST; count <= MOST + 1; count++) {
        FILE *f = fopen(path, "w");

        assert_non_null(f);
        for (int i = 0; i < count; i++)
            fprintf(f, "unit-%d %s\n", i, i == MOST - 1 ? LONG : ABC);
        fclose(f);
        buf_init(&why, 1000);
        assert_int_equal(tokens_load(path, &t, &why),
                         count == MOST ? ERR_OK : ERR_CONFIG);
        if (count == MOST) {
            assert_true(tokens_accept(t, LONG_TOKEN, &client));
            assert_int_equal(client.line, MOST); /* the last */
            tokens_free(t);
        } else {
            assert_non_null(strstr(why.data, ":257:"));
        }
        buf_clear(&why);
    }
}

/* ---- who comes in --------------------------------------------------------- */

static const struct {
    const char *name, *header;
    bool want;
} headers[] = {
    { "the first", "Bearer abc", true },
    { "the second, given in capitals", "Bearer " LONG_TOKEN, true },
    { "the scheme in any case (RFC 9110, 11.1)", "bEARER abc", true },
    { "no header", NULL, false },
    { "nothing", "", false },
    { "no token", "Bearer ", false },
    { "the scheme alone", "Bearer", false },
    { "another scheme", "Basic abc", false },
    { "without a scheme", "abc", false },
    { "a token that begins so", "Bearer ab", false },
    { "a token that goes on", "Bearer abcd", false },
    { "another case", "Bearer ABC", false },
    { "a blank behind it", "Bearer abc ", false },
    { "the digest is no token", "Bearer " ABC, false },
    { "two", "Bearer abc, Bearer abc", false },
};

static void who_is_let_in(void **state)
{
    struct tokens_client client;
    struct tokens *t = NULL;
    struct buf why;

    (void)state;
    write_file(
        "unit-a " ABC "\nunit-b "
        "248D6A61D20638B8E5C026930C3E6039A33CE45964FF2167F6ECEDD419DB06C1"
        "\n");
    buf_init(&why, 1000);
    assert_int_equal(tokens_load(path, &t, &why), ERR_OK);
    for (size_t i = 0; i < COUNT(headers); i++) {
        ROW(headers[i].name);
        assert_int_equal(
            tokens_accept(t, tokens_bearer(headers[i].header), &client),
            headers[i].want);
    }
    tokens_free(t);
    buf_clear(&why);
}

/* The digest of nothing is nobody's. */
static void nobody_comes_in_without_a_token(void **state)
{
    struct tokens_client client;
    struct tokens *t = NULL;
    struct buf why;

    (void)state;
    buf_init(&why, 1000);
    write_file("unit-a " EMPTY "\n");
    assert_int_equal(tokens_load(path, &t, &why), ERR_OK);
    assert_null(tokens_bearer("Bearer "));
    assert_false(tokens_accept(t, tokens_bearer("Bearer "), &client));
    tokens_free(t);
    buf_clear(&why);
}

/* Who it is, by line, and what for; the first of two equal ones counts. */
static void what_each_may_do(void **state)
{
    static const struct {
        const char *token;
        int line;
        const char *scopes; /* NULL: everything */
    } rows[] = { { "abc", 2, "system/Task.rs system/Observation.c" },
                 { LONG_TOKEN, 4, NULL } };
    struct tokens *t = NULL;
    struct buf why;

    (void)state;
    buf_init(&why, 1000);
    write_file("# who\nunit-a " ABC " system/Task.rs system/Observation.c"
               "\n\nunit-b " LONG "\nunit-c " ABC "\n");
    assert_int_equal(tokens_load(path, &t, &why), ERR_OK);
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct tokens_client client = { .line = 0 };

        assert_true(tokens_accept(t, rows[i].token, &client));
        assert_int_equal(client.line, rows[i].line);
        if (rows[i].scopes == NULL)
            assert_null(client.scopes);
        else
            assert_memory_equal(client.scopes, rows[i].scopes,
                                strlen(rows[i].scopes));
    }
    tokens_free(t);
    buf_clear(&why);
}

/* A line that is cut would be another line. */
static void a_line_that_is_too_long(void **state)
{
    struct tokens *t = NULL;
    struct buf why;
    FILE *f;

    (void)state;
    buf_init(&why, 1000);
    f = fopen(path, "w");
    assert_non_null(f);
    fprintf(f, "unit-a " ABC);
    for (int i = 0; i < 300; i++)
        fprintf(f, " system/Task.r");
    fprintf(f, "\n");
    fclose(f);
    assert_int_equal(tokens_load(path, &t, &why), ERR_CONFIG);
    assert_non_null(strstr(why.data, ":1: the line is too long"));
    assert_null(t);
    buf_clear(&why);
}

/* A service that nobody can reach is a mistake in the file. */
static void a_file_without_a_token_is_refused(void **state)
{
    static const char *const texts[] = { "", "\n\n", "# unit-a\n" };

    (void)state;
    for (size_t i = 0; i < COUNT(texts); i++) {
        struct tokens *t = NULL;
        struct buf why;

        buf_init(&why, 1000);
        write_file(texts[i]);
        assert_int_equal(tokens_load(path, &t, &why), ERR_CONFIG);
        assert_non_null(strstr(why.data, "no token"));
        assert_null(t);
        buf_clear(&why);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)
        TEST(the_file_is_checked),
        TEST(a_file_that_is_not_there),
        TEST(there_is_a_ceiling),
        TEST(who_is_let_in),
        TEST(nobody_comes_in_without_a_token),
        TEST(a_file_without_a_token_is_refused),
        TEST(what_each_may_do),
        TEST(a_line_that_is_too_long),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
