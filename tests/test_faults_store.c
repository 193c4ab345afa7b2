/*
 * The disk and the memory below SQLite fail, at each of their calls in turn.
 *
 *     test_faults_store [STRIDE [TEST]]    1: each call; 10: each tenth; else a few
 *
 * A day in small: a store is opened, a Bundle taken, an access reviewed, its
 * Task sent, taken in hand, the store closed.  Wherever that breaks, the store
 * is opened again by one whose disk is well: it is whole, nothing that was
 * answered is missing, nothing is half, and the same day once more ends as it
 * would have without the fault.
 */
#include "service/deeds.h"
#include "service/delivery.h"
#include "tests/fault_kit.h"
#include "tests/service_world.h"
#include "tests/test.h"

enum { PLACES_MAX = 400000, SHORT_POINTS = 12 };

static struct world w;
static uv_loop_t loop;
static long given_stride; /* 0: so that there are SHORT_POINTS of each */

/* What was answered, so that somebody relies on it. */
struct day {
    bool taken, told, sent, in_hand;
    bool fatal;   /* the service ends itself */
    enum err err; /* of what ended the day; ERR_OK: all went well */
};

/* ---- the jobs ----------------------------------------------------------------- */

static enum err find_task(struct db *db, int64_t *row)
{
    enum err e = db_ask(db, "SELECT resource FROM task", NULL, 0);

    if (e == ERR_OK)
        e = db_next(db, Q_ASKED);
    if (e == ERR_OK)
        *row = db_int(db, Q_ASKED, 0);
    db_done(db, Q_ASKED);
    return e;
}

static enum err run_find(struct db *db, void *arg)
{
    int64_t row;

    (void)arg;
    return find_task(db, &row);
}

static enum err run_review(struct db *db, void *arg)
{
    bool more = false, told = false;

    (void)arg;
    return review_run(db, &w.review, &more, &told);
}

/* As if the record had it, under the id 77. */
static enum err run_delivery(struct db *db, void *arg)
{
    static struct delivery_data d; /* large */
    enum err e;

    (void)arg;
    memset(&d, 0, sizeof(d));
    delivery_init(&d);
    d.base = BASE;
    d.now_ms = world_now_ms();
    e = find_task(db, &d.row);
    if (e == ERR_OK)
        e = delivery_load(db, &d);
    d.result = DELIVERED;
    d.status = 201;
    snprintf(d.remote, sizeof(d.remote), "77");
    snprintf(d.remote_version, sizeof(d.remote_version), "1");
    if (e == ERR_OK)
        e = delivery_save(db, &d);
    delivery_clear(&d);
    return e;
}

static enum err run_deed(struct db *db, void *arg)
{
    struct task_deed deed = { .verb = TASK_TAKE,
                              .task = "A-7",
                              .who = "A. Rowan",
                              .reader = &w.reader,
                              .policy = &w.policy,
                              .deliver = true,
                              .now_ms = world_now_ms() };
    enum err e;

    (void)arg;
    buf_init(&deed.text, 65536);
    e = task_deed(db, &deed);
    if (e == ERR_CONFLICT && deed.status == 409)
        fail_msg("%s", deed.text.data);
    buf_clear(&deed.text);
    return e;
}

/* ---- a day ---------------------------------------------------------------------- */

struct errand {
    struct store_job job;
    enum err (*run)(struct db *db, void *arg);
    void *arg;
    enum err err;
    bool done;
};

static enum err errand_run(struct db *db, void *arg)
{
    struct errand *errand = arg;

    return errand->run(db, errand->arg);
}

static void errand_done(void *arg, enum err e)
{
    struct errand *errand = arg;

    errand->err = e;
    errand->done = true;
}

/* One job and its answer. */
static enum err ask(struct store *store, enum err (*run)(struct db *, void *),
                    void *arg)
{
    struct errand errand = { .run = run, .arg = arg };

    errand.job = (struct store_job){ .run = errand_run,
                                     .done = errand_done,
                                     .arg = &errand };
    store_submit(store, &errand.job);
    while (!errand.done)
        uv_run(&loop, UV_RUN_ONCE);
    return errand.err;
}

static void on_fatal(void *arg, enum err e)
{
    (void)e;
    ((struct day *)arg)->fatal = true;
}

static void send_bundle(void)
{
    world_read(
        &w, NULL, NULL,
        bundle_json(
            "transaction",
            entry_json("PUT", "Patient/p-1", pat_json("p-1", "1001")),
            entry_json("PUT", "BodyStructure/acc-7",
                       ACC(.id = "acc-7", .identifier = "A-7")),
            entry_json("POST", "Observation",
                       OBS(.identifier = "1", .value = "2240",
                           .ago_h = 10 * DAYS,
                           .access = "BodyStructure/acc-7")),
            entry_json("POST", "Observation",
                       OBS(.identifier = "2", .value = "2310",
                           .ago_h = 2 * DAYS, .access = "BodyStructure/acc-7")),
            NULL));
}

static enum err work(struct store *store, struct day *day)
{
    enum err e = ask(store, intake_apply, &w.in);

    day->taken = e == ERR_OK;
    if (e == ERR_OK)
        e = ask(store, run_review, NULL);
    /* an access whose review fails is kept for later, and is no error */
    day->told = e == ERR_OK && ask(store, run_find, NULL) == ERR_OK;
    if (!day->told)
        return e;
    e = ask(store, run_delivery, NULL);
    day->sent = e == ERR_OK;
    if (e == ERR_OK)
        e = ask(store, run_deed, NULL);
    day->in_hand = e == ERR_OK;
    return e;
}

static struct day live(void)
{
    static const struct store_work none = { .run = NULL };
    struct store *store;
    struct day day = { .err = ERR_OK };

    send_bundle();
    day.err = store_open(&loop, w.path, &none, on_fatal, &day, &store);
    if (day.err != ERR_OK)
        return day;
    day.err = work(store, &day);
    store_close(store, NULL, NULL);
    uv_run(&loop, UV_RUN_DEFAULT);
    return day;
}

/* ---- what there is ---------------------------------------------------------------- */

static long long count(const char *sql)
{
    return world_count_file(w.path, sql);
}

static void open_and_close(void)
{
    struct db *db;

    assert_int_equal(db_open(w.path, &db), ERR_OK);
    db_close(db);
}

/* Nothing is half, whatever there is. */
static void assert_whole(void)
{
    assert_int_equal(count("SELECT count(*) FROM pragma_integrity_check"
                           " WHERE integrity_check <> 'ok'"),
                     0);
    assert_int_equal(count("SELECT count(*) FROM pragma_foreign_key_check"), 0);
    /* a Bundle is taken as one */
    assert_true(count("SELECT count(*) FROM reading") % 2 == 0);
    assert_int_equal(
        count("SELECT count(*) FROM reading r WHERE NOT EXISTS"
              " (SELECT 1 FROM version v"
              "  WHERE v.resource = r.resource AND v.ver = r.ver)"),
        0);
    assert_int_equal(count("SELECT count(*) FROM resource r WHERE NOT EXISTS"
                           " (SELECT 1 FROM version v"
                           "  WHERE v.resource = r.id AND v.ver = r.ver)"),
                     0);
    /* a Task, its episode, why, and its delivery */
    assert_int_equal(count("SELECT (SELECT count(*) FROM episode)"
                           " + (SELECT count(*) FROM outbox WHERE place < 4)"
                           " - 2 * (SELECT count(*) FROM task)"),
                     0);
    assert_int_equal(count("SELECT count(*) FROM task t WHERE NOT EXISTS"
                           " (SELECT 1 FROM decision d"
                           "  WHERE d.task = t.resource)"),
                     0);
    /* in hand here: the record is to hear of it */
    assert_int_equal(count("SELECT count(*) FROM task t JOIN outbox o"
                           " ON o.resource = t.resource JOIN resource r"
                           " ON r.id = t.resource WHERE o.wanted < r.ver"),
                     0);
    assert_int_equal(count("SELECT count(*) - count(DISTINCT id) FROM"
                           " (SELECT id FROM resource UNION ALL SELECT id FROM"
                           " patient UNION ALL SELECT id FROM access)"),
                     0);
}

static void assert_kept(const struct day *day)
{
    if (day->taken)
        assert_int_equal(count("SELECT count(*) FROM reading"), 2);
    if (day->told)
        assert_int_equal(count("SELECT count(*) FROM task"), 1);
    if (day->sent)
        assert_int_equal(
            count("SELECT count(*) FROM outbox WHERE remote = '77'"), 1);
    if (day->in_hand)
        assert_int_equal(
            count("SELECT count(*) FROM task WHERE status = 'accepted'"), 1);
}

static void assert_done(void)
{
    assert_int_equal(count("SELECT count(*) FROM reading"), 2);
    assert_int_equal(count("SELECT count(*) FROM task"), 1);
    assert_int_equal(count("SELECT count(*) FROM episode"), 1);
    assert_int_equal(count("SELECT count(*) FROM patient"), 1);
    assert_int_equal(count("SELECT count(*) FROM access"), 1);
    assert_int_equal(
        count("SELECT count(*) FROM task WHERE status = 'accepted'"), 1);
    assert_int_equal(count("SELECT count(*) FROM outbox WHERE remote = '77'"),
                     1);
}

/* ---- the days that broke ------------------------------------------------------------ */

static void remove_store(void)
{
    static const char *const ends[] = { "", "-wal", "-shm", "-journal" };
    char path[96];

    for (size_t i = 0; i < COUNT(ends); i++) {
        snprintf(path, sizeof(path), "%s%s", w.path, ends[i]);
        remove(path);
    }
}

/* The same again, on a disk that is well; a review that failed is due a minute
 * later. */
static void mend(void)
{
    struct day day;

    world_now_s += 61;
    day = live();
    world_now_s -= 61;
    assert_int_equal(day.err, ERR_OK);
    assert_true(day.in_hand);
}

struct sum {
    long points, unanswered, fatal;
};

/* One day with a fault; false: the fault was not reached any more. */
static bool break_a_day(const struct fault *how, long at, struct sum *sum)
{
    struct day day;
    long hits;

    remove_store();
    fault = *how;
    fault.at = at;
    day = live();
    hits = fault.hits;
    fault = (struct fault){ .kinds = 0 };
    if (hits == 0)
        return false;
    sum->points++;
    sum->unanswered += day.err != ERR_OK;
    sum->fatal += day.fatal;
    open_and_close();
    assert_whole();
    assert_kept(&day);
    mend();
    assert_whole();
    assert_done();
    return true;
}

/* How many calls of these kinds a whole day has. */
static long calls_of_a_day(int kinds)
{
    struct day day;

    remove_store();
    fault = (struct fault){ .kinds = kinds };
    day = live();
    fault.kinds = 0;
    assert_int_equal(day.err, ERR_OK);
    return fault.calls;
}

static void each(const char *name, const struct fault *how)
{
    struct sum sum = { 0 };
    long at = 1, stride = given_stride;

    if (stride == 0)
        stride = calls_of_a_day(how->kinds) / SHORT_POINTS + 1;
    while (at < PLACES_MAX && break_a_day(how, at, &sum))
        at += stride;
    print_message("    %s: %ld faults over %ld calls, %ld days broken, "
                  "%ld ended the service\n",
                  name, sum.points, at - 1, sum.unanswered, sum.fatal);
    assert_in_range(sum.points, 2, PLACES_MAX);
    assert_true(sum.unanswered > 0);
}

/* ---- the tests ------------------------------------------------------------------------ */

enum {
    ON_DISK =
        FAULT_WRITE | FAULT_SYNC | FAULT_TRUNCATE | FAULT_OPEN | FAULT_DELETE
};

static void one_write_fails(void **state)
{
    (void)state;
    each("one call of the disk", &(struct fault){ .kinds = ON_DISK });
}

static void the_disk_is_gone(void **state)
{
    (void)state;
    each("all calls from one on",
         &(struct fault){ .kinds = ON_DISK, .forever = true });
}

static void the_disk_is_full(void **state)
{
    (void)state;
    each(
        "full from one write on",
        &(struct fault){ .kinds = FAULT_WRITE, .forever = true, .full = true });
}

static void one_sync_fails(void **state)
{
    (void)state;
    each("one sync", &(struct fault){ .kinds = FAULT_SYNC });
}

static void one_read_fails(void **state)
{
    (void)state;
    each("one read", &(struct fault){ .kinds = FAULT_READ });
}

static void one_allocation_fails(void **state)
{
    (void)state;
    each("one allocation of SQLite", &(struct fault){ .kinds = FAULT_ALLOC });
}

static void there_is_no_memory(void **state)
{
    (void)state;
    each("all allocations of SQLite from one on",
         &(struct fault){ .kinds = FAULT_ALLOC, .forever = true });
}

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
    fault = (struct fault){ .kinds = 0 };
    assert_int_equal(uv_loop_close(&loop), 0);
    world_clear(&w);
    return 0;
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)
        TEST(one_write_fails),    TEST(the_disk_is_gone),
        TEST(the_disk_is_full),   TEST(one_sync_fails),
        TEST(one_read_fails),     TEST(one_allocation_fails),
        TEST(there_is_no_memory),
    };
    long given = argc > 1 ? strtol(argv[1], NULL, 10) : 0;

    given_stride = given > 0 ? given : 0;
    if (argc > 2)
        cmocka_set_test_filter(argv[2]);
    if (!fault_install())
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
