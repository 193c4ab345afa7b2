/*
 * A search, parameter by parameter.
 *
 * The forms of a token, a reference and a date, the prefixes, the escapes and
 * the modifiers are those of HL7 FHIR R4 (4.0.1), search.html: 3.1.1.4.0.1
 * (escaping), 3.1.1.4.5 (modifiers), 3.1.1.4.6 (prefixes), 3.1.1.4.10 (token),
 * 3.1.1.4.12 (reference).  The section numbers are from memory.
 */
#include "service/search_query.h"

#include "tests/test.h"

#include <stdio.h>
#include <string.h>

#define SELF  "http://127.0.0.1:8480/fhir"
#define DAY_S INT64_C(86400)

/* 2026-03-04T09:30:00Z */
#define AT_MS  ((INT64_C(20516) * DAY_S + 34200) * 1000)
#define DAY_MS (INT64_C(20516) * DAY_S * 1000)

static struct zone *utc;

static struct search_query *begin(enum fhir_type type)
{
    static struct search_query q;

    search_query_init(&q, type, SELF, utc, AT_MS);
    return &q;
}

/* ---- tokens and references ---------------------------------------------- */

/* The values as "system|value", "*" for any, "-" for none, with blanks. */
static void spell(const struct search_query *q, char *out, size_t size)
{
    size_t len = 0;

    out[0] = '\0';
    for (size_t i = 0; i < q->value_count && len < size; i++) {
        const struct search_value *v = &q->values[i];
        const char *system = v->system == NULL      ? "*"
                             : v->system[0] == '\0' ? "-"
                                                    : v->system;

        len +=
            (size_t)snprintf(out + len, size - len, "%s%s|%s", i > 0 ? " " : "",
                             system, v->value != NULL ? v->value : "*");
    }
}

static void test_values(void **state)
{
    static const struct {
        enum fhir_type type;
        const char *name, *value;
        enum taken want;
        const char *values;
    } cases[] = {
        { FHIR_TASK, "status", "requested", TAKEN, "*|requested" },
        { FHIR_TASK, "status", "requested,accepted", TAKEN,
          "*|requested *|accepted" },
        { FHIR_TASK, "status", "http://hl7.org/fhir/task-status|requested",
          TAKEN, "http://hl7.org/fhir/task-status|requested" },
        { FHIR_TASK, "status", "http://hl7.org/fhir/task-status|", TAKEN,
          "http://hl7.org/fhir/task-status|*" },
        { FHIR_TASK, "status", "|requested", TAKEN, "-|requested" },
        { FHIR_TASK, "status", "s|a,b,|c", TAKEN, "s|a *|b -|c" },
        { FHIR_TASK, "status", "", TAKEN_NOT, NULL },
        { FHIR_TASK, "status", "|", TAKEN_NOT, NULL },
        { FHIR_TASK, "status", ",", TAKEN_NOT, NULL },
        { FHIR_TASK, "status", "requested,", TAKEN_NOT, NULL },
        { FHIR_TASK, "identifier", "s|a\\,b", TAKEN, "s|a,b" },
        { FHIR_TASK, "identifier", "a\\|b", TAKEN, "*|a|b" },
        { FHIR_TASK, "identifier", "s\\|t|a\\\\b\\$c", TAKEN, "s|t|a\\b$c" },
        { FHIR_TASK, "identifier", "a\\", TAKEN, "*|a\\" },
        { FHIR_TASK, "identifier", "a\\n", TAKEN, "*|a\\n" },
        { FHIR_TASK, "_id", "a,b", TAKEN, "*|a *|b" },
        { FHIR_TASK, "_id", "a|b", TAKEN_NOT, NULL },
        { FHIR_TASK, "patient", "p1", TAKEN, "*|Patient/p1" },
        { FHIR_TASK, "patient", "Patient/p1", TAKEN, "*|Patient/p1" },
        { FHIR_TASK, "patient", SELF "/Patient/p1", TAKEN, "*|Patient/p1" },
        { FHIR_TASK, "patient", SELF "x/Patient/p1", TAKEN,
          "*|" SELF "x/Patient/p1" },
        { FHIR_TASK, "patient", "https://other.example/fhir/Patient/p1", TAKEN,
          "*|https://other.example/fhir/Patient/p1" },
        { FHIR_TASK, "patient", "urn:oid:2.999.1.1|1001", TAKEN,
          "urn:oid:2.999.1.1|1001" },
        { FHIR_TASK, "patient", "p1,p2", TAKEN, "*|Patient/p1 *|Patient/p2" },
        { FHIR_TASK, "subject:Patient", "p1", TAKEN, "*|Patient/p1" },
        { FHIR_TASK, "subject:Patient", "Patient/p1", TAKEN, "*|Patient/p1" },
        { FHIR_TASK, "subject:Patient", "Group/p1", TAKEN_NOT, NULL },
        { FHIR_TASK, "subject:Group", "p1", TAKEN_MODIFIED, NULL },
        { FHIR_TASK, "focus", "a", TAKEN, "*|BodyStructure/a *|Observation/a" },
        { FHIR_TASK, "focus:BodyStructure", "a", TAKEN, "*|BodyStructure/a" },
        { FHIR_TASK, "focus", "urn:uuid:1", TAKEN, "*|urn:uuid:1" },
        { FHIR_TASK, "patient", "", TAKEN_NOT, NULL },
        { FHIR_TASK, "patient:identifier", "s|1", TAKEN, "s|1" },
        { FHIR_TASK, "patient.identifier", "s|1", TAKEN, "s|1" },
        { FHIR_TASK, "subject:Patient.identifier", "s|1", TAKEN, "s|1" },
        { FHIR_TASK, "focus.identifier", "s|1", TAKEN_MODIFIED, NULL },
        { FHIR_TASK, "patient.name", "x", TAKEN_MODIFIED, NULL },
        { FHIR_TASK, "status:not", "requested", TAKEN, "*|requested" },
        { FHIR_TASK, "status:text", "x", TAKEN_MODIFIED, NULL },
        { FHIR_TASK, "patient:not", "x", TAKEN_MODIFIED, NULL },
        { FHIR_TASK, "_id:not", "x", TAKEN_MODIFIED, NULL },
        { FHIR_TASK, "owner:missing", "true", TAKEN, "" },
        { FHIR_TASK, "owner:missing", "yes", TAKEN_NOT, NULL },
        { FHIR_TASK, "_id:missing", "true", TAKEN_MODIFIED, NULL },
        { FHIR_TASK, "statu", "requested", TAKEN_UNKNOWN, NULL },
        { FHIR_TASK, "statuses", "requested", TAKEN_UNKNOWN, NULL },
        { FHIR_TASK, "date", "2026", TAKEN_UNKNOWN, NULL },
        { FHIR_OBSERVATION, "date", "2026", TAKEN, "*|*" },
        { FHIR_OBSERVATION, "owner", "x", TAKEN_UNKNOWN, NULL },
        { FHIR_PATIENT, "identifier", "s|1", TAKEN, "s|1" },
        { FHIR_PATIENT, "name", "x", TAKEN_UNKNOWN, NULL },
        { FHIR_PROVENANCE, "target", "Task/1", TAKEN, "*|Task/1" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct search_query *q = begin(cases[i].type);
        char values[512];

        print_message("%s=%s\n", cases[i].name, cases[i].value);
        assert_int_equal(search_query_take(q, cases[i].name, cases[i].value),
                         cases[i].want);
        spell(q, values, sizeof(values));
        if (cases[i].values != NULL)
            assert_string_equal(values, cases[i].values);
    }
}

/* ---- dates -------------------------------------------------------------- */

static void test_dates(void **state)
{
    static const struct {
        const char *value;
        enum taken want;
        enum search_prefix prefix;
        int64_t from_ms, to_ms;
    } cases[] = {
        { "2026-03-04T09:30:00Z", TAKEN, SEARCH_EQ, AT_MS, AT_MS + 1000 },
        { "eq2026-03-04T09:30:00.250Z", TAKEN, SEARCH_EQ, AT_MS + 250,
          AT_MS + 251 },
        { "ne2026-03-04T09:30:00.2Z", TAKEN, SEARCH_NE, AT_MS + 200,
          AT_MS + 300 },
        { "gt2026-03-04T09:30:00.25099Z", TAKEN, SEARCH_GT, AT_MS + 250,
          AT_MS + 251 },
        { "lt2026-03-04T10:30:00.250+01:00", TAKEN, SEARCH_LT, AT_MS + 250,
          AT_MS + 251 },
        { "ge2026-03-04", TAKEN, SEARCH_GE, DAY_MS, DAY_MS + DAY_S * 1000 },
        { "le2026-03", TAKEN, SEARCH_LE, DAY_MS - 3 * DAY_S * 1000,
          DAY_MS + 28 * DAY_S * 1000 },
        { "sa2026", TAKEN, SEARCH_SA, DAY_MS - 62 * DAY_S * 1000,
          DAY_MS + 303 * DAY_S * 1000 },
        { "eb2026-03-04", TAKEN, SEARCH_EB, DAY_MS, DAY_MS + DAY_S * 1000 },
        { "ap2026-03-04", TAKEN, SEARCH_AP, DAY_MS, DAY_MS + DAY_S * 1000 },
        { "xx2026-03-04", TAKEN_NOT, SEARCH_EQ, 0, 0 },
        { "g", TAKEN_NOT, SEARCH_EQ, 0, 0 }, /* shorter than a prefix */
        { "ge", TAKEN_NOT, SEARCH_EQ, 0, 0 },
        { "", TAKEN_NOT, SEARCH_EQ, 0, 0 },
        { "2026-02-30", TAKEN_NOT, SEARCH_EQ, 0, 0 },
        { "2026-03-04T09:30:00", TAKEN_NOT, SEARCH_EQ, 0, 0 }, /* no zone */
    };
    static const char *const names[] = { "_lastUpdated", "authored-on", "due",
                                         "modified", "period" };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        for (size_t k = 0; k < COUNT(names); k++) {
            struct search_query *q = begin(FHIR_TASK);

            print_message("%s=%s\n", names[k], cases[i].value);
            assert_int_equal(search_query_take(q, names[k], cases[i].value),
                             cases[i].want);
            if (cases[i].want != TAKEN)
                continue;
            assert_int_equal(q->values[0].prefix, cases[i].prefix);
            assert_true(q->values[0].from_ms == cases[i].from_ms);
            assert_true(q->values[0].to_ms == cases[i].to_ms);
        }
    }
}

/* ---- how to answer ------------------------------------------------------ */

static void test_count(void **state)
{
    static const struct {
        const char *value;
        enum taken want;
        int count;
    } cases[] = {
        { "0", TAKEN, 0 },
        { "7", TAKEN, 7 },
        { "500", TAKEN, SEARCH_PAGE_MAX },
        { "501", TAKEN, SEARCH_PAGE_MAX },
        { "99999999999999999999", TAKEN, SEARCH_PAGE_MAX },
        { "-1", TAKEN_NOT, 0 },
        { " 1", TAKEN_NOT, 0 },
        { "1x", TAKEN_NOT, 0 },
        { "", TAKEN_NOT, 0 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct search_query *q = begin(FHIR_TASK);

        print_message("_count=%s\n", cases[i].value);
        assert_int_equal(search_query_take(q, "_count", cases[i].value),
                         cases[i].want);
        if (cases[i].want == TAKEN)
            assert_int_equal(q->count, cases[i].count);
    }
}

static void test_controls(void **state)
{
    static const struct {
        enum fhir_type type;
        const char *name, *value;
        enum taken want;
    } cases[] = {
        { FHIR_TASK, "_sort", "-_lastUpdated", TAKEN },
        { FHIR_TASK, "_sort", "priority,-due,_id", TAKEN },
        { FHIR_TASK, "_sort", "_id,status,due,modified", TAKEN_MANY },
        { FHIR_TASK, "_sort", "owner", TAKEN_NOT },
        { FHIR_TASK, "_sort", "due,", TAKEN_NOT },
        { FHIR_TASK, "_sort:desc", "due", TAKEN_MODIFIED },
        { FHIR_OBSERVATION, "_sort", "due", TAKEN_NOT },
        { FHIR_OBSERVATION, "_sort", "-date", TAKEN },
        { FHIR_TASK, "_summary", "count", TAKEN },
        { FHIR_TASK, "_summary", "false", TAKEN },
        { FHIR_TASK, "_summary", "true", TAKEN_NOT },
        { FHIR_TASK, "_total", "none", TAKEN },
        { FHIR_TASK, "_total", "estimate", TAKEN },
        { FHIR_TASK, "_total", "x", TAKEN_NOT },
        { FHIR_TASK, "_include", "Task:patient", TAKEN },
        { FHIR_TASK, "_include", "Task:subject:Patient", TAKEN },
        { FHIR_TASK, "_include", "Task:part-of", TAKEN },
        { FHIR_TASK, "_include", "Task:subject:Group", TAKEN_NOT },
        { FHIR_TASK, "_include", "Task:owner", TAKEN_NOT },
        { FHIR_TASK, "_include", "Observation:subject", TAKEN_NOT },
        { FHIR_TASK, "_include", "*", TAKEN_NOT },
        { FHIR_TASK, "_include:iterate", "Task:patient", TAKEN_MODIFIED },
        { FHIR_TASK, "_revinclude", "Provenance:target", TAKEN },
        { FHIR_TASK, "_revinclude", "Task:focus", TAKEN_NOT },
        { FHIR_PATIENT, "_revinclude", "Provenance:target", TAKEN_NOT },
        { FHIR_TASK, "_after", "313233", TAKEN },
        { FHIR_TASK, "_after", "", TAKEN_NOT },
        { FHIR_TASK, "_after", "3g", TAKEN_NOT },
        { FHIR_TASK, "_elements", "id", TAKEN_UNKNOWN },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct search_query *q = begin(cases[i].type);

        print_message("%s=%s\n", cases[i].name, cases[i].value);
        assert_int_equal(search_query_take(q, cases[i].name, cases[i].value),
                         cases[i].want);
    }
}

/* Conditions may come again, and all are to hold; the others once. */
static void test_together(void **state)
{
    struct search_query *q = begin(FHIR_TASK);

    (void)state;
    assert_int_equal(search_query_take(q, "status", "requested"), TAKEN);
    assert_int_equal(search_query_take(q, "status:not", "a,b"), TAKEN);
    assert_int_equal(search_query_take(q, "_lastUpdated", "ge2026"), TAKEN);
    assert_int_equal(q->condition_count, 3);
    assert_int_equal(q->conditions[1].modifier, SEARCH_NOT);
    assert_int_equal(q->conditions[1].first, 1);
    assert_int_equal(q->conditions[1].count, 2);
    assert_int_equal(search_query_take(q, "_count", "1"), TAKEN);
    assert_int_equal(search_query_take(q, "_count", "1"), TAKEN_TWICE);
    assert_int_equal(search_query_take(q, "_include", "Task:patient"), TAKEN);
    assert_int_equal(search_query_take(q, "_include", "Task:subject"), TAKEN);
    assert_int_equal(q->include_count, 1); /* one element, two names */
    assert_int_equal(search_query_take(q, "_summary", "count"), TAKEN);
    assert_int_equal(q->count, 0);
}

/* As many as fit, and then a refusal. */
static void test_ceilings(void **state)
{
    static char value[SEARCH_TEXT_MAX + 2];
    struct search_query *q = begin(FHIR_TASK);

    (void)state;
    for (size_t i = 0; i < SEARCH_CONDITIONS_MAX; i++)
        assert_int_equal(search_query_take(q, "status", "x"), TAKEN);
    assert_int_equal(search_query_take(q, "status", "x"), TAKEN_MANY);
    q = begin(FHIR_TASK);
    for (size_t i = 0; i < SEARCH_VALUES_MAX; i++)
        memcpy(value + 2 * i, "x,", 3);
    assert_int_equal(search_query_take(q, "status", value), TAKEN_NOT);
    value[2 * SEARCH_VALUES_MAX - 1] = '\0';
    q = begin(FHIR_TASK);
    assert_int_equal(search_query_take(q, "status", value), TAKEN);
    assert_int_equal(search_query_take(q, "code", "x"), TAKEN_MANY);
    for (size_t len = SEARCH_TEXT_MAX - 3; len < SEARCH_TEXT_MAX + 1; len++) {
        memset(value, 'x', len);
        value[len] = '\0';
        q = begin(FHIR_TASK);
        assert_int_equal(search_query_take(q, "_id", value),
                         len < SEARCH_TEXT_MAX ? TAKEN : TAKEN_MANY);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_values),   cmocka_unit_test(test_dates),
        cmocka_unit_test(test_count),    cmocka_unit_test(test_controls),
        cmocka_unit_test(test_together), cmocka_unit_test(test_ceilings),
    };
    int failed;

    if (zone_load("UTC", &utc) != ERR_OK)
        return 1;
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    zone_free(utc);
    return failed;
}
