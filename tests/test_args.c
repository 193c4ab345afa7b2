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

/* Each command, and the words with which its help says how it ends. */
static const struct {
    const char *name;
    int (*run)(int, char **);
    const char *ends;
} commands[] = {
    { "serve", command_serve, "\nExit status: 0 " },
    { "load", command_load, "\nExit status: 0 " },
    { "fetch", command_fetch, "\nExit status: 0 " },
    { "queue", command_queue, "\nExit status: 0 " },
    { "task", command_task, "\nExit status: 0 " },
    { "access", command_access, "\nExit status: 0 " },
    { "quarantine", command_quarantine, "\nExit status: 0 " },
    { "report", command_report, "\nExit status: 0 " },
    { "review", command_review, "\nExit status: 0 " },
    { "plan", command_plan, "\nExit status: 0 " },
    { "case", command_case, "\nExit status: 0 " },
    { "technique", command_technique, "\nExit status: 0 " },
    { "decisions", command_decisions, "\nExit status: 0 " },
    { "outbox", command_outbox, "\nExit status: 0 " },
    { "audit", command_audit, "\nExit status: 0 " },
    { "backtest", command_backtest, "\nExit status: 0 " },
    { "store", command_store, "\nExit status: 0 " },
    { "patient", command_patient, "\nExit status: 0 " },
    { "check", command_check, "\nExit status: 0 " },
};

static const char *source(const char *path)
{
    static char text[60000];
    FILE *f = fopen(path, "r");
    size_t len;

    assert_non_null(f);
    len = fread(text, 1, sizeof(text) - 1, f);
    assert_int_not_equal(len, sizeof(text) - 1);
    text[len] = '\0';
    fclose(f);
    return text;
}

/* The commands of main.c are those of the table here. */
static void all_commands_are_known(void **state)
{
    const char *at = source(SOURCE_DIR "/service/main.c");
    size_t found = 0;

    (void)state;
    for (; (at = strstr(at, ", command_")) != NULL; at++) {
        char name[32];
        size_t i = 0;

        snprintf(name, sizeof(name), "%.*s", (int)strcspn(at + 10, ", "),
                 at + 10);
        ROW(name);
        while (i < COUNT(commands) && strcmp(commands[i].name, name) != 0)
            i++;
        assert_in_range(i, 0, COUNT(commands) - 1);
        found++;
    }
    assert_int_equal(found, COUNT(commands));
}

/* Does the text have this option, and not one that is longer? */
static bool has_option(const char *text, const char *option)
{
    size_t len = strlen(option);

    while ((text = strstr(text, option)) != NULL) {
        if (strspn(text + len, "abcdefghijklmnopqrstuvwxyz-") == 0)
            return true;
        text += len;
    }
    return false;
}

/* All options that any command has: as args.c has them. */
enum { OPTIONS_MAX = 100, OPTION_SIZE = 32 };
static size_t list_options(char list[OPTIONS_MAX][OPTION_SIZE])
{
    const char *at = source(SOURCE_DIR "/service/args.c");
    size_t count = 0;

    for (; (at = strstr(at, "\"--")) != NULL; at++) {
        size_t i = 0, len = strcspn(at + 1, "\" ");

        if (len < 3 || at[1 + len] != '"')
            continue; /* of a message */
        assert_in_range(count, 0, OPTIONS_MAX - 1);
        snprintf(list[count], OPTION_SIZE, "%.*s", (int)len, at + 1);
        while (strcmp(list[i], list[count]) != 0)
            i++;
        count += i == count && strcmp(list[count], "--help") != 0 ? 1 : 0;
    }
    return count;
}

/* Asked for with another behind it, each is either not understood or known:
 * then help is given, or it lacks its value. */
static bool takes(int (*command)(int, char **), const char *name,
                  const char *option)
{
    const char *const words[] = { name, option, "--help", NULL };
    char said[8192], sorry[64];

    (void)run(command, words, said, sizeof(said));
    snprintf(sorry, sizeof(sorry), "'%s' is not understood", option);
    return strstr(said, sorry) == NULL;
}

static void help_says_all(void **state)
{
    static char options[OPTIONS_MAX][OPTION_SIZE];
    size_t count = list_options(options);

    (void)state;
    assert_in_range(count, 40, OPTIONS_MAX - 1);
    for (size_t i = 0; i < COUNT(commands); i++) {
        const char *const words[] = { commands[i].name, "--help", NULL };
        char said[8192], begins[64];

        ROW(commands[i].name);
        assert_int_equal(run(commands[i].run, words, said, sizeof(said)), 0);
        snprintf(begins, sizeof(begins), "usage: headgate %s ",
                 commands[i].name);
        assert_memory_equal(said, begins, strlen(begins));
        assert_non_null(strstr(said, commands[i].ends));
        for (size_t k = 0; k < count; k++) {
            bool takes_it =
                takes(commands[i].run, commands[i].name, options[k]);

            if (has_option(said, options[k]) != takes_it)
                fail_msg("%s %s: %s", commands[i].name, options[k],
                         takes_it ? "taken, and not in the help"
                                  : "in the help, and not taken");
        }
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
        cmocka_unit_test(all_commands_are_known),
        cmocka_unit_test_setup_teardown(help_says_all, start, stop),
        cmocka_unit_test_setup_teardown(past_data_need_no_tokens, start, stop),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
