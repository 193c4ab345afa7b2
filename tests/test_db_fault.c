/*
 * What an administrator is told of a disk that fails, against what the system
 * itself says: write(2) gives EFBIG beyond RLIMIT_FSIZE (POSIX, setrlimit), and
 * access(2) and strerror(3) are asked here as well.  Filesystems that are
 * read-only or do not sync are in tests/peers/disk.mjs.
 */
#include "service/db_fault.h"
#include "tests/capture_kit.h"
#include "tests/service_world.h"

#include <errno.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
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

static int count_of(const char *text, const char *part)
{
    int n = 0;

    for (text = strstr(text, part); text != NULL; text = strstr(text + 1, part))
        n++;
    return n;
}

/* ---- a write that the system refuses --------------------------------------- */

/* No file of this process may grow, as on a disk that takes nothing more. */
static void let_files_grow(bool may)
{
    struct rlimit limit;
    struct stat st;
    char log[128];

    snprintf(log, sizeof(log), "%s-wal", w.path);
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &limit), 0);
    assert_int_equal(stat(log, &st), 0);
    limit.rlim_cur = may ? limit.rlim_max : (rlim_t)st.st_size;
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
}

static enum err put_large(struct db *db)
{
    enum { LARGE = 1 << 20 };
    char *large = malloc(LARGE);
    enum err e;

    assert_non_null(large);
    memset(large, 'x', LARGE - 1);
    large[LARGE - 1] = '\0';
    e = db_run(db, Q_META_PUT, "ss", "large", large);
    free(large);
    return e;
}

static void a_write_that_fails_is_named(void **state)
{
    struct db *db = NULL;
    struct db_fault fault;
    char text[2048], want[64];
    enum err e;

    (void)state;
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(db_open(w.path, &db), ERR_OK);
    assert_int_equal(db_run(db, Q_META_PUT, "ss", "k", "v"), ERR_OK);
    let_files_grow(false);
    e = put_large(db);
    db_fault_of(db, e, &fault);
    let_files_grow(true);
    assert_int_equal(e, ERR_IO);
    assert_int_equal(fault.number, EFBIG);
    assert_string_equal(db_fault_call(&fault), "write");
    assert_string_equal(db_fault_word(&fault), "EFBIG");

    capture_start();
    db_fault_log(db, LOG_ERROR, "store.commit", e);
    capture_stop(text, sizeof(text));
    snprintf(want, sizeof(want), "event=store.commit err=io call=write");
    assert_non_null(strstr(text, want));
    assert_non_null(strstr(text, " errno=EFBIG do=\""));
    assert_int_equal(count_of(text, " err="), 1);
    assert_int_equal(count_of(text, "\n"), 1);
    assert_null(strstr(text, w.folder)); /* the log names no path */
    db_close(db);
}

/* The engine keeps its last error alone: of another call nothing is said. */
static void another_call_between_is_not_taken_for_it(void **state)
{
    struct db *db = NULL;
    struct db_fault fault;
    char text[2048];

    (void)state;
    assert_int_equal(db_open(w.path, &db), ERR_OK);
    assert_int_equal(db_run(db, Q_META_PUT, "ss", "k", "v"), ERR_OK);
    db_fault_of(db, ERR_IO, &fault);
    assert_int_equal(fault.number, 0);
    assert_string_equal(db_fault_call(&fault), "none");
    assert_string_equal(db_fault_word(&fault), "none");
    capture_start();
    db_fault_log(db, LOG_ERROR, "store.commit", ERR_STORE);
    capture_stop(text, sizeof(text));
    assert_non_null(strstr(text, "event=store.commit err=store\n"));
    db_close(db);
}

/* ---- opening ---------------------------------------------------------------- */

static void opening_says_what_it_did_before(void **state)
{
    struct db *db = NULL, *second = NULL;
    char want[256];
    struct buf why;
    enum err e;

    (void)state;
    buf_init(&why, 4096);
    assert_int_equal(db_open(w.path, &db), ERR_OK);
    e = db_open(w.path, &second);
    db_open_say(w.path, e, &why);
    snprintf(want, sizeof(want), "%s: another process has this store open",
             w.path);
    assert_string_equal(why.data, want);
    db_close(db);

    buf_empty(&why);
    e = db_open("/nonesuch/hg.db", &second);
    db_open_say("/nonesuch/hg.db", e, &why);
    assert_string_equal(why.data, "/nonesuch/hg.db: its folder does not exist");
    buf_clear(&why);
}

/* In a process of an account that is not root, which may write to any file. */
static bool is_told_the_right(const char *path)
{
    struct db *db = NULL;
    char want[256];
    struct buf why;
    enum err e;
    bool ok;

    if (geteuid() == 0 && (setgid(65534) != 0 || setuid(65534) != 0))
        return false;
    buf_init(&why, 4096);
    e = db_open(path, &db);
    ok = e != ERR_OK;
    db_open_say(path, e, &why);
    snprintf(want, sizeof(want), "%s: cannot be written to: %s. ", path,
             strerror(EACCES));
    ok = ok && strncmp(why.data, want, strlen(want)) == 0 &&
         strstr(why.data, "look at the owner and the mode") != NULL;
    buf_clear(&why);
    return ok;
}

static void a_store_that_may_not_be_written_to(void **state)
{
    struct db *db = NULL;
    int status = -1;
    pid_t child;

    (void)state;
    assert_int_equal(db_open(w.path, &db), ERR_OK);
    db_close(db);
    assert_int_equal(chmod(w.path, S_IRUSR | S_IRGRP | S_IROTH), 0);
    assert_int_equal(chmod(w.folder, S_IRWXU | S_IXGRP | S_IXOTH), 0);
    child = fork();
    assert_true(child >= 0);
    if (child == 0)
        _exit(is_told_the_right(w.path) ? 0 : 1);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_write_that_fails_is_named, start,
                                        stop),
        cmocka_unit_test_setup_teardown(
            another_call_between_is_not_taken_for_it, start, stop),
        cmocka_unit_test_setup_teardown(opening_says_what_it_did_before, start,
                                        stop),
        cmocka_unit_test_setup_teardown(a_store_that_may_not_be_written_to,
                                        start, stop),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
