#include "adapters/hl7_value.h"
#include "tests/test.h"

#include <regex.h>

/*
 * NM: HL7 v2.5.1, chapter 2A: |999|, |-123.792|; leading zeros, and trailing
 * zeros behind a point, do not change the number ("01.20" is 1.2); "<12" is no
 * NM.  The right column is FHIR R4's decimal of the same digits.
 */
static void test_numbers(void **state)
{
    static const struct {
        const char *text, *want;
        enum err e;
    } rows[] = {
        { "999", "999", ERR_OK },
        { "-123.792", "-123.792", ERR_OK },
        { "01.20", "1.20", ERR_OK },
        { "0.1", "0.1", ERR_OK },
        { "+138.0", "138.0", ERR_OK },
        { ".5", "0.5", ERR_OK },
        { "-.5", "-0.5", ERR_OK },
        { "5.", "5", ERR_OK },
        { "00", "0", ERR_OK },
        { "000.00", "0.00", ERR_OK },
        { "-0", "0", ERR_OK },
        { "-0.00", "0.00", ERR_OK },
        { " 12 ", "12", ERR_OK },
        { "123456789012345678", "123456789012345678", ERR_OK },
        { "-000123456789012345.678", "-123456789012345.678", ERR_OK },
        { "0.123456789012345678", "0.123456789012345678", ERR_OK },
        { "1234567890123456789", NULL, ERR_LIMIT },
        { "0.1234567890123456789", NULL, ERR_LIMIT },
        { "", NULL, ERR_FORM },
        { ".", NULL, ERR_FORM },
        { "-", NULL, ERR_FORM },
        { "+.", NULL, ERR_FORM },
        { "<12", NULL, ERR_FORM },
        { "1,5", NULL, ERR_FORM },
        { "1 000", NULL, ERR_FORM },
        { "1E3", NULL, ERR_FORM },
        { "0x10", NULL, ERR_FORM },
        { "--1", NULL, ERR_FORM },
        { "1-", NULL, ERR_FORM },
        { "1.2.3", NULL, ERR_FORM },
        { "NaN", NULL, ERR_FORM },
        { "about 2000", NULL, ERR_FORM },
        { "12\n", NULL, ERR_FORM },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char got[HL7_NUMBER_SIZE];

        ROW(rows[i].text);
        assert_int_equal(hl7_number_read(rows[i].text, got), rows[i].e);
        if (rows[i].want != NULL)
            assert_string_equal(got, rows[i].want);
    }
}

static unsigned next(unsigned *seed)
{
    *seed = *seed * 1103515245u + 12345u;
    return *seed >> 16 & 0x7fff;
}

/*
 * Any text of the characters of numbers: what is taken is a decimal of FHIR R4
 * (its own regular expression, without the exponent) and the same number to
 * the C library; what is not taken is no NM by the standard's words.
 */
static void test_random_numbers(void **state)
{
    static const char chars[] = "0123456789+-.0019";
    unsigned seed = 20260304;
    regex_t fhir, nm;
    int taken = 0;

    (void)state;
    assert_int_equal(regcomp(&fhir, "^-?(0|[1-9][0-9]*)(\\.[0-9]+)?$",
                             REG_EXTENDED | REG_NOSUB),
                     0);
    assert_int_equal(regcomp(&nm, "^[+-]?([0-9]+\\.?[0-9]*|\\.[0-9]+)$",
                             REG_EXTENDED | REG_NOSUB),
                     0);
    for (int i = 0; i < 200000; i++) {
        char text[16], got[HL7_NUMBER_SIZE];
        size_t len = next(&seed) % (sizeof(text) - 1);
        enum err e;

        for (size_t k = 0; k < len; k++)
            text[k] = chars[next(&seed) % (sizeof(chars) - 1)];
        text[len] = '\0';
        e = hl7_number_read(text, got);
        assert_int_equal(e == ERR_OK, regexec(&nm, text, 0, NULL, 0) == 0);
        if (e != ERR_OK)
            continue;
        taken++;
        assert_int_equal(regexec(&fhir, got, 0, NULL, 0), 0);
        assert_true(strtod(got, NULL) >= strtod(text, NULL) &&
                    strtod(got, NULL) <= strtod(text, NULL));
    }
    regfree(&fhir);
    regfree(&nm);
    assert_true(taken > 5000);
}

static void test_in_text(void **state)
{
    static const struct {
        const char *text, *number, *unit;
    } rows[] = {
        { "2150", "2150", NULL },
        { " 2150.0 ", "2150.0", NULL },
        { "2150 mL/min", "2150", "mL/min" },
        { "2150  ml/min", "2150", "ml/min" },
        { "138 mmHg", "138", "mm[Hg]" },
        { "138 mm Hg", "138", "mm[Hg]" },
        { "about 2000", NULL, NULL },
        { "2150mL/min", NULL, NULL },
        { "2150 furlongs", NULL, NULL },
        { "2150 mL/min twice", NULL, NULL },
        { "2,150 mL/min", NULL, NULL },
        { ">2150 mL/min", NULL, NULL },
        { "1400 - 1500", NULL, NULL },
        { "4/5", NULL, NULL },
        { "", NULL, NULL },
        { " ", NULL, NULL },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char number[HL7_NUMBER_SIZE];
        const char *unit;
        enum err e = hl7_number_in_text(rows[i].text, number, &unit);

        ROW(rows[i].text);
        assert_int_equal(e, rows[i].number != NULL ? ERR_OK : ERR_FORM);
        if (e != ERR_OK)
            continue;
        assert_string_equal(number, rows[i].number);
        if (rows[i].unit == NULL)
            assert_null(unit);
        else
            assert_string_equal(unit, rows[i].unit);
    }
}

/*
 * SN: HL7 v2.5.1, chapter 2A: |>^100| is greater than 100, |^100^-^200| a range
 * of 100 through 200, |^1^:^228| a ratio, |^2^+| a graded response; comparators
 * are > < >= <= = <>.  Forms by HL7's maps SN to Quantity, Range and Ratio
 * (v2-to-FHIR 1.0.0, OBX to Observation).
 */
static void test_structured(void **state)
{
    static const struct {
        const char *parts[HL7_SN_PARTS];
        enum err e;
        enum hl7_sn_kind kind;
        int at;
        const char *comparator, *low, *high;
    } rows[] = {
        { { ">", "100", "", "" }, ERR_OK, HL7_SN_QUANTITY, 0, ">", "100", "" },
        { { "<=", "0.50", "", "" },
          ERR_OK,
          HL7_SN_QUANTITY,
          0,
          "<=",
          "0.50",
          "" },
        { { ">=", "1", "", "" }, ERR_OK, HL7_SN_QUANTITY, 0, ">=", "1", "" },
        { { "<", "1", "", "" }, ERR_OK, HL7_SN_QUANTITY, 0, "<", "1", "" },
        { { "=", "7", "", "" }, ERR_OK, HL7_SN_QUANTITY, 0, NULL, "7", "" },
        { { "", "7", "", "" }, ERR_OK, HL7_SN_QUANTITY, 0, NULL, "7", "" },
        { { "", "100", "-", "200" },
          ERR_OK,
          HL7_SN_RANGE,
          0,
          NULL,
          "100",
          "200" },
        { { "=", "-5", "-", "-5" }, ERR_OK, HL7_SN_RANGE, 0, NULL, "-5", "-5" },
        { { "", "1", ":", "228" }, ERR_OK, HL7_SN_RATIO, 0, NULL, "1", "228" },
        { { "", "1", "/", "2" }, ERR_OK, HL7_SN_RATIO, 0, NULL, "1", "2" },
        { { "", "2", "+", "" }, ERR_OK, HL7_SN_TEXT, 0, NULL, "2", "" },
        { { "", "", "", "" }, ERR_OK, HL7_SN_EMPTY, 0, NULL, "", "" },
        { { "<>", "3", "", "" }, ERR_FORM, HL7_SN_EMPTY, 1, NULL, "", "" },
        { { ">3000", "", "", "" }, ERR_FORM, HL7_SN_EMPTY, 1, NULL, "", "" },
        { { ">", "", "", "" }, ERR_FORM, HL7_SN_EMPTY, 2, NULL, "", "" },
        { { ">", "many", "", "" }, ERR_FORM, HL7_SN_EMPTY, 2, NULL, "", "" },
        { { "", "5", "", "6" }, ERR_FORM, HL7_SN_EMPTY, 3, NULL, "", "" },
        { { "", "5", ".", "6" }, ERR_FORM, HL7_SN_EMPTY, 3, NULL, "", "" },
        { { "", "", "-", "6" }, ERR_FORM, HL7_SN_EMPTY, 2, NULL, "", "" },
        { { "", "5", "-", "" }, ERR_FORM, HL7_SN_EMPTY, 4, NULL, "", "" },
        { { "", "20", "-", "10" }, ERR_FORM, HL7_SN_EMPTY, 4, NULL, "", "" },
        { { ">", "10", "-", "20" }, ERR_FORM, HL7_SN_EMPTY, 1, NULL, "", "" },
        { { "", "2", "+", "3" }, ERR_FORM, HL7_SN_EMPTY, 4, NULL, "", "" },
        { { "", "1234567890123456789", "", "" },
          ERR_LIMIT,
          HL7_SN_EMPTY,
          2,
          NULL,
          "",
          "" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct hl7_sn sn;
        int at = 0;

        print_message("    %s^%s^%s^%s\n", rows[i].parts[0], rows[i].parts[1],
                      rows[i].parts[2], rows[i].parts[3]);
        assert_int_equal(hl7_sn_read(rows[i].parts, &sn, &at), rows[i].e);
        if (rows[i].e != ERR_OK) {
            assert_int_equal(at, rows[i].at);
            continue;
        }
        assert_int_equal(sn.kind, rows[i].kind);
        assert_string_equal(sn.low, rows[i].low);
        assert_string_equal(sn.high, rows[i].high);
        if (rows[i].comparator == NULL)
            assert_null(sn.comparator);
        else
            assert_string_equal(sn.comparator, rows[i].comparator);
        if (sn.kind == HL7_SN_TEXT)
            assert_string_equal(sn.text, "2+");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_random_numbers),
        cmocka_unit_test(test_in_text),
        cmocka_unit_test(test_structured),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
