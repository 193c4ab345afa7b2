/* The catalogue: GNU gettext reads what GNU msgfmt wrote.  That German puts a
 * comma before the decimals: Unicode CLDR, de, symbols/decimal. */
#include "adapters/catalogue.h"

#include "tests/test.h"

#include <locale.h>

static void check_number(double value, int decimals, const char *want)
{
    struct buf out;

    buf_init(&out, 64);
    catalogue_number(&out, value, decimals);
    assert_string_equal(out.data, want);
    buf_clear(&out);
}

/* In this order: the language of a process is set once. */
static void test_english(void **state)
{
    (void)state;
    assert_string_equal(catalogue_language(), "en");
    assert_int_equal(catalogue_open("en", NULL), ERR_OK);
    check_number(4.5, 1, "4.5");
    check_number(1250.0, 0, "1250");
}

static void test_none(void **state)
{
    (void)state;
    assert_int_equal(catalogue_open("xx", NULL), ERR_ABSENT);
    assert_int_equal(catalogue_open("../de", NULL), ERR_ABSENT);
    assert_int_equal(catalogue_open("", NULL), ERR_ABSENT);
    assert_int_equal(catalogue_open("de", "/nowhere"), ERR_ABSENT);
    assert_string_equal(catalogue_language(), "en");
    check_number(4.5, 1, "4.5");
}

static void test_german(void **state)
{
    char text[16];

    (void)state;
    assert_int_equal(catalogue_open("de", NULL), ERR_OK);
    assert_string_equal(catalogue_language(), "de");
    check_number(4.5, 1, "4,5");
    check_number(-0.25, 2, "-0,25");
    check_number(1250.0, 0, "1250");
    /* what programs read stays as it was */
    snprintf(text, sizeof(text), "%.1f", 4.5);
    assert_string_equal(text, "4.5");
    assert_string_equal(setlocale(LC_NUMERIC, NULL), "C");
    assert_string_equal(_("a text of no catalogue"), "a text of no catalogue");
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(test_english),
                                        cmocka_unit_test(test_none),
                                        cmocka_unit_test(test_german) };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
