/* The command line: what is wrong with it is said before anything is opened. */
#include "service/command.h"
#include "tests/test.h"

#include <stdlib.h>
#include <unistd.h>

enum { ARGV_MAX = 12 };

static char folder[40], errors[80], store[80];

static int start(void **state)
{
    (void)state;
    snprintf(folder, sizeof(folder), "/tmp/headgate-test-XXXXXX");
    assert_non_null(mkdtemp(folder));
    snprintf(errors, sizeof(errors), "%s/err", folder);
    snprintf(store, sizeof(store), "store.path=%s/t.db", folder);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    unlink(errors);
    rmdir(folder); /* fails, and is seen to, if a store was made */
    return access(folder, F_OK) == 0 ? -1 : 0;
}

/* The exit status; what was printed goes to a file and back. */
static int run(int (*command)(int, char **), const char *const *words,
               char *said, size_t size)
{
    char *argv[ARGV_MAX + 1] = { NULL };
    char copies[ARGV_MAX][128];
    int argc = 0, status, saved = dup(STDERR_FILENO), out = dup(STDOUT_FILENO);
    FILE *f;

    for (; words[argc] != NULL; argc++) {
        snprintf(copies[argc], sizeof(copies[0]), "%s",
                 strcmp(words[argc], "STORE") == 0 ? store : words[argc]);
        argv[argc] = copies[argc];
    }
    fflush(stdout);
    assert_non_null(freopen(errors, "w", stderr));
    assert_true(dup2(STDERR_FILENO, STDOUT_FILENO) >= 0);
    status = command(argc, argv);
    fflush(stdout);
    fflush(stderr);
    assert_true(dup2(out, STDOUT_FILENO) >= 0);
    assert_true(dup2(saved, STDERR_FILENO) >= 0);
    close(saved);
    close(out);
    f = fopen(errors, "r");
    assert_non_null(f);
    size = fread(said, 1, size - 1, f);
    said[size] = '\0';
    fclose(f);
    return status;
}

/* STORE: a store that does not exist, and must not afterwards. */
static const struct {
    const char *name;
    int (*command)(int, char **);
    const char *words[ARGV_MAX];
    int want;
    const char *says;
} cases[] = {
    { "a bad date",
      command_decisions,
      { "decisions", "--set", "STORE", "--since", "soon" },
      2,
      "--since 'soon' is not a date: write it as 2026-03-31" },
    { "no such day",
      command_decisions,
      { "decisions", "--set", "STORE", "--since", "2026-02-30" },
      2,
      "is not a date" },
    { "a bad end",
      command_backtest,
      { "backtest", "--until", "31.3.2026", "x" },
      2,
      "--until '31.3.2026' is not a date" },
    { "another arrival",
      command_backtest,
      { "backtest", "--arrival", "issued", "x" },
      2,
      "--arrival is 'sent' or 'effective'" },
    { "no access",
      command_review,
      { "review", "--set", "STORE" },
      2,
      "name one" },
    { "an access without a name",
      command_review,
      { "review", "--set", "STORE", "" },
      2,
      "name one access" },
    { "another scheme",
      command_queue,
      { "queue", "--to", "ftp://host.example" },
      2,
      "--to 'ftp://host.example': name a service as http://" },
    { "no scheme", command_queue, { "queue", "--to", "host:8480" }, 2, "--to" },
    { "an empty address",
      command_queue,
      { "queue", "--to", "" },
      2,
      "--to ''" },
    { "an option for a value",
      command_queue,
      { "queue", "--to", "--json" },
      2,
      "--to needs a value, and '--json' is an option" },
    { "no value", command_queue, { "queue", "--to" }, 2, "--to needs a value" },
    { "twice",
      command_queue,
      { "queue", "--config", "a.ini", "--config", "b.ini" },
      2,
      "--config is given twice" },
    { "a short wish for help", command_queue, { "queue", "-h" }, 0, "usage:" },
    { "a file that is not there",
      command_load,
      { "load", "--set", "http.anonymous=true", "--set", "STORE",
        "/nowhere/x.ndjson" },
      1,
      "/nowhere/x.ndjson: No such file" },
    { "a service that is elsewhere needs no tokens here",
      command_queue,
      { "queue", "--set", "STORE", "--to", "http://127.0.0.1:9" },
      1,
      "http://127.0.0.1:9 cannot be reached" },
    { "one that would be here does",
      command_queue,
      { "queue", "--set", "STORE" },
      2,
      "[http] tokens" },
    { "a service needs them too",
      command_serve,
      { "serve", "--set", "STORE" },
      2,
      "[http] tokens" },
    { "silent mode is said",
      command_check,
      { "check", "--set", "http.anonymous=true", "--set", "service.silent=true",
        "--set", "STORE" },
      -1,
      "silent   on: nothing new is posted" },
    { "what opens a store is said",
      command_check,
      { "check", "--help" },
      0,
      "brought up to\ndate in place" },
};

static void judges(void **state)
{
    char said[8192], path[80];

    (void)state;
    snprintf(path, sizeof(path), "%s/t.db", folder);
    for (size_t i = 0; i < COUNT(cases); i++) {
        int status = run(cases[i].command, cases[i].words, said, sizeof(said));

        ROW(cases[i].name);
        if (strstr(said, cases[i].says) == NULL)
            fail_msg("%s", said);
        if (cases[i].want >= 0)
            assert_int_equal(status, cases[i].want);
        assert_int_not_equal(access(path, F_OK), 0);
    }
}

/* Nothing listens in a back test. */
static void past_data_need_no_tokens(void **state)
{
    static const char *const words[] = { "backtest", "--policy",
                                         SOURCE_DIR "/config/policy.ini",
                                         "/nowhere/x.ndjson", NULL };
    char said[8192];

    (void)state;
    assert_int_equal(run(command_backtest, words, said, sizeof(said)), 1);
    assert_null(strstr(said, "tokens"));
    assert_non_null(strstr(said, "/nowhere/x.ndjson: No such file"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(judges, start, stop),
        cmocka_unit_test_setup_teardown(past_data_need_no_tokens, start, stop),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
