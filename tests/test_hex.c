#include "adapters/hex.h"
#include "planner/err.h"
#include "tests/test.h"

#include <string.h>

/* RFC 4648, 10: the test vectors of base 16, which has capitals there. */
static void the_vectors_of_the_standard(void **state)
{
    static const struct {
        const char *bytes, *digits, *capitals;
    } rows[] = {
        { "", "", "" },
        { "f", "66", "66" },
        { "fo", "666f", "666F" },
        { "foo", "666f6f", "666F6F" },
        { "foob", "666f6f62", "666F6F62" },
        { "fooba", "666f6f6261", "666F6F6261" },
        { "foobar", "666f6f626172", "666F6F626172" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        size_t len = strlen(rows[i].bytes);
        unsigned char back[8] = { 0 };
        char text[16];

        ROW(rows[i].bytes);
        hex_write((const unsigned char *)rows[i].bytes, len, text);
        assert_string_equal(text, rows[i].digits);
        assert_true(hex_read(rows[i].digits, 2 * len, back, len));
        assert_memory_equal(back, rows[i].bytes, len);
        memset(back, 0, sizeof(back));
        assert_true(hex_read(rows[i].capitals, 2 * len, back, len));
        assert_memory_equal(back, rows[i].bytes, len);
    }
}

static void every_byte_comes_back(void **state)
{
    unsigned char bytes[256], back[256];
    char text[513];

    (void)state;
    for (int i = 0; i < 256; i++)
        bytes[i] = (unsigned char)i;
    hex_write(bytes, sizeof(bytes), text);
    assert_int_equal(strlen(text), 512);
    assert_true(hex_read(text, strlen(text), back, sizeof(back)));
    assert_memory_equal(back, bytes, sizeof(back));
}

static void what_is_no_digit_is_refused(void **state)
{
    static const char *const wrong[] = { "6",  "666", "6g", "g6",
                                         " 6", "-1",  "6\n" };
    unsigned char byte;

    (void)state;
    for (size_t i = 0; i < COUNT(wrong); i++) {
        ROW(wrong[i]);
        assert_false(hex_read(wrong[i], strlen(wrong[i]), &byte, 1));
    }
    assert_int_equal(hex_digit('\0'), -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_vectors_of_the_standard),
        cmocka_unit_test(every_byte_comes_back),
        cmocka_unit_test(what_is_no_digit_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
