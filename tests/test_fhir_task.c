/*
 * Tasks as first written, and amended; those of whole histories are kept in
 * tests/golden.
 *
 * Source of shapes, value sets and invariants: HL7 FHIR R4 (4.0.1).
 */
#include "adapters/wording.h"
#include "tests/fhir_kit.h"
#include "tests/history_kit.h"
#include "tests/task_kit.h"

static void test_task(void **state)
{
    static const char *const parts[] = {
        "{\"resourceType\":\"Task\",\"id\":\"t1\",\"identifier\":[{\"system\":"
        "\"" BASE "/NamingSystem/task-key\",\"value\":\"f36acacf\"}],"
        "\"instantiatesUri\":\"" BASE "/rules/HF-1|1\",",
        "\"groupIdentifier\":{\"system\":\"" BASE
        "/NamingSystem/episode\",\"value\":\"A-0101/flow/1\"}",
        "\"businessStatus\":{\"coding\":[{\"system\":\"" BASE
        "/CodeSystem/av-task\",\"code\":\"awaiting-review\"",
        "\"intent\":\"proposal\",\"priority\":\"routine\"",
        "\"for\":{\"type\":\"Patient\",\"identifier\":{\"system\":"
        "\"https://site.example/ids/patient\",\"value\":\"1001\"},\"display\":"
        "\"Fictional, Wren\"}",
        "\"authoredOn\":\"2026-03-06T08:12:00.000Z\",\"lastModified\":"
        "\"2026-03-06T08:12:00.000Z\"",
        "\"performerType\":[{\"text\":\"Vascular access coordinator\"}]",
        "\"note\":[{\"authorString\":\"headgate " HEADGATE_VERSION
        "\",\"time\":\"2026-03-06T08:12:00.000Z\",\"text\":\"Because.\"}]",
        "\"restriction\":{\"repetitions\":1,\"period\":{\"start\":"
        "\"2026-03-06T08:12:00Z\",\"end\":\"2026-03-20T08:12:00Z\"}}",
        "\"valueQuantity\":{\"value\":2000,\"unit\":\"mL/min\",\"system\":"
        "\"http://unitsofmeasure.org\",\"code\":\"mL/min\"}",
        "\"valueQuantity\":{\"value\":0.3,",
    };

    (void)state;
    buf_empty(&out);
    assert_int_equal(fhir_task_write(&plain_task, &out), ERR_OK);
    check_out();
    for (size_t i = 0; i < COUNT(parts); i++)
        assert_has(parts[i]);
}

/* What is not given leaves no trace, least of all an empty one. */
static void test_task_bare(void **state)
{
    struct fhir_task t = { .base = BASE,
                           .key = "k",
                           .status = "cancelled",
                           .status_reason = "A reading was withdrawn",
                           .policy_version = "2 beta",
                           .rule = "LF-2",
                           .description = " \n ",
                           .authored_ms = AUTHORED_S * 1000,
                           .modified_ms = AUTHORED_S * 1000 - 5000,
                           .start_s = AUTHORED_S + DAY_S,
                           .due_s = AUTHORED_S,
                           .input_count = 3,
                           .inputs = {
                               { .kind = INPUT_TRIGGER },
                               { .kind = INPUT_THRESHOLD, .value = NAN },
                               { .kind = INPUT_DUE } } };

    (void)state;
    buf_empty(&out);
    assert_int_equal(fhir_task_write(&t, &out), ERR_OK);
    check_out();
    assert_lacks("\"id\"");
    assert_lacks("\"code\"");
    assert_lacks("input");
    assert_lacks("note");
    assert_lacks("description");
    assert_lacks("businessStatus");
    assert_has("\"statusReason\":{\"text\":\"A reading was withdrawn\"}");
    assert_has("/rules/LF-2|2%20beta\"");
    /* R4 inv-1: lastModified >= authoredOn; per-1: start <= end */
    assert_has("\"lastModified\":\"2026-03-06T08:12:00.000Z\"");
    assert_has("\"period\":{\"end\":\"2026-03-06T08:12:00Z\"}");
    /* a limit in words, a day */
    t.input_count = 2;
    t.inputs[0] = (struct fhir_task_input){ .kind = INPUT_THRESHOLD,
                                            .value = NAN,
                                            .text = "grade 3" };
    t.inputs[1] =
        (struct fhir_task_input){ .kind = INPUT_DUE, .text = "2026-04-03" };
    buf_empty(&out);
    assert_int_equal(fhir_task_write(&t, &out), ERR_OK);
    check_out();
    assert_has("\"valueString\":\"grade 3\"");
    assert_has("\"valueDate\":\"2026-04-03\"");
}

/* ---- Tasks of whole histories ---------------------------------------------------------- */

static struct policy policy;
static struct zone *utc;

struct story {
    const char *file;
    enum sign type;
    enum group group;
    const char *priority;
    struct event events[4];
};

/* The readings that a finding rests on, and its limit, as inputs. */
static void add_inputs(struct fhir_task *t, const struct reading *readings,
                       const struct finding *f)
{
    static char ids[EVIDENCE_MAX][32], shown[EVIDENCE_MAX][128];
    bool graded = param_info(f->limit)->kind == PARAM_GRADE;

    t->input_count = 0;
    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &readings[f->evidence[i]];
        struct buf text;

        snprintf(ids[i], sizeof(ids[i]), "Observation/r-%d", (int)r->id);
        buf_init(&text, sizeof(shown[i]) - 1);
        wording_reading(r, utc, &text);
        snprintf(shown[i], sizeof(shown[i]), "%s", text.data);
        buf_clear(&text);
        t->reason.literal = ids[i];
        t->inputs[t->input_count++] =
            (struct fhir_task_input){ .kind = INPUT_TRIGGER,
                                      .ref = { .literal = ids[i],
                                               .type = "Observation",
                                               .display = shown[i] } };
    }
    t->inputs[t->input_count++] = (struct fhir_task_input){
        .kind = INPUT_THRESHOLD,
        .value = graded ? NAN : policy_get(&policy, f->limit),
        .unit = "mL/min",
        .text = "grade 3"
    };
}

/* A Task as the service makes one of what the rules found. */
static void write_story(const struct story *s)
{
    struct reading readings[KIT_EVENTS_MAX];
    struct history h = { .access_type = s->type,
                         .now_s = kit_s(782.4166667),
                         .readings = readings,
                         .count = kit_readings(s->events, readings) };
    struct findings findings;
    struct wording w = { .history = &h,
                         .policy = &policy,
                         .findings = &findings,
                         .group = s->group,
                         .zone = utc,
                         .access_label = "Left upper-arm fistula A-0101",
                         .due_s = h.now_s };
    struct fhir_task t = plain_task;
    struct buf description, note;

    rules_evaluate(&h, &policy, &findings);
    assert_true(findings.count > 0);
    if (strcmp(s->priority, "stat") != 0)
        w.due_s += 30 * DAY_S;
    buf_init(&description, WORDING_SIZE_MAX);
    buf_init(&note, WORDING_SIZE_MAX);
    wording_description(&w, &description);
    wording_basis(&w, &note);
    t.rule = rule_info(findings.list[0].rule)->id;
    t.priority = s->priority;
    t.description = description.data;
    t.note = note.data;
    t.start_s = h.now_s;
    t.due_s = w.due_s;
    t.authored_ms = t.modified_ms = h.now_s * 1000;
    add_inputs(&t, readings, &findings.list[0]);
    buf_empty(&out);
    assert_int_equal(fhir_task_write(&t, &out), ERR_OK);
    buf_clear(&description);
    buf_clear(&note);
}

static void test_stories(void **state)
{
    static const struct story stories[] = {
        { "task-high-flow.json",
          SIGN_TYPE_AVF,
          GROUP_FLOW,
          "routine",
          { FLOW(751.35, 2240, .method = METHOD_ULTRASOUND_DILUTION),
            FLOW(777.34, 2180, .method = METHOD_ULTRASOUND_DILUTION) } },
        { "task-weakness.json",
          SIGN_TYPE_AVF,
          GROUP_HAND,
          "stat",
          { FLOW(770.35, 1620, .method = METHOD_ULTRASOUND_DILUTION),
            SIGN(782.30, SIGN_MOTOR_WEAKNESS) } },
        { "task-low-flow.json",
          SIGN_TYPE_AVG,
          GROUP_LOW_FLOW,
          "routine",
          { FLOW(758.35, 560), FLOW(778.35, 540) } },
    };

    (void)state;
    kit_policy(&policy);
    assert_int_equal(zone_load("UTC", &utc), ERR_OK);
    for (size_t i = 0; i < COUNT(stories); i++) {
        ROW(stories[i].file);
        write_story(&stories[i]);
        check_out();
        assert_golden_out(stories[i].file);
    }
    zone_free(utc);
}

static void test_reminder(void **state)
{
    struct fhir_task t = plain_task;

    (void)state;
    t.id = "t2";
    t.key = "370ffdd4";
    t.part_of = "Task/t1";
    t.code = "repeat-access-flow";
    t.code_display = "Measure again to confirm";
    t.reason_code = "high-flow";
    t.reason_display = NULL;
    t.note = NULL;
    t.input_count = 1;
    t.inputs[0] =
        (struct fhir_task_input){ .kind = INPUT_DUE, .text = "2026-04-03" };
    buf_empty(&out);
    assert_int_equal(fhir_task_write(&t, &out), ERR_OK);
    check_out();
    assert_has("\"partOf\":[{\"reference\":\"Task/t1\"}]");
    assert_golden_out("task-reminder.json");
}

/* ---- amend ---------------------------------------------------------- */

static void test_amend_touched(void **state)
{
    struct fhir_task t = plain_task;

    (void)state;
    t.priority = "stat";
    t.status = "cancelled";
    t.status_reason = "gone";
    t.modified_ms = (AUTHORED_S + 5 * DAY_S) * 1000;
    buf_empty(&out);
    assert_int_equal(
        fhir_task_amend(touched_task, strlen(touched_task), &t, true, &out),
        ERR_OK);
    check_out();
    /* in the order and with the digits that it had */
    assert_has("{\"resourceType\":\"Task\",\"id\":\"t1\",\"status\":"
               "\"accepted\",\"_status\":{\"id\":\"s\"},\"owner\":"
               "{\"reference\":\"Practitioner/dr-9\"},\"intent\":\"proposal\","
               "\"priority\":\"urgent\",\"description\":\"mine  now\","
               "\"authoredOn\":\"2026-03-06T08:12:00Z\",\"extension\":["
               "{\"url\":\"urn:x\",\"valueDecimal\":2.50}],\"lastModified\":"
               "\"2026-03-11T08:12:00.000Z\",\"note\":[{\"text\":\"Seen.\"},"
               "{\"authorString\":\"headgate ");
    assert_lacks("statusReason");
    assert_int_equal(count_of("\"Observation/o1\""), 1);
    assert_int_equal(count_of("\"Observation/o2\""), 1);
    assert_int_equal(count_of("\"valueQuantity\""), 2); /* 2000 is there */
    assert_has("\"value\":2000.0");
    assert_has("\"ServiceRequest/sr-55\"");
    assert_golden_out("task-amended-touched.json");
}

static void test_amend_ours(void **state)
{
    struct fhir_task t = plain_task;
    struct buf before;

    (void)state;
    write_task(&plain_task, &before);
    t.rule = "HF-3";
    t.priority = "urgent";
    t.description = "More urgent.";
    t.note = NULL;
    t.due_s = AUTHORED_S + 7 * DAY_S;
    t.reason.literal = "Observation/o3";
    t.reason_code = "hand-ischaemia";
    t.reason_display = "Ischaemia of the access hand";
    t.inputs[0].ref.literal = "Observation/o3";
    t.modified_ms = (AUTHORED_S + DAY_S) * 1000;
    t.authored_ms = (AUTHORED_S + DAY_S) * 1000; /* stays as it was */
    buf_empty(&out);
    assert_int_equal(fhir_task_amend(before.data, before.len, &t, false, &out),
                     ERR_OK);
    check_out();
    assert_has("\"authoredOn\":\"2026-03-06T08:12:00.000Z\",\"lastModified\":"
               "\"2026-03-07T08:12:00.000Z\"");
    assert_has("/rules/HF-3|1");
    assert_has("\"priority\":\"urgent\"");
    assert_has("\"description\":\"More urgent.\"");
    assert_has("\"end\":\"2026-03-13T08:12:00Z\"");
    assert_has("\"hand-ischaemia\"");
    assert_has("\"reasonReference\":{\"reference\":\"Observation/o3\"}");
    assert_int_equal(count_of("\"authorString\""), 1);
    assert_int_equal(count_of("\"Observation/o1\""), 1);
    assert_int_equal(count_of("\"Observation/o2\""), 1);
    assert_int_equal(count_of("\"valueQuantity\""), 2);
    /* the end: status and reason, no longer waiting for a review */
    t.status = "cancelled";
    t.status_reason = "Later readings are back inside the limits";
    t.note = "On 2026-03-07.";
    buf_empty(&out);
    assert_int_equal(fhir_task_amend(before.data, before.len, &t, false, &out),
                     ERR_OK);
    check_out();
    assert_has("\"status\":\"cancelled\"");
    assert_has("\"statusReason\":{\"text\":\"Later readings");
    assert_lacks("awaiting-review");
    assert_int_equal(count_of("\"authorString\""), 2);
    assert_golden_out("task-amended-cancelled.json");
    buf_clear(&before);
}

/* R4 inv-1, whatever the clocks say; instants in other zones compared. */
static void test_amend_time(void **state)
{
    static const struct {
        const char *name, *authored;
        int64_t modified_ms;
        const char *want;
    } cases[] = {
        { "later", "2026-03-06T08:12:00Z", AUTHORED_S * 1000 + 1,
          "2026-03-06T08:12:00.001Z" },
        { "equal", "2026-03-06T08:12:00.000Z", AUTHORED_S * 1000,
          "2026-03-06T08:12:00.000Z" },
        { "clock set back", "2026-03-06T08:12:00.250Z", AUTHORED_S * 1000 + 249,
          "2026-03-06T08:12:00.250Z" },
        { "set back by a millisecond", "2026-03-06T08:12:00.191Z",
          AUTHORED_S * 1000 + 190, "2026-03-06T08:12:00.191Z" },
        { "another zone, earlier", "2026-03-06T08:12:01-05:00",
          AUTHORED_S * 1000 + 5 * 3600 * 1000, "2026-03-06T08:12:01-05:00" },
        { "another zone, later", "2026-03-06T09:12:00+01:00",
          AUTHORED_S * 1000 + 1000, "2026-03-06T08:12:01.000Z" },
        { "only a date", "2026-03-06", AUTHORED_S * 1000,
          "2026-03-06T08:12:00.000Z" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct fhir_task t = plain_task;
        char task[300], want[80];

        ROW(cases[i].name);
        t.modified_ms = t.authored_ms = cases[i].modified_ms;
        snprintf(task, sizeof(task),
                 "{\"resourceType\":\"Task\",\"status\":\"requested\","
                 "\"intent\":\"proposal\",\"authoredOn\":\"%s\"}",
                 cases[i].authored);
        snprintf(want, sizeof(want), "\"lastModified\":\"%s\"", cases[i].want);
        buf_empty(&out);
        assert_int_equal(fhir_task_amend(task, strlen(task), &t, true, &out),
                         ERR_OK);
        check_out();
        assert_has(want);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_task),          cmocka_unit_test(test_task_bare),
        cmocka_unit_test(test_stories),       cmocka_unit_test(test_reminder),
        cmocka_unit_test(test_amend_touched), cmocka_unit_test(test_amend_ours),
        cmocka_unit_test(test_amend_time),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
