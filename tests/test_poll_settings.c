/* The settings of what comes in, and where a next link leads. */
#include "service/poll_settings.h"
#include "service/poll_walk.h"
#include "tests/test.h"

static const struct {
    const char *name, *types, *from;
    enum err want;
    size_t count;
    int64_t from_ms;
    const char *why; /* a part of what is said */
} cases[] = {
    { "as shipped", "Patient,BodyStructure,Observation", "", ERR_OK, 3,
      INT64_MIN, "" },
    { "one, with blanks", " Observation , ", "2026-03-06", ERR_OK, 1,
      INT64_C(1772751600000), "" }, /* midnight in Berlin, 23:00 UTC */
    { "an instant", "Patient", "2026-03-06T08:12:00Z", ERR_OK, 1,
      INT64_C(1772784720000), "" },
    { "none", ",", "", ERR_CONFIG, 0, 0, "[record] poll_types" },
    { "another type", "Encounter", "", ERR_CONFIG, 0, 0,
      "[record] poll_types" },
    { "Tasks are followed", "Task", "", ERR_CONFIG, 0, 0,
      "[record] poll_types" },
    { "twice", "Patient,Patient", "", ERR_CONFIG, 0, 0, "named twice" },
    { "no date", "Patient", "yesterday", ERR_CONFIG, 0, 0,
      "[record] poll_from" },
    { "a day that does not exist", "Patient", "2026-02-30", ERR_CONFIG, 0, 0,
      "[record] poll_from" },
};

static void settings(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct config c = { .record_poll_s = 1, .zone = "Europe/Berlin" };
        struct poll_settings s;
        struct buf why;

        ROW(cases[i].name);
        snprintf(c.record_poll_types, sizeof(c.record_poll_types), "%s",
                 cases[i].types);
        snprintf(c.record_poll_from, sizeof(c.record_poll_from), "%s",
                 cases[i].from);
        buf_init(&why, 1024);
        assert_int_equal(poll_settings_read(&c, &s, &why), cases[i].want);
        if (cases[i].want == ERR_OK) {
            assert_int_equal(s.type_count, cases[i].count);
            assert_true(s.from_ms == cases[i].from_ms);
        } else {
            assert_non_null(strstr(why.data, cases[i].why));
        }
        buf_clear(&why);
    }
}

static void what_belongs_together(void **state)
{
    struct config c = { .record_subscribe = true, .zone = "UTC" };
    struct poll_settings s;
    struct buf why;

    (void)state;
    snprintf(c.record_poll_types, sizeof(c.record_poll_types), "Patient");
    buf_init(&why, 1024);
    assert_int_equal(poll_settings_read(&c, &s, &why), ERR_CONFIG);
    assert_non_null(strstr(why.data, "[record] subscribe"));
    buf_empty(&why);
    snprintf(c.record_hook_url, sizeof(c.record_hook_url), "http://h/hook");
    assert_int_equal(poll_settings_read(&c, &s, &why), ERR_OK);
    snprintf(c.record_bulk_group, sizeof(c.record_bulk_group), "a/b");
    assert_int_equal(poll_settings_read(&c, &s, &why), ERR_CONFIG);
    assert_non_null(strstr(why.data, "[record] bulk_group"));
    buf_clear(&why);
}

/*
 * A whole URL stands as it is; a path from the root by RFC 3986, 5.2; anything
 * else by the base of the record (R4, http.html, 3.1.0.1).  What would join
 * the host must not.
 */
static const struct {
    const char *base, *link, *want;
} links[] = {
    { "https://r.example/fhir", "https://r.example/fhir?p=2",
      "https://r.example/fhir?p=2" },
    { "https://r.example/fhir", "http://evil.example/fhir",
      "http://evil.example/fhir" },
    { "https://r.example:8443/a/fhir", "/a/fhir?p=2",
      "https://r.example:8443/a/fhir?p=2" },
    { "https://r.example/fhir", "?p=2", "https://r.example/fhir/?p=2" },
    { "https://r.example/fhir", "Observation?p=2",
      "https://r.example/fhir/Observation?p=2" },
    { "https://r.example", "@evil.example/x",
      "https://r.example/@evil.example/x" },
    { "https://r.example", ".evil.example/x",
      "https://r.example/.evil.example/x" },
    { "https://r.example", ":8080/x", "https://r.example/:8080/x" },
    { "https://r.example", "//evil.example/x",
      "https://r.example//evil.example/x" },
    { "https://r.example/fhir", "?next=http://evil.example/",
      "https://r.example/fhir/?next=http://evil.example/" },
};

static void next_links(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 1024);
    for (size_t i = 0; i < COUNT(links); i++) {
        ROW(links[i].link);
        buf_empty(&out);
        walk_resolve(links[i].base, links[i].link, &out);
        assert_string_equal(out.data, links[i].want);
    }
    buf_clear(&out);
}

/* Every end has a word for machines, and every bad one a text for people. */
static void ends_have_words(void **state)
{
    (void)state;
    for (int i = 0; i < WALK_END_COUNT; i++) {
        enum walk_end end = (enum walk_end)i;

        assert_true(walk_word(end)[0] != '\0');
        assert_true(end == WALK_DONE || walk_text(end)[0] != '\0');
        for (int k = 0; k < i; k++)
            assert_string_not_equal(walk_word((enum walk_end)k),
                                    walk_word(end));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(settings),
        cmocka_unit_test(what_belongs_together),
        cmocka_unit_test(next_links),
        cmocka_unit_test(ends_have_words),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
