/*
 * What a Task refers to beside its readings: the document of its plan, and the
 * access where the focus is a ServiceRequest.
 *
 * Source of shapes: HL7 FHIR R4 (4.0.1), Task.
 */
#include "adapters/fhir_plan.h"
#include "tests/task_kit.h"

#define MAX (1 << 16)

static struct fhir_plan plan_of(const char *json)
{
    return (struct fhir_plan){ .json = json,
                               .len = strlen(json),
                               .title = "Band plan, provisional",
                               .created_ms = AUTHORED_S * 1000 };
}

static size_t times(const struct buf *text, const char *part)
{
    size_t count = 0;

    for (const char *at = text->data; (at = strstr(at, part)) != NULL; at++)
        count++;
    return count;
}

static struct fhir_task with_document(const struct fhir_plan *plan,
                                      const char *literal)
{
    struct fhir_task t = plain_task;

    t.plan = plan;
    t.worksheet = (struct fhir_out_ref){ .literal = literal,
                                         .type = "DocumentReference" };
    return t;
}

/* It goes where the plan goes: amended, in whoever's hands, and at a record. */
static void test_its_document_goes_with_it(void **state)
{
    struct fhir_plan first = plan_of("{\"n\":1}"),
                     second = plan_of("{\"n\":2}");
    struct fhir_task t = with_document(&first, "DocumentReference/d1");
    struct buf before, after, merged;
    bool same;

    (void)state;
    write_task(&t, &before);
    assert_int_equal(times(&before, "\"code\":\"worksheet\""), 1);
    t = with_document(&second, "DocumentReference/d2");
    buf_init(&after, MAX);
    buf_init(&merged, MAX);
    for (int touched = 0; touched < 2; touched++) {
        buf_empty(&after);
        assert_int_equal(
            fhir_task_amend(before.data, before.len, &t, touched == 1, &after),
            ERR_OK);
        assert_int_equal(times(&after, "DocumentReference/d2"), 1);
        assert_int_equal(times(&after, "DocumentReference/d1"), 0);
        assert_int_equal(times(&after, "\"code\":\"plan\""), 1);
    }
    assert_int_equal(fhir_task_merge(after.data, after.len, before.data,
                                     before.len, &same, &merged),
                     ERR_OK);
    assert_false(same);
    assert_int_equal(times(&merged, "DocumentReference/d2"), 1);
    assert_int_equal(times(&merged, "DocumentReference/d1"), 0);
    t = plain_task;
    t.plan_gone = true;
    buf_empty(&merged);
    assert_int_equal(fhir_task_amend(after.data, after.len, &t, true, &merged),
                     ERR_OK);
    assert_int_equal(times(&merged, "worksheet"), 0);
    assert_int_equal(times(&merged, "\"code\":\"plan\""), 0);
    /* with nothing new both stay */
    t.plan_gone = false;
    buf_empty(&merged);
    assert_int_equal(fhir_task_amend(after.data, after.len, &t, false, &merged),
                     ERR_OK);
    assert_int_equal(times(&merged, "DocumentReference/d2"), 1);
    assert_int_equal(times(&merged, "\"code\":\"plan\""), 1);
    buf_clear(&merged);
    buf_clear(&after);
    buf_clear(&before);
}

/* The access is an input where the focus is something else. */
static void test_the_access_beside_another_focus(void **state)
{
    struct fhir_task t = plain_task;
    struct buf text;

    (void)state;
    t.access = t.focus;
    t.focus = (struct fhir_out_ref){ .literal = "ServiceRequest/s1",
                                     .type = "ServiceRequest" };
    t.input_count = 0;
    write_task(&t, &text);
    assert_non_null(
        strstr(text.data, "\"focus\":{\"reference\":\"ServiceRequest/s1\""));
    assert_non_null(strstr(text.data,
                           "\"code\":\"access\",\"display\":\"Access that the "
                           "suggestion is about\"}]},\"valueReference\":{"
                           "\"reference\":\"BodyStructure/acc-7\""));
    buf_clear(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_its_document_goes_with_it),
        cmocka_unit_test(test_the_access_beside_another_focus),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
