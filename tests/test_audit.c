/*
 * The audit trail: a chain of hashes over rows that cannot be changed.
 *
 * The digests of the first test are of sha256sum (GNU coreutils) over the text
 * that service/audit.h describes, typed by hand.
 */
#include "service/audit.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <string.h>

static struct db *db_of(void **state)
{
    return ((struct world *)*state)->db;
}

static void note(struct db *db, int64_t at_ms, const char *action)
{
    const struct audit_entry row = { .at_ms = at_ms,
                                     .kind = "token",
                                     .actor = "desk",
                                     .scope = "system/Task.rs",
                                     .action = action,
                                     .type = "Task",
                                     .key = "t-1",
                                     .patient = 17,
                                     .detail = "?status" };

    assert_int_equal(audit_note(db, &row), ERR_OK);
}

static void ten_rows(struct db *db)
{
    for (int i = 0; i < 10; i++)
        note(db, INT64_C(1772784720000) + i, "read");
}

/* Something that headgate itself never does. */
static enum err force(struct db *db, const char *sql)
{
    enum err e = db_ask(db, sql, NULL, 0);

    if (e == ERR_OK)
        e = db_next(db, Q_ASKED);
    db_done(db, Q_ASKED);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static void unlock(struct db *db)
{
    assert_int_equal(force(db, "DROP TRIGGER audit_last"), ERR_OK);
    assert_int_equal(force(db, "DROP TRIGGER audit_kept"), ERR_OK);
    assert_int_equal(force(db, "DROP TRIGGER audit_whole"), ERR_OK);
}

static struct audit_walk walked(struct db *db)
{
    struct audit_walk w = { .after = 0 };

    assert_int_equal(audit_walk_step(db, &w), ERR_OK);
    return w;
}

/* ---- the chain ------------------------------------------------------------ */

static void assert_head(struct db *db, int64_t seq, const char *want)
{
    unsigned char hash[AUDIT_HASH_SIZE];
    char hex[AUDIT_HEX_SIZE];
    int64_t last;

    assert_int_equal(audit_head(db, &last, hash), ERR_OK);
    assert_int_equal(last, seq);
    audit_hex(hash, hex);
    assert_string_equal(hex, want);
}

static void each_row_is_hashed_with_the_one_before(void **state)
{
    struct db *db = db_of(state);

    assert_head(db, 0,
                "00000000000000000000000000000000"
                "00000000000000000000000000000000");
    note(db, 1000, "read");
    assert_head(db, 1,
                "ed14910fb387878e74d56b3983311507"
                "63698d2934365c618c3651c91f799a0d");
    note(db, 2000, "search");
    assert_head(db, 2,
                "26180fea3fe15a5cab619dd84f860be8"
                "e5c6da394dea3db951b3cc21bdc8d10f");
}

static void a_chain_as_it_was_written_is_whole(void **state)
{
    struct db *db = db_of(state);
    struct audit_walk w;

    w = walked(db);
    assert_int_equal(w.after, 0);
    assert_int_equal(w.broken, 0);
    ten_rows(db);
    w = walked(db);
    assert_int_equal(w.after, 10);
    assert_int_equal(w.broken, 0);
    assert_false(w.more);
}

static void a_long_chain_is_walked_in_steps(void **state)
{
    struct db *db = db_of(state);
    struct audit_walk w = { .after = 0 };
    int steps = 0;

    for (int i = 0; i < AUDIT_STEP_ROWS + 3; i++)
        note(db, i, "read");
    do {
        assert_int_equal(audit_walk_step(db, &w), ERR_OK);
        assert_int_equal(w.broken, 0);
        steps++;
    } while (w.more);
    assert_int_equal(w.after, AUDIT_STEP_ROWS + 3);
    assert_int_equal(steps, 2);
}

/* ---- what cannot be done to it -------------------------------------------- */

static void rows_are_added_at_the_end_and_stay(void **state)
{
    static const char *const wishes[] = {
        "UPDATE audit SET actor = 'nobody' WHERE seq = 4",
        "UPDATE audit SET seq = 11 WHERE seq = 4",
        "DELETE FROM audit WHERE seq = 10",
        "DELETE FROM audit",
        "INSERT OR REPLACE INTO audit SELECT 4, 4, at_ms, kind, 'nobody',"
        " scope, who, action, type, key, patient, outcome, detail, prev, hash"
        " FROM audit WHERE seq = 4",
        "INSERT INTO audit SELECT 12, 12, at_ms, kind, actor, scope, who,"
        " action, type, key, patient, outcome, detail, prev, hash FROM audit"
        " WHERE seq = 4",
    };
    struct db *db = db_of(state);

    ten_rows(db);
    for (size_t i = 0; i < COUNT(wishes); i++) {
        ROW(wishes[i]);
        assert_int_equal(force(db, wishes[i]), ERR_STORE);
        assert_int_equal(walked(db).after, 10);
        assert_int_equal(walked(db).broken, 0);
    }
}

/* ---- what shows ------------------------------------------------------------- */

static void every_change_shows_at_its_row(void **state)
{
    static const struct {
        const char *change;
        int64_t broken;
        const char *why;
    } rows[] = {
        { "UPDATE audit SET at_ms = at_ms + 1 WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET kind = 'local' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET actor = 'nobody' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET scope = '' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET who = 'x' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET action = 'look' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET type = 'Flag' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET key = 't-2' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET patient = 18 WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET outcome = 4 WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET detail = '' WHERE seq = 4", 4, "changed" },
        /* the same letters, moved over the border of two fields */
        { "UPDATE audit SET type = 'Taskt', key = '-1' WHERE seq = 4", 4,
          "changed" },
        { "UPDATE audit SET part = 9 WHERE seq = 4", 4, "form" },
        { "UPDATE audit SET hash = x'00' WHERE seq = 4", 4, "form" },
        { "UPDATE audit SET hash = zeroblob(32) WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET prev = zeroblob(32) WHERE seq = 4", 4, "chain" },
        { "UPDATE audit SET prev = (SELECT prev FROM audit WHERE seq = 5),"
          " hash = (SELECT hash FROM audit WHERE seq = 5) WHERE seq = 4",
          4, "chain" },
        { "DELETE FROM audit WHERE seq = 4", 5, "missing" },
        { "DELETE FROM audit WHERE seq < 4", 4, "missing" },
        { "UPDATE audit SET seq = 0 WHERE seq = 1", 2, "missing" },
    };
    struct db *db = db_of(state);

    ten_rows(db);
    unlock(db);
    assert_int_equal(force(db, "CREATE TEMP TABLE kept AS SELECT * FROM audit"),
                     ERR_OK);
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct audit_walk w;

        ROW(rows[i].change);
        assert_int_equal(force(db, rows[i].change), ERR_OK);
        w = walked(db);
        assert_int_equal(w.broken, rows[i].broken);
        assert_string_equal(w.why, rows[i].why);
        assert_int_equal(force(db, "DELETE FROM audit"), ERR_OK);
        assert_int_equal(force(db, "INSERT INTO audit SELECT * FROM kept"),
                         ERR_OK);
        assert_int_equal(walked(db).broken, 0);
    }
}

/* Cut, or written anew as a whole: the chain itself is fine then. */
static void an_anchor_shows_what_the_chain_does_not(void **state)
{
    struct db *db = db_of(state);
    struct audit_walk w = { .anchored = true };
    int64_t seq;

    ten_rows(db);
    assert_int_equal(audit_head(db, &seq, w.anchor), ERR_OK);
    note(db, 1, "read");
    assert_int_equal(audit_walk_step(db, &w), ERR_OK);
    assert_int_equal(w.anchor_seq, 10);

    unlock(db);
    assert_int_equal(force(db, "DELETE FROM audit WHERE seq > 9"), ERR_OK);
    memset(w.hash, 0, sizeof(w.hash));
    w.after = w.anchor_seq = 0;
    assert_int_equal(audit_walk_step(db, &w), ERR_OK);
    assert_int_equal(w.broken, 0);
    assert_int_equal(w.anchor_seq, 0);
}

/* ---- its texts ---------------------------------------------------------------- */

static void a_long_text_is_cut_between_characters(void **state)
{
    struct db *db = db_of(state);
    char text[AUDIT_TEXT_MAX + 40];
    struct audit_entry entry = { .action = "read", .detail = text };
    struct audit_row row;

    /* from an odd place on characters of two bytes, one over the border */
    memset(text, 'a', sizeof(text));
    for (size_t i = 1; i + 1 < sizeof(text); i += 2)
        memcpy(text + i, "\xc3\xa9", 2);
    text[sizeof(text) - 1] = '\0';
    assert_int_equal(audit_note(db, &entry), ERR_OK);
    assert_int_equal(db_query(db, Q_AUDIT_ROWS, "ii", INT64(0), INT64(1)),
                     ERR_OK);
    assert_int_equal(db_next(db, Q_AUDIT_ROWS), ERR_OK);
    audit_row_get(db, &row);
    assert_int_equal(strlen(row.entry.detail), AUDIT_TEXT_MAX - 1);
    assert_memory_equal(row.entry.detail, text, AUDIT_TEXT_MAX - 1);
    assert_string_equal(row.entry.actor, "");
    db_done(db, Q_AUDIT_ROWS);
    assert_int_equal(walked(db).broken, 0);
}

static void a_hash_is_read_as_it_is_written(void **state)
{
    unsigned char hash[AUDIT_HASH_SIZE], back[AUDIT_HASH_SIZE];
    char hex[AUDIT_HEX_SIZE];

    (void)state;
    for (size_t i = 0; i < sizeof(hash); i++)
        hash[i] = (unsigned char)(i * 37 + 5);
    audit_hex(hash, hex);
    assert_true(audit_unhex(hex, back));
    assert_memory_equal(hash, back, sizeof(hash));
    hex[10] = 'g';
    assert_false(audit_unhex(hex, back));
    hex[10] = '\0';
    assert_false(audit_unhex(hex, back));
    assert_false(audit_unhex("", back));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        TEST(each_row_is_hashed_with_the_one_before),
        TEST(a_chain_as_it_was_written_is_whole),
        TEST(a_long_chain_is_walked_in_steps),
        TEST(rows_are_added_at_the_end_and_stay),
        TEST(every_change_shows_at_its_row),
        TEST(an_anchor_shows_what_the_chain_does_not),
        TEST(a_long_text_is_cut_between_characters),
        TEST(a_hash_is_read_as_it_is_written),
#undef TEST
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
