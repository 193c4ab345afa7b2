/*
 * How long what is to go to the record has waited: from when it was first to be
 * sent, whatever the tries did.
 *
 * The waits are those of the scenes: what is expected is what a person reads off
 * the hands of the clock between the first try and the question.
 */
#include "service/outbox_wait.h"

#include "tests/access_kit.h"

enum { TRY_S = 900 };

static int64_t row;

static void sign(struct world *w, const char *what)
{
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom", .sign = what,
                                       .access = ACCESS)),
                     201);
    world_review(w);
}

static void start_service(struct world *w)
{
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
}

/* One ulcer, and one Task that goes to the record. */
static void one_task(struct world *w)
{
    w->review.record = true;
    start_service(w);
    sign(w, "hand-ulcer");
    row = world_count(w, "SELECT resource FROM outbox WHERE task = resource");
}

static struct outbox_wait look(struct world *w)
{
    struct outbox_wait wait;

    assert_int_equal(outbox_wait_look(w->db, world_now_ms(), &wait), ERR_OK);
    return wait;
}

static void assert_waits_s(struct world *w, int64_t expected_s)
{
    assert_int_equal(look(w).oldest_ms, expected_s * 1000);
}

/* The record gives no answer, and is tried again in a quarter of an hour. */
static void fail_once(struct world *w)
{
    assert_int_equal(db_run(w->db, Q_OUTBOX_RETRY, "iiii", row, INT64(1),
                            world_now_ms() + (int64_t)TRY_S * 1000, INT64(0)),
                     ERR_OK);
}

static void fail_for(struct world *w, int tries)
{
    for (int i = 0; i < tries; i++) {
        fail_once(w);
        world_now_s += TRY_S;
    }
}

static void deliver(struct world *w)
{
    assert_int_equal(
        db_run(w->db, Q_OUTBOX_SENT, "iiii", row,
               INT64(world_count(w, "SELECT wanted FROM outbox WHERE task ="
                                    " resource")),
               INT64(201), INT64(0)),
        ERR_OK);
}

static void nothing_waits(void **state)
{
    struct world *w = *state;

    assert_waits_s(w, 0);
    assert_int_equal(look(w).late_ms, 0);
    one_task(w);
    deliver(w);
    world_now_s += HOUR_S;
    assert_waits_s(w, 0);
    assert_int_equal(look(w).late_ms, 0);
}

static void tries_that_fail_do_not_shorten_it(void **state)
{
    struct world *w = *state;

    one_task(w);
    assert_waits_s(w, 0);
    for (int i = 1; i <= 8; i++) {
        fail_for(w, 1);
        assert_waits_s(w, (int64_t)i * TRY_S);
        /* what the other gauge can never say of this */
        assert_int_equal(look(w).late_ms, 0);
    }
    deliver(w);
    assert_waits_s(w, 0);
}

static void new_evidence_does_not_shorten_it(void **state)
{
    struct world *w = *state;
    int64_t before;

    one_task(w);
    before = world_count(w, "SELECT wanted FROM outbox WHERE task = resource");
    fail_for(w, 4);
    sign(w, "pain-at-rest");
    assert_true(world_count(w, "SELECT wanted FROM outbox WHERE task ="
                               " resource") > before);
    fail_for(w, 1);
    assert_waits_s(w, 5 * TRY_S);
}

/* What it waited before it was delivered is over. */
static void what_comes_later_waits_from_then_on(void **state)
{
    struct world *w = *state;

    one_task(w);
    fail_for(w, 4);
    deliver(w);
    world_now_s += HOUR_S;
    sign(w, "pain-at-rest");
    fail_for(w, 1);
    assert_waits_s(w, TRY_S);
}

/* To be read there, for people: nothing is kept from the record. */
static void a_look_is_no_delivery(void **state)
{
    struct world *w = *state;

    one_task(w);
    assert_int_equal(db_run(w->db, Q_OUTBOX_FOUND, "iss", row, "r-1", "1"),
                     ERR_OK);
    deliver(w);
    assert_int_equal(
        db_run(w->db, Q_OUTBOX_LOOK, "iii", row, world_now_ms(), INT64(0)),
        ERR_OK);
    world_now_s += HOUR_S;
    assert_waits_s(w, 0);
    assert_int_equal(look(w).late_ms, (int64_t)HOUR_S * 1000);
}

/* It was decided three weeks before, and is to be sent only since then. */
static void a_record_that_is_named_later(void **state)
{
    struct world *w = *state;

    start_service(w);
    sign(w, "hand-ulcer");
    world_now_s += 21 * 24 * HOUR_S;
    w->review.record = true;
    start_service(w);
    row = world_count(w, "SELECT resource FROM outbox WHERE task = resource");
    assert_waits_s(w, 0);
    fail_for(w, 2);
    assert_waits_s(w, 2 * TRY_S);
    /* starts in between change nothing */
    start_service(w);
    fail_for(w, 1);
    assert_waits_s(w, 3 * TRY_S);
    /* nor does a record that was taken away, and is named again */
    w->review.record = false;
    start_service(w);
    world_now_s += HOUR_S;
    assert_waits_s(w, 0);
    w->review.record = true;
    start_service(w);
    assert_waits_s(w, 0);
    fail_for(w, 1);
    assert_waits_s(w, TRY_S);
}

/* In silent mode nothing is to be sent, not even what waits from before. */
static void silent_mode(void **state)
{
    struct world *w = *state;

    one_task(w);
    fail_for(w, 1);
    w->review.silent = true;
    start_service(w);
    world_now_s += HOUR_S;
    assert_waits_s(w, 0);
    w->review.silent = false;
    start_service(w);
    fail_for(w, 1);
    assert_waits_s(w, TRY_S);
}

static void a_clock_that_is_set_back(void **state)
{
    struct world *w = *state;

    one_task(w);
    world_now_s -= HOUR_S;
    assert_waits_s(w, 0);
    assert_int_equal(look(w).late_ms, 0);
}

static void all_that_waits_is_due_at_a_word(void **state)
{
    struct world *w = *state;
    size_t count = 7;

    assert_int_equal(outbox_wait_end(w->db, world_now_ms(), &count), ERR_OK);
    assert_int_equal(count, 0);
    one_task(w);
    fail_once(w);
    world_now_s += 60;
    assert_int_equal(
        db_first(w->db, Q_OUTBOX_DUE, "ii", world_now_ms(), INT64(9)),
        ERR_ABSENT);
    db_done(w->db, Q_OUTBOX_DUE);
    assert_int_equal(outbox_wait_end(w->db, world_now_ms(), &count), ERR_OK);
    assert_int_equal(count, 1);
    assert_int_equal(
        db_first(w->db, Q_OUTBOX_DUE, "ii", world_now_ms(), INT64(9)), ERR_OK);
    assert_int_equal(db_int(w->db, Q_OUTBOX_DUE, 0), row);
    db_done(w->db, Q_OUTBOX_DUE);
    /* how long it has waited is what it was */
    assert_waits_s(w, 60);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, start_access, world_stop)
        TEST(nothing_waits),
        TEST(tries_that_fail_do_not_shorten_it),
        TEST(new_evidence_does_not_shorten_it),
        TEST(what_comes_later_waits_from_then_on),
        TEST(a_look_is_no_delivery),
        TEST(a_record_that_is_named_later),
        TEST(silent_mode),
        TEST(a_clock_that_is_set_back),
        TEST(all_that_waits_is_due_at_a_word),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
