/*
 * The store as a file: a copy that is made while it is written to is whole and
 * of one moment; what goes wrong leaves nothing; a backup that is not what it
 * was is told; a restore keeps the old store.
 *
 * Copies are read by SQLite's own library; the sum of a file is checked against
 * sha256sum in tests/peers/store.mjs.
 */
#include "service/db_copy.h"
#include "service/patient_erase.h"
#include "service/store_backup.h"
#include "service/store_manifest.h"
#include "service/store_restore.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

static struct world w;
static uv_loop_t loop;
static struct store *store;
static struct store_backup *backup;
static char target[96], manifest[112], part[112];
static int closed;

static int start(void **state)
{
    (void)state;
    world_init(&w);
    assert_int_equal(uv_loop_init(&loop), 0);
    snprintf(target, sizeof(target), "%s/copy", w.folder);
    snprintf(manifest, sizeof(manifest), "%s.json", target);
    snprintf(part, sizeof(part), "%s.part", target);
    store = NULL;
    closed = 0;
    return 0;
}

static int stop(void **state)
{
    (void)state;
    assert_int_equal(uv_loop_close(&loop), 0);
    unlink(target);
    unlink(manifest);
    world_clear(&w);
    return 0;
}

static bool is_there(const char *path)
{
    return access(path, F_OK) == 0;
}

/* ---- rows that are told apart ------------------------------------------------- */

struct put {
    struct store_job job;
    int from, count;
    enum err answer;
    bool done;
};

static enum err put_rows(struct db *db, int from, int count)
{
    char key[32], value[900];
    enum err e = ERR_OK;

    memset(value, 'v', sizeof(value) - 1);
    value[sizeof(value) - 1] = '\0';
    for (int i = from; e == ERR_OK && i < from + count; i++) {
        snprintf(key, sizeof(key), "key-%06d", i);
        e = db_run(db, Q_META_PUT, "ss", key, value);
    }
    return e;
}

static enum err run_put(struct db *db, void *arg)
{
    struct put *p = arg;
    enum err e = put_rows(db, p->from, p->count);

    return e == ERR_OK ? p->answer : e;
}

static void done_put(void *arg, enum err e)
{
    struct put *p = arg;

    (void)e;
    p->done = true;
}

static void submit(struct put *p, int from, int count, enum err answer)
{
    *p = (struct put){ .from = from, .count = count, .answer = answer };
    p->job = (struct store_job){ .run = run_put, .done = done_put, .arg = p };
    store_submit(store, &p->job);
}

static void wait_for(const bool *done)
{
    while (!*done)
        uv_run(&loop, UV_RUN_ONCE);
}

static long long keys_in(const char *path)
{
    return world_count_file(path,
                            "SELECT count(*) FROM meta WHERE k LIKE 'key-%'");
}

/* ---- copying, by hand ---------------------------------------------------------- */

static void a_copy_has_what_was_committed_between_its_steps(void **state)
{
    struct db_copy *copy = NULL;
    struct db *db = NULL;
    bool more = true;
    int steps = 0, fd;

    (void)state;
    assert_int_equal(db_open(w.path, &db), ERR_OK);
    assert_int_equal(db_run(db, Q_BEGIN, ""), ERR_OK);
    assert_int_equal(put_rows(db, 0, 2000), ERR_OK);
    assert_int_equal(db_run(db, Q_COMMIT, ""), ERR_OK);
    fd = open(target, O_CREAT | O_EXCL | O_WRONLY, 0600);
    assert_true(fd >= 0);
    close(fd);
    assert_int_equal(db_copy_begin(db, target, &copy), ERR_OK);
    while (more) {
        assert_int_equal(db_copy_step(copy, 16, &more), ERR_OK);
        steps++;
        if (steps > 40)
            continue; /* it has to come to its end */
        /* one that is kept, and one that is undone */
        assert_int_equal(db_run(db, Q_BEGIN, ""), ERR_OK);
        assert_int_equal(put_rows(db, 2000 + steps, 1), ERR_OK);
        assert_int_equal(db_run(db, Q_COMMIT, ""), ERR_OK);
        assert_int_equal(db_run(db, Q_BEGIN, ""), ERR_OK);
        assert_int_equal(put_rows(db, 9000 + steps, 1), ERR_OK);
        assert_int_equal(db_run(db, Q_ROLLBACK, ""), ERR_OK);
        if (steps % 8 == 0)
            assert_int_equal(db_checkpoint(db), ERR_OK);
    }
    assert_true(steps > 40);
    db_copy_end(copy);
    db_close(db);
    assert_int_equal(keys_in(target), 2040);
    assert_int_equal(world_count_file(target, "SELECT count(*) FROM meta WHERE "
                                              "k LIKE 'key-009%'"),
                     0);
    assert_int_equal(world_count_file(target, "SELECT count(*) FROM "
                                              "pragma_integrity_check WHERE "
                                              "integrity_check <> 'ok'"),
                     0);
}

/* ---- backups ---------------------------------------------------------------------- */

static void on_closed(void *arg)
{
    (void)arg;
    closed++;
}

static void open_store(void)
{
    static const struct store_work none = { .run = NULL };

    closed = 0;
    assert_int_equal(store_open(&loop, w.path, &none, NULL, NULL, &store),
                     ERR_OK);
    assert_int_equal(store_backup_open(&loop, store, world_now_ms, &backup),
                     ERR_OK);
}

static void close_store(void)
{
    store_close(store, on_closed, NULL);
    store_backup_close(backup, on_closed, NULL);
    while (closed < 2)
        uv_run(&loop, UV_RUN_ONCE);
}

static struct store_backup_view wait_for_backup(void)
{
    struct store_backup_view view;

    do {
        uv_run(&loop, UV_RUN_ONCE);
        store_backup_look(backup, &view);
    } while (view.state == BACKUP_COPYING || view.state == BACKUP_CHECKING);
    return view;
}

static void begin(void)
{
    struct buf why;

    buf_init(&why, 4096);
    assert_int_equal(store_backup_begin(backup, target, &why), ERR_OK);
    buf_clear(&why);
}

static void a_backup_under_load_is_whole(void **state)
{
    struct store_backup_view view;
    struct store_manifest m;
    struct put puts[60], first;
    struct stat info;

    (void)state;
    open_store();
    submit(&first, 0, 3000, ERR_OK);
    wait_for(&first.done);
    begin();
    for (int i = 0; i < 60; i++) /* every third is undone */
        submit(&puts[i], 3000 + 10 * i, 10, i % 3 == 0 ? ERR_FORM : ERR_OK);
    view = wait_for_backup();
    assert_int_equal(view.state, BACKUP_DONE);
    assert_int_equal(store_manifest_read(view.text, strlen(view.text), &m),
                     ERR_OK);
    wait_for(&puts[59].done);
    close_store();
    assert_int_equal(stat(target, &info), 0);
    assert_int_equal(info.st_mode & 0777, 0600);
    assert_int_equal(stat(manifest, &info), 0);
    assert_int_equal(info.st_mode & 0777, 0600);
    assert_false(is_there(part));
    assert_true(keys_in(target) >= 3000);
    assert_int_equal(keys_in(target) % 10, 0); /* no job by half */
    assert_int_equal(m.schema, db_schema_newest());
}

static void nothing_is_overwritten(void **state)
{
    struct buf why;
    FILE *f;

    (void)state;
    open_store();
    buf_init(&why, 4096);
    f = fopen(target, "w");
    assert_non_null(f);
    fclose(f);
    assert_int_equal(store_backup_begin(backup, target, &why), ERR_CONFLICT);
    assert_non_null(strstr(why.data, "is there already"));
    unlink(target);
    f = fopen(manifest, "w");
    assert_non_null(f);
    fclose(f);
    buf_empty(&why);
    assert_int_equal(store_backup_begin(backup, target, &why), ERR_CONFLICT);
    unlink(manifest);
    buf_empty(&why);
    assert_int_equal(store_backup_begin(backup, "copy", &why), ERR_FORM);
    /* one at a time */
    begin();
    assert_int_equal(store_backup_begin(backup, target, &why), ERR_DENIED);
    assert_int_equal(wait_for_backup().state, BACKUP_DONE);
    buf_clear(&why);
    close_store();
}

static void let_files_grow_to(rlim_t bytes)
{
    struct rlimit limit;

    assert_int_equal(getrlimit(RLIMIT_FSIZE, &limit), 0);
    limit.rlim_cur = bytes;
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
}

/* The copy cannot be written to its end; the store can. */
static void a_copy_that_cannot_be_written_leaves_nothing(void **state)
{
    struct store_backup_view view;
    struct put first, later;

    (void)state;
    signal(SIGXFSZ, SIG_IGN);
    open_store();
    submit(&first, 0, 3000, ERR_OK);
    wait_for(&first.done);
    /* the store itself has nothing to write beyond that limit any more */
    close_store();
    open_store();
    let_files_grow_to((rlim_t)1024 * 1024);
    begin();
    view = wait_for_backup();
    assert_int_equal(view.state, BACKUP_FAILED);
    assert_true(strlen(view.text) > 0);
    let_files_grow_to(RLIM_INFINITY);
    assert_false(is_there(target));
    assert_false(is_there(part));
    assert_false(is_there(manifest));
    /* what is taken in has seen nothing of it, and the next one is made */
    submit(&later, 5000, 10, ERR_OK);
    wait_for(&later.done);
    begin();
    assert_int_equal(wait_for_backup().state, BACKUP_DONE);
    close_store();
    assert_int_equal(keys_in(target), 3010);
}

static void a_store_that_is_closed_leaves_no_half_of_one(void **state)
{
    struct put first;

    (void)state;
    open_store();
    submit(&first, 0, 20000, ERR_OK);
    wait_for(&first.done);
    begin();
    close_store();
    /* whole, or nothing: it depends on when the thread was told */
    assert_int_equal(is_there(target), is_there(manifest));
    assert_false(is_there(part));
}

static void there_must_be_room(void **state)
{
    struct buf why;

    (void)state;
    buf_init(&why, 4096);
    assert_int_equal(store_room(target, 1, &why), ERR_OK);
    assert_int_equal(store_room(target, INT64_MAX / 2, &why), ERR_FULL);
    assert_non_null(strstr(why.data, "no room"));
    buf_clear(&why);
}

/* ---- a backup that is not what it was ------------------------------------------------ */

static struct config *settings(void)
{
    static struct config config;
    struct buf why;
    static const char *const sets[] = { "policy.path=" SOURCE_DIR
                                        "/config/policy.ini" };
    const char *all[1] = { sets[0] };

    buf_init(&why, 4096);
    assert_int_equal(config_load(NULL, all, 1, &config, &why), ERR_OK);
    buf_clear(&why);
    snprintf(config.store_path, sizeof(config.store_path), "%s", w.path);
    return &config;
}

static void make_backup(int rows)
{
    struct put first;

    open_store();
    submit(&first, 0, rows, ERR_OK);
    wait_for(&first.done);
    begin();
    assert_int_equal(wait_for_backup().state, BACKUP_DONE);
    close_store();
}

static enum err verify(const char *word)
{
    struct store_check check;
    struct buf why;
    enum err e;

    buf_init(&why, 8192);
    e = store_check(target, settings(), &check, &why);
    if (word != NULL) {
        assert_int_not_equal(e, ERR_OK);
        if (strstr(why.data, word) == NULL)
            print_error("%s does not say %s\n", why.data, word);
        assert_non_null(strstr(why.data, word));
    }
    buf_clear(&why);
    return e;
}

static void overwrite(const char *path, long at, const char *bytes)
{
    FILE *f = fopen(path, "r+b");

    assert_non_null(f);
    assert_int_equal(fseek(f, at, SEEK_SET), 0);
    assert_int_equal(fwrite(bytes, 1, strlen(bytes), f), strlen(bytes));
    assert_int_equal(fclose(f), 0);
}

static void a_byte_that_is_another_is_told(void **state)
{
    (void)state;
    make_backup(500);
    assert_int_equal(verify(NULL), ERR_OK);
    overwrite(target, 100000, "x");
    assert_int_equal(verify("SHA-256"), ERR_CONFLICT);
}

static void a_file_that_is_cut_is_told(void **state)
{
    (void)state;
    make_backup(500);
    assert_int_equal(truncate(target, 40960), 0);
    assert_true(verify("copy") == ERR_STORE || verify(NULL) == ERR_CONFLICT);
}

static void a_manifest_is_needed_and_has_to_fit(void **state)
{
    char *at, text[4096];
    size_t len;
    FILE *f;

    (void)state;
    make_backup(100);
    f = fopen(manifest, "rb");
    assert_non_null(f);
    len = fread(text, 1, sizeof(text) - 1, f);
    fclose(f);
    text[len] = '\0';
    at = strstr(text, "\"patient\":\"0\"");
    assert_non_null(at);
    overwrite(manifest, (long)(at - text) + 11, "7");
    assert_int_equal(verify("table patient has 0 rows, and 7"), ERR_CONFLICT);
    overwrite(manifest, 0, "[");
    assert_int_equal(verify("not the manifest"), ERR_FORM);
    unlink(manifest);
    assert_int_equal(verify("manifest is not there"), ERR_ABSENT);
}

static void a_file_of_another_kind_is_no_backup(void **state)
{
    struct store_manifest m = { .schema = 0 };
    struct buf why;

    (void)state;
    world_change_file(target, "CREATE TABLE pigs(n)");
    buf_init(&why, 4096);
    assert_int_equal(store_manifest_of(target, &m, &why), ERR_UNKNOWN);
    assert_non_null(strstr(why.data, "not a store of headgate"));
    buf_clear(&why);
}

/* ---- restoring ------------------------------------------------------------------------ */

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

#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_copy_has_what_was_committed_between_its_steps),
        TEST(a_backup_under_load_is_whole),
        TEST(nothing_is_overwritten),
        TEST(a_copy_that_cannot_be_written_leaves_nothing),
        TEST(a_store_that_is_closed_leaves_no_half_of_one),
        TEST(there_must_be_room),
        TEST(a_byte_that_is_another_is_told),
        TEST(a_file_that_is_cut_is_told),
        TEST(a_manifest_is_needed_and_has_to_fit),
        TEST(a_file_of_another_kind_is_no_backup),
        TEST(the_old_store_stays_beside_the_new_one),
        TEST(a_damaged_store_is_put_away_as_it_is),
        TEST(a_bad_backup_changes_nothing),
        TEST(erasures_since_the_backup_are_known_after_a_restore),
        TEST(erasures_with_another_key_are_told),
        TEST(without_an_old_store_erasures_are_not_known),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
