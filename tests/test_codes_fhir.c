/* What a site's map does to an Observation that is read. */
#include "adapters/fhir_read.h"
#include "tests/test.h"

#define BASE   "https://headgate.example/fhir"
#define UNIT_C "https://unit-c.example/codes"

static struct codes *codes;
static struct zone *zone;
static struct fhir_reader reader;

static const char map[] =
    "source_system,source_code,target,unit_default,arm_rule,valid_from\n" UNIT_C
    ",FLOW,access-flow,L/min,,\n" UNIT_C ",BARE,access-flow,,,\n" UNIT_C
    ",FP,digital-pressure,kPa,access,\n" UNIT_C
    ",FPL,digital-pressure,mm[Hg],left,\n" UNIT_C
    ",QL,access-flow,mL/min,left,\n" UNIT_C
    ",DATED,qb,mL/min,,2020-01-01\n" UNIT_C
    ",DATED,access-flow,mL/min,,2026-03-29\n" UNIT_C
    ",ECHO,duplex,,,2026-03-29\n"
    "urn:headgate:unit,ccm/min,mL/min,,,\n"
    "urn:headgate:unit,Torr,mm[Hg],,,\n"
    "urn:headgate:text,Li. Arm,left-arm,,,\n";

static int setup(void **state)
{
    struct buf why;

    (void)state;
    buf_init(&why, 1000);
    assert_int_equal(codes_new(BASE, &codes), ERR_OK);
    assert_int_equal(zone_load("Europe/Berlin", &zone), ERR_OK);
    codes_set_zone(codes, zone);
    if (codes_add_csv(codes, map, strlen(map), &why) != ERR_OK)
        fail_msg("%s", why.data);
    reader = (struct fhir_reader){ .codes = codes,
                                   .base = BASE,
                                   .zone = zone,
                                   .now_s = 1782820800, /* 2026-06-30 */
                                   .entries_max = 100 };
    buf_clear(&why);
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    codes_free(codes);
    zone_free(zone);
    return 0;
}

/*
 * Values by hand; the unit word Torr is 1 mm[Hg] for this purpose (1 Torr =
 * 101325/760 Pa = 133.322 Pa, ISO 80000-4), kPa / 133.322 Pa as in UCUM.
 */
static const struct {
    const char *name, *code, *at, *value, *more;
    enum quantity q;
    double got;
    enum hold hold;
    enum side side;
    bool access_arm;
    const char *word; /* said; NULL: nothing of units */
    enum severity severity;
} rows[] = {
    { "no unit, and the map says which", "FLOW", "2026-05-01",
      "{\"value\":1.2}", "", Q_ACCESS_FLOW, 1200, HOLD_NONE, 0, false,
      "unit-assumed", SEV_INFORMATION },
    { "a unit was sent: the map's is not used", "FLOW", "2026-05-01",
      "{\"value\":1200,\"unit\":\"ml/min\"}", "", Q_ACCESS_FLOW, 1200,
      HOLD_NONE, 0, false, "unit-assumed", SEV_WARNING },
    { "a unit that does not fit is never replaced", "FLOW", "2026-05-01",
      "{\"value\":1.2,\"unit\":\"L\",\"system\":\"http://unitsofmeasure.org\","
      "\"code\":\"L\"}",
      "", Q_ACCESS_FLOW, NAN, HOLD_UNIT, 0, false, "unit", SEV_ERROR },
    { "nor is an unknown word", "FLOW", "2026-05-01",
      "{\"value\":1.2,\"unit\":\"buckets\"}", "", Q_ACCESS_FLOW, NAN, HOLD_UNIT,
      0, false, "unit", SEV_ERROR },
    { "no unit, and none in the map", "BARE", "2026-05-01", "{\"value\":1200}",
      "", Q_ACCESS_FLOW, NAN, HOLD_UNIT, 0, false, "unit", SEV_ERROR },
    { "a word of the site", "BARE", "2026-05-01",
      "{\"value\":1200,\"unit\":\"ccm/min\"}", "", Q_ACCESS_FLOW, 1200,
      HOLD_NONE, 0, false, "unit-assumed", SEV_WARNING },
    { "a word of the site that does not fit", "BARE", "2026-05-01",
      "{\"value\":1200,\"unit\":\"Torr\"}", "", Q_ACCESS_FLOW, NAN, HOLD_UNIT,
      0, false, "unit", SEV_ERROR },
    { "the hand of the access", "FP", "2026-05-01", "{\"value\":10}", "",
      Q_DIGITAL_PRESSURE, 75.00637, HOLD_NONE, 0, true, "unit-assumed",
      SEV_INFORMATION }, /* 10000 / 133.322 */
    { "the side of the row", "FPL", "2026-05-01", "{\"value\":90}", "",
      Q_DIGITAL_PRESSURE, 90, HOLD_NONE, SIDE_LEFT, false, "unit-assumed",
      SEV_INFORMATION },
    { "the other side was sent", "FPL", "2026-05-01", "{\"value\":90}",
      ",\"bodySite\":{\"text\":\"right hand\"}", Q_DIGITAL_PRESSURE, 90,
      HOLD_SIDE, 0, false, "access-side", SEV_WARNING },
    { "a side of a flow", "QL", "2026-05-01", "{\"value\":900}", "",
      Q_ACCESS_FLOW, 900, HOLD_NONE, SIDE_LEFT, false, "unit-assumed",
      SEV_INFORMATION },
    { "words of a body site", "FLOW", "2026-05-01", "{\"value\":1}",
      ",\"bodySite\":{\"text\":\"LI. ARM\"}", Q_ACCESS_FLOW, 1000, HOLD_NONE,
      SIDE_LEFT, false, "unit-assumed", SEV_INFORMATION },
    /* 2026-03-28T23:00:00Z is midnight in Berlin */
    { "before the date", "DATED", "2026-03-28T22:59:59Z", "{\"value\":300}", "",
      Q_PUMP_FLOW, 300, HOLD_NONE, 0, false, "unit-assumed", SEV_INFORMATION },
    { "from the date on", "DATED", "2026-03-28T23:00:00Z", "{\"value\":300}",
      "", Q_ACCESS_FLOW, 300, HOLD_NONE, 0, false, "unit-assumed",
      SEV_INFORMATION },
    { "the day itself", "DATED", "2026-03-29", "{\"value\":300}", "",
      Q_ACCESS_FLOW, 300, HOLD_NONE, 0, false, "unit-assumed",
      SEV_INFORMATION },
};

static const struct issue *issue_of(const struct outcome *o, const char *word)
{
    for (size_t i = 0; i < o->count; i++) {
        if (strcmp(o->issues[i].word, word) == 0)
            return &o->issues[i];
    }
    return NULL;
}

static struct fhir_doc *read(const char *code, const char *at,
                             const char *value, const char *more)
{
    static char body[4000]; /* the document borrows it */
    struct fhir_doc *doc = NULL;
    struct outcome outcome;

    snprintf(body, sizeof(body),
             "{\"resourceType\":\"Observation\",\"status\":\"final\","
             "\"code\":{\"coding\":[{\"system\":\"" UNIT_C "\",\"code\":\"%s\"}"
             "]},\"subject\":{\"reference\":\"Patient/p\"},"
             "\"effectiveDateTime\":\"%s\",%s%s}",
             code, at, value, more);
    outcome_init(&outcome);
    if (fhir_read(&reader, body, strlen(body), &outcome, &doc) != ERR_OK)
        fail_msg("%s", body);
    return doc;
}

static void test_observations(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        const struct fhir_observation *o;
        const struct fhir_reading *r;
        const struct issue *issue;
        struct fhir_item *item;
        struct fhir_doc *doc;
        char value[200];

        ROW(rows[i].name);
        snprintf(value, sizeof(value), "\"valueQuantity\":%s", rows[i].value);
        doc = read(rows[i].code, rows[i].at, value, rows[i].more);
        item = fhir_doc_item(doc, 0);
        o = &item->u.observation;
        assert_int_equal(o->reading_count, 1);
        r = &o->readings[0];
        assert_int_equal(r->reading.quantity, rows[i].q);
        assert_int_equal(r->hold, rows[i].hold);
        assert_int_equal(r->reading.side, rows[i].side);
        assert_int_equal(r->access_arm, rows[i].access_arm);
        if (isnan(rows[i].got))
            assert_true(isnan(r->reading.value));
        else
            assert_near(r->reading.value, rows[i].got, 1e-4);
        issue = issue_of(&item->outcome, rows[i].word);
        assert_non_null(issue);
        assert_int_equal(issue->severity, rows[i].severity);
        fhir_doc_free(doc);
    }
}

/* A whole number without a unit, as some senders have it. */
static void test_integer(void **state)
{
    struct fhir_doc *doc = read("FPL", "2026-05-01", "\"valueInteger\":90", "");
    const struct fhir_observation *o = &fhir_doc_item(doc, 0)->u.observation;

    (void)state;
    assert_int_equal(o->readings[0].hold, HOLD_NONE);
    assert_near(o->readings[0].reading.value, 90, 0);
    fhir_doc_free(doc);
    doc = read("BARE", "2026-05-01", "\"valueInteger\":900", "");
    o = &fhir_doc_item(doc, 0)->u.observation;
    assert_int_equal(o->readings[0].hold, HOLD_UNIT);
    fhir_doc_free(doc);
}

/* Rows of methods have a date as well. */
static void test_method(void **state)
{
    static const char more[] = ",\"method\":{\"coding\":[{\"system\":\"" UNIT_C
                               "\",\"code\":\"ECHO\"}]}";
    struct fhir_doc *doc =
        read("FLOW", "2026-03-28", "\"valueQuantity\":{\"value\":1}", more);

    (void)state;
    assert_int_equal(
        fhir_doc_item(doc, 0)->u.observation.readings[0].reading.method,
        METHOD_UNSTATED);
    fhir_doc_free(doc);
    doc = read("FLOW", "2026-03-30", "\"valueQuantity\":{\"value\":1}", more);
    assert_int_equal(
        fhir_doc_item(doc, 0)->u.observation.readings[0].reading.method,
        METHOD_DUPLEX);
    fhir_doc_free(doc);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_observations),
        cmocka_unit_test(test_integer),
        cmocka_unit_test(test_method),
    };

    return cmocka_run_group_tests(tests, setup, teardown);
}
