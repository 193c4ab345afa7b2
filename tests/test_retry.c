#include "service/retry.h"
#include "tests/test.h"

/* ---- what an answer means ------------------------------------------------- */

/* Source: FHIR R4 http.html for what a server says by each; RFC 9110, 15, and
 * RFC 6585, 4 (429), for which of them pass. */
static const struct {
    long status;
    enum retry_class want;
} statuses[] = {
    { 400, RETRY_NEVER },
    { 413, RETRY_NEVER },
    { 422, RETRY_NEVER },
    { 409, RETRY_UNCLEAR },
    { 412, RETRY_UNCLEAR },
    { 500, RETRY_UNCLEAR },
    /* passing by themselves */
    { 408, RETRY_LATER },
    { 425, RETRY_LATER },
    { 429, RETRY_LATER },
    { 502, RETRY_LATER },
    { 503, RETRY_LATER },
    { 504, RETRY_LATER },
    /* the set-up is wrong, and may be mended */
    { 301, RETRY_PAUSED },
    { 302, RETRY_PAUSED },
    { 307, RETRY_PAUSED },
    { 308, RETRY_PAUSED },
    { 401, RETRY_PAUSED },
    { 403, RETRY_PAUSED },
    { 404, RETRY_PAUSED },
    { 405, RETRY_PAUSED },
    { 406, RETRY_PAUSED },
    { 415, RETRY_PAUSED },
    { 501, RETRY_PAUSED },
    /* gone: whoever asks for it decides */
    { 410, RETRY_LATER },
};

static enum retry_class class_of(enum err e, long status)
{
    struct http_answer answer = { .err = e, .status = status };

    return retry_class(&answer);
}

static void classes(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(statuses); i++) {
        print_message("    %ld\n", statuses[i].status);
        assert_int_equal(class_of(ERR_OK, statuses[i].status),
                         statuses[i].want);
    }
    /* Nothing that nobody has heard of is given up. */
    for (long status = 300; status < 600; status++) {
        bool known = false;

        for (size_t i = 0; i < COUNT(statuses); i++)
            known = known || statuses[i].status == status;
        if (!known)
            assert_int_equal(class_of(ERR_OK, status),
                             status < 400 ? RETRY_PAUSED : RETRY_LATER);
    }
}

static void no_answer(void **state)
{
    (void)state;
    assert_int_equal(class_of(ERR_TIMEOUT, 0), RETRY_LATER);
    assert_int_equal(class_of(ERR_IO, 0), RETRY_LATER);
    assert_int_equal(class_of(ERR_MEMORY, 0), RETRY_LATER);
    /* no token is to be had */
    assert_int_equal(class_of(ERR_DENIED, 0), RETRY_PAUSED);
    /* an answer beyond the ceiling is so again */
    assert_int_equal(class_of(ERR_LIMIT, 0), RETRY_NEVER);
}

/* ---- how long ------------------------------------------------------------- */

static const struct {
    const char *name;
    int tries, first_ms, last_ms;
    int64_t bound_ms;
} waits[] = {
    { "first", 0, 1000, 300000, 1000 },
    { "doubled", 1, 1000, 300000, 2000 },
    { "doubled again", 2, 1000, 300000, 4000 },
    { "the last that is below", 8, 1000, 300000, 256000 },
    { "at the ceiling", 9, 1000, 300000, 300000 },
    { "long after", 100000, 1000, 300000, 300000 },
    { "no room", 5, 1000, 1000, 1000 },
    { "short", 0, 1, 1, 1 },
    { "the largest there is", 40, 60000, INT32_MAX, INT32_MAX },
};

/* Unclear answers: bounds of the nth wait, the chance part included. */
static const struct {
    const char *name;
    int tries, last_ms;
    int64_t least_ms, most_ms;
} unclear[] = {
    { "first", 0, 300000, 60000, 67500 },
    { "second", 1, 300000, 300000, 337500 },
    { "third", 2, 300000, 1500000, 1687500 },
    { "fourth", 3, 300000, 7500000, 8437500 },
    { "never beyond a day", 90, 300000, 86400000, 97200000 },
    { "a long last wait", 0, 86400000, 60000, 67500 },
    { "short, first", 0, 500, 500, 562 },
    { "short, third", 2, 500, 2500, 2812 },
    { "shortest", 0, 10, 10, 11 },
};

static void unclear_waits(void **state)
{
    int64_t all_ms = 0;

    (void)state;
    for (size_t i = 0; i < COUNT(unclear); i++) {
        for (int draw = 0; draw < 200; draw++) {
            int64_t wait_ms =
                retry_unclear_ms(unclear[i].tries, unclear[i].last_ms);

            ROW(unclear[i].name);
            assert_in_range(wait_ms, unclear[i].least_ms, unclear[i].most_ms);
        }
    }
    /* five tries with the settings as they come: hours, not seconds */
    for (int i = 0; i < 4; i++)
        all_ms += retry_unclear_ms(i, 300000);
    assert_true(all_ms > 2 * 3600 * 1000);
}

static void jitter(void **state)
{
    enum { DRAWS = 2000 };

    (void)state;
    for (size_t i = 0; i < COUNT(waits); i++) {
        int64_t bound_ms = waits[i].bound_ms;
        int low = 0, high = 0;

        ROW(waits[i].name);
        for (int k = 0; k < DRAWS; k++) {
            int64_t wait_ms = retry_wait_ms(waits[i].tries, waits[i].first_ms,
                                            waits[i].last_ms);

            assert_true(wait_ms >= 1 && wait_ms <= bound_ms);
            low += wait_ms <= bound_ms / 4;
            high += wait_ms > bound_ms - bound_ms / 4;
        }
        if (bound_ms == 1)
            continue;
        /* a quarter each; 8 standard deviations leave no false alarm */
        assert_in_range(low, DRAWS / 4 - 160, DRAWS / 4 + 160);
        assert_in_range(high, DRAWS / 4 - 160, DRAWS / 4 + 160);
    }
}

/* ---- Retry-After ---------------------------------------------------------- */

/* RFC 9110, 5.6.7: its example of an HTTP-date in the three forms. */
#define NOV_1994_S INT64_C(784111777)
#define HOUR_MS    (INT64_C(3600) * 1000)

static const struct {
    const char *name, *text;
    int64_t now_s;
    enum err want;
    int64_t wait_ms;
} afters[] = {
    /* RFC 9110, 10.2.3: "Retry-After: 120" and a date */
    { "seconds", "120", 0, ERR_OK, 120000 },
    { "date", "Fri, 31 Dec 1999 23:59:59 GMT", 946684799 - 30, ERR_OK, 30000 },

    { "none", "0", 0, ERR_OK, 0 },
    { "one hour", "3600", 0, ERR_OK, HOUR_MS },
    { "more than an hour", "3601", 0, ERR_OK, HOUR_MS },
    { "more than a number holds", "99999999999999999999999", 0, ERR_OK,
      HOUR_MS },
    { "IMF-fixdate", "Sun, 06 Nov 1994 08:49:37 GMT", NOV_1994_S - 60, ERR_OK,
      60000 },
    { "RFC 850", "Sunday, 06-Nov-94 08:49:37 GMT", NOV_1994_S - 60, ERR_OK,
      60000 },
    { "asctime", "Sun Nov  6 08:49:37 1994", NOV_1994_S - 60, ERR_OK, 60000 },
    { "a date that is now", "Sun, 06 Nov 1994 08:49:37 GMT", NOV_1994_S, ERR_OK,
      0 },
    { "a date that is past", "Sun, 06 Nov 1994 08:49:37 GMT",
      NOV_1994_S + 86400, ERR_OK, 0 },
    { "a date far off", "Sun, 06 Nov 1994 08:49:37 GMT", NOV_1994_S - 86400,
      ERR_OK, HOUR_MS },

    { "nothing", "", 0, ERR_FORM, 0 },
    { "a word", "soon", 0, ERR_FORM, 0 },
    { "below zero", "-5", 0, ERR_FORM, 0 },
    { "a sign", "+5", 0, ERR_FORM, 0 },
    { "a fraction", "1.5", 0, ERR_FORM, 0 },
    { "a unit", "12s", 0, ERR_FORM, 0 },
    { "two", "1, 2", 0, ERR_FORM, 0 },
    { "ISO 8601", "1994-11-06T08:49:37Z", 0, ERR_FORM, 0 },
};

static void retry_after(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(afters); i++) {
        int64_t wait_ms = -1;

        ROW(afters[i].name);
        assert_int_equal(
            retry_after_ms(afters[i].text, afters[i].now_s * 1000, &wait_ms),
            afters[i].want);
        assert_int_equal(wait_ms,
                         afters[i].want == ERR_OK ? afters[i].wait_ms : -1);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(classes),     cmocka_unit_test(no_answer),
        cmocka_unit_test(jitter),      cmocka_unit_test(unclear_waits),
        cmocka_unit_test(retry_after),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
