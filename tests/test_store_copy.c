/*
 * The store as a file: a copy that is made while it is written to is whole and
 * of one moment; what goes wrong leaves nothing; a backup that is not what it
 * was is told.
 */
#include "service/db_copy.h"
#include "service/store_check.h"
#include "service/store_manifest.h"
#include "tests/store_copy_kit.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>

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
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
