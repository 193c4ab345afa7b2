/*
 * Every step of the store is made to fail, one after the other: whatever
 * fails, nothing is half done, and trying again brings what was wanted, once.
 */
#include "tests/service_world.h"
#include "tests/test.h"

enum { QUIET_RUNS = 25, STEPS_MAX = 2000 };

static struct world w;
static uv_loop_t loop;
static struct store *store;

static int start(void **state)
{
    (void)state;
    world_init(&w);
    w.review.record = true;
    assert_int_equal(uv_loop_init(&loop), 0);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    assert_int_equal(uv_loop_close(&loop), 0);
    world_clear(&w);
    return 0;
}

/* ---- one job in a store of its own ---------------------------------------- */

struct step {
    struct store_job job;
    long fail_step;
    enum err (*run)(struct db *db, void *arg);
    void *arg;
    enum err err;
};

static enum err run_step(struct db *db, void *arg)
{
    struct step *s = arg;

    db_fail_step(db, s->fail_step);
    return s->run(db, s->arg);
}

static void step_done(void *arg, enum err e)
{
    ((struct step *)arg)->err = e;
}

static enum err store_step(enum err (*run)(struct db *, void *), void *arg,
                           long fail_step)
{
    static const struct store_work none = { .run = NULL };
    struct step s = { .fail_step = fail_step, .run = run, .arg = arg };

    s.job = (struct store_job){ .run = run_step, .done = step_done, .arg = &s };
    assert_int_equal(store_open(&loop, w.path, &none, NULL, NULL, &store),
                     ERR_OK);
    store_submit(store, &s.job);
    store_close(store, NULL, NULL);
    uv_run(&loop, UV_RUN_DEFAULT);
    return s.err;
}

static enum err run_review(struct db *db, void *arg)
{
    struct world *world = arg;
    bool more = false, told = false;

    return review_run(db, &world->review, &more, &told);
}

static const char *session_bundle(const char *type)
{
    bool request = strcmp(type, "collection") != 0;
    const char *put = request ? "PUT" : NULL, *post = request ? "POST" : NULL;

    return bundle_json(
        type, entry_json(put, "Patient/p-1", pat_json("p-1", "1001")),
        entry_json(put, "BodyStructure/acc-7",
                   ACC(.id = "acc-7", .identifier = "A-7")),
        entry_json(post, "Observation",
                   OBS(.identifier = "1", .value = "2240", .ago_h = 10 * DAYS,
                       .access = "BodyStructure/acc-7")),
        entry_json(post, "Observation",
                   OBS(.identifier = "2", .value = "2310", .ago_h = 2 * DAYS,
                       .access = "BodyStructure/acc-7")),
        NULL);
}

static enum err send_all(const char *type, long fail_step)
{
    world_read(&w, NULL, NULL, session_bundle(type));
    return store_step(intake_apply, &w.in, fail_step);
}

static void review(long fail_step)
{
    /* one access that fails is kept for later, and is no failure of all */
    (void)store_step(run_review, &w, fail_step);
}

/* ---- what there is -------------------------------------------------------- */

static long long count(const char *sql)
{
    return world_count_file(w.path, sql);
}

static long long all_rows(void)
{
    return count("SELECT (SELECT count(*) FROM journal)"
                 " + (SELECT count(*) FROM resource)"
                 " + (SELECT count(*) FROM version)"
                 " + (SELECT count(*) FROM identifier)"
                 " + (SELECT count(*) FROM patient)"
                 " + (SELECT count(*) FROM patient_alias)"
                 " + (SELECT count(*) FROM access)"
                 " + (SELECT count(*) FROM access_alias)"
                 " + (SELECT count(*) FROM reading)"
                 " + (SELECT count(*) FROM held)"
                 " + (SELECT count(*) FROM news)");
}

/* What must hold whatever happened. */
static void assert_whole(void)
{
    /* no reading without its resource in that version, no version without
     * its bytes, no newest version that is not there */
    assert_int_equal(
        count("SELECT count(*) FROM reading r WHERE NOT EXISTS"
              " (SELECT 1 FROM version v"
              "  WHERE v.resource = r.resource AND v.ver = r.ver)"),
        0);
    assert_int_equal(count("SELECT count(*) FROM version v WHERE body IS NULL"
                           " AND NOT EXISTS (SELECT 1 FROM journal j"
                           "  WHERE j.seq = v.journal)"),
                     0);
    assert_int_equal(count("SELECT count(*) FROM resource r WHERE NOT EXISTS"
                           " (SELECT 1 FROM version v"
                           "  WHERE v.resource = r.id AND v.ver = r.ver)"),
                     0);
    /* no Task without episode, decision and delivery, and none of these
     * without a Task */
    assert_int_equal(
        count("SELECT count(*) FROM task t WHERE NOT EXISTS"
              " (SELECT 1 FROM episode e WHERE e.task = t.resource)"
              " OR NOT EXISTS"
              " (SELECT 1 FROM decision d WHERE d.task = t.resource)"
              " OR NOT EXISTS"
              " (SELECT 1 FROM outbox o WHERE o.resource = t.resource)"
              " OR NOT EXISTS"
              " (SELECT 1 FROM resource r WHERE r.id = t.resource)"),
        0);
    assert_int_equal(count("SELECT (SELECT count(*) FROM episode)"
                           " + (SELECT count(*) FROM decision)"
                           " + (SELECT count(*) FROM outbox)"
                           " - 3 * (SELECT count(*) FROM task)"),
                     0);
    /* an access with readings has been looked at, or is marked */
    assert_int_equal(count("SELECT count(*) FROM access a WHERE EXISTS"
                           " (SELECT 1 FROM reading r WHERE r.owner = a.id)"
                           " AND NOT EXISTS"
                           " (SELECT 1 FROM news n WHERE n.access = a.id)"
                           " AND NOT EXISTS"
                           " (SELECT 1 FROM episode e WHERE e.access = a.id)"),
                     0);
    /* no number is used twice */
    assert_int_equal(count("SELECT count(*) - count(DISTINCT id) FROM"
                           " (SELECT id FROM resource UNION ALL SELECT id FROM"
                           " patient UNION ALL SELECT id FROM access UNION ALL"
                           " SELECT seq FROM journal UNION ALL SELECT id FROM"
                           " decision)"),
                     0);
}

static void assert_one_task(void)
{
    assert_whole();
    assert_int_equal(count("SELECT count(*) FROM task"), 1);
    assert_int_equal(count("SELECT count(*) FROM reading"), 2);
    assert_int_equal(count("SELECT count(*) FROM resource"), 5);
    /* nothing waits; in weeks it is asked whether anybody has answered */
    assert_int_equal(count("SELECT count(*) FROM news WHERE since_ms <"
                           " (SELECT opened_s + 86400 FROM episode) * 1000"),
                     0);
}

/* ---- copies of a store ---------------------------------------------------- */

static void copy_file(const char *from, const char *to)
{
    FILE *in = fopen(from, "rb"), *out = fopen(to, "wb");
    char block[4096];
    size_t n;

    assert_non_null(in);
    assert_non_null(out);
    while ((n = fread(block, 1, sizeof(block), in)) > 0)
        assert_int_equal(fwrite(block, 1, n, out), n);
    fclose(in);
    assert_int_equal(fclose(out), 0);
}

static void remove_store(void)
{
    char path[96];

    remove(w.path);
    snprintf(path, sizeof(path), "%s-wal", w.path);
    remove(path);
}

/* ---- the tests ------------------------------------------------------------ */

static void each_step_of_intake(const char *type)
{
    long long full = 0;
    int quiet = 0;
    long n;

    for (n = 1; quiet < QUIET_RUNS && n < STEPS_MAX; n++) {
        enum err e = send_all(type, n);

        if (e == ERR_OK) {
            quiet++;
            if (full == 0)
                full = all_rows();
            assert_int_equal(all_rows(), full);
        } else {
            quiet = 0;
            assert_int_equal(all_rows(), 0);
        }
        assert_whole();
        assert_int_equal(send_all(type, 0), ERR_OK); /* sent again */
        assert_true(full == 0 || all_rows() == full);
        review(0);
        assert_one_task();
        remove_store();
    }
    print_message("    %ld steps of a %s\n", n - 1 - QUIET_RUNS, type);
    assert_in_range(n - QUIET_RUNS, 60, STEPS_MAX / 2);
}

static void each_step_of_a_transaction(void **state)
{
    (void)state;
    each_step_of_intake("transaction");
}

static void each_step_of_a_feed(void **state)
{
    (void)state;
    each_step_of_intake("collection");
}

static void each_step_of_a_review(void **state)
{
    char kept[96];
    int quiet = 0;
    long n;

    (void)state;
    snprintf(kept, sizeof(kept), "%s/kept.db", w.folder);
    assert_int_equal(send_all("transaction", 0), ERR_OK);
    copy_file(w.path, kept);
    for (n = 1; quiet < QUIET_RUNS && n < STEPS_MAX; n++) {
        bool told;

        review(n);
        assert_whole();
        told = count("SELECT count(*) FROM task") == 1;
        quiet = told ? quiet + 1 : 0;
        if (!told) /* as if it had not been: the mark is kept */
            assert_int_equal(count("SELECT count(*) FROM news"), 1);
        world_now_s += 61; /* what failed is tried again after a minute */
        review(0);
        world_now_s -= 61;
        assert_one_task();
        copy_file(kept, w.path);
    }
    remove(kept);
    print_message("    %ld steps of a review\n", n - 1 - QUIET_RUNS);
    assert_in_range(n - QUIET_RUNS, 30, STEPS_MAX / 2);
}

/* A correction takes a Task back: the end of an episode is as whole. */
static void each_step_of_a_withdrawal(void **state)
{
    char kept[96];
    int quiet = 0;
    long n;

    (void)state;
    snprintf(kept, sizeof(kept), "%s/kept.db", w.folder);
    assert_int_equal(send_all("transaction", 0), ERR_OK);
    review(0);
    world_read(&w, "POST", NULL,
               OBS(.identifier = "2", .value = "900", .ago_h = 2 * DAYS,
                   .status = "corrected", .access = "BodyStructure/acc-7"));
    assert_int_equal(store_step(intake_apply, &w.in, 0), ERR_OK);
    copy_file(w.path, kept);
    for (n = 1; quiet < QUIET_RUNS && n < STEPS_MAX; n++) {
        long long ended, cancelled;

        review(n);
        ended = count("SELECT count(*) FROM episode WHERE state = 5");
        cancelled =
            count("SELECT count(*) FROM task WHERE status = 'cancelled'");
        assert_int_equal(ended, cancelled);
        assert_int_equal(count("SELECT count(*) FROM news"), 1 - ended);
        assert_int_equal(count("SELECT count(*) FROM decision"), 1 + ended);
        assert_int_equal(count("SELECT max(wanted) FROM outbox"), 1 + ended);
        quiet = ended == 1 ? quiet + 1 : 0;
        world_now_s += 61;
        review(0);
        world_now_s -= 61;
        assert_int_equal(
            count("SELECT count(*) FROM task WHERE status = 'cancelled'"), 1);
        assert_int_equal(count("SELECT count(*) FROM decision"), 2);
        copy_file(kept, w.path);
    }
    remove(kept);
    print_message("    %ld steps of a withdrawal\n", n - 1 - QUIET_RUNS);
    assert_in_range(n - QUIET_RUNS, 30, STEPS_MAX / 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)
        TEST(each_step_of_a_transaction),
        TEST(each_step_of_a_feed),
        TEST(each_step_of_a_review),
        TEST(each_step_of_a_withdrawal),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
