/* What the rules look at is news, and only that: their sources are asked. */
#include "service/reviewed.h"
#include "tests/test.h"

#include <ctype.h>
#include <glob.h>
#include <stdio.h>

enum { SOURCE_MAX = 256 * 1024 };

/* The names of the enumeration, in its order; each is "Q_..." */
static char names[QUANTITY_COUNT][48];

static char *source(const char *path)
{
    static char text[SOURCE_MAX];
    size_t len;
    FILE *f;

    f = fopen(path, "rb");
    if (f == NULL)
        fail_msg("%s cannot be read", path);
    len = fread(text, 1, sizeof(text) - 1, f);
    assert_true(len > 0 && len < sizeof(text) - 1);
    text[len] = '\0';
    fclose(f);
    return text;
}

/* The next word "Q_..." of a text; NULL at its end. */
static const char *next_name(const char *at, char name[48])
{
    while ((at = strstr(at, "Q_")) != NULL) {
        size_t len = 0;

        while (isalnum((unsigned char)at[len]) || at[len] == '_')
            len++;
        snprintf(name, 48, "%.*s", (int)len, at);
        if (len < 47 &&
            (at[-1] == ' ' || at[-1] == '(' || at[-1] == '\n' || at[-1] == '!'))
            return at + len;
        at += len;
    }
    return NULL;
}

static int start(void **state)
{
    const char *at =
        strstr(source(SOURCE_DIR "/planner/quantity.h"), "enum quantity {");
    int count = 0;

    (void)state;
    assert_non_null(at);
    while (count < QUANTITY_COUNT && (at = next_name(at, names[count])) != NULL)
        count++;
    assert_int_equal(count, QUANTITY_COUNT);
    assert_string_equal(names[Q_ACCESS_FLOW], "Q_ACCESS_FLOW");
    assert_string_equal(names[QUANTITY_COUNT - 1], "Q_SESSIONS_PER_WEEK");
    return 0;
}

/* The tables of what there is name all of it. */
static bool is_table(const char *path)
{
    return strstr(path, "/quantity.c") != NULL ||
           strstr(path, "/sign.c") != NULL;
}

static void check_source(const char *path, size_t *seen)
{
    const char *at = source(path);
    char name[48];

    ROW(path);
    while ((at = next_name(at, name)) != NULL) {
        for (int q = Q_NONE + 1; q < QUANTITY_COUNT; q++) {
            if (strcmp(names[q], name) != 0 || q == Q_PANEL)
                continue;
            ++*seen;
            if (!quantity_is_reviewed((enum quantity)q))
                fail_msg("%s reads %s, which is no news", path, name);
        }
    }
}

/* What a rule names must be loaded for it, else it never holds. */
static void what_a_rule_reads_is_reviewed(void **state)
{
    size_t seen = 0;
    glob_t files;

    (void)state;
    assert_int_equal(glob(SOURCE_DIR "/planner/*.c", 0, NULL, &files), 0);
    for (size_t i = 0; i < files.gl_pathc; i++) {
        if (!is_table(files.gl_pathv[i]))
            check_source(files.gl_pathv[i], &seen);
    }
    globfree(&files);
    assert_true(seen > 30);
}

static void what_no_rule_reads_is_no_news(void **state)
{
    static const enum quantity others[] = { Q_NONE, Q_PANEL, Q_FINGER_SPO2,
                                            Q_PRE_WEIGHT,
                                            (enum quantity)QUANTITY_COUNT };

    (void)state;
    for (size_t i = 0; i < COUNT(others); i++)
        assert_false(quantity_is_reviewed(others[i]));
    assert_true(quantity_is_reviewed(Q_BLEEDING_ACTIVE));
    assert_true(quantity_is_reviewed(Q_INFECTION_SIGN));
    assert_true(quantity_is_reviewed(Q_SESSIONS_PER_WEEK));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_a_rule_reads_is_reviewed),
        cmocka_unit_test(what_no_rule_reads_is_no_news),
    };

    return cmocka_run_group_tests(tests, start, NULL);
}
