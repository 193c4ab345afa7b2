/* In which order Tasks go to the record, and which have been forgotten. */
#include "service/db_schema.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <sqlite3.h>

static int start(void **state)
{
    world_start(state);
    world_has_access(*state);
    return 0;
}

static void close_db(struct world *w)
{
    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
}

static void open_db(struct world *w)
{
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
}

/* Tasks 1 to n, wanted at the second of their number. */
static void line_up(struct world *w, const char *const *priorities, size_t n)
{
    char sql[400];

    close_db(w);
    for (size_t i = 0; i < n; i++) {
        snprintf(sql, sizeof(sql),
                 "INSERT INTO task VALUES(%zu, 0, 1, 1, 'requested', '%s', 'c',"
                 " 'k%zu', 0)",
                 i + 1, priorities[i], i + 1);
        world_change_file(w->path, sql);
    }
    open_db(w);
    for (size_t i = 0; i < n; i++)
        assert_int_equal(db_run(w->db, Q_OUTBOX_WANT, "iiii", INT64(i + 1),
                                INT64(0), INT64(1), INT64(i + 1)),
                         ERR_OK);
}

static size_t due(struct world *w, int64_t now_ms, int64_t most, int64_t *tasks)
{
    size_t count = 0;
    enum err e = db_query(w->db, Q_OUTBOX_DUE, "ii", now_ms, most);

    while (e == ERR_OK && (e = db_next(w->db, Q_OUTBOX_DUE)) == ERR_OK)
        tasks[count++] = db_int(w->db, Q_OUTBOX_DUE, 0);
    assert_int_equal(e, ERR_ABSENT);
    return count;
}

/* After a day on which the record was away: who bleeds does not stand behind
 * what waits for a letter. */
static void the_urgent_go_first(void **state)
{
    static const char *const priorities[] = { "routine", "urgent", "routine",
                                              "asap",    "stat",   "urgent",
                                              "stat" };
    static const int64_t want[] = { 5, 7, 4, 2, 6, 1, 3 };
    struct world *w = world(state);
    int64_t tasks[16];

    line_up(w, priorities, COUNT(priorities));
    assert_int_equal(due(w, 100, 16, tasks), COUNT(want));
    for (size_t i = 0; i < COUNT(want); i++)
        assert_int_equal(tasks[i], want[i]);
    assert_int_equal(due(w, 100, 2, tasks), 2);
    assert_int_equal(tasks[1], 7);
    /* of those that are not due yet none is taken */
    assert_int_equal(due(w, 4, 16, tasks), 4);
    assert_int_equal(tasks[0], 4);
    assert_int_equal(tasks[1], 2);
}

/* A Task that has become urgent moves up with its next version. */
static void it_moves_up(void **state)
{
    static const char *const priorities[] = { "routine", "routine" };
    struct world *w = world(state);
    int64_t tasks[16];

    line_up(w, priorities, COUNT(priorities));
    assert_int_equal(
        db_run(w->db, Q_TASK_STATUS, "iss", INT64(2), "requested", "stat"),
        ERR_OK);
    assert_int_equal(db_run(w->db, Q_OUTBOX_WANT, "iiii", INT64(2), INT64(0),
                            INT64(2), INT64(2)),
                     ERR_OK);
    assert_int_equal(due(w, 100, 16, tasks), 2);
    assert_int_equal(tasks[0], 2);
}

static const char *sql_of(enum query q)
{
    static const char *const sql[QUERY_COUNT] = {
#define QUERY(name, text) [name] = (text),
#include "service/statements.h"
#undef QUERY
    };

    return sql[q];
}

/* With a hundred thousand that wait nothing is sorted, and nothing is read
 * from its beginning. */
static void no_table_is_scanned(void **state)
{
    static const enum query queries[] = { Q_OUTBOX_DUE,       Q_OUTBOX_NEXT,
                                          Q_OUTBOX_BESIDE,    Q_OUTBOX_WAKE,
                                          Q_OUTBOX_ASIDE,     Q_OUTBOX_LOOK,
                                          Q_OUTBOX_LONGEST,   Q_OUTBOX_HASTEN,
                                          Q_HELD_EMERGENCIES, Q_HELD_OF_PATIENT,
                                          Q_EPISODE_CLOSED };
    struct world *w = world(state);
    sqlite3 *handle;

    close_db(w);
    assert_int_equal(sqlite3_open(w->path, &handle), SQLITE_OK);
    for (size_t i = 0; i < COUNT(queries); i++) {
        sqlite3_stmt *s = NULL;
        struct buf plan;

        buf_init(&plan, 1 << 16);
        buf_printf(&plan, "EXPLAIN QUERY PLAN %s", sql_of(queries[i]));
        assert_int_equal(sqlite3_prepare_v2(handle, plan.data, -1, &s, NULL),
                         SQLITE_OK);
        while (sqlite3_step(s) == SQLITE_ROW) {
            const char *step = (const char *)sqlite3_column_text(s, 3);

            if (strstr(step, "SCAN") != NULL && strstr(step, "INDEX") == NULL)
                fail_msg("%s: %s", step, plan.data);
            if (queries[i] == Q_OUTBOX_DUE && strstr(step, "B-TREE") != NULL)
                fail_msg("%s: %s", step, plan.data);
        }
        sqlite3_finalize(s);
        buf_clear(&plan);
    }
    sqlite3_close(handle);
    open_db(w);
}

static void ulcer(struct world *w)
{
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, "requested"), 1);
}

/* A record that is named only now gets what was open before. */
static void a_record_that_comes_later(void **state)
{
    struct world *w = world(state);

    ulcer(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
    w->review.record = true;
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(world_count(w,
                                 "SELECT count(*) FROM outbox WHERE state = 0"
                                 " AND place = 0 AND sent = 0 AND wanted ="
                                 " (SELECT ver FROM resource WHERE id ="
                                 " outbox.resource)"),
                     1);
    /* once, and not again */
    assert_int_equal(
        db_run(w->db, Q_OUTBOX_SENT, "iiii",
               INT64(world_count(w, "SELECT resource FROM outbox")), INT64(1),
               INT64(201), INT64(0)),
        ERR_OK);
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM outbox WHERE state = 0"), 0);
}

/* Neither what is closed, nor what was never to be posted. */
static void what_is_not_open_stays(void **state)
{
    struct world *w = world(state);

    ulcer(w);
    world_person(w, "refer-hand-review", "completed");
    w->review.record = true;
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
}

static void what_is_silent_stays(void **state)
{
    struct world *w = world(state);

    w->review.silent = true;
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM task"), 1);
    w->review.silent = false;
    w->review.record = true;
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(the_urgent_go_first),    TEST(it_moves_up),
        TEST(no_table_is_scanned),    TEST(a_record_that_comes_later),
        TEST(what_is_not_open_stays), TEST(what_is_silent_stays),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
