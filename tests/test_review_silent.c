/* Silent mode: everything is kept and nothing is posted; and its end. */
#include "service/decisions.h"
#include "service/episodes.h"
#include "service/queue.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define FLOW_TASK "refer-flow-review"
#define AGAIN     "repeat-digital-pressure"

/* A patient with a fistula, a record to post to, and silent mode. */
static int start(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    w->review.record = true;
    w->review.silent = true;
    world_has_access(w);
    return 0;
}

static void flow(struct world *w, double after_d, const char *value)
{
    world_now_s += (int64_t)(after_d * 86400);
    assert_int_equal(world_post(w, OBS(.value = value, .access = ACCESS)), 201);
    world_review(w);
}

static void high_flow(struct world *w)
{
    flow(w, 0, "2240");
    flow(w, 7, "2310");
}

/* The service starts again, without silent mode. */
static void go_live(struct world *w)
{
    w->review.silent = false;
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    world_review(w);
}

static long long silent_tasks(struct world *w, const char *status)
{
    char sql[128];

    snprintf(sql, sizeof(sql),
             "SELECT count(*) FROM task WHERE silent = 1 AND status = '%s'",
             status);
    return world_count(w, sql);
}

/* ---- while it lasts ------------------------------------------------------- */

static void all_is_kept_and_nothing_is_posted(void **state)
{
    struct world *w = world(state);
    struct resource row;
    char fid[80];

    high_flow(w);
    assert_false(w->told);
    assert_int_equal(world_tasks(w, NULL, NULL), 0); /* by the search */
    assert_int_equal(silent_tasks(w, "requested"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM episode WHERE state = 1"), 1);
    assert_int_equal(world_count(w, "SELECT silent FROM decision"), 1);
    world_text(w,
               "SELECT r.fid FROM resource r JOIN task t ON t.resource ="
               " r.id",
               fid, sizeof(fid));
    assert_int_equal(resource_by_fid(w->db, FHIR_TASK, fid, &row), ERR_OK);
    assert_int_equal(resource_shown(w->db, FHIR_TASK, fid, &row), ERR_ABSENT);
    /* what is added to it is not posted either */
    flow(w, 7, "2400");
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
    assert_int_equal(world_count(w, "SELECT min(silent) FROM decision"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision"), 2);
}

static void the_queue_says_so(void **state)
{
    struct world *w = world(state);
    struct queue_wish wish = { .table = true,
                               .options = { .silent = true, .zone = w->zone } };
    struct buf out;

    high_flow(w);
    wish.options.now_s = world_now_s;
    buf_init(&out, 1 << 20);
    assert_int_equal(queue_read(w->db, &wish, 0, &out), ERR_OK);
    assert_non_null(strstr(out.data, "SILENT MODE"));
    assert_true(strstr(out.data, "SILENT MODE") <
                strstr(out.data, "Fictional, Wren"));
    assert_non_null(strstr(out.data, "; not"));
    buf_empty(&out);
    wish.table = false;
    assert_int_equal(queue_read(w->db, &wish, 0, &out), ERR_OK);
    assert_non_null(strstr(out.data, "\"silent\":true"));
    buf_clear(&out);
}

/* ---- its end -------------------------------------------------------------- */

static void what_holds_is_posted_anew(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    world_now_s += 86400;
    go_live(w);
    assert_true(w->told);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(silent_tasks(w, "cancelled"), 1);
    assert_int_equal(silent_tasks(w, "requested"), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox o JOIN task t"
                                    " ON t.resource = o.resource AND"
                                    " t.silent = 0"),
                     1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 1);
    /* the number of the silent one stays taken: its key is not used again */
    assert_int_equal(world_count(w, "SELECT number FROM episode WHERE"
                                    " state = 1"),
                     2);
    assert_int_equal(world_count(w, "SELECT count(DISTINCT key) FROM task"), 2);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision WHERE"
                                    " how = 6 AND act = 3 AND silent = 1"),
                     1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision WHERE"
                                    " act = 1 AND silent = 0"),
                     1);
    /* a second start finds nothing more to do */
    go_live(w);
    assert_false(w->told);
    assert_int_equal(world_count(w, "SELECT count(*) FROM task"), 2);
}

/* It was found in time, silently: by now its readings are old. */
static void what_has_become_old_is_posted_too(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    world_now_s += INT64_C(60) * 86400;
    go_live(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    /* and stays */
    assert_int_equal(db_run(w->db, Q_NEWS_OF_ALL, ""), ERR_OK);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM task"), 2);
}

/* Without silent mode before it, what is old raises nothing. */
static void what_is_old_and_was_never_found_raises_nothing(void **state)
{
    struct world *w = world(state);

    w->review.silent = false;
    assert_int_equal(world_post(w, OBS(.value = "2240", .access = ACCESS,
                                       .ago_h = 67 * DAYS)),
                     201);
    assert_int_equal(world_post(w, OBS(.value = "2310", .access = ACCESS,
                                       .ago_h = 60 * DAYS)),
                     201);
    go_live(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
}

/* Only what it had found is put to people though it is old: not another rule of
 * that group, of which nobody knew. */
static void what_it_had_not_found_stays_old(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    world_now_s += INT64_C(60) * 86400;
    w->review.silent = false;
    assert_int_equal(world_post(w, OBS(.code = "heart-failure-sign",
                                       .sign = "heart-failure-admission",
                                       .ago_h = 59 * DAYS)),
                     201);
    go_live(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "/rules/HF-4|1") > 0, 1);
    /* that of HF-1 with the sign; HF-4 alone would be asap */
    assert_int_equal(world_task_says(w, FLOW_TASK, "\"priority\":\"urgent\""),
                     1);
}

static void what_no_longer_holds_is_only_closed(void **state)
{
    struct world *w = world(state);

    flow(w, 0, "2240");
    world_now_s += 7 * 86400;
    assert_int_equal(
        world_put(w, "o2", OBS(.id = "o2", .value = "2310", .access = ACCESS)),
        201);
    world_review(w);
    assert_int_equal(silent_tasks(w, "requested"), 1);
    assert_int_equal(world_put(w, "o2",
                               OBS(.id = "o2", .value = "1310",
                                   .status = "corrected", .access = ACCESS)),
                     200);
    go_live(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
    assert_int_equal(silent_tasks(w, "cancelled"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
}

static void reminders_likewise(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "coldness", .access = ACCESS)),
                     201);
    assert_int_equal(
        world_post(w, OBS(.code = "digital-pressure", .value = "45",
                          .unit = "mm[Hg]", .access = ACCESS)),
        201);
    world_review(w);
    assert_int_equal(silent_tasks(w, "requested"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
    world_now_s += 2 * 86400;
    go_live(w);
    assert_int_equal(world_tasks(w, AGAIN, "requested"), 1);
    assert_int_equal(silent_tasks(w, "cancelled"), 1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM repeat WHERE state = 1"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM task"), 2);
}

/* An access that was given up meanwhile: its Task is closed, and no other
 * opens. */
static void of_an_access_given_up(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    w->review.silent = false;
    assert_int_equal(
        world_put(w, "acc-7",
                  ACC(.id = "acc-7", .identifier = "A-7", .inactive = true)),
        200);
    go_live(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
    assert_int_equal(silent_tasks(w, "cancelled"), 1);
}

/* What had been posted before silent mode stays posted; what was added to it
 * goes to the record when the mode ends. */
static void a_silent_time_between(void **state)
{
    struct world *w = world(state);

    w->review.silent = false;
    high_flow(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    w->review.silent = true;
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    flow(w, 7, "2400");
    assert_false(w->told);
    assert_int_equal(world_count(w, "SELECT wanted FROM outbox"), 1);
    go_live(w);
    assert_int_equal(world_count(w, "SELECT wanted FROM outbox"), 2);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM task"), 1);
}

/* Each step of the first review after it is made to fail: then all of it is
 * undone, and the next try does it once. */
static void its_end_is_one_transaction(void **state)
{
    bool failed = true;

    for (long n = 1; failed; n++) {
        struct world *w;

        assert_true(n < 2000);
        start(state);
        w = world(state);
        high_flow(w);
        w->review.silent = false;
        assert_int_equal(review_start(w->db, &w->review), ERR_OK);
        assert_int_equal(world_count(w, "SELECT count(*) FROM news WHERE"
                                        " since_ms = 0"),
                         1);
        db_fail_step(w->db, 2 + n); /* after the savepoint and the list */
        {
            bool more, told = false;

            failed = review_run(w->db, &w->review, &more, &told) != ERR_OK;
            db_fail_step(w->db, 0);
            if (failed) { /* as the store does it */
                assert_int_equal(db_run(w->db, Q_ROLLBACK, ""), ERR_OK);
                db_forget_ids(w->db);
                assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
            }
        }
        failed = failed || world_count(w, "SELECT count(*) FROM task") == 1;
        if (failed)
            assert_int_equal(silent_tasks(w, "requested"), 1);
        world_now_s += 61;
        world_review(w);
        assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
        assert_int_equal(silent_tasks(w, "cancelled"), 1);
        assert_int_equal(world_count(w, "SELECT count(*) FROM task"), 2);
        assert_int_equal(world_count(w, "SELECT count(*) FROM episode"), 2);
        assert_int_equal(world_count(w, "SELECT count(*) FROM decision"), 3);
        assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 1);
        world_stop(state);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(all_is_kept_and_nothing_is_posted),
        TEST(the_queue_says_so),
        TEST(what_holds_is_posted_anew),
        TEST(what_has_become_old_is_posted_too),
        TEST(what_is_old_and_was_never_found_raises_nothing),
        TEST(what_it_had_not_found_stays_old),
        TEST(what_no_longer_holds_is_only_closed),
        TEST(reminders_likewise),
        TEST(of_an_access_given_up),
        TEST(a_silent_time_between),
        cmocka_unit_test(its_end_is_one_transaction),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
