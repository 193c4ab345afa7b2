/* The past as it arrived: times, order, Bundles, and what cannot be read. */
#include "adapters/fhir_arrival.h"
#include "tests/backtest_kit.h"

/* ---- arrival -------------------------------------------------------------- */

static void test_when_it_arrived(void **state)
{
    static const struct {
        const char *name, *json;
        bool timed;
        int64_t at_s; /* 2025-01-02T00:00:00Z is 1735776000 */
    } cases[] = {
        { "the server's time first",
          "{\"resourceType\":\"Observation\",\"meta\":{\"lastUpdated\":"
          "\"2025-01-02T00:00:00Z\"},\"issued\":\"2025-01-01T00:00:00Z\"}",
          true, 1735776000 },
        { "then when it was issued",
          "{\"resourceType\":\"Observation\",\"issued\":"
          "\"2025-01-02T01:00:00+01:00\",\"effectiveDateTime\":\"2025-01-01\"}",
          true, 1735776000 },
        { "then when it was measured",
          "{\"resourceType\":\"Observation\",\"effectiveDateTime\":"
          "\"2025-01-02T00:00:00Z\"}",
          true, 1735776000 },
        { "a day ends with its last second",
          "{\"resourceType\":\"Observation\",\"effectiveDateTime\":"
          "\"2025-01-01\"}",
          true, 1735775999 },
        { "the end of a period",
          "{\"resourceType\":\"Observation\",\"effectivePeriod\":{\"start\":"
          "\"2025-01-01T00:00:00Z\",\"end\":\"2025-01-02T00:00:00Z\"}}",
          true, 1735776000 },
        { "a period that has not ended",
          "{\"resourceType\":\"Observation\",\"effectivePeriod\":{\"start\":"
          "\"2025-01-02T00:00:00Z\"}}",
          true, 1735776000 },
        { "a Bundle's own time",
          "{\"resourceType\":\"Bundle\",\"timestamp\":\"2025-01-02T00:00:00Z\","
          "\"meta\":{\"lastUpdated\":\"2025-03-01T00:00:00Z\"}}",
          true, 1735776000 },
        { "not a time",
          "{\"resourceType\":\"Observation\",\"issued\":\"soon\"}", false, 0 },
        { "issued is of Observations alone",
          "{\"resourceType\":\"Patient\",\"issued\":\"2025-01-02T00:00:00Z\"}",
          false, 0 },
    };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct fhir_arrival a;

        ROW(cases[i].name);
        assert_int_equal(fhir_arrival_read(cases[i].json, strlen(cases[i].json),
                                           w->zone, &a),
                         ERR_OK);
        assert_int_equal(a.timed, cases[i].timed);
        if (a.timed)
            assert_int_equal(a.at_s, cases[i].at_s);
    }
}

static void test_not_an_object(void **state)
{
    struct world *w = *state;
    struct fhir_arrival a;

    assert_int_equal(fhir_arrival_read("[1]", 3, w->zone, &a), ERR_FORM);
    assert_int_equal(fhir_arrival_read("{\"a\":}", 6, w->zone, &a), ERR_FORM);
}

static void test_order(void **state)
{
    struct world *w = *state;
    const struct backtest_message *m;

    put(w, "{\"resourceType\":\"Observation\",\"id\":\"late\",\"issued\":"
           "\"2025-01-03T00:00:00Z\"}\n"
           "{\"resourceType\":\"Observation\",\"id\":\"with-late\"}\n"
           "{\"resourceType\":\"Observation\",\"id\":\"early\",\"issued\":"
           "\"2025-01-01T00:00:00Z\"}\n"
           "{\"resourceType\":\"Observation\",\"id\":\"equal\",\"issued\":"
           "\"2025-01-01T00:00:00Z\"}\n"
           "{\"resourceType\":\"Patient\",\"id\":\"p\"}\n");
    add_file(w, "x.ndjson");
    backtest_feed_sort(&w->feed);
    assert_int_equal(w->feed.count, 5);
    m = w->feed.messages;
    assert_non_null(strstr(m[0].text, "Patient"));
    assert_int_equal(m[0].at_s, BACKTEST_EARLIEST);
    assert_non_null(strstr(m[1].text, "\"early\""));
    assert_non_null(strstr(m[2].text, "\"equal\"")); /* as in the file */
    assert_non_null(strstr(m[3].text, "\"late\""));
    assert_non_null(strstr(m[4].text, "\"with-late\""));
    assert_int_equal(m[4].at_s, m[3].at_s);
    assert_int_equal(m[4].line, 2);
}

/* A copy of a record has the newest state of an access, with its time; the
 * access was there before.  One closed since must not hide what went before. */
static void test_first_description(void **state)
{
    struct world *w = *state;
    const struct backtest_message *m;

    put(w, "{\"resourceType\":\"BodyStructure\",\"id\":\"a\",\"meta\":{"
           "\"lastUpdated\":\"2025-01-05T00:00:00Z\"}}\n"
           "{\"resourceType\":\"BodyStructure\",\"id\":\"a\",\"meta\":{"
           "\"lastUpdated\":\"2025-01-06T00:00:00Z\"}}\n"
           "{\"resourceType\":\"BodyStructure\",\"id\":\"closed\",\"active\":"
           "false,\"meta\":{\"lastUpdated\":\"2025-01-07T00:00:00Z\"}}\n");
    add_file(w, "x.ndjson");
    backtest_feed_sort(&w->feed);
    m = w->feed.messages;
    assert_int_equal(m[0].at_s, BACKTEST_EARLIEST);
    assert_int_equal(m[0].line, 1);
    assert_int_equal(m[1].line, 2);
    assert_true(m[1].at_s > 0);
    assert_int_equal(m[2].line, 3);
    assert_true(m[2].at_s > m[1].at_s);
}

static void test_bundles(void **state)
{
    struct world *w = *state;
    const struct backtest_message *m;

    put(w, "{\"resourceType\":\"Bundle\",\"type\":\"collection\",\"entry\":[{"
           "\"fullUrl\":\"https://site.example/fhir/Observation/b\","
           "\"resource\":{\"resourceType\":\"Observation\",\"id\":\"b\","
           "\"issued\":\"2025-01-02T00:00:00Z\"}},{\"resource\":{"
           "\"resourceType\":\"Observation\",\"id\":\"a\",\"issued\":"
           "\"2025-01-01T00:00:00Z\"}}]}\n"
           "{\"resourceType\":\"Bundle\",\"type\":\"collection\",\"entry\":[{"
           "\"resource\":{\"resourceType\":\"Observation\",\"id\":\"c\","
           "\"subject\":{\"reference\":\"urn:uuid:1\"},\"issued\":"
           "\"2025-01-03T00:00:00Z\"}},{\"resource\":{\"resourceType\":"
           "\"Observation\",\"id\":\"d\",\"issued\":"
           "\"2025-01-01T00:00:00Z\"}}]}\n");
    add_file(w, "x.ndjson");
    backtest_feed_sort(&w->feed);
    assert_int_equal(w->feed.count, 3);
    m = w->feed.messages;
    assert_non_null(strstr(m[0].text, "\"a\""));
    assert_int_equal(m[1].kind, BACKTEST_ENTRY);
    assert_non_null(
        strstr(m[1].text, "\"https://site.example/fhir/Observation/b\""));
    assert_int_equal(m[2].kind, BACKTEST_BUNDLE); /* whole, with the last */
    assert_int_equal(m[2].at_s, (FIRST_DAY + 2) * INT64_C(86400));
}

static void test_lines_that_cannot_be_read(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    put(w, "{\"resourceType\":\"Observation\"\n");
    put(w, "{\"resourceType\":\"Procedure\",\"id\":\"x\"}\n");
    put(w, "{\"resourceType\":\"Observation\",\"id\":\"y\",\"status\":1}\n");
    put_flow(w, "1", "f1", 0, 0, 900);
    run(w);
    assert_int_equal(w->data.fate.unreadable, 1);
    assert_int_equal(w->data.fate.refused, 2);
    assert_int_equal(w->data.fate.stored, 3);
    assert_int_equal(w->said_count, 3);
    assert_string_equal(w->said[0].file, "past.ndjson");
    assert_int_equal(w->said[0].line, 3);
    assert_string_equal(w->said[0].word, "json-syntax");
    assert_int_equal(w->said[1].line, 4);
    assert_string_equal(w->said[1].word, "not-supported");
    assert_int_equal(w->said[2].line, 5);
    assert_string_equal(w->said[2].word, "bad-element");
    assert_string_equal(w->data.fate.refused_words[0].word, "not-supported");
    assert_int_equal(w->data.fate.refused_words[0].count, 1);
}

static void test_held_is_counted(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 0, 900);
    put_flow(w, "1", "f2", 1, 1, 90000); /* outside the hard range */
    put_flow(w, "1", "f1", 0, 2, 900);   /* the same again */
    run(w);
    assert_int_equal(w->data.fate.stored, 4);
    assert_int_equal(w->data.fate.there, 1);
    assert_int_equal(w->data.fate.held, 1);
    assert_string_equal(w->data.fate.held_words[0].word, "implausible");
    assert_int_equal(w->data.fate.held_words[0].count, 1);
}

/* In the words of the reader: what is wrong, and not only that it is. */
static void test_a_number_that_is_too_large(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    put(w, "{\"resourceType\":\"Observation\",\"valueInteger\":1e999}\n");
    put_flow(w, "1", "f1", 0, 0, 900);
    run(w);
    assert_int_equal(w->said_count, 1);
    assert_int_equal(w->said[0].line, 3);
    assert_non_null(strstr(w->said[0].text, "a number that is too large"));
}

/* One that was sent whole, with its own time, arrives with the last of its
 * readings; its people and accesses have no say in it. */
static void test_bundles_by_effective_time(void **state)
{
    struct world *w = *state;

    w->feed.effective = true;
    put(w, "{\"resourceType\":\"Bundle\",\"type\":\"batch\",\"timestamp\":"
           "\"2026-02-02T00:00:00Z\",\"entry\":[{\"request\":{\"method\":"
           "\"POST\",\"url\":\"Patient\"},\"resource\":{\"resourceType\":"
           "\"Patient\",\"meta\":{\"lastUpdated\":\"2026-03-01T00:00:00Z\"}}}");
    for (int day = 1; day <= 2; day++)
        put(w,
            ",{\"request\":{\"method\":\"POST\",\"url\":\"Observation\"},"
            "\"resource\":{\"resourceType\":\"Observation\",\"status\":"
            "\"final\",\"issued\":\"2026-02-01T00:00:00Z\","
            "\"effectiveDateTime\":\"2025-01-0%dT00:00:00Z\"}}",
            day);
    put(w, "]}\n");
    add_file(w, "x.ndjson");
    assert_int_equal(w->feed.count, 1);
    assert_int_equal(w->feed.messages[0].at_s,
                     (FIRST_DAY + 1) * INT64_C(86400));
}

#define CASE(f) cmocka_unit_test_setup_teardown(f, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = { CASE(test_when_it_arrived),
                                        CASE(test_not_an_object),
                                        CASE(test_order),
                                        CASE(test_first_description),
                                        CASE(test_bundles),
                                        CASE(test_lines_that_cannot_be_read),
                                        CASE(test_held_is_counted),
                                        CASE(test_a_number_that_is_too_large),
                                        CASE(test_bundles_by_effective_time) };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
