#include "adapters/civil.h"
#include "tests/test.h"

#include <time.h>

static void dates_are_those_of_libc(void **state)
{
    int64_t day = civil_to_day(1, 1, 1);

    (void)state;
    for (; day < civil_to_day(2400, 1, 1); day++) {
        time_t t = (time_t)(day * DAY_S);
        struct civil date = civil_of_day(day);
        struct tm tm;

        assert_non_null(gmtime_r(&t, &tm));
        assert_int_equal(date.year, tm.tm_year + 1900);
        assert_int_equal(date.month, tm.tm_mon + 1);
        assert_int_equal(date.day, tm.tm_mday);
        assert_int_equal(civil_to_day(date.year, date.month, date.day), day);
        assert_true(date.day <= civil_days_in_month(date.year, date.month));
    }
    assert_int_equal(civil_to_day(1970, 1, 1), 0);
    assert_int_equal(civil_of_day(civil_to_day(0, 1, 1)).year, 0);
    assert_int_equal(civil_day_of_s(-1), -1);
    assert_int_equal(civil_day_of_s(-DAY_S), -1);
    assert_int_equal(civil_day_of_s(-DAY_S - 1), -2);
    assert_int_equal(civil_day_of_s(DAY_S - 1), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(dates_are_those_of_libc),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
