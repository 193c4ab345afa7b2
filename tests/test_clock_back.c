/* A clock that is set back: noticed, and what waits moves with it. */
#include "service/clock_back.h"
#include "tests/service_world.h"
#include "tests/test.h"

enum { HOUR_MS = 3600 * 1000 };

static void only_a_step_back_is_one(void **state)
{
    static const struct {
        const char *name;
        int64_t wall_ms, steady_ms; /* passed since the look before */
        bool back;
    } rows[] = {
        { "a minute", 60000, 60000, false },
        { "slewed by a second", 59000, 60000, false },
        { "forward by a day", 24 * HOUR_MS, 60000, false },
        { "back by an hour", 60000 - HOUR_MS, 60000, true },
        { "a suspended machine", 8 * HOUR_MS, 60000, false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        const int64_t wall_ms = START_S * 1000, steady_ms = 5000;
        struct clock_watch w = { 0, 0 };
        int64_t was_ms;

        ROW(rows[i].name);
        assert_false(clock_watch_look(&w, wall_ms, steady_ms, &was_ms));
        assert_int_equal(clock_watch_look(&w, wall_ms + rows[i].wall_ms,
                                          steady_ms + rows[i].steady_ms,
                                          &was_ms),
                         rows[i].back);
        if (rows[i].back)
            assert_int_equal(was_ms, wall_ms + 60000);
        /* said once */
        assert_false(clock_watch_look(&w, wall_ms + rows[i].wall_ms + 1,
                                      steady_ms + rows[i].steady_ms + 1,
                                      &was_ms));
    }
}

/* Two readings came a week ahead of the clock; nothing waits for a week. */
static void what_waits_moves_back(void **state)
{
    struct world *w = *state;
    const int64_t was_ms = world_now_ms(), now_ms = was_ms - 168 * HOUR_MS;
    int64_t last_ms;

    w->review.record = true;
    world_has_access(w);
    for (int i = 0; i < 2; i++)
        assert_int_equal(world_post(w, OBS(.value = "2310",
                                           .ago_h = 20 * DAYS - i * 10 * DAYS,
                                           .access = "BodyStructure/acc-7")),
                         201);
    world_review(w);
    assert_int_equal(world_post(w, OBS(.value = "2320", .ago_h = HOURS,
                                       .access = "BodyStructure/acc-7")),
                     201);
    assert_int_equal(clock_back_last(w->db, &last_ms), ERR_OK);
    assert_int_equal(last_ms, was_ms);
    world_now_s = now_ms / 1000;
    assert_int_equal(clock_back_mend(w->db, was_ms, now_ms), ERR_OK);
    assert_int_equal(world_count(w, "SELECT max(due_ms) FROM outbox"
                                    " WHERE state = 0"),
                     now_ms);
    /* all that there is, due now */
    assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 1);
    assert_true(world_count(w, "SELECT since_ms FROM news") <= now_ms);
}

/* What is to be looked at on a day is looked at on that day. */
static void a_date_stays(void **state)
{
    struct world *w = *state;
    const int64_t was_ms = world_now_ms(), now_ms = was_ms - HOUR_MS;

    assert_int_equal(db_run(w->db, Q_NEWS_ADD, "iii", INT64(5), INT64(0),
                            was_ms + 48 * HOUR_MS),
                     ERR_OK);
    assert_int_equal(clock_back_mend(w->db, was_ms, now_ms), ERR_OK);
    assert_int_equal(world_count(w, "SELECT since_ms FROM news"),
                     was_ms + 48 * HOUR_MS);
}

/* A clock that was a year ahead: what is to be seen to at once is not due in a
 * year when it is put right. */
static void what_was_told_of_too_early_is_due_now(void **state)
{
    struct world *w = *state;
    const int64_t right_s = world_now_s, year_s = INT64_C(366) * 86400;
    char due[32], want[32];

    world_has_access(w);
    world_now_s = right_s + year_s;
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "motor-weakness",
                          .access = "BodyStructure/acc-7")),
        201);
    world_review(w);
    world_text(w, "SELECT due_s - announced_s FROM episode", want,
               sizeof(want));
    world_now_s = right_s;
    assert_int_equal(
        clock_back_mend(w->db, (right_s + year_s) * 1000, right_s * 1000),
        ERR_OK);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM episode WHERE announced_s = "
                       "1772784720 AND opened_s <= 1772784720"),
        1);
    world_text(w, "SELECT due_s - announced_s FROM episode", due, sizeof(due));
    assert_string_equal(due, want);
    assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 1);
    world_review(w);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM episode WHERE announced_s = "
                       "1772784720 AND due_s < 1772784720 + 86400"),
        1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(only_a_step_back_is_one),
        cmocka_unit_test_setup_teardown(what_waits_moves_back, world_start,
                                        world_stop),
        cmocka_unit_test_setup_teardown(a_date_stays, world_start, world_stop),
        cmocka_unit_test_setup_teardown(what_was_told_of_too_early_is_due_now,
                                        world_start, world_stop),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
