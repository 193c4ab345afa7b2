/*
 * A search of Tasks, parameter by parameter.
 *
 * The forms of a token and the prefixes of a date are those of HL7 FHIR R4
 * (4.0.1), search.html, 3.1.1.4.10 and 3.1.1.4.7.
 */
#include "service/task_query.h"

#include "tests/test.h"

#include <string.h>

#define BASE  "https://headgate.example/fhir"
#define SELF  "http://127.0.0.1:8480/fhir"
#define DAY_S INT64_C(86400)

/* 2026-03-04T09:30:00Z */
#define AT_MS ((INT64_C(20516) * DAY_S + 34200) * 1000)

static struct zone *utc;

static struct task_query begin(void)
{
    struct task_query q;

    task_query_init(&q, BASE, SELF, utc);
    return q;
}

static void test_lists(void **state)
{
    static const struct {
        const char *name, *value;
        enum taken want;
        const char *list;
    } cases[] = {
        { "status", "requested", TAKEN, ",requested," },
        { "status", "requested,accepted", TAKEN, ",requested,accepted," },
        { "status", "http://hl7.org/fhir/task-status|requested", TAKEN,
          ",requested," },
        { "status", "http://hl7.org/fhir/task-status|", TAKEN, "" },
        { "status", "https://other.example|requested", TAKEN, ",," },
        { "status", "https://other.example|a,accepted", TAKEN, ",accepted," },
        { "status", "|requested", TAKEN, ",," },
        { "status", "", TAKEN_NOT, NULL },
        { "status", "|", TAKEN_NOT, NULL },
        { "status", ",", TAKEN_NOT, NULL },
        { "status", "requested,", TAKEN_NOT, NULL },
        { "status:not", "requested", TAKEN_MODIFIED, NULL },
        { "statu", "requested", TAKEN_UNKNOWN, NULL },
        { "statuses", "requested", TAKEN_UNKNOWN, NULL },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct task_query q = begin();

        print_message("%s=%s\n", cases[i].name, cases[i].value);
        assert_int_equal(task_query_take(&q, cases[i].name, cases[i].value),
                         cases[i].want);
        if (cases[i].list != NULL)
            assert_string_equal(q.status, cases[i].list);
    }
}

/* INT64_MIN and INT64_MAX where nothing limits. */
static void test_updated(void **state)
{
    static const struct {
        const char *value;
        enum taken want;
        int64_t from_ms, to_ms;
    } cases[] = {
        { "2026-03-04T09:30:00Z", TAKEN, AT_MS, AT_MS + 1000 },
        { "eq2026-03-04T09:30:00.250Z", TAKEN, AT_MS + 250, AT_MS + 251 },
        { "eq2026-03-04T09:30:00.2Z", TAKEN, AT_MS + 200, AT_MS + 300 },
        { "gt2026-03-04T09:30:00.250Z", TAKEN, AT_MS + 251, INT64_MAX },
        { "sa2026-03-04T09:30:00.250Z", TAKEN, AT_MS + 251, INT64_MAX },
        { "ge2026-03-04T09:30:00.25099Z", TAKEN, AT_MS + 250, INT64_MAX },
        { "lt2026-03-04T09:30:00.250Z", TAKEN, INT64_MIN, AT_MS + 250 },
        { "eb2026-03-04T09:30:00.250Z", TAKEN, INT64_MIN, AT_MS + 250 },
        { "le2026-03-04T10:30:00.250+01:00", TAKEN, INT64_MIN, AT_MS + 251 },
        { "ge2026-03-04", TAKEN, AT_MS - 34200000, INT64_MAX },
        { "gt2026-03-04", TAKEN, AT_MS - 34200000 + DAY_S * 1000, INT64_MAX },
        { "ap2026-03-04", TAKEN_NOT, 0, 0 },
        { "ne2026-03-04", TAKEN_NOT, 0, 0 },
        { "g", TAKEN_NOT, 0, 0 }, /* shorter than a prefix */
        { "ge", TAKEN_NOT, 0, 0 },
        { "", TAKEN_NOT, 0, 0 },
        { "2026-02-30", TAKEN_NOT, 0, 0 },
        { "2026-03-04T09:30:00", TAKEN_NOT, 0, 0 }, /* no zone */
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct task_query q = begin();

        print_message("_lastUpdated=%s\n", cases[i].value);
        assert_int_equal(task_query_take(&q, "_lastUpdated", cases[i].value),
                         cases[i].want);
        if (cases[i].want != TAKEN)
            continue;
        assert_true(q.from_ms == cases[i].from_ms);
        assert_true(q.to_ms == cases[i].to_ms);
    }
}

/* Several times are all to hold, in any order; other parameters come once. */
static void test_together(void **state)
{
    struct task_query q = begin();

    (void)state;
    assert_int_equal(task_query_take(&q, "_lastUpdated", "ge2026-03-04"),
                     TAKEN);
    assert_int_equal(task_query_take(&q, "_lastUpdated", "ge2020"), TAKEN);
    assert_int_equal(task_query_take(&q, "_lastUpdated", "lt2026-03-05"),
                     TAKEN);
    assert_int_equal(task_query_take(&q, "_lastUpdated", "lt2030"), TAKEN);
    assert_true(q.from_ms == AT_MS - 34200000);
    assert_true(q.to_ms == q.from_ms + DAY_S * 1000);
    assert_int_equal(task_query_take(&q, "status", "requested"), TAKEN);
    assert_int_equal(task_query_take(&q, "status", "accepted"), TAKEN_TWICE);
    assert_int_equal(task_query_take(&q, "patient", "p1"), TAKEN);
    assert_int_equal(task_query_take(&q, "subject", "p1"), TAKEN_TWICE);
}

static void test_patient(void **state)
{
    static const struct {
        const char *value;
        enum taken want;
        const char *patient;
    } cases[] = {
        { "p1", TAKEN, "Patient/p1" },
        { "Patient/p1", TAKEN, "Patient/p1" },
        { SELF "/Patient/p1", TAKEN, "Patient/p1" },
        { "https://other.example/fhir/Patient/p1", TAKEN,
          "https://other.example/fhir/Patient/p1" },
        { "urn:oid:2.999.1.1|1001", TAKEN, "urn:oid:2.999.1.1|1001" },
        { "p1,p2", TAKEN_NOT, NULL },
        { "", TAKEN_NOT, NULL },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct task_query q = begin();

        print_message("patient=%s\n", cases[i].value);
        assert_int_equal(task_query_take(&q, "patient", cases[i].value),
                         cases[i].want);
        if (cases[i].patient != NULL)
            assert_string_equal(q.patient, cases[i].patient);
    }
}

static void test_count(void **state)
{
    static const struct {
        const char *value;
        enum taken want;
        int count;
    } cases[] = {
        { "0", TAKEN, 0 },
        { "7", TAKEN, 7 },
        { "500", TAKEN, TASK_PAGE_MAX },
        { "501", TAKEN, TASK_PAGE_MAX },
        { "99999999999999999999", TAKEN, TASK_PAGE_MAX },
        { "-1", TAKEN_NOT, 0 },
        { " 1", TAKEN_NOT, 0 },
        { "1x", TAKEN_NOT, 0 },
        { "", TAKEN_NOT, 0 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct task_query q = begin();

        print_message("_count=%s\n", cases[i].value);
        assert_int_equal(task_query_take(&q, "_count", cases[i].value),
                         cases[i].want);
        if (cases[i].want == TAKEN)
            assert_int_equal(q.count, cases[i].count);
    }
}

/* As many as fit, and then a refusal. */
static void test_long_list(void **state)
{
    static char value[2 * TASK_LIST_SIZE];

    (void)state;
    for (size_t len = TASK_LIST_SIZE - 4; len < TASK_LIST_SIZE + 2; len++) {
        struct task_query q = begin();
        enum taken want = len + 3 <= TASK_LIST_SIZE ? TAKEN : TAKEN_NOT;

        memset(value, 'x', len);
        value[len] = '\0';
        assert_int_equal(task_query_take(&q, "_id", value), want);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_lists),    cmocka_unit_test(test_updated),
        cmocka_unit_test(test_together), cmocka_unit_test(test_patient),
        cmocka_unit_test(test_count),    cmocka_unit_test(test_long_list),
    };
    int failed;

    if (zone_load("UTC", &utc) != ERR_OK)
        return 1;
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    zone_free(utc);
    return failed;
}
