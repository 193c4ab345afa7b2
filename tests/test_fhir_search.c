/*
 * What a resource is found by.  The places are those of the search parameters
 * of HL7 FHIR R4 (4.0.1), searchparameter-registry.html (from memory).
 */
#include "adapters/fhir_search.h"

#include "tests/test.h"

#include <stdio.h>
#include <string.h>

#define SELF "http://127.0.0.1:8480/fhir"
/* 2026-03-04T00:00:00Z, in milliseconds */
#define DAY_MS (INT64_C(20516) * 86400000)

static struct zone *berlin;

struct found {
    char text[4096];
    size_t len;
};

static enum err note(void *arg, const struct search_found *f)
{
    struct found *found = arg;
    size_t room = sizeof(found->text) - found->len;

    if (f->is_span)
        found->len += (size_t)snprintf(
            found->text + found->len, room, "%d [%lld %lld)\n", f->number,
            f->from_ms == INT64_MIN ? -1LL : (long long)(f->from_ms - DAY_MS),
            f->to_ms == INT64_MAX ? -1LL : (long long)(f->to_ms - DAY_MS));
    else
        found->len +=
            (size_t)snprintf(found->text + found->len, room, "%d %s|%s\n",
                             f->number, f->system, f->value);
    return ERR_OK;
}

static void expect(enum fhir_type type, const char *json, const char *want)
{
    const struct search_site site = { berlin, SELF };
    struct found found = { .len = 0 };

    assert_int_equal(
        fhir_search_visit(type, json, strlen(json), &site, note, &found),
        ERR_OK);
    assert_string_equal(found.text, want);
}

static void test_task(void **state)
{
    (void)state;
    expect(FHIR_TASK,
           "{\"resourceType\":\"Task\",\"identifier\":[{\"system\":\"s\","
           "\"value\":\"1\"},{\"value\":\"2\"},{\"system\":\"s\"}],"
           "\"for\":{\"reference\":\"" SELF "/Patient/p/_history/3\","
           "\"identifier\":{\"system\":\"n\",\"value\":\"7\"}},"
           "\"focus\":{\"reference\":\"#acc\"},"
           "\"code\":{\"coding\":[{\"code\":\"a\"},{\"system\":\"t\","
           "\"code\":\"b\"},{\"system\":\"t\"}],\"text\":\"x\"},"
           "\"status\":\"requested\",\"owner\":{\"display\":\"Team\"},"
           "\"partOf\":[{\"reference\":\"Task/1\"},{\"reference\":"
           "\"https://other.example/fhir/Task/2\"}],"
           "\"authoredOn\":\"2026-03-04\","
           "\"lastModified\":\"2026-03-04T00:00:00.500Z\","
           "\"executionPeriod\":{\"start\":\"2026-03-04T00:00:00Z\"},"
           "\"restriction\":{\"period\":{\"start\":\"2026-01-01\","
           "\"end\":\"2026-03-04T00:00:01+00:00\"}}}",
           "1 s|1\n1 |2\n2 |Patient/p\n258 n|7\n4 |a\n4 t|b\n"
           "5 http://hl7.org/fhir/task-status|requested\n"
           /* a date is that day in Berlin, an hour ahead of UTC in March */
           "10 [-3600000 82800000)\n11 [500 501)\n"
           "12 |Task/1\n12 |https://other.example/fhir/Task/2\n"
           "14 [0 -1)\n15 [1000 2000)\n");
}

static void test_others(void **state)
{
    (void)state;
    expect(FHIR_OBSERVATION,
           "{\"resourceType\":\"Observation\",\"status\":\"final\","
           "\"subject\":{\"reference\":\"" SELF "x/Patient/p\"},"
           "\"effectivePeriod\":{\"end\":\"2026-03-04T00:00:00.00Z\"}}",
           "34 |" SELF "x/Patient/p\n"
           "37 http://hl7.org/fhir/observation-status|final\n38 [-1 10)\n");
    expect(FHIR_OBSERVATION,
           "{\"resourceType\":\"Observation\",\"status\":\"final\","
           "\"effectiveInstant\":\"2026-03-04T00:00:00Z\",\"focus\":"
           "[{\"reference\":\"BodyStructure/a\"}]}",
           "35 |BodyStructure/a\n"
           "37 http://hl7.org/fhir/observation-status|final\n38 [0 1000)\n");
    expect(FHIR_PATIENT,
           "{\"resourceType\":\"Patient\",\"identifier\":[{\"system\":\"s\","
           "\"value\":\"1\"}]}",
           "57 s|1\n");
    expect(FHIR_PROVENANCE,
           "{\"resourceType\":\"Provenance\",\"target\":[{\"reference\":"
           "\"Task/1/_history/2\"},{\"reference\":\"DocumentReference/3\"}]}",
           "65 |Task/1\n65 |DocumentReference/3\n");
    /* nothing that is not there, and no day that does not exist */
    expect(FHIR_TASK,
           "{\"resourceType\":\"Task\",\"authoredOn\":\"2026-02-30\"}", "");
    expect(FHIR_BUNDLE, "{\"resourceType\":\"Bundle\"}", "");
}

/* A number in the store means one element for ever. */
static void test_numbers(void **state)
{
    const struct search_param *p, *q;

    (void)state;
    for (int t = FHIR_OBSERVATION; t <= FHIR_PROVENANCE; t++) {
        for (size_t i = 0; (p = search_param((enum fhir_type)t, i)) != NULL;
             i++) {
            assert_true(p->number < SEARCH_OF_IDENTIFIER);
            assert_true((p->number == 0) == (p->path == NULL));
            for (int u = FHIR_OBSERVATION; u <= FHIR_PROVENANCE; u++) {
                for (size_t k = 0;
                     (q = search_param((enum fhir_type)u, k)) != NULL; k++) {
                    if (p->number != 0 && p->number == q->number)
                        assert_true(t == u && strcmp(p->path, q->path) == 0);
                }
            }
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_task),
        cmocka_unit_test(test_others),
        cmocka_unit_test(test_numbers),
    };
    int failed;

    if (zone_load("Europe/Berlin", &berlin) != ERR_OK)
        return 1;
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    zone_free(berlin);
    return failed;
}
