/* Lines that are typed during a procedure.  Units and the thrill's codes are
 * those of the CodeSystem (quantity.h); the forms are our own, as the header
 * states them. */
#include "adapters/case_line.h"

#include "tests/test.h"

struct want {
    enum quantity quantity;
    double value;
};

static void check_good(const char *text, int minute, size_t count,
                       const struct want *want)
{
    struct case_line line;
    struct buf why;

    ROW(text);
    buf_init(&why, 1024);
    assert_int_equal(case_line_read(text, &line, &why), ERR_OK);
    assert_int_equal(line.minute, minute);
    assert_int_equal(line.count, count);
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(line.entries[i].quantity, want[i].quantity);
        assert_near(line.entries[i].value, want[i].value, 1e-12);
    }
    buf_clear(&why);
}

#define GOOD(text, minute, ...)                                                \
    do {                                                                       \
        const struct want rows_[] = { __VA_ARGS__ };                           \
        check_good(text, minute, COUNT(rows_), rows_);                         \
    } while (0)

static void test_taken(void **state)
{
    (void)state;
    GOOD("flow 1760", -1, { Q_ACCESS_FLOW, 1760 });
    GOOD("flow 1760 1700", -1, { Q_ACCESS_FLOW, 1760 },
         { Q_ACCESS_FLOW, 1700 });
    GOOD("  FLOW\t1760  1700 1690 1710 ", -1, { Q_ACCESS_FLOW, 1760 },
         { Q_ACCESS_FLOW, 1700 }, { Q_ACCESS_FLOW, 1690 },
         { Q_ACCESS_FLOW, 1710 });
    GOOD("dowel 4", -1, { Q_DOWEL_DIAMETER, 4 });
    GOOD("dowel 3.25 at 09:05", 545, { Q_DOWEL_DIAMETER, 3.25 });
    GOOD("dowel 3,5", -1, { Q_DOWEL_DIAMETER, 3.5 });
    GOOD("stretch 5", -1, { Q_BAND_STRETCHED, 5 });
    GOOD("cut", -1, { Q_BAND_RELEASED, 1 });
    GOOD("cut at 23:59", 1439, { Q_BAND_RELEASED, 1 });
    GOOD("pressure 131/72", -1, { Q_SYSTOLIC_PRESSURE, 131 },
         { Q_DIASTOLIC_PRESSURE, 72 });
    GOOD("pressure 91 at 00:00", 0, { Q_MEAN_PRESSURE, 91 });
    GOOD("index 0.55", -1, { Q_DIGITAL_BRACHIAL_INDEX, 0.55 });
}

static void test_thrill(void **state)
{
    static const struct {
        const char *text;
        enum sign sign;
    } rows[] = { { "thrill present", SIGN_THRILL_PRESENT },
                 { "Thrill Weak", SIGN_THRILL_WEAK },
                 { "thrill absent at 10:00", SIGN_THRILL_ABSENT } };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct case_line line;
        struct buf why;

        ROW(rows[i].text);
        buf_init(&why, 1024);
        assert_int_equal(case_line_read(rows[i].text, &line, &why), ERR_OK);
        assert_int_equal(line.count, 1);
        assert_int_equal(line.entries[0].quantity, Q_THRILL);
        assert_int_equal(line.entries[0].sign, rows[i].sign);
        buf_clear(&why);
    }
}

static void test_refused(void **state)
{
    static const struct {
        const char *text;
        enum err e;
        const char *why; /* part of it */
    } rows[] = {
        { "", ERR_FORM, "nothing was typed" },
        { "   \t ", ERR_FORM, "nothing was typed" },
        { "flow", ERR_FORM, "flow 1760 1700" },
        { "flow 1 2 3 4 5", ERR_FORM, "one to four" },
        { "flow 17 60 18 00 19 00 20", ERR_FORM, "one to four" },
        { "flow 1e3", ERR_FORM, "flow 1760" },
        { "flow -1700", ERR_FORM, "flow 1760" },
        { "flow 0x700", ERR_FORM, "flow 1760" },
        { "flow nan", ERR_FORM, "flow 1760" },
        { "flow 1.7.0", ERR_FORM, "flow 1760" },
        { "flow .5", ERR_FORM, "flow 1760" },
        { "flow 1700mL/min", ERR_FORM, "flow 1760" },
        { "flow 1.7", ERR_RANGE, "1.70 mL/min cannot be" },
        { "flow 17", ERR_RANGE, "17 mL/min cannot be" },
        { "flow 1760 17", ERR_RANGE, "17 mL/min cannot be" },
        { "flow 17600", ERR_RANGE, "17600 mL/min cannot be" },
        { "pressure 30", ERR_RANGE, "30 mm[Hg] cannot be" },
        { "pressure 45/20", ERR_FORM, "131/72" },
        { "pressure 280/180", ERR_FORM, "131/72" },
        { "index 1.9", ERR_RANGE, "cannot be" },
        { "dowel 1", ERR_RANGE, "cannot be" },
        { "dowel 40", ERR_RANGE, "40 mm cannot be" },
        { "dowel 4 3", ERR_FORM, "dowel 4.0" },
        { "stretch", ERR_FORM, "stretch 5" },
        { "cut 4", ERR_FORM, "nothing after it" },
        { "pressure 72/131", ERR_FORM, "131/72" },
        { "pressure 131/", ERR_FORM, "131/72" },
        { "pressure /72", ERR_FORM, "131/72" },
        { "pressure 13/7", ERR_FORM, "131/72" },
        { "index 55", ERR_RANGE, "cannot be" },
        { "thrill good", ERR_FORM, "thrill weak" },
        { "thrill", ERR_FORM, "thrill weak" },
        { "flow 1760 at", ERR_FORM, "at 09:25" },
        { "flow 1760 at 9:25", ERR_FORM, "at 09:25" },
        { "flow 1760 at 24:00", ERR_FORM, "at 09:25" },
        { "flow 1760 at 09:60", ERR_FORM, "at 09:25" },
        { "at 09:25", ERR_FORM, "at 09:25" },
        { "tie 4", ERR_FORM, "a line begins with" },
        { "flow 1 2 3 4 5 6 7 8 9", ERR_FORM, "too long" },
        { "flow 1111111111111111111111111111111111111", ERR_FORM, "too long" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct case_line line;
        struct buf why;

        ROW(rows[i].text);
        buf_init(&why, 1024);
        assert_int_equal(case_line_read(rows[i].text, &line, &why), rows[i].e);
        assert_non_null(strstr(why.data, rows[i].why));
        buf_clear(&why);
    }
}

/* What is said of a line can be typed again. */
static void test_said(void **state)
{
    static const char *const rows[] = { "flow 1760",   "dowel 3.25",
                                        "stretch 5",   "cut",
                                        "pressure 91", "index 0.55",
                                        "thrill weak" };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct case_line line;
        struct buf why, said;

        ROW(rows[i]);
        buf_init(&why, 1024);
        buf_init(&said, 1024);
        assert_int_equal(case_line_read(rows[i], &line, &why), ERR_OK);
        case_entry_say(&line.entries[0], &said);
        assert_string_equal(said.data, rows[i]);
        buf_clear(&why);
        buf_clear(&said);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(test_taken),
                                        cmocka_unit_test(test_thrill),
                                        cmocka_unit_test(test_refused),
                                        cmocka_unit_test(test_said) };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
