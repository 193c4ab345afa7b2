/*
 * The narrative of a Task.  HL7 FHIR R4, Narrative: status and div are
 * required; the div is XHTML in its namespace, without active content (txt-1),
 * and has something to read in it (txt-2).  Escapes: W3C XML 1.0, 2.4.  The
 * golden file is judged by the validators of tests/peers/validate.mjs too.
 */
#include "adapters/fhir_write.h"

#include "adapters/fhir_task.h"
#include "tests/golden.h"

#include <string.h>

static struct buf out;

static const struct fhir_task plain = {
    .base = "https://headgate.example/fhir",
    .id = "t1",
    .key = "f36acacf",
    .episode = "A-0101/flow/1",
    .rule = "HF-1",
    .policy_version = "1",
    .status = "requested",
    .priority = "routine",
    .code = "refer-flow-review",
    .code_display = "Suggest access flow review",
    .reason_code = "high-flow",
    .reason_display = "High access flow",
    .description = "Left fistula: flow < 300 & falling, \"weak\" thrill.\n"
                   "Suggested: Examine the access.\n\nBy 2026-12-25.",
    .narrative = true,
    .focus = { .literal = "BodyStructure/acc-7", .display = "Left fistula" },
    .patient = { .literal = "Patient/p1", .display = "Fictional, Wren <x>" },
    .requester = { .literal = "Device/headgate" },
    .authored_ms = 1780000000000,
    .modified_ms = 1780000000000,
};

static const char div_of_plain[] =
    "<div xmlns=\"http://www.w3.org/1999/xhtml\" class=\"headgate-task\" "
    "lang=\"en\" xml:lang=\"en\"><p><b>Suggest access flow review</b></p>"
    "<p>Fictional, Wren &lt;x&gt;</p>"
    "<p>Left fistula: flow &lt; 300 &amp; falling, &quot;weak&quot; thrill.</p>"
    "<p>Suggested: Examine the access.</p><p>By 2026-12-25.</p></div>";

static int start(void **state)
{
    (void)state;
    buf_init(&out, 1 << 20);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    buf_clear(&out);
    return 0;
}

/* The div of what stands in out; NULL: there is no text. */
static void assert_div(const char *want)
{
    json_t *tree = json_loadb(out.data, out.len, JSON_REJECT_DUPLICATES, NULL);
    json_t *text = json_object_get(tree, "text");

    assert_non_null(tree);
    if (want == NULL) {
        assert_null(text);
    } else {
        assert_non_null(text);
        assert_string_equal(fhir_string(text, "status"), "generated");
        assert_string_equal(fhir_string(text, "div"), want);
    }
    json_decref(tree);
}

static void write_task(const struct fhir_task *t)
{
    buf_empty(&out);
    assert_int_equal(fhir_task_write(t, &out), ERR_OK);
}

static void test_written(void **state)
{
    struct fhir_task t = plain;

    (void)state;
    write_task(&t);
    assert_div(div_of_plain);
    assert_golden("task-narrative.json", out.data, out.len);
    t.description = "  \n "; /* txt-2: nothing to read is no narrative */
    write_task(&t);
    assert_div(NULL);
    t = plain;
    t.narrative = false;
    write_task(&t);
    assert_div(NULL);
}

/* Characters that XML does not have never reach the div. */
static void test_control(void **state)
{
    struct fhir_task t = plain;

    (void)state;
    t.code_display = NULL;
    t.patient.display = NULL;
    t.description = "a\x01"
                    "b\tc <script>alert(1)</script>";
    write_task(&t);
    assert_div("<div xmlns=\"http://www.w3.org/1999/xhtml\" "
               "class=\"headgate-task\" lang=\"en\" xml:lang=\"en\"><p>a b c "
               "&lt;script&gt;alert(1)&lt;/script&gt;</p></div>");
}

/* ---- later ------------------------------------------------------------------ */

/* The Task with another description and, in place of the narrative, this. */
static char *changed(const char *json, const char *status,
                     const char *description, const char *div)
{
    json_t *tree = json_loads(json, 0, NULL);
    char *text;

    assert_non_null(tree);
    if (status != NULL)
        json_object_set_new(tree, "status", json_string(status));
    if (description != NULL)
        json_object_set_new(tree, "description", json_string(description));
    if (div != NULL)
        json_object_set_new(
            tree, "text",
            json_pack("{s:s,s:s}", "status", "additional", "div", div));
    text = json_dumps(tree, JSON_COMPACT);
    assert_non_null(text);
    json_decref(tree);
    return text;
}

static bool has(const char *text)
{
    return strstr(out.data, text) != NULL;
}

#define THEIRS "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>Mine.</p></div>"

/* A person's narrative as it was. */
static void assert_div_theirs(void)
{
    json_t *tree = json_loadb(out.data, out.len, JSON_REJECT_DUPLICATES, NULL);
    json_t *text = json_object_get(tree, "text");

    assert_string_equal(fhir_string(text, "status"), "additional");
    assert_string_equal(fhir_string(text, "div"), THEIRS);
    json_decref(tree);
}

/* Ours is made anew, a person's stays. */
static void test_amended(void **state)
{
    struct fhir_task t = plain;
    char *first, *other;

    (void)state;
    write_task(&plain);
    first = strdup(out.data);
    t.description = "New words.";
    buf_empty(&out);
    assert_int_equal(fhir_task_amend(first, strlen(first), &t, false, &out),
                     ERR_OK);
    assert_true(has("<p>New words.</p></div>"));
    assert_false(has("falling,"));
    /* a note alone: the words are as before */
    t.description = NULL;
    t.note = "A note.";
    buf_empty(&out);
    assert_int_equal(fhir_task_amend(first, strlen(first), &t, false, &out),
                     ERR_OK);
    assert_div(div_of_plain);
    /* a person took it, and wrote another description */
    other = changed(first, "accepted", "Theirs now.", NULL);
    t.description = "New words.";
    buf_empty(&out);
    assert_int_equal(fhir_task_amend(other, strlen(other), &t, true, &out),
                     ERR_OK);
    assert_true(has("<p>Theirs now.</p></div>"));
    assert_false(has("New words."));
    free(other);
    other = changed(first, "accepted", NULL, THEIRS);
    buf_empty(&out);
    assert_int_equal(fhir_task_amend(other, strlen(other), &t, true, &out),
                     ERR_OK);
    assert_div_theirs();
    free(other);
    free(first);
}

/* At a record: open, ours is said anew; taken, no stale one of ours stays. */
static void test_merged(void **state)
{
    struct fhir_task t = plain;
    char *first, *ours, *other;
    bool same;

    (void)state;
    write_task(&plain);
    first = strdup(out.data);
    t.description = "New words.";
    write_task(&t);
    ours = strdup(out.data);

    buf_empty(&out);
    assert_int_equal(
        fhir_task_merge(ours, strlen(ours), first, strlen(first), &same, &out),
        ERR_OK);
    assert_true(has("<p>New words.</p></div>") && !has("falling,"));

    other = changed(first, "requested", NULL, THEIRS);
    buf_empty(&out);
    assert_int_equal(
        fhir_task_merge(ours, strlen(ours), other, strlen(other), &same, &out),
        ERR_OK);
    assert_true(has("<p>New words.</p></div>") && !has("<p>Mine.</p>"));
    free(other);

    other = changed(first, "accepted", "Theirs now.", NULL);
    buf_empty(&out);
    assert_int_equal(
        fhir_task_merge(ours, strlen(ours), other, strlen(other), &same, &out),
        ERR_OK);
    assert_true(has("<p>Theirs now.</p></div>"));
    assert_false(has("New words.") || has("falling,"));
    free(other);

    other = changed(first, "accepted", NULL, THEIRS);
    buf_empty(&out);
    assert_int_equal(
        fhir_task_merge(ours, strlen(ours), other, strlen(other), &same, &out),
        ERR_OK);
    assert_div_theirs();
    free(other);
    free(ours);
    free(first);
}

/* Without narratives a Task that has none gets none. */
static void test_none(void **state)
{
    struct fhir_task t = plain;
    char *first;

    (void)state;
    t.narrative = false;
    write_task(&t);
    first = strdup(out.data);
    t.description = "New words.";
    buf_empty(&out);
    assert_int_equal(fhir_task_amend(first, strlen(first), &t, false, &out),
                     ERR_OK);
    assert_div(NULL);
    free(first);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_written), cmocka_unit_test(test_control),
        cmocka_unit_test(test_amended), cmocka_unit_test(test_merged),
        cmocka_unit_test(test_none),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
