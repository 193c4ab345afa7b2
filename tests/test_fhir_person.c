/*
 * What a person may make of a Task.
 *
 * Source of the states and invariants: HL7 FHIR R4 (4.0.1), Task.
 */
#include "tests/fhir_kit.h"

/* ---- a person's update ---------------------------------------------------------------------------- */

/* A line for each status: where it may go.
 * Source: R4 Task, state machine; final states only to entered-in-error. */
static const struct {
    const char *from, *to;
} changes[] = {
    { "draft", "requested cancelled entered-in-error" },
    { "requested", "received accepted rejected cancelled entered-in-error" },
    { "received",
      "accepted rejected ready in-progress on-hold completed failed "
      "cancelled entered-in-error" },
    { "accepted",
      "rejected ready in-progress on-hold completed failed cancelled "
      "entered-in-error" },
    { "ready",
      "in-progress on-hold completed failed cancelled entered-in-error" },
    { "in-progress",
      "ready on-hold completed failed cancelled entered-in-error" },
    { "on-hold",
      "ready in-progress completed failed cancelled entered-in-error" },
    { "rejected", "entered-in-error" },
    { "cancelled", "entered-in-error" },
    { "failed", "entered-in-error" },
    { "completed", "entered-in-error" },
    { "entered-in-error", "" },
};

static bool is_in(const char *list, const char *word)
{
    size_t len = strlen(word);

    for (; *list != '\0'; list += strcspn(list, " "), list += *list == ' ') {
        if (strcspn(list, " ") == len && strncmp(list, word, len) == 0)
            return true;
    }
    return false;
}

static void test_person_status(void **state)
{
    static const char form[] =
        "{\"resourceType\":\"Task\",\"id\":\"t1\",\"status\":\"%s\","
        "\"intent\":\"proposal\"}";

    (void)state;
    for (size_t i = 0; i < COUNT(changes); i++) {
        for (size_t k = 0; k < COUNT(changes); k++) {
            const char *from = changes[i].from, *to = changes[k].from;
            bool allowed = i == k || is_in(changes[i].to, to);
            char before[200], after[200];
            struct outcome o;

            snprintf(before, sizeof(before), form, from);
            snprintf(after, sizeof(after), form, to);
            outcome_init(&o);
            fhir_task_person_update(before, strlen(before), after,
                                    strlen(after), &o);
            if (outcome_refuses(&o) == allowed)
                fail_msg("%s to %s", from, to);
            if (!allowed)
                assert_string_equal(o.issues[0].place, "Task.status");
        }
    }
}

/* Whoever is refused is told what would be taken. */
static void test_next_steps_are_named(void **state)
{
    static const struct {
        const char *from, *to, *want;
    } cases[] = {
        { "requested", "completed",
          "A Task may not go from requested to completed; from there it may "
          "become received, accepted, rejected, cancelled or "
          "entered-in-error" },
        { "completed", "requested", "it may become entered-in-error" },
        { "entered-in-error", "requested", "it may become nothing else" },
    };
    static const char form[] =
        "{\"resourceType\":\"Task\",\"id\":\"t1\",\"status\":\"%s\","
        "\"intent\":\"proposal\"}";

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        char before[200], after[200];
        struct outcome o;

        ROW(cases[i].from);
        snprintf(before, sizeof(before), form, cases[i].from);
        snprintf(after, sizeof(after), form, cases[i].to);
        outcome_init(&o);
        fhir_task_person_update(before, strlen(before), after, strlen(after),
                                &o);
        if (strstr(o.issues[0].text, cases[i].want) == NULL)
            fail_msg("%s", o.issues[0].text);
    }
}

#define OLD                                                                    \
    "{\"resourceType\":\"Task\",\"id\":\"t1\",\"identifier\":[{\"value\":"     \
    "\"k\"}"                                                                   \
    "],\"status\":\"requested\",\"intent\":\"proposal\",\"code\":{\"text\":"   \
    "\"c\"},\"for\":{\"reference\":\"Patient/1\"},\"focus\":{\"reference\":"   \
    "\"BodyStructure/2\"},\"authoredOn\":\"2026-03-06T08:12:00Z\","            \
    "\"lastModified\":\"2026-03-06T08:12:00Z\"}"

/* The old Task with one text in place of another. */
static void changed(const char *from, const char *to, struct buf *text)
{
    const char *at = strstr(OLD, from);

    assert_non_null(at);
    buf_init(text, 4096);
    buf_add(text, OLD, (size_t)(at - OLD));
    buf_puts(text, to);
    buf_puts(text, at + strlen(from));
}

#define LAST "\"lastModified\":\"2026-03-06T08:12:00Z\""

static const struct {
    const char *name, *from, *to;
    int status;
    const char *word, *place;
} updates[] = {
    { "as it is", "requested", "requested", 0, NULL, NULL },
    { "accepted, with owner, note and output", "\"requested\"",
      "\"accepted\",\"owner\":{\"reference\":\"Practitioner/9\"},"
      "\"note\":[{\"text\":\"ok\"}],\"output\":[{\"type\":{\"text\":\"r\"},"
      "\"valueString\":\"x\"}]",
      0, NULL, NULL },
    { "decimals of any kind", "\"requested\"",
      "\"requested\",\"output\":[{\"type\":{\"text\":\"r\"},"
      "\"valueDecimal\":0.50}]",
      0, NULL, NULL },
    { "an extension of a string", "\"requested\"",
      "\"requested\",\"_status\":{\"id\":\"s\"}", 0, NULL, NULL },
    { "no status", "\"status\":\"requested\",", "", 400, "missing-element",
      "Task.status" },
    { "no such status", "\"requested\"", "\"done\"", 400, "bad-value",
      "Task.status" },
    { "no intent", "\"intent\":\"proposal\",", "", 409, "missing-element",
      "Task.intent" },
    { "no such intent", "\"proposal\"", "\"wish\"", 409, "bad-value",
      "Task.intent" },
    { "another intent", "\"proposal\"", "\"order\"", 409, "identity",
      "Task.intent" },
    { "no such priority", "\"requested\"",
      "\"requested\",\"priority\":\"high\"", 400, "bad-value",
      "Task.priority" },
    { "identifier changed", "\"value\":\"k\"", "\"value\":\"K\"", 409,
      "identity", "Task.identifier" },
    { "for changed", "Patient/1", "Patient/2", 409, "identity", "Task.for" },
    { "for gone", "\"for\":{\"reference\":\"Patient/1\"},", "", 409, "identity",
      "Task.for" },
    { "focus changed", "BodyStructure/2", "BodyStructure/3", 409, "identity",
      "Task.focus" },
    { "code changed", "\"text\":\"c\"", "\"text\":\"d\"", 409, "identity",
      "Task.code" },
    { "authoredOn changed", "\"authoredOn\":\"2026-03-06T08:12:00Z\"",
      "\"authoredOn\":\"2026-03-06T08:11:00Z\"", 409, "identity",
      "Task.authoredOn" },
    { "inv-1", LAST, "\"lastModified\":\"2026-03-06T08:11:59Z\"", 400,
      "invariant", "Task.lastModified" },
    { "inv-1 holds in another zone", LAST,
      "\"lastModified\":\"2026-03-06T09:12:00+01:00\"", 0, NULL, NULL },
    { "inv-1 cannot be told from a date", LAST,
      "\"lastModified\":\"2026-03-06\"", 0, NULL, NULL },
    { "not a time", LAST, "\"lastModified\":\"2026-03-06T08:12\"", 400,
      "bad-datetime", "Task.lastModified" },
    { "a status that is a number", "\"requested\"", "5", 400, "bad-element",
      "Task.status" },
    { "an empty list", "\"requested\"", "\"requested\",\"note\":[]", 400,
      "bad-element", "Task.note" },
    { "null deep inside", "\"requested\"",
      "\"requested\",\"note\":[{\"text\":\"a\"},{\"text\":null}]", 400,
      "bad-element", "Task.note[1].text" },
    { "an element that R4 does not have", "\"requested\"",
      "\"requested\",\"colour\":\"red\"", 400, "bad-element", "Task" },
    { "an output without a value", "\"requested\"",
      "\"requested\",\"output\":[{\"type\":{\"text\":\"r\"}}]", 400,
      "missing-element", "Task.output[0]" },
    { "an input with two values", "\"requested\"",
      "\"requested\",\"input\":[{\"type\":{\"text\":\"r\"},\"valueString\":"
      "\"x\",\"valueBoolean\":true}]",
      400, "bad-element", "Task.input[0]" },
    { "another resource", "\"Task\"", "\"Patient\"", 400, "not-a-resource",
      "" },
    { "not JSON", "\"id\"", "id", 400, "json-syntax", "" },
    { "doubled key", "\"id\":\"t1\"", "\"id\":\"t1\",\"id\":\"t1\"", 400,
      "json-syntax", NULL },
};

static void test_person(void **state)
{

    (void)state;
    for (size_t i = 0; i < COUNT(updates); i++) {
        struct outcome o;
        struct buf text;

        ROW(updates[i].name);
        changed(updates[i].from, updates[i].to, &text);
        outcome_init(&o);
        fhir_task_person_update(OLD, strlen(OLD), text.data, text.len, &o);
        assert_int_equal(o.status, updates[i].status);
        if (updates[i].word != NULL) {
            assert_string_equal(o.issues[0].word, updates[i].word);
            if (updates[i].place != NULL)
                assert_string_equal(o.issues[0].place, updates[i].place);
        } else {
            assert_int_equal(o.count, 0);
        }
        buf_clear(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_person_status),
        cmocka_unit_test(test_next_steps_are_named),
        cmocka_unit_test(test_person),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
