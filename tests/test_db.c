#include "tests/service_world.h"
#include "tests/test.h"

static struct world w;

static int start(void **state)
{
    (void)state;
    world_init(&w);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    world_clear(&w);
    return 0;
}

static struct db *opened(void)
{
    struct db *db = NULL;

    assert_int_equal(db_open(w.path, &db), ERR_OK);
    return db;
}

static void put_meta(struct db *db, const char *key, const char *value)
{
    assert_int_equal(db_run(db, Q_META_PUT, "ss", key, value), ERR_OK);
}

/* Is this the value of the key?  NULL: it has none. */
static void assert_meta(struct db *db, const char *key, const char *want)
{
    enum err e = db_first(db, Q_META_GET, "s", key);

    assert_int_equal(e, want != NULL ? ERR_OK : ERR_ABSENT);
    if (want != NULL)
        assert_string_equal(db_text(db, Q_META_GET, 0), want);
    db_done(db, Q_META_GET);
}

/* ---- opening -------------------------------------------------------------- */

static void reopening_keeps_what_was_written(void **state)
{
    struct db *db = opened();

    (void)state;
    put_meta(db, "k", "kept");
    db_close(db);
    db = opened();
    assert_meta(db, "k", "kept");
    assert_int_equal(db_verify(db), ERR_OK);
    db_close(db);
}

static void a_second_opening_is_refused(void **state)
{
    struct db *db = opened(), *second = NULL;

    (void)state;
    assert_int_equal(db_open(w.path, &second), ERR_DENIED);
    assert_null(second);
    db_close(db);
    db = opened(); /* and free again afterwards */
    db_close(db);
}

static void another_schema_is_refused(void **state)
{
    static const struct {
        const char *change;
        enum err want;
    } changes[] = {
        { "UPDATE meta SET v = '2' WHERE k = 'schema'", ERR_CONFLICT },
        { "UPDATE meta SET v = '0' WHERE k = 'schema'", ERR_CONFLICT },
        { "DELETE FROM meta WHERE k = 'schema'", ERR_UNKNOWN },
        { "PRAGMA application_id = 7", ERR_UNKNOWN },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(changes); i++) {
        struct db *db = opened();

        ROW(changes[i].change);
        db_close(db);
        world_change_file(w.path, changes[i].change);
        assert_int_equal(db_open(w.path, &db), changes[i].want);
        world_change_file(w.path,
                          "INSERT OR REPLACE INTO meta VALUES('schema', '1');"
                          "PRAGMA application_id = 0");
    }
    db_close(opened());
}

static void write_file(const char *text, size_t len)
{
    FILE *f = fopen(w.path, "wb");

    assert_non_null(f);
    assert_int_equal(fwrite(text, 1, len, f), len);
    fclose(f);
}

static void what_is_no_database_is_refused(void **state)
{
    static char text[8192], now[8192];
    struct db *db = NULL;
    FILE *f;

    (void)state;
    memset(text, 'x', sizeof(text));
    write_file(text, sizeof(text));
    assert_int_equal(db_open(w.path, &db), ERR_UNKNOWN);
    /* and is left as it is */
    f = fopen(w.path, "rb");
    assert_non_null(f);
    assert_int_equal(fread(now, 1, sizeof(now), f), sizeof(now));
    assert_int_equal(fgetc(f), EOF);
    fclose(f);
    assert_memory_equal(now, text, sizeof(text));
}

/* A database of another program keeps its tables, and gets none of ours. */
static void another_program_is_left_alone(void **state)
{
    struct db *db = NULL;

    (void)state;
    world_change_file(w.path, "CREATE TABLE meta(a)");
    assert_int_equal(db_open(w.path, &db), ERR_UNKNOWN);
    assert_null(db);
    /* fails if there were one already */
    world_change_file(w.path, "CREATE TABLE journal(a)");
}

/* What is said of each to a person. */
static void reasons(void **state)
{
    struct db *db = NULL;

    (void)state;
    assert_int_equal(db_open("/tmp/headgate-none/t.db", &db), ERR_ABSENT);
    assert_non_null(
        strstr(db_open_reason("/tmp/headgate-none/t.db", ERR_ABSENT),
               "folder does not exist"));
    assert_int_equal(db_open("/tmp", &db), ERR_ABSENT);
    assert_non_null(strstr(db_open_reason("/tmp", ERR_ABSENT), "is a folder"));
    assert_non_null(strstr(db_open_reason("t", ERR_CONFLICT), "version"));
    assert_non_null(strstr(db_open_reason("t", ERR_FULL), "disk is full"));
    assert_non_null(strstr(db_open_reason("t", ERR_DENIED), "another process"));
}

/* The last page overwritten: seen by the check of the whole file. */
static void damage_is_found(void **state)
{
    struct db *db = opened();
    static const char junk[4096] = { 1 };
    FILE *f;

    (void)state;
    for (int64_t i = 1; i <= 400; i++)
        assert_int_equal(db_run(db, Q_JOURNAL_ADD, "iiiib", i, INT64(0),
                                INT64(1), INT64(100), (const void *)junk,
                                (size_t)100),
                         ERR_OK);
    db_close(db);
    f = fopen(w.path, "r+b");
    assert_non_null(f);
    assert_int_equal(fseek(f, -4096, SEEK_END), 0);
    assert_int_equal(fwrite(junk, 1, sizeof(junk), f), sizeof(junk));
    fclose(f);
    db = opened();
    assert_int_equal(db_verify(db), ERR_STORE);
    db_close(db);
}

static void a_folder_that_is_not_there_is_an_error(void **state)
{
    struct db *db = NULL;

    (void)state;
    assert_int_not_equal(db_open("/tmp/headgate-none/there/t.db", &db), ERR_OK);
    assert_null(db);
}

/* ---- statements ----------------------------------------------------------- */

/* Every statement of the program is one that the schema can run. */
static void every_statement_is_understood(void **state)
{
    struct db *db = opened();

    (void)state;
    for (int q = Q_META_GET; q < QUERY_COUNT; q++) {
        enum err e = db_query(db, (enum query)q, "");

        if (e != ERR_OK)
            fail_msg("statement %d: %s", q, err_word(e));
        db_done(db, (enum query)q);
    }
    db_close(db);
}

static void values_come_back_as_they_went(void **state)
{
    static const unsigned char blob[] = { 0, 1, 255, 0 };
    struct db *db = opened();
    const void *got;
    size_t len;

    (void)state;
    assert_int_equal(db_run(db, Q_JOURNAL_ADD, "iiiib", INT64_MAX, INT64(-5),
                            INT64(1), INT64(7), (const void *)blob,
                            sizeof(blob)),
                     ERR_OK);
    assert_int_equal(db_changes(db), 1);
    assert_int_equal(db_first(db, Q_JOURNAL_GET, "i", INT64_MAX), ERR_OK);
    assert_int_equal(db_int(db, Q_JOURNAL_GET, 0), 7);
    got = db_blob(db, Q_JOURNAL_GET, 1, &len);
    assert_int_equal(len, sizeof(blob));
    assert_memory_equal(got, blob, len);
    assert_int_equal(db_next(db, Q_JOURNAL_GET), ERR_ABSENT);

    /* not a number is stored as NULL, and NULL is not a number */
    assert_int_equal(db_run(db, Q_EPISODE_PUT, "iiiiiiiidiiiiss", INT64(1),
                            INT64(0), INT64(1), INT64(0), INT64(1), INT64(1),
                            INT64(0), INT64(0), NAN, INT64(0), INT64(1),
                            INT64(0), INT64(0), NULL, ""),
                     ERR_OK);
    assert_int_equal(db_first(db, Q_EPISODE_LAST, "ii", INT64(1), INT64(0)),
                     ERR_OK);
    assert_true(db_is_null(db, Q_EPISODE_LAST, 5));
    assert_true(isnan(db_double(db, Q_EPISODE_LAST, 5)));
    db_done(db, Q_EPISODE_LAST);
    db_close(db);
}

/* The arguments of the run before must not stay bound. */
static void what_is_not_given_is_null(void **state)
{
    struct db *db = opened();

    (void)state;
    put_meta(db, "k", "v");
    assert_int_equal(db_run(db, Q_META_PUT, "s", "k"), ERR_OK);
    assert_int_equal(db_first(db, Q_META_GET, "s", "k"), ERR_OK);
    assert_true(db_is_null(db, Q_META_GET, 0));
    db_done(db, Q_META_GET);
    db_close(db);
}

static void the_nth_step_fails_once(void **state)
{
    struct db *db = opened();

    (void)state;
    db_fail_step(db, 2);
    put_meta(db, "a", "1");
    assert_int_equal(db_run(db, Q_META_PUT, "ss", "b", "2"), ERR_STORE);
    put_meta(db, "c", "3");
    assert_meta(db, "a", "1");
    assert_meta(db, "b", NULL);
    assert_meta(db, "c", "3");
    db_close(db);
}

/* ---- numbers -------------------------------------------------------------- */

static int64_t new_id(struct db *db)
{
    int64_t id = 0;

    assert_int_equal(db_new_id(db, &id), ERR_OK);
    return id;
}

static void numbers_grow_and_survive(void **state)
{
    struct db *db = opened();
    int64_t last = 0;

    (void)state;
    for (int i = 0; i < 10000; i++) { /* more than a block */
        int64_t id = new_id(db);

        assert_true(id > last);
        last = id;
    }
    db_close(db);
    db = opened();
    assert_true(new_id(db) > last);
    db_close(db);
}

/* A block reserved in what was rolled back is not ours: handing it out would
 * let a later restart hand it out again. */
static void numbers_of_a_rollback_are_not_used_again(void **state)
{
    struct db *db = opened();
    int64_t before, after;

    (void)state;
    before = new_id(db);
    assert_int_equal(db_run(db, Q_BEGIN, ""), ERR_OK);
    for (int i = 0; i < 5000; i++) /* reserves the next block */
        new_id(db);
    assert_int_equal(db_run(db, Q_ROLLBACK, ""), ERR_OK);
    db_forget_ids(db);
    after = new_id(db);
    assert_true(after > before);
    db_close(db);
    db = opened();
    assert_true(new_id(db) > after);
    db_close(db);
}

/* ---- the log -------------------------------------------------------------- */

static void a_checkpoint_empties_the_log(void **state)
{
    struct db *db = opened();

    (void)state;
    put_meta(db, "k", "v");
    assert_true(db_wal_pages(db) > 0);
    db_checkpoint(db);
    assert_int_equal(db_wal_pages(db), 0);
    assert_meta(db, "k", "v");
    db_close(db);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)
        TEST(reopening_keeps_what_was_written),
        TEST(a_second_opening_is_refused),
        TEST(another_schema_is_refused),
        TEST(what_is_no_database_is_refused),
        TEST(another_program_is_left_alone),
        TEST(reasons),
        TEST(damage_is_found),
        TEST(a_folder_that_is_not_there_is_an_error),
        TEST(every_statement_is_understood),
        TEST(values_come_back_as_they_went),
        TEST(what_is_not_given_is_null),
        TEST(the_nth_step_fails_once),
        TEST(numbers_grow_and_survive),
        TEST(numbers_of_a_rollback_are_not_used_again),
        TEST(a_checkpoint_empties_the_log),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
