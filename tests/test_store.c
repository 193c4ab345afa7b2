#include "tests/service_world.h"
#include "tests/test.h"

#include <pthread.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>

enum { JOBS = 64 };

static struct world w;
static uv_loop_t loop;
static struct store *store;
static bool closed;
static pthread_t loop_thread;

/* ---- jobs that write a key ------------------------------------------------ */

struct put {
    struct store_job job;
    char key[32];
    enum err answer;  /* of run, after it has written */
    long fail_step;   /* db_fail_step at the end of run; 0 none */
    uv_sem_t *gate;   /* waited for in run; NULL none */
    struct put *then; /* submitted in done; NULL none */
    size_t wal_bytes; /* of the log while it ran */
    /* of done */
    int called;
    int place; /* the how many-th done this was */
    enum err err;
    bool on_loop, log_grew;
};

static int dones;

static size_t wal_bytes(void)
{
    char path[80];
    struct stat st;

    snprintf(path, sizeof(path), "%s-wal", w.path);
    return stat(path, &st) == 0 ? (size_t)st.st_size : 0;
}

static enum err run_put(struct db *db, void *arg)
{
    struct put *p = arg;
    enum err e;

    if (p->gate != NULL)
        uv_sem_wait(p->gate);
    p->wal_bytes = wal_bytes();
    e = db_run(db, Q_META_PUT, "ss", p->key, "v");
    if (e != ERR_OK)
        return e;
    db_fail_step(db, p->fail_step);
    return p->answer;
}

static void done_put(void *arg, enum err e)
{
    struct put *p = arg;

    p->called++;
    p->place = ++dones;
    p->err = e;
    p->on_loop = pthread_equal(pthread_self(), loop_thread) != 0;
    p->log_grew = wal_bytes() > p->wal_bytes;
    if (p->then != NULL)
        store_submit(store, &p->then->job);
}

static void put_init(struct put *p, const char *key)
{
    *p = (struct put){ .answer = ERR_OK };
    snprintf(p->key, sizeof(p->key), "%s", key);
    p->job = (struct store_job){ .run = run_put, .done = done_put, .arg = p };
}

static void turn_until_idle(void)
{
    while (store_pending(store) > 0)
        uv_run(&loop, UV_RUN_ONCE);
}

static bool has_key(const char *key)
{
    char sql[128];

    snprintf(sql, sizeof(sql), "SELECT count(*) FROM meta WHERE k = '%s'", key);
    return world_count_file(w.path, sql) == 1;
}

/* ---- opening and closing -------------------------------------------------- */

static int start(void **state)
{
    (void)state;
    world_init(&w);
    assert_int_equal(uv_loop_init(&loop), 0);
    loop_thread = pthread_self();
    store = NULL;
    closed = false;
    dones = 0;
    return 0;
}

static int stop(void **state)
{
    (void)state;
    assert_int_equal(uv_loop_close(&loop), 0);
    world_clear(&w);
    return 0;
}

static void on_closed(void *arg)
{
    (void)arg;
    closed = true;
}

static void open_store(const struct store_work *work)
{
    static const struct store_work none = { .run = NULL };

    assert_int_equal(store_open(&loop, w.path, work != NULL ? work : &none,
                                NULL, NULL, &store),
                     ERR_OK);
}

static void close_store(void)
{
    store_close(store, on_closed, NULL);
    assert_false(closed); /* from the loop, not from inside */
    uv_run(&loop, UV_RUN_DEFAULT);
    assert_true(closed);
}

/* ---- jobs ----------------------------------------------------------------- */

static void jobs_are_answered_in_order_after_the_commit(void **state)
{
    static struct put puts[JOBS];

    (void)state;
    open_store(NULL);
    for (int i = 0; i < JOBS; i++) {
        char key[32];

        snprintf(key, sizeof(key), "key-%d", i);
        put_init(&puts[i], key);
        store_submit(store, &puts[i].job);
        assert_int_equal(puts[i].called, 0); /* never from inside */
    }
    assert_int_equal(store_pending(store), JOBS);
    turn_until_idle();
    for (int i = 0; i < JOBS; i++) {
        assert_int_equal(puts[i].called, 1);
        assert_int_equal(puts[i].place, i + 1);
        assert_int_equal(puts[i].err, ERR_OK);
        assert_true(puts[i].on_loop);
        assert_true(puts[i].log_grew); /* nothing is answered before it */
    }
    close_store();
    assert_int_equal(
        world_count_file(w.path,
                         "SELECT count(*) FROM meta WHERE k LIKE 'key-%'"),
        JOBS);
}

/* Three jobs that are in one batch: they wait until the gate opens. */
static void submit_together(struct put puts[3])
{
    static uv_sem_t gate;
    static struct put first;

    assert_int_equal(uv_sem_init(&gate, 0), 0);
    put_init(&first, "first");
    first.gate = &gate;
    store_submit(store, &first.job);
    for (int i = 0; i < 3; i++)
        store_submit(store, &puts[i].job);
    uv_sem_post(&gate);
    turn_until_idle();
    uv_sem_destroy(&gate);
}

static void a_job_that_fails_is_undone_alone(void **state)
{
    struct put puts[3];

    (void)state;
    open_store(NULL);
    put_init(&puts[0], "a");
    put_init(&puts[1], "b");
    put_init(&puts[2], "c");
    puts[1].answer = ERR_CONFLICT;
    submit_together(puts);
    assert_int_equal(puts[0].err, ERR_OK);
    assert_int_equal(puts[1].err, ERR_CONFLICT);
    assert_int_equal(puts[2].err, ERR_OK);
    close_store();
    assert_true(has_key("a"));
    assert_false(has_key("b"));
    assert_true(has_key("c"));
}

/* A batch is one commit: if it fails, nobody is told that he is stored. */
static void a_commit_that_fails_undoes_the_batch(void **state)
{
    struct put puts[3];

    (void)state;
    open_store(NULL);
    put_init(&puts[0], "a");
    put_init(&puts[1], "b");
    put_init(&puts[2], "c");
    puts[2].fail_step = 2; /* one step to leave the savepoint, then commit */
    submit_together(puts);
    for (int i = 0; i < 3; i++)
        assert_int_equal(puts[i].err, ERR_STORE);
    put_init(&puts[0], "d"); /* and it goes on */
    store_submit(store, &puts[0].job);
    turn_until_idle();
    assert_int_equal(puts[0].err, ERR_OK);
    close_store();
    assert_false(has_key("a"));
    assert_false(has_key("b"));
    assert_false(has_key("c"));
    assert_true(has_key("d"));
}

/* What is told as failed must not be stored, and the other way round, even if
 * leaving or undoing the savepoint is what fails. */
static void a_savepoint_that_fails_is_told_truly(void **state)
{
    static const struct {
        const char *name;
        enum err answer;
        long fail_step;
    } cases[] = {
        { "leaving it", ERR_OK, 1 },
        { "undoing it", ERR_CONFLICT, 1 },
        { "leaving what is undone", ERR_CONFLICT, 2 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct put puts[3];

        ROW(cases[i].name);
        open_store(NULL);
        put_init(&puts[0], "a");
        put_init(&puts[1], "b");
        put_init(&puts[2], "c");
        puts[1].answer = cases[i].answer;
        puts[1].fail_step = cases[i].fail_step;
        submit_together(puts);
        close_store();
        assert_int_not_equal(puts[1].err, ERR_OK);
        for (int k = 0; k < 3; k++)
            assert_int_equal(has_key(puts[k].key), puts[k].err == ERR_OK);
        world_change_file(w.path, "DELETE FROM meta WHERE k IN ('a', 'c')");
        closed = false;
    }
}

static void done_may_submit(void **state)
{
    struct put first, second;

    (void)state;
    open_store(NULL);
    put_init(&first, "a");
    put_init(&second, "b");
    first.then = &second;
    store_submit(store, &first.job);
    turn_until_idle();
    assert_int_equal(second.called, 1);
    close_store();
    assert_true(has_key("b"));
}

static void closing_finishes_what_was_submitted(void **state)
{
    static struct put puts[JOBS];

    (void)state;
    open_store(NULL);
    for (int i = 0; i < JOBS; i++) {
        char key[32];

        snprintf(key, sizeof(key), "key-%d", i);
        put_init(&puts[i], key);
        store_submit(store, &puts[i].job);
    }
    close_store();
    for (int i = 0; i < JOBS; i++) {
        assert_int_equal(puts[i].called, 1);
        assert_int_equal(puts[i].err, ERR_OK);
    }
    assert_true(has_key("key-63"));
}

static void a_second_store_is_refused(void **state)
{
    static const struct store_work none = { .run = NULL };
    struct store *second = NULL;

    (void)state;
    open_store(NULL);
    assert_int_equal(store_open(&loop, w.path, &none, NULL, NULL, &second),
                     ERR_DENIED);
    assert_null(second);
    close_store();
}

/* ---- background work ------------------------------------------------------ */

struct work {
    int runs, more; /* more: how many further runs it asks for */
    bool tell, fail;
    int bad_commits; /* so many commits of it fail */
    int told;
    bool told_on_loop;
};

static enum err run_work(struct db *db, void *arg, bool *more, bool *told)
{
    struct work *k = arg;
    char key[32];
    enum err e;

    snprintf(key, sizeof(key), "work-%d", ++k->runs);
    e = db_run(db, Q_META_PUT, "ss", key, "v");
    *more = k->more-- > 0;
    *told = k->tell;
    /* as the engine does by itself on a full disk */
    if (e == ERR_OK && k->bad_commits-- > 0)
        e = db_run(db, Q_ROLLBACK, "");
    return e == ERR_OK && k->fail ? ERR_RANGE : e;
}

static void on_told(void *arg)
{
    struct work *k = arg;

    k->told++;
    k->told_on_loop = pthread_equal(pthread_self(), loop_thread) != 0;
}

/* What a crash has left is looked at without being asked; then when woken. */
static void work_runs_at_start_and_when_woken(void **state)
{
    struct work k = { .more = 2, .tell = true };
    struct store_work work = { .run = run_work, .on_told = on_told, .arg = &k };

    (void)state;
    open_store(&work);
    while (k.told == 0)
        uv_run(&loop, UV_RUN_ONCE);
    assert_true(k.told_on_loop);
    store_wake(store);
    close_store();
    /* three at start; the wake is one more, unless it fell into them */
    assert_in_range(k.runs, 3, 4);
    assert_true(has_key("work-3"));
    assert_true(k.told >= 1);
}

static void work_that_tells_nothing_is_quiet(void **state)
{
    struct work k = { .more = 0 };
    struct store_work work = { .run = run_work, .on_told = on_told, .arg = &k };

    (void)state;
    open_store(&work);
    close_store();
    assert_int_equal(k.runs, 1);
    assert_int_equal(k.told, 0);
}

static void work_that_fails_is_undone_alone(void **state)
{
    struct work k = { .tell = true, .fail = true };
    struct store_work work = { .run = run_work, .on_told = on_told, .arg = &k };
    struct put put;

    (void)state;
    open_store(&work);
    put_init(&put, "a");
    store_submit(store, &put.job);
    turn_until_idle();
    close_store();
    assert_int_equal(put.err, ERR_OK);
    assert_true(has_key("a"));
    assert_true(k.runs >= 1);
    assert_false(has_key("work-1"));
    assert_int_equal(k.told, 0); /* of what is undone nothing is told */
}

/* What is to be done again would fail again at once, for as long as the disk is
 * full; a commit that goes well says that it need not wait any more. */
static void work_waits_after_a_commit_that_failed(void **state)
{
    struct work k = { .bad_commits = 1 };
    struct store_work work = { .run = run_work, .on_told = on_told, .arg = &k };
    struct put put;

    (void)state;
    open_store(&work);
    put_init(&put, "a");
    store_submit(store, &put.job);
    turn_until_idle();
    /* without the work, or the second with it */
    if (put.err != ERR_OK) {
        put_init(&put, "a");
        store_submit(store, &put.job);
        turn_until_idle();
    }
    assert_int_equal(put.err, ERR_OK);
    close_store();
    assert_int_equal(k.runs, 2);
    assert_false(has_key("work-1"));
    assert_true(has_key("work-2"));
}

/* Nor does it keep the store from being closed. */
static void a_store_whose_work_always_fails_is_closed(void **state)
{
    struct work k = { .bad_commits = 1000000 };
    struct store_work work = { .run = run_work, .on_told = on_told, .arg = &k };
    struct put put;

    (void)state;
    open_store(&work);
    for (int i = 0; i < 3; i++) {
        put_init(&put, "a");
        store_submit(store, &put.job);
        turn_until_idle();
    }
    close_store();
    assert_in_range(k.runs, 1, 8); /* one for each commit that went well */
    assert_false(has_key("work-1"));
}

/* ---- a disk that fails ---------------------------------------------------- */

static int fatals;

static void on_fatal(void *arg, enum err e)
{
    (void)arg;
    assert_int_equal(e, ERR_IO);
    fatals++;
}

static void let_files_grow_to(rlim_t bytes)
{
    struct rlimit limit;

    assert_int_equal(getrlimit(RLIMIT_FSIZE, &limit), 0);
    limit.rlim_cur = bytes;
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
}

/* A file that may not grow any more: the write of the commit fails. */
static void a_failed_write_is_told_and_fatal(void **state)
{
    static const struct store_work none = { .run = NULL };
    struct put before, during;

    (void)state;
    fatals = 0;
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(store_open(&loop, w.path, &none, on_fatal, NULL, &store),
                     ERR_OK);
    put_init(&before, "before");
    store_submit(store, &before.job);
    turn_until_idle();
    assert_int_equal(before.err, ERR_OK);

    let_files_grow_to(wal_bytes());
    put_init(&during, "during");
    store_submit(store, &during.job);
    turn_until_idle();
    let_files_grow_to(RLIM_INFINITY);
    assert_int_equal(during.err, ERR_IO);
    assert_int_equal(fatals, 1);
    close_store();
    assert_int_equal(fatals, 1); /* said once */
    assert_true(has_key("before"));
    assert_false(has_key("during"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)
        TEST(jobs_are_answered_in_order_after_the_commit),
        TEST(a_job_that_fails_is_undone_alone),
        TEST(a_commit_that_fails_undoes_the_batch),
        TEST(a_savepoint_that_fails_is_told_truly),
        TEST(done_may_submit),
        TEST(closing_finishes_what_was_submitted),
        TEST(a_second_store_is_refused),
        TEST(work_runs_at_start_and_when_woken),
        TEST(work_that_tells_nothing_is_quiet),
        TEST(work_that_fails_is_undone_alone),
        TEST(work_waits_after_a_commit_that_failed),
        TEST(a_store_whose_work_always_fails_is_closed),
        TEST(a_failed_write_is_told_and_fatal),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
