#include "adapters/civil.h"

/*
 * The count starts on 1 March of the year 0, so that the leap day is the last
 * of its year and a month's first day is a straight line through its number:
 * (153 m + 2) / 5, with March = 0.
 */
enum {
    DAYS_TO_1970 = 719468, /* from 0000-03-01 to 1970-01-01 */
    DAYS_OF_400_YEARS = 146097
};

bool civil_is_leap(int year)
{
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

int civil_days_in_month(int year, int month)
{
    static const int days[] = {
        31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31
    };

    return days[month - 1] + (month == 2 && civil_is_leap(year));
}

int64_t civil_to_day(int year, int month, int day)
{
    /* 400 years more keep every quotient positive for January of year 0. */
    int64_t y = (int64_t)year + 400 - (month <= 2);
    int64_t m = month > 2 ? month - 3 : month + 9;

    return y * 365 + y / 4 - y / 100 + y / 400 + (153 * m + 2) / 5 + day - 1 -
           DAYS_OF_400_YEARS - DAYS_TO_1970;
}

struct civil civil_of_day(int64_t day)
{
    int64_t n = day + DAYS_TO_1970 + DAYS_OF_400_YEARS;
    int64_t era = n / DAYS_OF_400_YEARS;
    int64_t in_era = n % DAYS_OF_400_YEARS;
    /* Take the leap days out; what is left is years of 365 days. */
    int64_t years = (in_era - in_era / 1460 + in_era / 36524 -
                     in_era / (DAYS_OF_400_YEARS - 1)) /
                    365;
    int64_t in_year = in_era - (365 * years + years / 4 - years / 100);
    int64_t m = (5 * in_year + 2) / 153;
    struct civil date = {
        .year = (int)(era * 400 + years - 400 + (m >= 10)),
        .month = (int)(m < 10 ? m + 3 : m - 9),
        .day = (int)(in_year - (153 * m + 2) / 5 + 1),
    };

    return date;
}

int64_t civil_day_of_s(int64_t at_s)
{
    return at_s / DAY_S - (at_s % DAY_S < 0);
}
