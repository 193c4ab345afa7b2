#include "service/db_schema.h"
#include "service/episodes.h"
#include "service/patients.h"
#include "service/schema.h"
#include "tests/schema_1.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <unistd.h>

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
        { "UPDATE meta SET v = '14' WHERE k = 'schema'", ERR_CONFLICT },
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
                          "INSERT OR REPLACE INTO meta VALUES('schema', '13');"
                          "PRAGMA application_id = 0");
    }
    db_close(opened());
}

/* ---- a store of before ---------------------------------------------------- */

/* A patient with an access, a blood pressure that no rule looked at, an open
 * suggestion with its evidence, a reminder, and the Tasks of both. */
static const char first_store[] =
    "PRAGMA journal_mode = WAL; PRAGMA application_id = 1751410548;"
    "INSERT INTO meta VALUES('schema', '1'), ('next_id', '4097'),"
    " ('node', 'n');"
    "INSERT INTO resource VALUES(1, 1, 3, 'p-1', NULL, 1, 5, 0, 0),"
    " (2, 1, 2, 'acc-7', NULL, 1, 5, 0, 0), (3, 1, 1, 'o1', NULL, 1, 5, 0, 0),"
    " (4, 1, 4, 't-1', NULL, 1, 5, 0, 0), (5, 1, 4, 't-2', NULL, 1, 5, 0, 0);"
    "INSERT INTO patient VALUES(10, 10, 'r:Patient/p-1', 'n:1001',"
    " 'Fictional, Wren', 'Unit North', 1);"
    "INSERT INTO access VALUES(11, 11, 10, 'r:BodyStructure/acc-7', 44, 1,"
    " 'upper-arm', 'Fistula A-7', 1, 0, 2, NULL);"
    "INSERT INTO episode VALUES(11, 0, 1, 11, 1, 2, 1, 0, 2240.5, 0, 4,"
    " 1772600000, 1773600000, 'flow 2240', 'look');"
    "INSERT INTO evidence VALUES(11, 0, 1, 3, 0, 1, 1772700000);"
    "INSERT INTO repeat VALUES(11, 1, 1, 11, 1, 3, 5, 1773700000, 'again');"
    "INSERT INTO decision VALUES(6, 11, 11, 0, 1, 1772600000000, 1, 0, '1', 4,"
    " 1, 1, '3/1/0', 0);"
    "INSERT INTO task VALUES(4, 11, 10, 11, 'requested', 'urgent',"
    " 'refer-flow-review', 'key-1'), (5, 11, 10, 11, 'requested', 'routine',"
    " 'repeat-digital-pressure', 'key-2');";

static void make_first_store(void)
{
    static const enum quantity quantities[] = { Q_SYSTOLIC_PRESSURE,
                                                Q_PRE_WEIGHT };
    char reading[256];

    world_change_file(w.path, schema_1_sql);
    world_change_file(w.path, first_store);
    for (size_t i = 0; i < COUNT(quantities); i++) {
        snprintf(reading, sizeof(reading),
                 "INSERT INTO reading VALUES(10, 0, 1772700000, %d, 3, %zu, 10,"
                 " 1, 0, 1772700001, 0, 141, 0, 0, 0, 0, 0, 0)",
                 (int)quantities[i], i);
        world_change_file(w.path, reading);
    }
}

static void what_was_said_is_there(struct db *db)
{
    struct episode episode;
    struct repeat_state repeat;
    int64_t task;
    bool silent = true;

    assert_int_equal(episode_load(db, 11, GROUP_FLOW, &episode, &task), ERR_OK);
    assert_int_equal(task, 4);
    assert_int_equal(episode.state, EPISODE_OPEN);
    assert_int_equal(episode.urgency, URGENCY_URGENT);
    assert_int_equal(episode.rules, 1u << RULE_HF_1);
    assert_true(episode.flow_ml_min > 2240.4 && episode.flow_ml_min < 2240.6);
    assert_int_equal(episode.evidence_count, 1);
    assert_int_equal(episode.occasion, 0);
    /* it was put to people when it opened, and not since */
    assert_int_equal(episode.announced_s, 1772600000);
    assert_int_equal(repeat_load(db, 11, GROUP_HAND, &repeat, &task), ERR_OK);
    assert_int_equal(task, 5);
    assert_true(repeat.open);
    assert_false(repeat.overdue);
    assert_int_equal(repeat.due_s, 1773700000);
    assert_int_equal(task_is_silent(db, 4, &silent), ERR_OK);
    assert_false(silent);
}

/* A systolic pressure is looked at now; a weight before dialysis still is not. */
static void the_first_version_comes_up_with_everything(void **state)
{
    struct db *db;
    struct patient p;

    (void)state;
    make_first_store();
    db = opened();
    what_was_said_is_there(db);
    assert_int_equal(patient_get(db, 10, &p), ERR_OK);
    assert_string_equal(p.name, "Fictional, Wren");
    assert_true(p.born_s == INT64_MIN);
    assert_meta(db, "schema", "13");
    db_close(db);
    db = opened(); /* and stays so */
    what_was_said_is_there(db);
    db_close(db);
    assert_int_equal(world_count_file(w.path, "SELECT reviewed FROM reading"
                                              " WHERE slot = 0"),
                     1);
    assert_int_equal(world_count_file(w.path, "SELECT reviewed FROM reading"
                                              " WHERE slot = 1"),
                     0);
    assert_int_equal(
        world_count_file(w.path, "SELECT count(*) FROM news WHERE access = 11"
                                 " AND since_ms = 0"),
        1);
}

/* The tables, with their columns, and the indices of a store. */
static void shape_of(const char *path, char *out, size_t size)
{
    struct world other = { .db = NULL };

    snprintf(other.path, sizeof(other.path), "%s", path);
    assert_int_equal(db_open(other.path, &other.db), ERR_OK);
    assert_int_equal(db_run(other.db, Q_BEGIN, ""), ERR_OK);
    world_text(&other,
               "SELECT group_concat(word, ';') FROM (SELECT m.name || '.' ||"
               " p.name || ' ' || p.type || ' ' || p.\"notnull\" || ' ' || p.pk"
               " AS word FROM sqlite_master m JOIN pragma_table_info(m.name) p"
               " WHERE m.type = 'table' UNION SELECT name || sql FROM"
               " sqlite_master WHERE type IN ('index', 'trigger', 'view') AND "
               "sql IS NOT"
               " NULL"
               " ORDER BY 1)",
               out, size);
    db_close(other.db);
}

static void an_upgraded_store_is_as_a_new_one(void **state)
{
    static char upgraded[32768], fresh[32768];
    char path[80];

    (void)state;
    make_first_store();
    shape_of(w.path, upgraded, sizeof(upgraded));
    snprintf(path, sizeof(path), "%s/new.db", w.folder);
    shape_of(path, fresh, sizeof(fresh));
    unlink(path);
    assert_true(strlen(fresh) > 1000);
    assert_string_equal(upgraded, fresh);
}

/* Version 12 had values and systems as text wherever one was named. */
static void what_was_found_before_is_found(void **state)
{
    struct db *db;

    (void)state;
    make_first_store();
    for (size_t i = 0; i < COUNT(schema_steps) && schema_steps[i].from < 12;
         i++)
        world_change_file(w.path, schema_steps[i].sql);
    world_change_file(
        w.path,
        "UPDATE meta SET v = '12' WHERE k = 'schema';"
        "INSERT INTO identifier VALUES(1, 'urn:a', 'o-1', 3),"
        " (1, '', 'o-1', 3), (3, 'urn:p', '1001', 1);"
        "INSERT INTO search_token VALUES(3, 33, 'o-1', 'urn:a', NULL),"
        " (3, 33, 'o-1', '', NULL), (4, 5, 'requested', 'urn:s', 77),"
        " (5, 5, 'requested', 'urn:s', 78), (1, 57, '1001', 'urn:p', NULL);"
        "CREATE TABLE was AS SELECT * FROM search_token;"
        "CREATE TABLE named AS SELECT * FROM identifier;");
    db = opened();
    db_close(db);
    assert_int_equal(
        world_count_file(w.path, "SELECT count(*) FROM (SELECT resource, name,"
                                 " value, system, updated_ms FROM was"
                                 " INTERSECT SELECT resource, name, value,"
                                 " system, updated_ms FROM search_token)"),
        5);
    assert_int_equal(
        world_count_file(w.path, "SELECT count(*) FROM (SELECT kind, system,"
                                 " value, resource FROM named INTERSECT SELECT"
                                 " kind, system, value, resource FROM"
                                 " identifier)"),
        3);
    assert_int_equal(world_count_file(w.path, "SELECT (SELECT count(*) FROM"
                                              " search_token) * 100 + (SELECT"
                                              " count(*) FROM identifier) * 10"
                                              " + (SELECT count(*) FROM term)"),
                     534);
}

/* Who only looks does not upgrade: there is no way back. */
static void a_look_changes_nothing(void **state)
{
    struct db *db = NULL;
    int64_t version = 0;

    (void)state;
    assert_int_equal(db_look(w.path, &db, &version), ERR_ABSENT);
    make_first_store();
    assert_int_equal(db_look(w.path, &db, &version), ERR_OK);
    assert_int_equal(version, 1);
    assert_int_equal(db_verify(db), ERR_OK);
    db_close(db);
    assert_int_equal(
        world_count_file(w.path, "SELECT v FROM meta WHERE k = 'schema'"), 1);
}

/* All of it or nothing: here the last statement of the step fails. */
static void an_upgrade_that_fails_changes_nothing(void **state)
{
    struct db *db = NULL;

    (void)state;
    make_first_store();
    world_change_file(w.path, "CREATE INDEX task_silent ON task(status)");
    assert_int_not_equal(db_open(w.path, &db), ERR_OK);
    assert_null(db);
    assert_int_equal(world_count_file(w.path,
                                      "SELECT count(*) FROM pragma_table_info("
                                      "'episode') WHERE name = 'occasion'"),
                     0);
    assert_int_equal(world_count_file(w.path, "SELECT v FROM meta WHERE"
                                              " k = 'schema'"),
                     1);
    world_change_file(w.path, "DROP INDEX task_silent");
    db = opened();
    what_was_said_is_there(db);
    db_close(db);
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
    assert_int_equal(db_run(db, Q_EPISODE_PUT, "iiiiiiiidiiiissiiii", INT64(1),
                            INT64(0), INT64(1), INT64(0), INT64(1), INT64(1),
                            INT64(0), INT64(0), NAN, INT64(0), INT64(1),
                            INT64(0), INT64(0), NULL, "", INT64(0), INT64(0),
                            INT64(0), INT64(0)),
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
    assert_int_equal(db_checkpoint(db), ERR_OK);
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
        TEST(the_first_version_comes_up_with_everything),
        TEST(an_upgraded_store_is_as_a_new_one),
        TEST(what_was_found_before_is_found),
        TEST(a_look_changes_nothing),
        TEST(an_upgrade_that_fails_changes_nothing),
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
