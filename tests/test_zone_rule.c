/* tm_gmtoff of the C library, which the tests compare with. */
#define _DEFAULT_SOURCE

#include "adapters/civil.h"
#include "adapters/zone_rule.h"
#include "tests/test.h"

#include <time.h>

enum { YEAR_FIRST = 1900, YEAR_LAST = 2199 };

static uint64_t seed = 20260306;

/* Knuth's MMIX generator; the upper half is good enough here. */
static uint32_t random_32(void)
{
    seed = seed * 6364136223846793005u + 1442695040888963407u;
    return (uint32_t)(seed >> 32);
}

static int64_t random_s(void)
{
    int64_t first = civil_to_day(YEAR_FIRST, 1, 1) * DAY_S;
    int64_t last = civil_to_day(YEAR_LAST + 1, 1, 1) * DAY_S;
    uint64_t n = (uint64_t)random_32() << 32 | random_32();

    return first + (int64_t)(n % (uint64_t)(last - first));
}

static void use_libc_zone(const char *name)
{
    assert_int_equal(setenv("TZ", name, 1), 0);
    tzset();
}

static int32_t libc_offset_s(int64_t at_s)
{
    time_t t = (time_t)at_s;
    struct tm tm;

    assert_non_null(localtime_r(&t, &tm));
    return (int32_t)tm.tm_gmtoff;
}

/* Each is also a value of TZ, so that the C library can say what it means. */
static const char *const rules[] = {
    "UTC0",
    "CET-1CEST,M3.5.0,M10.5.0/3",
    "EST5EDT,M3.2.0,M11.1.0",
    "IST-5:30",
    "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0",
    "IST-1GMT0,M10.5.0,M3.5.0/1",
    "<-02>2<-01>,M3.5.0/-1,M10.5.0/0",
    "EET-2EEST,M3.4.4/50,M10.4.4/50",
    "AAA3:20:30BBB2:10:05,J60/1:30:15,J300/4",
    "AAA-3BBB,J59,J60/1",
    "AAA-3BBB,59/0,299/23:59:59",
    "AAA-12:45BBB-13:45,M9.5.0/2:45,M4.1.0/3:45",
};

static void rules_are_those_of_libc(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(rules); i++) {
        struct zone_rule rule;

        ROW(rules[i]);
        assert_int_equal(zone_rule_read(rules[i], strlen(rules[i]), &rule),
                         ERR_OK);
        use_libc_zone(rules[i]);
        for (int64_t at_s = civil_to_day(1970, 1, 3) * DAY_S;
             at_s < civil_to_day(2199, 12, 29) * DAY_S;) {
            int64_t next_s = zone_rule_next_s(&rule, at_s);

            assert_int_equal(zone_rule_offset_s(&rule, at_s),
                             libc_offset_s(at_s));
            if (next_s == INT64_MAX)
                break;
            /* The second before a change, then the change. */
            assert_int_equal(zone_rule_offset_s(&rule, next_s - 1),
                             libc_offset_s(next_s - 1));
            assert_int_not_equal(zone_rule_offset_s(&rule, next_s - 1),
                                 zone_rule_offset_s(&rule, next_s));
            at_s = next_s;
        }
        for (int n = 0; n < 20000; n++) {
            int64_t at_s = random_s();

            if (at_s > civil_to_day(1970, 1, 3) * DAY_S)
                assert_int_equal(zone_rule_offset_s(&rule, at_s),
                                 libc_offset_s(at_s));
        }
    }
    use_libc_zone("UTC");
}

/* RFC 8536, 3.3.1: summer time all the year. */
static void summer_may_last(void **state)
{
    static const char text[] = "XXX3EDT4,0/0,J365/23";
    struct zone_rule rule;

    (void)state;
    assert_int_equal(zone_rule_read(text, sizeof text - 1, &rule), ERR_OK);
    for (int n = 0; n < 20000; n++)
        assert_int_equal(zone_rule_offset_s(&rule, random_s()), -4 * 3600);
    for (int year = 1999; year < 2030; year++) {
        int64_t at_s = civil_to_day(year, 1, 1) * DAY_S + 3 * 3600;

        for (int64_t d = -1; d <= 1; d++)
            assert_int_equal(zone_rule_offset_s(&rule, at_s + d), -4 * 3600);
    }
}

static const struct {
    const char *text;
    enum err want;
} rule_cases[] = {
    { "", ERR_FORM },
    { "AB1", ERR_FORM },
    { "ABC", ERR_FORM },
    { "ABC24", ERR_OK },
    { "ABC25", ERR_FORM },
    { "ABC1:59", ERR_OK },
    { "ABC1:60", ERR_FORM },
    { "ABC1:", ERR_FORM },
    { "<A1>1", ERR_FORM },
    { "<A+1>1", ERR_OK },
    { "<A+1 1", ERR_FORM },
    { "ABC1DEF", ERR_FORM },
    { "ABC1DEF,", ERR_FORM },
    { "ABC1DEF,M3.5.0", ERR_FORM },
    { "ABC1DEF,M3.5.0,M10.5.0", ERR_OK },
    { "ABC1DEF,M3.5.0,M10.5.0x", ERR_FORM },
    { "ABC1DEF,M0.5.0,M10.5.0", ERR_FORM },
    { "ABC1DEF,M13.5.0,M10.5.0", ERR_FORM },
    { "ABC1DEF,M3.0.0,M10.5.0", ERR_FORM },
    { "ABC1DEF,M3.6.0,M10.5.0", ERR_FORM },
    { "ABC1DEF,M3.5.7,M10.5.0", ERR_FORM },
    { "ABC1DEF,J1,J365", ERR_OK },
    { "ABC1DEF,J0,J365", ERR_FORM },
    { "ABC1DEF,J1,J366", ERR_FORM },
    { "ABC1DEF,0,365", ERR_OK },
    { "ABC1DEF,0,366", ERR_FORM },
    { "ABC1DEF,0/167,365/-167", ERR_OK },
    { "ABC1DEF,0/168,365", ERR_FORM },
    { "ABC1DEF,0/,365", ERR_FORM },
    { "ABC1DEF,0001,365", ERR_FORM },
};

static void reads_rules(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(rule_cases); i++) {
        struct zone_rule rule;

        ROW(rule_cases[i].text);
        assert_int_equal(zone_rule_read(rule_cases[i].text,
                                        strlen(rule_cases[i].text), &rule),
                         rule_cases[i].want);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rules_are_those_of_libc),
        cmocka_unit_test(summer_may_last),
        cmocka_unit_test(reads_rules),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
