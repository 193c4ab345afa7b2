/*
 * What keeps the audit trail from being changed is there, or is missed.
 *
 * The model is what SQLite itself (sqlite_master) says of a new store.
 */
#include "service/audit_start.h"
#include "service/db_shape.h"
#include "service/store_faults.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <string.h>

#define MADE_AGAIN                                                             \
    "to do: the next start of the service makes triggers, and indices that "   \
    "are missing, again; if a table is another one, restore a backup\n"
#define REMOVED                                                                \
    "to do: what was not made by headgate stays until a person removes it, "   \
    "and may change or swallow what is written. Keep a copy of the file, "     \
    "find out who made it, stop the service and drop it (sqlite3 FILE "        \
    "\"DROP TRIGGER NAME\"); then run headgate audit verify\n"

static struct db *db_of(void **state)
{
    return ((struct world *)*state)->db;
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

static void assert_faults(struct db *db, const char *want)
{
    struct buf found;

    buf_init(&found, 4096);
    assert_int_equal(store_faults_shape(db, &found), ERR_OK);
    assert_string_equal(found.data != NULL ? found.data : "", want);
    buf_clear(&found);
}

static void a_new_store_has_no_fault(void **state)
{
    assert_faults(db_of(state), "");
}

static void what_is_another_is_named(void **state)
{
    static const struct {
        const char *change, *back, *want;
    } rows[] = {
        { "DROP TRIGGER audit_kept",
          "CREATE TRIGGER audit_kept BEFORE UPDATE ON audit "
          "BEGIN SELECT RAISE(ABORT, 'audit is never changed'); END",
          "trigger audit_kept, which every store of this version has, is "
          "missing\n" MADE_AGAIN },
        { "CREATE TRIGGER audit_extra AFTER INSERT ON audit BEGIN SELECT 1; "
          "END",
          "DROP TRIGGER audit_extra",
          "trigger audit_extra was not made by headgate\n" REMOVED },
        { "DROP INDEX identifier_term_resource", NULL,
          "index identifier_term_resource, which every store of this version "
          "has, "
          "is missing\n" MADE_AGAIN },
        { "CREATE INDEX mine ON audit(actor)", "DROP INDEX mine",
          "index mine was not made by headgate\n" REMOVED },
        { "CREATE TABLE \"a\nb\"(n)", "DROP TABLE \"a\nb\"",
          "table a?b was not made by headgate\n" REMOVED },
        { "CREATE VIEW seen AS SELECT 1", "DROP VIEW seen",
          "view seen was not made by headgate\n" REMOVED },
        { "ALTER TABLE erased ADD COLUMN note TEXT",
          "ALTER TABLE erased DROP COLUMN note",
          "table erased is another one than headgate makes\n" MADE_AGAIN },
    };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(rows); i++) {
        char index[256];

        ROW(rows[i].change);
        if (rows[i].back == NULL)
            world_text(w,
                       "SELECT sql FROM sqlite_master WHERE name = "
                       "'identifier_term_resource'",
                       index, sizeof(index));
        assert_int_equal(force(w->db, rows[i].change), ERR_OK);
        assert_faults(w->db, rows[i].want);
        assert_int_equal(
            force(w->db, rows[i].back != NULL ? rows[i].back : index), ERR_OK);
        assert_faults(w->db, "");
    }
}

static void note(struct db *db)
{
    const struct audit_entry row = { .at_ms = 1, .action = "read" };

    assert_int_equal(audit_note(db, &row), ERR_OK);
}

static void assert_refused(struct db *db)
{
    static const char *const wishes[] = { "UPDATE audit SET actor = 'nobody'",
                                          "DELETE FROM audit",
                                          "DELETE FROM audit_patient",
                                          "UPDATE audit_patient SET seq = 1" };

    for (size_t i = 0; i < COUNT(wishes); i++) {
        ROW(wishes[i]);
        assert_int_equal(force(db, wishes[i]), ERR_STORE);
    }
}

static void with_a_list(struct db *db)
{
    static const struct audit_whom two = { .patients = { 7, 17 }, .count = 2 };
    const struct audit_entry row = { .at_ms = 1,
                                     .action = "search",
                                     .whom = &two };

    assert_int_equal(audit_note(db, &row), ERR_OK);
}

/* Gone, and one of the name that refuses nothing: both are there again, and it
 * is on record. */
static void triggers_are_made_again(void **state)
{
    struct world *w = *state;

    note(w->db);
    with_a_list(w->db);
    assert_refused(w->db);
    assert_int_equal(force(w->db, "DROP TRIGGER audit_kept"), ERR_OK);
    assert_int_equal(force(w->db, "DROP TRIGGER audit_whole"), ERR_OK);
    assert_int_equal(force(w->db, "DROP TRIGGER queue_episode"), ERR_OK);
    assert_int_equal(force(w->db, "CREATE TRIGGER audit_whole BEFORE DELETE ON "
                                  "audit BEGIN SELECT 1; END"),
                     ERR_OK);
    assert_int_equal(force(w->db, "UPDATE audit SET who = '' WHERE seq = 1"),
                     ERR_OK);
    assert_int_equal(audit_mend(w->db, 5), ERR_OK);
    assert_refused(w->db);
    assert_faults(w->db, "");
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM audit WHERE action = "
                       "'store-shape' AND kind = 'service' AND outcome = 0 "
                       "AND type = 'trigger' AND key IN ('audit_kept', "
                       "'audit_whole', 'queue_episode')"),
        3);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM audit WHERE key = 'audit_whole' "
                       "AND detail = 'changed, made again'"),
        1);
    assert_int_equal(audit_mend(w->db, 6), ERR_OK); /* no more of it */
    assert_int_equal(world_count(w, "SELECT count(*) FROM audit"), 5);
}

static void views_are_made_again(void **state)
{
    struct world *w = *state;

    assert_int_equal(force(w->db, "DROP VIEW search_token"), ERR_OK);
    assert_int_equal(force(w->db, "DROP VIEW identifier"), ERR_OK);
    assert_int_equal(force(w->db, "CREATE VIEW identifier AS SELECT 1 AS kind"),
                     ERR_OK);
    assert_int_equal(audit_mend(w->db, 5), ERR_OK);
    assert_faults(w->db, "");
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM audit WHERE action = "
                       "'store-shape' AND type = 'view' AND outcome = 0"),
        2);
    world_has_access(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM identifier"), 2);
}

/* It is not ours to remove; but it is not passed over. */
static void what_is_foreign_stays_and_is_on_record(void **state)
{
    struct world *w = *state;

    assert_int_equal(force(w->db, "CREATE TRIGGER sly AFTER INSERT ON episode "
                                  "BEGIN DELETE FROM episode; END"),
                     ERR_OK);
    assert_int_equal(audit_mend(w->db, 5), ERR_OK);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM audit WHERE action = "
                       "'store-shape' AND key = 'sly' AND outcome = 8 AND "
                       "detail = 'foreign'"),
        1);
    assert_faults(w->db, "trigger sly was not made by headgate\n" REMOVED);
}

/* An index that the rows do not allow any more is no reason to stop. */
static void an_index_is_made_again_where_it_fits(void **state)
{
    struct world *w = *state;

    assert_int_equal(force(w->db, "DROP INDEX resource_kind"), ERR_OK);
    assert_int_equal(audit_mend(w->db, 5), ERR_OK);
    assert_faults(w->db, "");
    assert_int_equal(force(w->db, "DROP INDEX hl7_message_once"), ERR_OK);
    for (int i = 0; i < 2; i++)
        assert_int_equal(
            force(w->db,
                  "INSERT INTO hl7_message(part, received_ms, source, "
                  "application, facility, control, digest, journal, answer, "
                  "bytes, body) VALUES(1, 1, 's', 'a', 'f', 'c', x'00', 1, 1, "
                  "1, x'00')"),
            ERR_OK);
    assert_int_equal(audit_mend(w->db, 6), ERR_OK);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM audit WHERE action = "
                       "'store-shape' AND key = 'hl7_message_once' AND "
                       "outcome = 8 AND detail = 'missing'"),
        1);
}

static void the_chain_is_told_in_words(void **state)
{
    struct db *db = db_of(state);
    struct buf found;

    note(db);
    with_a_list(db);
    buf_init(&found, 4096);
    assert_int_equal(store_faults_chain(db, &found), ERR_OK);
    assert_int_equal(found.len, 0);
    assert_int_equal(force(db, "DROP TRIGGER audit_whole"), ERR_OK);
    assert_int_equal(force(db, "DELETE FROM audit WHERE seq = 2"), ERR_OK);
    assert_int_equal(store_faults_chain(db, &found), ERR_OK);
    assert_string_equal(found.data,
                        "audit trail: BROKEN: rows after row 1 are missing: "
                        "the end was cut off.  Lists of their patients are "
                        "still there.\n");
    buf_clear(&found);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        TEST(a_new_store_has_no_fault),
        TEST(what_is_another_is_named),
        TEST(triggers_are_made_again),
        TEST(views_are_made_again),
        TEST(what_is_foreign_stays_and_is_on_record),
        TEST(an_index_is_made_again_where_it_fits),
        TEST(the_chain_is_told_in_words),
#undef TEST
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
