/*
 * A restore keeps the old store, and what it alone knows of: who was removed
 * since the backup.
 */
#include "service/patient_erase.h"
#include "service/store_restore.h"
#include "tests/store_copy_kit.h"

static enum err restore(struct store_restored *r)
{
    struct buf why;
    enum err e;

    buf_init(&why, 8192);
    e = store_restore(target, settings(), START_S, r, &why);
    if (e != ERR_OK)
        print_message("    %s\n", why.data);
    buf_clear(&r->again);
    buf_clear(&why);
    return e;
}

static void the_old_store_stays_beside_the_new_one(void **state)
{
    struct store_restored r;
    struct put more;
    char log[112];

    (void)state;
    world_now_s = START_S - DAY_S;
    make_backup(300);
    closed = 0;
    open_store();
    submit(&more, 1000, 50, ERR_OK);
    wait_for(&more.done);
    /* while somebody has it open nothing is done */
    assert_int_equal(restore(&r), ERR_DENIED);
    close_store();
    assert_int_equal(keys_in(w.path), 350);
    assert_int_equal(restore(&r), ERR_OK);
    assert_false(r.damaged);
    assert_int_equal(keys_in(w.path), 300);
    assert_int_equal(keys_in(r.before), 350);
    assert_int_equal(world_count_file(w.path,
                                      "SELECT count(*) FROM audit WHERE "
                                      "action = 'restored' AND detail LIKE "
                                      "'backup %, in place of row 0 %'"),
                     1);
    /* its newest backup is the one that it was made of, a day ago */
    assert_int_equal(world_count_file(w.path, "SELECT CAST(v AS INT) FROM meta "
                                              "WHERE k = 'backup_ms'"),
                     (START_S - DAY_S) * INT64_C(1000));
    snprintf(log, sizeof(log), "%s-wal", w.path);
    assert_false(is_there(log));
    /* the same second: the old one is not overwritten */
    assert_int_equal(restore(&r), ERR_CONFLICT);
    assert_int_equal(keys_in(w.path), 300);
    snprintf(log, sizeof(log), "%s.before-20260306T081200Z", w.path);
    assert_true(is_there(log));
    unlink(log);
}

/* A store that cannot be opened, with a log beside it: both go away, and the new
 * one does not get the log of the old. */
static void a_damaged_store_is_put_away_as_it_is(void **state)
{
    struct store_restored r;
    char log[112], gone[144];
    FILE *f;

    (void)state;
    make_backup(300);
    f = fopen(w.path, "wb");
    assert_non_null(f);
    fputs("this is no database", f);
    fclose(f);
    snprintf(log, sizeof(log), "%s-wal", w.path);
    f = fopen(log, "wb");
    assert_non_null(f);
    fputs("nor is this a log", f);
    fclose(f);
    assert_int_equal(restore(&r), ERR_OK);
    assert_true(r.damaged);
    assert_int_equal(r.ledger, ERR_STORE);
    assert_int_equal(keys_in(w.path), 300);
    assert_int_equal(
        world_count_file(w.path, "SELECT count(*) FROM audit WHERE "
                                 "action = 'restored' AND detail LIKE "
                                 "'backup %, in place of a store that cannot "
                                 "be read'"),
        1);
    assert_false(is_there(log));
    snprintf(gone, sizeof(gone), "%.120s-wal", r.before);
    assert_true(is_there(gone));
    unlink(gone);
    unlink(r.before);
}

static void a_bad_backup_changes_nothing(void **state)
{
    struct store_restored r;
    struct put more;

    (void)state;
    make_backup(300);
    closed = 0;
    open_store();
    submit(&more, 1000, 50, ERR_OK);
    wait_for(&more.done);
    close_store();
    overwrite(target, 50000, "x");
    assert_int_equal(restore(&r), ERR_CONFLICT);
    assert_int_equal(keys_in(w.path), 350);
}

/* ---- erasures that the backup does not know of ------------------------------ */

/* HMAC-SHA256 (RFC 2104) of "i:urn:example:mrn|1001" with a key of 64 times
 * "0", worked out with the module hmac of Python 3. */
#define MARK "566e7175a264e6c91ce7b5debb856228ae9686d965142478c6888e83774022a3"
#define KEY_OF(digit)                                                          \
    "INSERT INTO meta(k, v) VALUES('erasure_key', replace(hex(zeroblob(32)), " \
    "'0', '" digit "'));"

/* In the backup the patient is there; in the store the patient was removed. */
static void erase_after_backup(const char *key)
{
    open_store();
    close_store();
    world_change_file(w.path, "INSERT INTO patient_alias(alias, patient) "
                              "VALUES('i:urn:example:mrn|1001', 77)");
    make_backup(100);
    world_change_file(
        w.path, "DELETE FROM patient_alias WHERE patient = 77;"
                "INSERT INTO erased(id, part, at_ms, who, why, counts, "
                "state) VALUES(5, 5, 1, 'A, privacy', 'asked', '{}', 0);"
                "INSERT INTO erased_key(hash, erased) VALUES(X'" MARK "', 5)");
    world_change_file(w.path, key);
}

static void list_erased(struct buf *out)
{
    struct db *db = NULL;

    buf_init(out, 65536);
    assert_int_equal(db_open(w.path, &db), ERR_OK);
    assert_int_equal(patient_erased_list(db, out), ERR_OK);
    db_close(db);
}

static void erasures_since_the_backup_are_known_after_a_restore(void **state)
{
    struct store_restored r;
    struct buf out;

    (void)state;
    erase_after_backup(KEY_OF("0"));
    assert_int_equal(restore(&r), ERR_OK);
    assert_int_equal(r.ledger, ERR_OK);
    assert_int_equal(r.carried, 1);
    list_erased(&out);
    assert_non_null(strstr(out.data, "A, privacy: asked"));
    assert_non_null(strstr(out.data, "IS HERE AGAIN"));
    buf_clear(&out);
    /* its file is not the one that was to be written anew */
    assert_int_equal(
        world_count_file(w.path, "SELECT count(*) FROM erased WHERE state = 1"),
        1);
    assert_int_equal(world_count_file(w.path,
                                      "SELECT count(*) FROM audit WHERE action "
                                      "= 'restored' AND detail LIKE "
                                      "'%; erasures taken over: 1'"),
                     1);
    unlink(r.before);
}

/* With the key of the one nothing of the other is found: that is told. */
static void erasures_with_another_key_are_told(void **state)
{
    struct store_restored r;

    (void)state;
    open_store();
    close_store();
    world_change_file(w.path, KEY_OF("1"));
    erase_after_backup("UPDATE meta SET v = replace(v, '1', '0') WHERE k = "
                       "'erasure_key'");
    assert_int_equal(restore(&r), ERR_OK);
    assert_int_equal(r.ledger, ERR_CONFLICT);
    assert_int_equal(r.carried, 0);
    assert_int_equal(world_count_file(w.path, "SELECT count(*) FROM erased"),
                     0);
    assert_int_equal(world_count_file(w.path,
                                      "SELECT count(*) FROM audit WHERE action "
                                      "= 'restored' AND detail LIKE "
                                      "'%; its erasures were not to be had'"),
                     1);
    unlink(r.before);
}

/* The machine is lost, and with it who was removed since the backup. */
static void without_an_old_store_erasures_are_not_known(void **state)
{
    struct store_restored r;

    (void)state;
    make_backup(3);
    assert_int_equal(unlink(w.path), 0);
    assert_int_equal(restore(&r), ERR_OK);
    assert_int_equal(r.before[0], '\0');
    assert_int_equal(r.ledger, ERR_ABSENT);
    assert_int_equal(keys_in(w.path), 3);
    /* and it does not pass for one that begins with nothing */
    assert_int_equal(world_count_file(w.path, "SELECT count(*) FROM meta WHERE "
                                              "k = 'made_ms' AND v + 0 > 0"),
                     0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(the_old_store_stays_beside_the_new_one),
        TEST(a_damaged_store_is_put_away_as_it_is),
        TEST(a_bad_backup_changes_nothing),
        TEST(erasures_since_the_backup_are_known_after_a_restore),
        TEST(erasures_with_another_key_are_told),
        TEST(without_an_old_store_erasures_are_not_known),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
