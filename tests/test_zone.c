/* tm_gmtoff of the C library, which the tests compare with. */
#define _DEFAULT_SOURCE

#include "adapters/civil.h"
#include "adapters/zone.h"
#include "tests/test.h"

#include <time.h>
#include <unistd.h>

enum { YEAR_FIRST = 1900, YEAR_LAST = 2199, HALF_HOUR_S = 1800 };

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

/* A system without the zone database has nothing to compare with. */
static bool has_zone(const char *name)
{
    char path[128];

    snprintf(path, sizeof path, "/usr/share/zoneinfo/%s", name);
    if (access(path, R_OK) == 0)
        return true;
    print_message("    %s is not installed\n", name);
    return false;
}

/* Zones with whole, half and odd offsets, north and south, changes at
 * midnight, summer time in winter, and a day left out (Apia, 2011-12-30). */
static const char *const names[] = {
    "Europe/Berlin",       "America/New_York",  "Asia/Kolkata",
    "Australia/Lord_Howe", "America/Sao_Paulo", "Europe/Dublin",
    "Africa/Casablanca",   "Asia/Gaza",         "Asia/Beirut",
    "America/St_Johns",    "Atlantic/Azores",   "Pacific/Apia",
    "America/Nuuk",        "Etc/GMT+12",        "Asia/Kathmandu",
};

/* Every change that the C library makes, to the second. */
static void check_changes(const struct zone *zone)
{
    int64_t day = civil_to_day(YEAR_FIRST, 1, 1);
    int64_t last = civil_to_day(YEAR_LAST + 1, 1, 1);

    for (; day < last; day++) {
        int64_t low = day * DAY_S, high = low + DAY_S;
        int32_t offset_s = libc_offset_s(low);

        assert_int_equal(zone_offset_s(zone, low), offset_s);
        if (libc_offset_s(high) == offset_s)
            continue;
        while (high - low > 1) {
            int64_t middle = low + (high - low) / 2;

            if (libc_offset_s(middle) == offset_s)
                low = middle;
            else
                high = middle;
        }
        assert_int_equal(zone_offset_s(zone, low), offset_s);
        assert_int_equal(zone_offset_s(zone, high), libc_offset_s(high));
    }
}

static void offsets_are_those_of_libc(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(names); i++) {
        struct zone *zone = NULL;

        ROW(names[i]);
        if (!has_zone(names[i]))
            continue;
        assert_int_equal(zone_load(names[i], &zone), ERR_OK);
        use_libc_zone(names[i]);
        check_changes(zone);
        for (int n = 0; n < 20000; n++) {
            int64_t at_s = random_s();

            assert_int_equal(zone_offset_s(zone, at_s), libc_offset_s(at_s));
        }
        zone_free(zone);
    }
    use_libc_zone("UTC");
}

/* The definition itself: shown at the answer, at no time before it. */
static void check_first(const struct zone *zone, int64_t local_s)
{
    int64_t at_s = zone_utc_s(zone, local_s);
    int64_t before_s = at_s - 1;

    assert_true(at_s + zone_offset_s(zone, at_s) >= local_s);
    for (int n = 0; n < 60; n++, before_s -= HALF_HOUR_S)
        assert_true(before_s + zone_offset_s(zone, before_s) < local_s);
}

static void local_times_come_first(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(names); i++) {
        struct zone *zone = NULL;

        ROW(names[i]);
        if (!has_zone(names[i]))
            continue;
        assert_int_equal(zone_load(names[i], &zone), ERR_OK);
        for (int n = 0; n < 3000; n++)
            check_first(zone, random_s());
        for (int64_t day = civil_to_day(1980, 1, 1);
             day < civil_to_day(2045, 1, 1); day++)
            check_first(zone, day * DAY_S);
        zone_free(zone);
    }
}

static const struct {
    const char *name;
    enum err want;
} load_cases[] = {
    { "UTC", ERR_OK },
    { "Etc/UTC", ERR_OK },
    { "", ERR_UNKNOWN },
    { "Europe/Nowhere", ERR_UNKNOWN },
    { "Europe", ERR_UNKNOWN },
    { "Europe/", ERR_UNKNOWN },
    { "Europe/Berlin/", ERR_UNKNOWN },
    { "Europe/Berlin/Mitte", ERR_UNKNOWN },
    { "/Europe/Berlin", ERR_UNKNOWN },
    { "/usr/share/zoneinfo/Europe/Berlin", ERR_UNKNOWN },
    { "../zoneinfo/Europe/Berlin", ERR_UNKNOWN },
    { "Europe/../Europe/Berlin", ERR_UNKNOWN },
    { "Europe/Berlin ", ERR_UNKNOWN },
    { "zone.tab", ERR_UNKNOWN },
    { "CET-1CEST,M3.5.0,M10.5.0/3", ERR_UNKNOWN },
    { "Aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa",
      ERR_UNKNOWN },
    { "Aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa",
      ERR_UNKNOWN },
};

static void loads_by_name(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(load_cases); i++) {
        struct zone *zone = NULL;

        ROW(load_cases[i].name);
        assert_int_equal(zone_load(load_cases[i].name, &zone),
                         load_cases[i].want);
        if (load_cases[i].want == ERR_OK) {
            assert_int_equal(zone_offset_s(zone, 1772784720), 0);
            assert_int_equal(zone_utc_s(zone, 1772784720), 1772784720);
        } else {
            assert_null(zone);
        }
        zone_free(zone);
    }
    zone_free(NULL);
}

/* Zones that count leap seconds would shift every time by half a minute. */
static void refuses_leap_seconds(void **state)
{
    struct zone *zone = NULL;

    (void)state;
    if (has_zone("right/UTC"))
        assert_int_equal(zone_load("right/UTC", &zone), ERR_FORM);
    assert_null(zone);
}

/*
 * A file by hand: until 1000 one hour east, then two, from 2024 by the rule
 * three.
 * Offsets of bytes: 44 second header, 88 its block.
 */
#define HEAD(changes, types, text)                                             \
    'T', 'Z', 'i', 'f', '2', 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,   \
        0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, changes, 0, 0, 0, types, 0,  \
        0, 0, text
/* clang-format off: as the format draws it */
static const unsigned char small[] = {
    HEAD(0, 0, 0),
    HEAD(2, 2, 2),
    0,
    0,
    0,
    0,
    0,
    0,
    0x03,
    0xe8, /* 1000 */
    0,
    0,
    0,
    0,
    0,
    0,
    0x07,
    0xe8, /* 2024 */
    1,
    0, /* types of the two */
    0,
    0,
    0x0e,
    0x10,
    0,
    0, /* 3600 */
    0,
    0,
    0x1c,
    0x20,
    1,
    0, /* 7200 */
    0,
    0,
    '\n',
    'A',
    'B',
    'C',
    '-',
    '3',
    '\n',
};
/* clang-format on */

static void reads_a_small_file(void **state)
{
    struct zone *zone = NULL;

    (void)state;
    assert_int_equal(zone_parse(small, sizeof small, &zone), ERR_OK);
    assert_int_equal(zone_offset_s(zone, 999), 3600);
    assert_int_equal(zone_offset_s(zone, 1000), 7200);
    assert_int_equal(zone_offset_s(zone, 2023), 7200);
    assert_int_equal(zone_offset_s(zone, 2024), 10800);
    zone_free(zone);
}

static const struct {
    const char *name;
    size_t at;
    unsigned char value;
} damages[] = {
    { "magic", 0, 'X' },
    { "version 1", 4, 0 },
    { "second magic", 44, 'X' },
    { "first block longer than the file", 44 - 9, 200 },
    { "leap seconds", 44 + 31, 1 },
    { "more changes than allowed", 44 + 32, 1 },
    { "more types than allowed", 44 + 38, 2 },
    { "no type", 44 + 39, 0 },
    { "changes at the same time", 88 + 14, 3 },
    { "changes not ascending", 88 + 14, 2 },
    { "type that is not there", 88 + 16, 2 },
    { "offset out of range", 88 + 18 + 1, 2 },
    { "no footer", sizeof small - 7, 'x' },
    { "no end of footer", sizeof small - 1, 'x' },
    { "rule that is none", sizeof small - 2, 'x' },
};

static void refuses_damaged_files(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(damages); i++) {
        unsigned char data[sizeof small];
        struct zone *zone = NULL;

        ROW(damages[i].name);
        memcpy(data, small, sizeof small);
        data[damages[i].at] = damages[i].value;
        assert_int_equal(zone_parse(data, sizeof data, &zone), ERR_FORM);
        assert_null(zone);
    }
    for (size_t len = 0; len < sizeof small; len++) {
        /* On the heap, so that reading past the end is noticed. */
        unsigned char *data = malloc(len + (len == 0));
        struct zone *zone = NULL;

        memcpy(data, small, len);
        assert_int_equal(zone_parse(data, len, &zone), ERR_FORM);
        free(data);
    }
}

/* Whatever the bytes: an error, or a zone that gives answers in its limits. */
static void survives_random_damage(void **state)
{
    int good = 0;

    (void)state;
    for (int n = 0; n < 20000; n++) {
        unsigned char data[sizeof small];
        struct zone *zone = NULL;

        memcpy(data, small, sizeof small);
        for (uint32_t i = random_32() % 3; i < 3; i++)
            data[44 + random_32() % (sizeof small - 44)] =
                (unsigned char)random_32();
        if (zone_parse(data, sizeof data, &zone) != ERR_OK)
            continue;
        good++;
        assert_in_range(zone_offset_s(zone, random_s()) + ZONE_OFFSET_MAX_S, 0,
                        2 * ZONE_OFFSET_MAX_S);
        check_first(zone, random_s());
        zone_free(zone);
    }
    assert_true(good > 100);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(offsets_are_those_of_libc),
        cmocka_unit_test(local_times_come_first),
        cmocka_unit_test(loads_by_name),
        cmocka_unit_test(refuses_leap_seconds),
        cmocka_unit_test(reads_a_small_file),
        cmocka_unit_test(refuses_damaged_files),
        cmocka_unit_test(survives_random_damage),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
