#include "service/request_line.h"

#include "service/log.h"
#include "tests/test.h"

#include <dirent.h>
#include <stdio.h>
#include <string.h>

static void words_of_the_program(void **state)
{
    static const struct {
        const char *path, *pattern, *type;
    } cases[] = {
        { "/queue", "/queue", "" },
        { "//queue/", "/queue", "" },
        { "/queue/x", "other", "" },
        { "/", "other", "" },
        { "", "other", "" },
        { "/mallory", "other", "" },
        { "/queuex", "other", "" },
        { "/queu", "other", "" },
        { "/fhir", "/fhir", "" },
        { "/fhir/metadata", "/fhir/metadata", "" },
        { "/fhir/metadata/x", "other", "" },
        { "/fhir/SearchParameter/due", "/fhir/SearchParameter/ID", "" },
        { "/fhir/Mallory/1", "other", "" },
        { "/fhir/Task", "/fhir/TYPE", "Task" },
        { "/fhir/Task/_search", "/fhir/TYPE/_search", "Task" },
        { "/fhir/Task/_search/x", "other", "Task" },
        { "/fhir/Task/_history", "/fhir/TYPE/_history", "Task" },
        { "/fhir/Patient/mallory", "/fhir/TYPE/ID", "Patient" },
        { "/fhir/Patient/mallory/_history", "/fhir/TYPE/ID/_history",
          "Patient" },
        { "/fhir/Patient/mallory/_history/mallory",
          "/fhir/TYPE/ID/_history/VERSION", "Patient" },
        { "/fhir/Patient/mallory/mallory", "other", "Patient" },
        { "/fhir/Patient/a/_history/2/mallory", "other", "Patient" },
        { "/fhir/Patient/a/_history/2/b/c/d/e/f", "other", "Patient" },
        { "/fhir/Patient=mallory", "other", "" },
        { "/hook", "/hook", "" },
        { "/hook/Patient/mallory", "/hook/TYPE/ID", "Patient" },
        { "/hook/Mallory/mallory", "/hook/TYPE/ID", "" },
        { "/quarantine", "/quarantine", "" },
        { "/quarantine/mallory", "/quarantine/ROW", "" },
        { "/quarantine/7/release", "/quarantine/ROW/release", "" },
        { "/quarantine/7/mallory", "other", "" },
        { "/quarantine/Observation/mallory", "/quarantine/ROW", "" },
        { "/quarantine/Observation/mallory/map", "/quarantine/ROW/map", "" },
        { "/.well-known/jwks.json", "/.well-known/jwks.json", "" },
        { "/.well-known/mallory", "other", "" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct request_route route;

        ROW(cases[i].path);
        request_route_of(cases[i].path, &route);
        assert_string_equal(route.pattern, cases[i].pattern);
        assert_string_equal(route.type, cases[i].type);
        assert_null(strstr(route.pattern, "allory"));
    }
}

/* The path and the route of each row of the tables in routes.c. */
static void knows_each_page(void **state)
{
    static char text[100000];
    FILE *file = fopen(SOURCE_DIR "/service/routes.c", "re");
    const char *at = text;
    size_t len, rows = 0;

    (void)state;
    assert_non_null(file);
    len = fread(text, 1, sizeof(text) - 1, file);
    fclose(file);
    assert_in_range(len, 1, sizeof(text) - 2);
    while ((at = strstr(at, "\", route_")) != NULL) {
        struct request_route route;
        const char *word = at;
        char path[64];

        while (word[-1] != '"')
            word--;
        snprintf(path, sizeof(path), "/%.*s", (int)(at - word), word);
        ROW(path);
        request_route_of(path, &route);
        assert_string_equal(route.pattern, path);
        rows++;
        at++;
    }
    assert_in_range(rows, 20, 100);
}

static void knows_types(void **state)
{
    (void)state;
    assert_string_equal(request_type("Task/77", 4), "Task");
    assert_string_equal(request_type("Task/77", 7), "");
    assert_string_equal(request_type("Tas", 3), "");
    assert_string_equal(request_type("", 0), "");
    assert_string_equal(
        request_type("TaskTaskTaskTaskTaskTaskTaskTaskTask", 36), "");
}

static bool has_text(const char *path, const char *word)
{
    static char text[100000];
    FILE *file = fopen(path, "re");
    size_t len;

    assert_non_null(file);
    len = fread(text, 1, sizeof(text) - 1, file);
    fclose(file);
    assert_in_range(len, 1, sizeof(text) - 2);
    text[len] = '\0';
    return strstr(text, word) != NULL;
}

/* Each answer has its line: nobody answers past it. */
static void nobody_answers_without_a_line(void **state)
{
    DIR *dir = opendir(SOURCE_DIR "/service");
    struct dirent *entry;
    size_t files = 0, direct = 0;

    (void)state;
    assert_non_null(dir);
    while ((entry = readdir(dir)) != NULL) {
        char path[512];
        size_t len = strlen(entry->d_name);

        if (len < 3 || strcmp(entry->d_name + len - 2, ".c") != 0)
            continue;
        files++;
        snprintf(path, sizeof(path), "%s/service/%.200s", SOURCE_DIR,
                 entry->d_name);
        if (!has_text(path, " http_reply("))
            continue;
        direct++;
        if (strcmp(entry->d_name, "exchange.c") != 0 &&
            strcmp(entry->d_name, "request_line.c") != 0)
            fail_msg("%s answers by http_reply()", path);
    }
    closedir(dir);
    assert_true(files > 100);
    assert_int_equal(direct, 2);
}

static void asks_whether_a_line_is_wanted(void **state)
{
    (void)state;
    assert_false(log_says(LOG_DEBUG));
    assert_true(log_says(LOG_INFO));
    log_set_level(LOG_DEBUG);
    assert_true(log_says(LOG_DEBUG));
    log_set_level(LOG_INFO);
}

static void measures_time(void **state)
{
    uint64_t now_ns = log_now_ns();

    (void)state;
    assert_int_equal(log_ms_since(0), 0);
    assert_in_range(log_ms_since(now_ns - 5000000000), 5000, 65000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_of_the_program),
        cmocka_unit_test(knows_each_page),
        cmocka_unit_test(knows_types),
        cmocka_unit_test(nobody_answers_without_a_line),
        cmocka_unit_test(asks_whether_a_line_is_wanted),
        cmocka_unit_test(measures_time),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
