/* Token buckets.  What they must keep to: RFC 3290, appendix A - in any time t
 * no more than burst + rate * t. */
#include "service/rate.h"
#include "tests/test.h"

enum { HOUR_MS = 3600000 };

static struct rate_table *open_table(void)
{
    struct rate_table *t = NULL;

    assert_int_equal(rate_open(&t), ERR_OK);
    return t;
}

static void gives_a_burst_then_the_rate(void **state)
{
    static const struct {
        struct rate_limit limit;
        int64_t wait_ms; /* once the burst is used up, by the definition:
                            period / count, rounded up */
    } cases[] = {
        { { 10, 1000, 5 }, 100 },    { { 3, 1000, 7 }, 334 },
        { { 1, 1000, 1 }, 1000 },    { { 100000, 1000, 1 }, 1 },
        { { 60, 60000, 60 }, 1000 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const struct rate_limit *l = &cases[i].limit;
        struct rate_table *t = open_table();
        int64_t now = 123456;

        for (int64_t n = 0; n < l->burst; n++)
            assert_int_equal(rate_take(t, l, "a", 1, now), 0);
        assert_int_equal(rate_take(t, l, "a", 1, now), cases[i].wait_ms);
        assert_int_equal(rate_wait(t, l, "a", 1, now), cases[i].wait_ms);
        /* asking in vain costs nothing: it is there when it was said to be */
        now += cases[i].wait_ms;
        assert_int_equal(rate_wait(t, l, "a", 1, now), 0);
        assert_int_equal(rate_take(t, l, "a", 1, now), 0);
        /* another client has a bucket of its own */
        assert_int_equal(rate_take(t, l, "b", 1, now), 0);
        /* after a long rest no more than the burst is there, and a clock that
         * stands still or goes back gives nothing */
        now += 1000LL * HOUR_MS;
        for (int64_t n = 0; n < l->burst; n++)
            assert_int_equal(rate_take(t, l, "a", 1, now), 0);
        assert_true(rate_take(t, l, "a", 1, now) > 0);
        assert_true(rate_take(t, l, "a", 1, now - HOUR_MS) > 0);
        rate_close(t);
    }
}

/* Steps of a fixed sequence (a linear congruential generator, Numerical
 * Recipes' constants), not of the clock. */
static uint32_t step(uint32_t *seed)
{
    *seed = *seed * 1664525U + 1013904223U;
    return *seed >> 8;
}

/* The bound of the definition, over every interval of a run. */
static void keeps_to_the_definition(void **state)
{
    enum { TRIES = 3000, TAKEN_MAX = TRIES };
    static int64_t taken[TAKEN_MAX];
    uint32_t seed = 2026;

    (void)state;
    for (int run = 0; run < 20; run++) {
        struct rate_limit l = { 1 + step(&seed) % 50, 1000,
                                1 + step(&seed) % 30 };
        struct rate_table *t = open_table();
        int64_t now = 0;
        size_t count = 0;

        for (int i = 0; i < TRIES; i++) {
            now += step(&seed) % 40;
            if (rate_take(t, &l, "x", 1, now) == 0)
                taken[count++] = now;
        }
        assert_true(count > 0);
        for (size_t a = 0; a < count; a++) {
            for (size_t b = a; b < count; b++)
                assert_true((int64_t)(b - a + 1) * l.period_ms <=
                            l.burst * l.period_ms +
                                (taken[b] - taken[a]) * l.count);
        }
        rate_close(t);
    }
}

/* More clients than there is room for: nobody is refused for that, and a
 * client that goes on knocking keeps its bucket. */
static void has_room_for_all(void **state)
{
    const struct rate_limit l = { 1, 60000, 2 };
    struct rate_table *t = open_table();

    (void)state;
    assert_int_equal(rate_take(t, &l, "steady", 6, 0), 0);
    assert_int_equal(rate_take(t, &l, "steady", 6, 0), 0);
    for (int i = 0; i < 20 * RATE_SLOTS; i++)
        assert_int_equal(rate_take(t, &l, &i, sizeof(i), 1 + i / 1000), 0);
    rate_close(t);
}

/* A limit that becomes smaller counts at once. */
static void follows_another_limit(void **state)
{
    const struct rate_limit large = { 10, 1000, 100 }, small = { 1, 1000, 2 };
    struct rate_table *t = open_table();

    (void)state;
    assert_int_equal(rate_take(t, &large, "a", 1, 0), 0);
    assert_int_equal(rate_take(t, &small, "a", 1, 0), 0);
    assert_int_equal(rate_take(t, &small, "a", 1, 0), 0);
    assert_int_equal(rate_take(t, &small, "a", 1, 0), 1000);
    rate_close(t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(gives_a_burst_then_the_rate),
        cmocka_unit_test(keeps_to_the_definition),
        cmocka_unit_test(has_room_for_all),
        cmocka_unit_test(follows_another_limit),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
