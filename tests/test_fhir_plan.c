/*
 * The band plan that a Task carries: as an attachment, replaced and taken out,
 * brought to a record; and what is said of a change.
 */
#include "tests/test.h"

#include "adapters/fhir_plan.h"
#include "tests/task_kit.h"

#define MAX (1 << 16)

static const char first_json[] =
    "{\"offered\":true,\"inputs\":{\"baseline\":{\"mean_ml_min\":2400},"
    "\"map_mmhg\":95},\"missing\":[],\"first_dowel_mm\":4,\"stages\":[],"
    "\"cautions\":[],\"model\":{\"version\":\"1\"}}\n";
static const char second_json[] =
    "{\"offered\":true,\"inputs\":{\"baseline\":{\"mean_ml_min\":2400},"
    "\"map_mmhg\":88},\"missing\":[],\"first_dowel_mm\":3.5,\"stages\":[],"
    "\"cautions\":[],\"model\":{\"version\":\"1\"}}\n";
static const char third_json[] =
    "{\"offered\":true,\"inputs\":{\"baseline\":{\"mean_ml_min\":2400},"
    "\"map_mmhg\":88},\"missing\":[],\"first_dowel_mm\":null,\"stages\":["
    "{\"step\":\"tied\",\"flow_ml_min\":[]}],\"cautions\":[],"
    "\"model\":{\"version\":\"1\"}}\n";
static const char fourth_json[] =
    "{\"offered\":true,\"inputs\":{\"baseline\":{\"mean_ml_min\":2400},"
    "\"map_mmhg\":88},\"missing\":[],\"first_dowel_mm\":null,\"stages\":["
    "{\"step\":\"tied\",\"flow_ml_min\":[1300]}],\"cautions\":[],"
    "\"model\":{\"version\":\"1\"}}\n";

static struct fhir_plan plan_of(const char *json)
{
    return (struct fhir_plan){ .json = json,
                               .len = strlen(json),
                               .title = "Band plan, provisional",
                               .created_ms = AUTHORED_S * 1000 };
}

/* ---- the attachment ------------------------------------------------------------- */

/*
 * The vectors of RFC 4648, section 10, and the SHA-1 of "abc" of FIPS 180
 * (a9993e364706816aba3e25717850c26c9cd0d89d), here in base64.
 */
static void test_as_the_standards_say(void **state)
{
    static const struct {
        const char *document, *data, *hash;
    } cases[] = {
        { "f", "\"data\":\"Zg==\"", "" },
        { "fo", "\"data\":\"Zm8=\"", "" },
        { "foo", "\"data\":\"Zm9v\"", "" },
        { "foob", "\"data\":\"Zm9vYg==\"", "" },
        { "foobar", "\"data\":\"Zm9vYmFy\"", "" },
        { "abc", "\"data\":\"YWJj\"",
          "\"hash\":\"qZk+NkcGgWq6PiVxeFDCbJzQ2J0=\"" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct fhir_plan plan = plan_of(cases[i].document);
        struct fhir_task t = plain_task;
        struct buf text, back;
        char size[24];

        ROW(cases[i].document);
        t.plan = &plan;
        write_task(&t, &text);
        snprintf(size, sizeof(size), "\"size\":%zu", plan.len);
        assert_non_null(strstr(text.data, cases[i].data));
        assert_non_null(strstr(text.data, cases[i].hash));
        assert_non_null(strstr(text.data, size));
        assert_non_null(
            strstr(text.data, "\"contentType\":\"application/json\""));
        assert_non_null(strstr(text.data, "\"code\":\"plan\""));
        buf_init(&back, MAX);
        assert_int_equal(fhir_plan_of_task(text.data, text.len, &back), ERR_OK);
        assert_string_equal(back.data, cases[i].document);
        buf_clear(&back);
        buf_clear(&text);
    }
}

static void test_none_that_can_be_read(void **state)
{
    static const struct {
        const char *name, *task;
        enum err want;
    } cases[] = {
        { "no inputs", "{\"resourceType\":\"Task\"}", ERR_ABSENT },
        { "no Task", "{\"resourceType\":\"Patient\"}", ERR_FORM },
        { "no JSON", "{", ERR_FORM },
        { "of another system",
          "{\"resourceType\":\"Task\",\"input\":[{\"type\":{\"coding\":[{"
          "\"system\":\"urn:x\",\"code\":\"plan\"}]},\"valueAttachment\":{"
          "\"data\":\"Zg==\"}}]}",
          ERR_ABSENT },
        { "moved to another place by a server",
          "{\"resourceType\":\"Task\",\"input\":[{\"type\":{\"coding\":[{"
          "\"system\":\"" BASE "/CodeSystem/av-task-io\",\"code\":\"plan\"}]},"
          "\"valueAttachment\":{\"url\":\"Binary/1\"}}]}",
          ERR_ABSENT },
        { "not base64",
          "{\"resourceType\":\"Task\",\"input\":[{\"type\":{\"coding\":[{"
          "\"system\":\"" BASE "/CodeSystem/av-task-io\",\"code\":\"plan\"}]},"
          "\"valueAttachment\":{\"data\":\"!!!!\"}}]}",
          ERR_ABSENT },
        { "cut",
          "{\"resourceType\":\"Task\",\"input\":[{\"type\":{\"coding\":[{"
          "\"system\":\"" BASE "/CodeSystem/av-task-io\",\"code\":\"plan\"}]},"
          "\"valueAttachment\":{\"data\":\"Zg=\"}}]}",
          ERR_ABSENT },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct buf text;

        ROW(cases[i].name);
        buf_init(&text, MAX);
        assert_int_equal(
            fhir_plan_of_task(cases[i].task, strlen(cases[i].task), &text),
            cases[i].want);
        assert_int_equal(text.len, 0);
        buf_clear(&text);
    }
}

/* ---- replaced, kept, taken out ---------------------------------------------------- */

/* A Task with a plan, and something of a person's behind it. */
static void with_plan(const char *json, struct buf *text)
{
    struct fhir_plan plan = plan_of(json);
    struct fhir_task t = plain_task;

    t.plan = &plan;
    write_task(&t, text);
}

static size_t times(const struct buf *text, const char *what)
{
    size_t count = 0;

    for (const char *at = text->data; (at = strstr(at, what)) != NULL; at++)
        count++;
    return count;
}

static void expect_plan(const struct buf *task, const char *want)
{
    struct buf got;

    buf_init(&got, MAX);
    assert_int_equal(times(task, "\"code\":\"plan\""), want != NULL ? 1 : 0);
    assert_int_equal(fhir_plan_of_task(task->data, task->len, &got),
                     want != NULL ? ERR_OK : ERR_ABSENT);
    if (want != NULL)
        assert_string_equal(got.data, want);
    buf_clear(&got);
}

static void test_amended(void **state)
{
    static const struct {
        const char *name, *before, *now, *want;
        bool gone;
    } cases[] = {
        { "none before, none now", NULL, NULL, NULL, false },
        { "a first one", NULL, first_json, first_json, false },
        { "another in its place", first_json, second_json, second_json, false },
        { "nothing said: it stays", first_json, NULL, first_json, false },
        { "taken out", first_json, NULL, NULL, true },
        { "taken out where there is none", NULL, NULL, NULL, true },
    };

    (void)state;
    for (size_t i = 0; i < 2 * COUNT(cases); i++) {
        size_t c = i / 2;
        bool touched = i % 2 == 1;
        struct fhir_plan plan =
            plan_of(cases[c].now != NULL ? cases[c].now : "");
        struct fhir_task t = plain_task;
        struct buf before, after;

        ROW(cases[c].name);
        if (cases[c].before != NULL)
            with_plan(cases[c].before, &before);
        else
            write_task(&plain_task, &before);
        t.plan = cases[c].now != NULL ? &plan : NULL;
        t.plan_gone = cases[c].gone;
        buf_init(&after, MAX);
        assert_int_equal(
            fhir_task_amend(before.data, before.len, &t, touched, &after),
            ERR_OK);
        expect_plan(&after, cases[c].want);
        assert_int_equal(times(&after, "\"code\":\"trigger\""), 2);
        assert_int_equal(times(&after, "\"code\":\"threshold\""), 2);
        buf_clear(&after);
        buf_clear(&before);
    }
}

/* What a person has added stays where it is, and as it is spelt. */
static void test_a_person_s_inputs_stay(void **state)
{
    struct fhir_plan plan = plan_of(first_json);
    struct fhir_task t = plain_task;
    struct buf once, twice;

    (void)state;
    t.plan = &plan;
    buf_init(&once, MAX);
    buf_init(&twice, MAX);
    assert_int_equal(
        fhir_task_amend(touched_task, strlen(touched_task), &t, true, &once),
        ERR_OK);
    expect_plan(&once, first_json);
    plan = plan_of(second_json);
    assert_int_equal(fhir_task_amend(once.data, once.len, &t, true, &twice),
                     ERR_OK);
    expect_plan(&twice, second_json);
    assert_int_equal(times(&twice, "2000.0"), 1);
    assert_non_null(strstr(twice.data, "\"status\":\"accepted\""));
    assert_non_null(strstr(twice.data, "mine  now"));
    buf_clear(&twice);
    buf_clear(&once);
}

/* ---- at a record ---------------------------------------------------------------- */

static void check_merge(const char *ours_json, const char *theirs_json,
                        const char *status, bool want_same)
{
    struct buf ours, theirs, text;
    struct fhir_task t = plain_task;
    struct fhir_plan plan = plan_of(theirs_json != NULL ? theirs_json : "");
    bool same = false;

    if (ours_json != NULL)
        with_plan(ours_json, &ours);
    else
        write_task(&plain_task, &ours);
    t.status = status;
    t.plan = theirs_json != NULL ? &plan : NULL;
    write_task(&t, &theirs);
    buf_init(&text, MAX);
    assert_int_equal(fhir_task_merge(ours.data, ours.len, theirs.data,
                                     theirs.len, &same, &text),
                     ERR_OK);
    expect_plan(&text, ours_json);
    assert_int_equal(same, want_same);
    buf_clear(&text);
    buf_clear(&theirs);
    buf_clear(&ours);
}

static void test_merged(void **state)
{
    static const char *const status[] = { "requested", "accepted" };

    (void)state;
    for (size_t i = 0; i < COUNT(status); i++) {
        ROW(status[i]);
        check_merge(first_json, first_json, status[i], true);
        check_merge(second_json, first_json, status[i], false);
        check_merge(first_json, NULL, status[i], false);
        check_merge(NULL, first_json, status[i], false);
        check_merge(NULL, NULL, status[i], true);
    }
}

/* Somebody's input behind ours: the plan keeps its place, so that a plan that
 * is the same is nothing to send. */
static void test_merged_in_its_place(void **state)
{
    static const char theirs_more[] =
        ",{\"type\":{\"text\":\"theirs\"},\"valueString\":\"x\"}]";
    struct buf ours, theirs, text;
    bool same = false;
    char *end;

    (void)state;
    with_plan(first_json, &ours);
    buf_init(&theirs, MAX);
    end = strstr(ours.data, "}}]");
    assert_non_null(end);
    buf_add(&theirs, ours.data, (size_t)(end + 2 - ours.data));
    buf_puts(&theirs, theirs_more);
    buf_puts(&theirs, end + 3);
    buf_init(&text, MAX);
    assert_int_equal(fhir_task_merge(ours.data, ours.len, theirs.data,
                                     theirs.len, &same, &text),
                     ERR_OK);
    assert_true(same);
    expect_plan(&text, first_json);
    assert_int_equal(times(&text, "\"theirs\""), 1);
    buf_clear(&text);
    buf_clear(&theirs);
    buf_clear(&ours);
}

/* ---- what changed ------------------------------------------------------------------ */

static void test_what_changed(void **state)
{
    static const struct {
        const char *before, *now, *want;
    } cases[] = {
        { first_json, first_json, "the readings it names" },
        { first_json, second_json, "the mean pressure" },
        { second_json, third_json, "a band was tied" },
        { third_json, fourth_json, "what was measured after a step" },
        { fourth_json, second_json, "a step was taken back" },
        { first_json, third_json, "a band was tied, the mean pressure" },
        { "not JSON", first_json, "" },
        { first_json, "", "" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct buf text;

        buf_init(&text, 1024);
        fhir_plan_change(cases[i].before, strlen(cases[i].before), cases[i].now,
                         strlen(cases[i].now), &text);
        assert_string_equal(text.data, cases[i].want);
        buf_clear(&text);
    }
}

static void test_a_case(void **state)
{
    (void)state;
    assert_false(fhir_plan_has_stages(first_json, strlen(first_json)));
    assert_true(fhir_plan_has_stages(third_json, strlen(third_json)));
    assert_false(fhir_plan_has_stages("[", 1));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_as_the_standards_say),
        cmocka_unit_test(test_none_that_can_be_read),
        cmocka_unit_test(test_amended),
        cmocka_unit_test(test_a_person_s_inputs_stay),
        cmocka_unit_test(test_merged),
        cmocka_unit_test(test_merged_in_its_place),
        cmocka_unit_test(test_what_changed),
        cmocka_unit_test(test_a_case),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
