#include "service/log.h"
#include "tests/capture_kit.h"

#include <dirent.h>
#include <errno.h>
#include <stdbool.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

/* The line without its time, whose form is checked on the way. */
static const char *after_time(const char *line)
{
    int year, month, day, hour, minute, second, ms, end = 0;

    assert_int_equal(sscanf(line, "time=%4d-%2d-%2dT%2d:%2d:%2d.%3dZ %n", &year,
                            &month, &day, &hour, &minute, &second, &ms, &end),
                     7);
    assert_int_equal(end, (int)strlen("time=2026-01-02T03:04:05.678Z "));
    assert_in_range(year, 2020, 2200);
    return line + end;
}

static void writes_fields(void **state)
{
    static const struct {
        const char *name;
        struct log_field fields[4];
        const char *want;
    } cases[] = {
        { "no field", { { NULL, NULL, 0 } }, "" },
        { "number", { KEY_INT("row", 42) }, " row=42" },
        { "negative", { KEY_INT("n", -7) }, " n=-7" },
        { "largest", { KEY_INT("n", INT64_MAX) }, " n=9223372036854775807" },
        { "smallest", { KEY_INT("n", INT64_MIN) }, " n=-9223372036854775808" },
        { "word", { KEY_WORD("adapter", "hl7") }, " adapter=hl7" },
        { "words", { KEY_WORD("why", "too long") }, " why=\"too long\"" },
        { "no word", { KEY_WORD("why", "") }, " why=\"\"" },
        { "several",
          { KEY_WORD("a", "b"), KEY_INT("n", 0), KEY_INT("m", 1) },
          " a=b n=0 m=1" },
    };
    char text[4096], want[256];

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        capture_start();
        log_write(LOG_WARN, "test.event", cases[i].fields);
        capture_stop(text, sizeof(text));
        snprintf(want, sizeof(want), "level=warn event=test.event%s\n",
                 cases[i].want);
        assert_string_equal(after_time(text), want);
    }
}

static void writes_errors(void **state)
{
    char text[512];

    (void)state;
    capture_start();
    log_event(LOG_ERROR, "outbox.retry", KEY_INT("row", 5),
              KEY_ERR(ERR_TIMEOUT));
    capture_stop(text, sizeof(text));
    assert_string_equal(after_time(text),
                        "level=error event=outbox.retry row=5 err=timeout\n");
}

static void keeps_levels(void **state)
{
    static const char *const words[] = { "debug", "info", "warn", "error" };
    char text[4096];

    (void)state;
    for (int least = LOG_DEBUG; least <= LOG_ERROR; least++) {
        for (int level = LOG_DEBUG; level <= LOG_ERROR; level++) {
            enum log_level by_word;

            assert_int_equal(log_level_by_word(words[least], &by_word), ERR_OK);
            assert_int_equal(by_word, least);
            log_set_level(by_word);
            capture_start();
            log_event((enum log_level)level, "x", KEY_INT("n", 1));
            capture_stop(text, sizeof(text));
            assert_int_equal(text[0] != '\0', level >= least);
            if (text[0] != '\0')
                assert_non_null(strstr(text, words[level]));
        }
    }
    log_set_level(LOG_INFO);
}

static void refuses_level_words(void **state)
{
    static const char *const bad[] = { "", "Info", "warning", "debug ", "2" };
    enum log_level level = LOG_WARN;

    (void)state;
    for (size_t i = 0; i < COUNT(bad); i++) {
        assert_int_equal(log_level_by_word(bad[i], &level), ERR_UNKNOWN);
        assert_int_equal(level, LOG_WARN); /* untouched */
    }
}

static void default_level_is_info(void **state)
{
    char text[512];

    (void)state;
    capture_start();
    log_event(LOG_DEBUG, "hidden", KEY_INT("n", 1));
    log_event(LOG_INFO, "shown", KEY_INT("n", 1));
    capture_stop(text, sizeof(text));
    assert_null(strstr(text, "hidden"));
    assert_non_null(strstr(text, "shown"));
}

/* A line stays a line: what does not fit is left out field by field. */
static void limits_the_line(void **state)
{
    struct log_field fields[101];
    char text[8192];
    size_t len;

    (void)state;
    for (size_t i = 0; i < 100; i++)
        fields[i] = KEY_INT("a.rather.long.key", INT64_MIN);
    fields[100] = (struct log_field){ NULL, NULL, 0 };
    capture_start();
    log_write(LOG_ERROR, "long", fields);
    len = capture_stop(text, sizeof(text));
    assert_in_range(len, 900, 1024);
    assert_int_equal(text[len - 1], '\n');
    assert_ptr_equal(strchr(text, '\n'), text + len - 1);
    text[len - 1] = '\0';
    assert_string_equal(text + len - 1 - 20, "-9223372036854775808");
}

static void keeps_errno(void **state)
{
    int before = dup(STDERR_FILENO), after;

    (void)state;
    close(STDERR_FILENO);
    errno = ENOENT;
    log_event(LOG_ERROR, "to.nobody", KEY_INT("n", 1));
    after = errno;
    dup2(before, STDERR_FILENO);
    close(before);
    assert_int_equal(after, ENOENT);
}

/* Several threads or processes may share the file: one write() per line. */
static void writes_once(void **state)
{
    int fds[2];
    char text[512];
    ssize_t n;

    (void)state;
    /* each write() arrives as a packet of its own */
    assert_int_equal(socketpair(AF_UNIX, SOCK_SEQPACKET, 0, fds), 0);
    stderr_before = dup(STDERR_FILENO);
    dup2(fds[1], STDERR_FILENO);
    log_event(LOG_ERROR, "once", KEY_INT("n", 1), KEY_WORD("w", "x"));
    dup2(stderr_before, STDERR_FILENO);
    close(stderr_before);
    n = read(fds[0], text, sizeof(text) - 1);
    assert_true(n > 0);
    assert_int_equal(text[n - 1], '\n');
    close(fds[0]);
    close(fds[1]);
}

/* Does a function with this body compile against the header? */
static bool compiles(const char *body)
{
    char path[] = "/tmp/log-XXXXXX", command[1024];
    const char *cc = getenv("CC");
    int fd = mkstemp(path), status;
    FILE *file;

    assert_true(fd >= 0);
    file = fdopen(fd, "w");
    assert_non_null(file);
    fprintf(file,
            "#include \"service/log.h\"\n"
            "void f(const char *text, char *name, int n);\n"
            "void f(const char *text, char *name, int n)\n"
            "{ (void)text; (void)name; (void)n; %s }\n",
            body);
    fclose(file);
    snprintf(command, sizeof(command),
             "%s -std=c11 -w -I '%s' -fsyntax-only -x c '%s' 2>/dev/null",
             cc != NULL ? cc : "cc", SOURCE_DIR, path);
    status = system(command);
    unlink(path);
    assert_true(status != -1 && WIFEXITED(status));
    assert_int_not_equal(WEXITSTATUS(status), 127); /* no compiler */
    return WEXITSTATUS(status) == 0;
}

/* Nothing from a record can reach the log: text must be a literal. */
static void takes_no_text(void **state)
{
    static const struct {
        const char *name;
        bool want;
        const char *body;
    } cases[] = {
        { "literals", true,
          "log_event(LOG_INFO, \"a\", KEY_WORD(\"k\", \"w\"));" },
        { "number", true, "log_event(LOG_INFO, \"a\", KEY_INT(\"k\", n));" },
        { "error", true, "log_event(LOG_INFO, \"a\", KEY_ERR((enum err)n));" },
        { "text as word", false,
          "log_event(LOG_INFO, \"a\", KEY_WORD(\"k\", text));" },
        { "array as word", false,
          "log_event(LOG_INFO, \"a\", KEY_WORD(\"k\", name));" },
        { "text as key", false,
          "log_event(LOG_INFO, \"a\", KEY_INT(text, 1));" },
        { "text as key of a word", false,
          "log_event(LOG_INFO, \"a\", KEY_WORD(text, \"w\"));" },
        { "text as event", false, "log_event(LOG_INFO, text, KEY_ERR(0));" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        assert_int_equal(compiles(cases[i].body), cases[i].want);
    }
}

static char *read_all(const char *path)
{
    static char text[400000];
    FILE *file = fopen(path, "re");
    size_t len;

    assert_non_null(file);
    len = fread(text, 1, sizeof(text) - 1, file);
    text[len] = '\0';
    assert_int_not_equal(len, sizeof(text) - 1);
    fclose(file);
    return text;
}

/* Each source file of a folder must not contain these words. */
static size_t forbid(const char *folder, const char *const *words, size_t count)
{
    char path[512];
    size_t files = 0;
    struct dirent *entry;
    DIR *dir;

    snprintf(path, sizeof(path), "%s/%s", SOURCE_DIR, folder);
    dir = opendir(path);
    assert_non_null(dir);
    while ((entry = readdir(dir)) != NULL) {
        size_t len = strlen(entry->d_name);

        if (len < 3 || strcmp(entry->d_name + len - 2, ".c") != 0 ||
            strcmp(entry->d_name, "log.c") == 0)
            continue;
        files++;
        snprintf(path, sizeof(path), "%s/%s/%.200s", SOURCE_DIR, folder,
                 entry->d_name);
        for (size_t i = 0; i < count; i++) {
            if (strstr(read_all(path), words[i]) == NULL)
                continue;
            print_error("%s has \"%s\"\n", path, words[i]);
            fail();
        }
    }
    closedir(dir);
    return files;
}

/* The macros are the only way in, and only the service takes it. */
static void only_the_service_logs(void **state)
{
    static const char *const bypass[] = { "log_write(", "struct log_field",
                                          "syslog(" };
    static const char *const any[] = { "log_write(",       "log_event(",
                                       "struct log_field", "service/log.h",
                                       "syslog(",          "perror(" };

    (void)state;
    assert_true(forbid("service", bypass, COUNT(bypass)) > 0);
    assert_true(forbid("adapters", any, COUNT(any)) > 0);
    assert_true(forbid("planner", any, COUNT(any)) > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(default_level_is_info),
        cmocka_unit_test(writes_fields),
        cmocka_unit_test(writes_errors),
        cmocka_unit_test(keeps_levels),
        cmocka_unit_test(refuses_level_words),
        cmocka_unit_test(limits_the_line),
        cmocka_unit_test(keeps_errno),
        cmocka_unit_test(writes_once),
        cmocka_unit_test(takes_no_text),
        cmocka_unit_test(only_the_service_logs),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
