#include "adapters/fhir_read.h"
#include "tests/map_kit.h"

#include <jansson.h>
#include <time.h>

/*
 * What is read from the examples in tests/corpus/fhir.  Their shapes pass
 * public validators of HL7 FHIR R4 (4.0.1); values, people and places are
 * invented.  The site is in Berlin; today is 1 June 2026, noon UTC.
 */
#define BASE "https://headgate.example/fhir"
#define OBS  BASE "/CodeSystem/av-observation"

static struct codes *codes;
static struct zone *zone;
static struct fhir_reader reader;

/* UTC seconds of "2026-03-04T08:30:00" by the C library. */
static int64_t utc(const char *text)
{
    struct tm tm = { .tm_isdst = 0 };

    if (text == NULL)
        return 0;
    assert_int_equal(sscanf(text, "%d-%d-%dT%d:%d:%d", &tm.tm_year, &tm.tm_mon,
                            &tm.tm_mday, &tm.tm_hour, &tm.tm_min, &tm.tm_sec),
                     6);
    tm.tm_year -= 1900;
    tm.tm_mon -= 1;
    return (int64_t)mktime(&tm);
}

/* The allocation of the JSON library that fails, counted from 1; 0: none. */
static long fail_at, allocated;

static void *failing_malloc(size_t size)
{
    return ++allocated == fail_at ? NULL : malloc(size);
}

static int setup(void **state)
{
    (void)state;
    json_set_alloc_funcs(failing_malloc, free);
    setenv("TZ", "UTC0", 1); /* for mktime() above only */
    tzset();
    assert_int_equal(codes_new(BASE, &codes), ERR_OK);
    map_add(codes, "snomed-ct.csv"); /* the examples have codes of it */
    assert_int_equal(zone_load("Europe/Berlin", &zone), ERR_OK);
    reader = (struct fhir_reader){ .codes = codes,
                                   .base = BASE,
                                   .zone = zone,
                                   .now_s = utc("2026-06-01T12:00:00"),
                                   .entries_max = 100 };
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    codes_free(codes);
    zone_free(zone);
    return 0;
}

/* A file of the corpus, in memory of just its size. */
static char *load(const char *name, size_t *len)
{
    char path[512];
    char *text;
    long size;
    FILE *f;

    snprintf(path, sizeof(path), "%s/corpus/fhir/%s", TESTS_DIR, name);
    f = fopen(path, "rb");
    assert_non_null(f);
    fseek(f, 0, SEEK_END);
    size = ftell(f);
    rewind(f);
    text = malloc((size_t)size);
    assert_non_null(text);
    *len = fread(text, 1, (size_t)size, f);
    assert_int_equal(*len, size);
    fclose(f);
    return text;
}

static void print_issues(const struct outcome *o)
{
    for (size_t i = 0; i < o->count; i++)
        print_message("      %d %s at '%s': %s\n", o->issues[i].severity,
                      o->issues[i].word, o->issues[i].place, o->issues[i].text);
}

/* The issue with this word and, unless NULL, place; NULL if there is none. */
static const struct issue *find_issue(const struct outcome *o, const char *word,
                                      const char *place)
{
    for (size_t i = 0; i < o->count; i++) {
        if (strcmp(o->issues[i].word, word) == 0 &&
            (place == NULL || strcmp(o->issues[i].place, place) == 0))
            return &o->issues[i];
    }
    return NULL;
}

static struct fhir_doc *read_ok(const char *body, size_t len)
{
    struct fhir_doc *doc = NULL;
    struct outcome outcome;

    outcome_init(&outcome);
    if (fhir_read(&reader, body, len, &outcome, &doc) != ERR_OK) {
        print_issues(&outcome);
        fail();
    }
    assert_int_equal(outcome.count, 0);
    return doc;
}

/* ---- what each example decodes to ------------------------------------- */

static const struct {
    const char *file;
    int slot;
    enum quantity quantity;
    double value;
    enum bound bound;
    enum sign sign;
    bool present;
    enum side side;
    enum method method;
    const char *start, *end; /* UTC; an end of NULL is one second later */
    enum precision precision;
    enum reading_status status;
} readings[] = {
    { "obs-01-flow-focus.json", 0, Q_ACCESS_FLOW, 2150, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, METHOD_ULTRASOUND_DILUTION, "2026-03-04T08:30:00", NULL,
      AT_SECOND, READING_FINAL },
    { "obs-02-flow-litres.json", 0, Q_ACCESS_FLOW, 2150, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-03-06T08:11:09", NULL, AT_SECOND, READING_FINAL },
    { "obs-03-flow-bodysite-only.json", 0, Q_ACCESS_FLOW, 1980, BOUND_NONE, 0,
      false, SIDE_LEFT, 0, "2026-03-06T08:00:00", "2026-03-06T12:00:00",
      AT_PERIOD, READING_FINAL },
    { "obs-04-flow-bodysite-ext.json", 0, Q_ACCESS_FLOW, 1870, BOUND_NONE, 0,
      false, SIDE_UNKNOWN, 0, "2026-03-08T07:00:00", NULL, AT_SECOND,
      READING_FINAL },
    { "obs-05-flow-r5-ext.json", 0, Q_ACCESS_FLOW, 1910, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-03-08T23:00:00", "2026-03-09T23:00:00", AT_DAY,
      READING_FINAL },
    { "obs-06-panel-components.json", 1, Q_ACCESS_FLOW, 2150, BOUND_NONE, 0,
      false, SIDE_UNKNOWN, 0, "2026-03-04T07:00:00", "2026-03-04T11:05:00",
      AT_PERIOD, READING_FINAL },
    { "obs-06-panel-components.json", 2, Q_RECIRCULATION, 4, BOUND_NONE, 0,
      false, SIDE_UNKNOWN, 0, "2026-03-04T07:00:00", "2026-03-04T11:05:00",
      AT_PERIOD, READING_FINAL },
    { "obs-06-panel-components.json", 3, Q_SPKTV, 1.42, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-03-04T07:00:00", "2026-03-04T11:05:00", AT_PERIOD,
      READING_FINAL },
    { "obs-06-panel-components.json", 4, Q_PUMP_FLOW, 350, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-03-04T07:00:00", "2026-03-04T11:05:00", AT_PERIOD,
      READING_FINAL },
    { "obs-06-panel-components.json", 5, Q_VENOUS_LINE_PRESSURE, 140,
      BOUND_NONE, 0, false, SIDE_UNKNOWN, 0, "2026-03-04T07:00:00",
      "2026-03-04T11:05:00", AT_PERIOD, READING_FINAL },
    { "obs-06-panel-components.json", 6, Q_ARTERIAL_LINE_PRESSURE, -180,
      BOUND_NONE, 0, false, SIDE_UNKNOWN, 0, "2026-03-04T07:00:00",
      "2026-03-04T11:05:00", AT_PERIOD, READING_FINAL },
    { "obs-07-bp.json", 1, Q_SYSTOLIC_PRESSURE, 138, BOUND_NONE, 0, false,
      SIDE_RIGHT, 0, "2026-03-04T07:05:00", NULL, AT_SECOND, READING_FINAL },
    { "obs-07-bp.json", 2, Q_DIASTOLIC_PRESSURE, 72, BOUND_NONE, 0, false,
      SIDE_RIGHT, 0, "2026-03-04T07:05:00", NULL, AT_SECOND, READING_FINAL },
    { "obs-07-bp.json", 3, Q_MEAN_PRESSURE, 94, BOUND_NONE, 0, false,
      SIDE_RIGHT, 0, "2026-03-04T07:05:00", NULL, AT_SECOND, READING_FINAL },
    { "obs-08-digital-pressure.json", 0, Q_DIGITAL_PRESSURE, 48, BOUND_NONE, 0,
      false, SIDE_LEFT, 0, "2026-03-04T07:20:00", NULL, AT_SECOND,
      READING_FINAL },
    { "obs-09-dbi-derived.json", 0, Q_DIGITAL_BRACHIAL_INDEX, 0.35, BOUND_NONE,
      0, false, SIDE_UNKNOWN, 0, "2026-03-04T07:20:00", NULL, AT_SECOND,
      READING_FINAL },
    { "obs-10-symptom-coded.json", 0, Q_HAND_SYMPTOM, NAN, BOUND_NONE,
      SIGN_PAIN_ON_DIALYSIS, true, SIDE_UNKNOWN, 0, "2026-03-03T23:00:00",
      "2026-03-04T23:00:00", AT_DAY, READING_FINAL },
    { "obs-10-symptom-coded.json", 1, Q_HAND_ISCHAEMIA_GRADE, NAN, BOUND_NONE,
      SIGN_GRADE_2B, true, SIDE_UNKNOWN, 0, "2026-03-03T23:00:00",
      "2026-03-04T23:00:00", AT_DAY, READING_FINAL },
    { "obs-11-symptom-boolean.json", 0, Q_HAND_SYMPTOM, NAN, BOUND_NONE,
      SIGN_HAND_ULCER, false, SIDE_UNKNOWN, 0, "2026-03-03T23:00:00",
      "2026-03-04T23:00:00", AT_DAY, READING_FINAL },
    { "obs-13-preliminary.json", 0, Q_ACCESS_FLOW, 2300, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-04-03T09:00:00", NULL, AT_SECOND,
      READING_PRELIMINARY },
    { "obs-14-corrected.json", 0, Q_ACCESS_FLOW, 1250, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-03-04T08:30:00", NULL, AT_SECOND,
      READING_CORRECTED },
    { "obs-16-comparator.json", 0, Q_ACCESS_FLOW, 3000, BOUND_ABOVE, 0, false,
      SIDE_UNKNOWN, 0, "2026-05-04T09:30:00", NULL, AT_SECOND, READING_FINAL },
    { "obs-17-contained.json", 0, Q_ACCESS_FLOW, 2010, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-05-06T09:30:00", NULL, AT_SECOND, READING_FINAL },
    { "obs-18-logical-refs.json", 0, Q_ACCESS_FLOW, 2040, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-05-08T09:30:00", NULL, AT_SECOND, READING_FINAL },
    { "obs-19-bun-pre.json", 0, Q_BUN_PRE, 64, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-03-04T07:00:00", NULL, AT_SECOND, READING_FINAL },
    { "obs-20-cardiac-output.json", 0, Q_CARDIAC_OUTPUT, 7.9, BOUND_NONE, 0,
      false, SIDE_UNKNOWN, 0, "2026-02-19T23:00:00", "2026-02-20T23:00:00",
      AT_DAY, READING_FINAL },
    /* The clocks went forward on 29 March. */
    { "obs-21-partial-date.json", 0, Q_ACCESS_FLOW, 1700, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-02-28T23:00:00", "2026-03-31T22:00:00", AT_MONTH,
      READING_FINAL },
    { "obs-22-spo2-finger.json", 0, Q_FINGER_SPO2, 86, BOUND_NONE, 0, false,
      SIDE_LEFT, 0, "2026-03-04T07:20:00", NULL, AT_SECOND, READING_FINAL },
    { "obs-23-decimal-text.json", 0, Q_ACCESS_FLOW, 2150, BOUND_NONE, 0, false,
      SIDE_UNKNOWN, 0, "2026-03-04T08:20:00", NULL, AT_SECOND, READING_FINAL },
};

static const struct fhir_reading *find_slot(const struct fhir_observation *o,
                                            int slot)
{
    for (size_t i = 0; i < o->reading_count; i++) {
        if (o->readings[i].reading.slot == slot)
            return &o->readings[i];
    }
    fail_msg("no reading in slot %d", slot);
    return NULL;
}

static void check_reading(size_t row, const struct fhir_item *item)
{
    const struct fhir_reading *got =
        find_slot(&item->u.observation, readings[row].slot);
    const struct reading *r = &got->reading;
    int64_t start_s = utc(readings[row].start);

    assert_int_equal(r->quantity, readings[row].quantity);
    if (isnan(readings[row].value))
        assert_true(isnan(r->value));
    else
        assert_near(r->value, readings[row].value, 1e-9);
    assert_int_equal(r->bound, readings[row].bound);
    assert_int_equal(r->sign, readings[row].sign);
    assert_int_equal(r->present, readings[row].present);
    assert_int_equal(r->side, readings[row].side);
    assert_int_equal(r->method, readings[row].method);
    assert_int_equal(r->start_s, start_s);
    assert_int_equal(r->end_s, readings[row].end != NULL
                                   ? utc(readings[row].end)
                                   : start_s + 1);
    assert_int_equal(r->precision, readings[row].precision);
    assert_int_equal(r->status, readings[row].status);
    assert_int_equal(r->id, 0);
    assert_int_equal(r->version, 0);
    assert_int_equal(got->hold, HOLD_NONE);
}

static void test_readings(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(readings); i++) {
        size_t len;
        char *body = load(readings[i].file, &len);
        struct fhir_doc *doc = read_ok(body, len);
        struct fhir_item *item = fhir_doc_item(doc, 0);

        ROW(readings[i].file);
        assert_int_equal(fhir_doc_bundle(doc), BUNDLE_NONE);
        assert_int_equal(fhir_doc_count(doc), 1);
        assert_int_equal(item->type, FHIR_OBSERVATION);
        print_issues(&item->outcome);
        assert_false(outcome_refuses(&item->outcome));
        check_reading(i, item);
        fhir_doc_free(doc);
        free(body);
    }
}

/* Each example as a whole: readings, names of the access, what is said. */
static const struct {
    const char *file;
    size_t count;
    const char *names; /* "how key, how key" */
    const char *word;  /* one issue, NULL for none at all */
    enum severity severity;
    const char *place;
} wholes[] = {
    { "obs-01-flow-focus.json", 1, "focus-ref BodyStructure/acc-7", NULL, 0,
      NULL },
    { "obs-02-flow-litres.json", 1, "focus-ref BodyStructure/acc-7", NULL, 0,
      NULL },
    { "obs-03-flow-bodysite-only.json", 1, "", NULL, 0, NULL },
    { "obs-04-flow-bodysite-ext.json", 1, "bodysite-ext BodyStructure/acc-7",
      NULL, 0, NULL },
    { "obs-05-flow-r5-ext.json", 1, "r5-ext BodyStructure/acc-7", NULL, 0,
      NULL },
    { "obs-06-panel-components.json", 6, "focus-ref BodyStructure/acc-7",
      "value-absent", SEV_INFORMATION, "Observation.component[6]" },
    { "obs-07-bp.json", 3, "", NULL, 0, NULL },
    { "obs-08-digital-pressure.json", 1, "focus-ref BodyStructure/acc-7", NULL,
      0, NULL },
    { "obs-09-dbi-derived.json", 1, "focus-ref BodyStructure/acc-7", NULL, 0,
      NULL },
    { "obs-10-symptom-coded.json", 2, "focus-ref BodyStructure/acc-7",
      "stage-assumed", SEV_WARNING,
      "Observation.component[0].value.ofType(integer)" },
    { "obs-11-symptom-boolean.json", 1, "focus-ref BodyStructure/acc-7", NULL,
      0, NULL },
    { "obs-12-absent.json", 0, "focus-ref BodyStructure/acc-7", "value-absent",
      SEV_INFORMATION, "Observation" },
    { "obs-13-preliminary.json", 1, "focus-ref BodyStructure/acc-7",
      "preliminary", SEV_INFORMATION, "Observation.status" },
    { "obs-14-corrected.json", 1, "focus-ref BodyStructure/acc-7", NULL, 0,
      NULL },
    { "obs-15-entered-in-error.json", 0, "", "value-absent", SEV_INFORMATION,
      "Observation" },
    { "obs-16-comparator.json", 1, "focus-ref BodyStructure/acc-7", NULL, 0,
      NULL },
    { "obs-17-contained.json", 1, "contained A-7", NULL, 0, NULL },
    { "obs-18-logical-refs.json", 1, "focus-id A-7", NULL, 0, NULL },
    { "obs-19-bun-pre.json", 1, "", NULL, 0, NULL },
    { "obs-20-cardiac-output.json", 1, "", NULL, 0, NULL },
    { "obs-21-partial-date.json", 1, "focus-ref BodyStructure/acc-7",
      "month-only", SEV_INFORMATION, "Observation.effective.ofType(dateTime)" },
    { "obs-22-spo2-finger.json", 1, "", NULL, 0, NULL },
    { "obs-23-decimal-text.json", 1, "focus-ref BodyStructure/acc-7", NULL, 0,
      NULL },
};

/* The access names of an observation, in a line. */
static void names_of(const struct fhir_observation *o, char *out, size_t size)
{
    size_t at = 0;

    out[0] = '\0';
    for (size_t i = 0; i < o->name_count; i++) {
        const struct fhir_ref *ref = &o->names[i].ref;
        int n = snprintf(out + at, size - at, "%s%s %s", i > 0 ? ", " : "",
                         access_how_word(o->names[i].how),
                         ref->literal != NULL ? ref->literal : ref->value);

        assert_in_range(n, 0, size - at - 1);
        at += (size_t)n;
    }
}

static void test_wholes(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(wholes); i++) {
        size_t len;
        char *body = load(wholes[i].file, &len);
        struct fhir_doc *doc = read_ok(body, len);
        struct fhir_item *item = fhir_doc_item(doc, 0);
        char names[200];

        ROW(wholes[i].file);
        print_issues(&item->outcome);
        names_of(&item->u.observation, names, sizeof(names));
        assert_string_equal(names, wholes[i].names);
        assert_int_equal(item->u.observation.reading_count, wholes[i].count);
        assert_int_equal(item->outcome.status, 0);
        assert_int_equal(item->outcome.count, wholes[i].word != NULL ? 1 : 0);
        assert_false(item->only_held);
        if (wholes[i].word != NULL) {
            assert_string_equal(item->outcome.issues[0].word, wholes[i].word);
            assert_string_equal(item->outcome.issues[0].place, wholes[i].place);
            assert_int_equal(item->outcome.issues[0].severity,
                             wholes[i].severity);
        }
        assert_int_equal(item->offset, 0);
        assert_int_equal(body[item->len - 1], '}');
        fhir_doc_free(doc);
        free(body);
    }
}

static void test_details(void **state)
{
    size_t len;
    char *body = load("obs-01-flow-focus.json", &len);
    struct fhir_doc *doc = read_ok(body, len);
    struct fhir_item *item = fhir_doc_item(doc, 0);
    struct fhir_observation *o = &item->u.observation;

    (void)state;
    assert_string_equal(item->type_name, "Observation");
    assert_string_equal(item->id, "o1");
    assert_int_equal(item->identifier_count, 1);
    assert_string_equal(item->identifiers[0].system,
                        "https://site.example/ids/obs");
    assert_string_equal(item->identifiers[0].value, "QA-2026-000123");
    assert_string_equal(o->status, "final");
    assert_string_equal(o->subject.literal, "Patient/p-1001");
    assert_string_equal(o->root_code, OBS "|access-flow");
    assert_string_equal(o->root_system, OBS);
    assert_string_equal(o->performer, "Unit B nurse");
    assert_int_equal(o->issued_s, utc("2026-03-04T10:02:11"));
    assert_null(item->method);
    fhir_doc_free(doc);
    free(body);

    body = load("obs-09-dbi-derived.json", &len);
    doc = read_ok(body, len);
    o = &fhir_doc_item(doc, 0)->u.observation;
    assert_int_equal(o->derived_count, 2);
    assert_string_equal(o->derived_from[1], "Observation/o7");
    fhir_doc_free(doc);
    free(body);

    body = load("obs-15-entered-in-error.json", &len);
    doc = read_ok(body, len);
    o = &fhir_doc_item(doc, 0)->u.observation;
    assert_int_equal(o->reading_status, READING_WITHDRAWN);
    assert_int_equal(o->effective.start_s, 0);
    assert_int_equal(o->effective.end_s, 0);
    fhir_doc_free(doc);
    free(body);

    body = load("obs-18-logical-refs.json", &len);
    doc = read_ok(body, len);
    o = &fhir_doc_item(doc, 0)->u.observation;
    assert_null(o->subject.literal);
    assert_string_equal(o->subject.system, "urn:oid:2.999.1.1");
    assert_string_equal(o->subject.value, "1001");
    fhir_doc_free(doc);
    free(body);

    body = load("obs-22-spo2-finger.json", &len);
    doc = read_ok(body, len);
    o = &fhir_doc_item(doc, 0)->u.observation;
    assert_string_equal(o->readings[0].region, "finger");
    assert_string_equal(o->site.region, "finger");
    fhir_doc_free(doc);
    free(body);
}

/* ---- what is refused -------------------------------------------------- */

/* Rules: HL7 FHIR R4 (4.0.1), JSON format, invariants obs-6, obs-7, qty-3,
 * ext-1, per-1, bdl-3, inv-1. */
static const struct {
    const char *file, *word, *place;
    int status;
} refused_files[] = {
    { "refuse/n01-no-status.json", "missing-element", "Observation.status",
      400 },
    { "refuse/n03-no-code.json", "missing-element", "Observation.code", 400 },
    { "refuse/n06-time-no-zone.json", "bad-datetime",
      "Observation.effective.ofType(dateTime)", 400 },
    { "refuse/n08-feb-30.json", "bad-datetime",
      "Observation.effective.ofType(dateTime)", 400 },
    { "refuse/n10-value-is-string.json", "bad-element",
      "Observation.value.ofType(Quantity).value", 400 },
    { "refuse/n14-null.json", "bad-element", "Observation.method", 400 },
    { "refuse/n19-instant-no-seconds.json", "bad-datetime",
      "Observation.effective.ofType(instant)", 400 },
    { "refuse/n24-code-component-clash.json", "invariant",
      "Observation.component[0].code", 400 },
    { "refuse/n30-task-no-intent.json", "missing-element", "Task.intent", 400 },
    { "refuse/n32-task-modified-before-authored.json", "invariant",
      "Task.lastModified", 400 },
    { "refuse/n44-bundle-entry-no-request.json", "missing-element",
      "Bundle.entry[0].request", 400 },
    { "refuse/n48-ext-both.json", "invariant", "Observation.extension[0]",
      400 },
};

static void test_refused_files(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(refused_files); i++) {
        size_t len;
        char *body = load(refused_files[i].file, &len);
        struct fhir_doc *doc = read_ok(body, len);
        struct fhir_item *item = fhir_doc_item(doc, 0);
        const struct issue *issue;

        ROW(refused_files[i].file);
        print_issues(&item->outcome);
        assert_int_equal(item->outcome.status, refused_files[i].status);
        issue = find_issue(&item->outcome, refused_files[i].word,
                           refused_files[i].place);
        assert_non_null(issue);
        assert_int_equal(issue->severity, SEV_ERROR);
        for (size_t k = 0; k < item->outcome.count; k++)
            assert_true(&item->outcome.issues[k] == issue ||
                        item->outcome.issues[k].severity < SEV_ERROR);
        assert_false(item->only_held);
        fhir_doc_free(doc);
        free(body);
    }
}

/* Bodies that give no document at all. */
static const struct {
    const char *name, *body;
    enum err want;
    const char *word, *place, *text; /* text: a part of it */
    int status;
} bodies[] = {
    { "empty", "", ERR_FORM, "json-syntax", "", "line 1", 400 },
    { "blank", "  \n ", ERR_FORM, "json-syntax", "", "line 2", 400 },
    { "cut short", "{\"resourceType\":\"Obs", ERR_FORM, "json-syntax", "",
      "line 1 column", 400 },
    { "no comma", "{\"a\":1\n\"secret\":2}", ERR_FORM, "json-syntax", "",
      "line 2 column", 400 },
    { "after the end", "{\"resourceType\":\"Patient\"} x", ERR_FORM,
      "json-syntax", "", "something after the end", 400 },
    { "not UTF-8", "{\"resourceType\":\"Pat\xff\"}", ERR_FORM, "json-syntax",
      "", "UTF-8", 400 },
    { "NUL as escape", "{\"resourceType\":\"P\\u0000\"}", ERR_FORM,
      "json-syntax", "", "NUL", 400 },
    { "duplicate key",
      "{\"resourceType\":\"Observation\",\"valueQuantity\":"
      "{\"value\":1,\"value\":2}}",
      ERR_FORM, "json-syntax", "Observation.value.ofType(Quantity).value",
      "the same key twice", 400 },
    { "duplicate key in an entry",
      "{\"resourceType\":\"Bundle\",\"entry\":[{},{\"resource\":{\"id\":\"a\","
      "\"id\":\"b\"}}]}",
      ERR_FORM, "json-syntax", "Bundle.entry[1].resource.id",
      "the same key twice", 400 },
    { "duplicate key, spelled otherwise",
      "{\"resourceType\":\"Patient\",\"id\":\"a\",\"\\u0069d\":\"b\"}",
      ERR_FORM, "json-syntax", "Patient", "the same key twice", 400 },
    { "a number", "42", ERR_FORM, "not-a-resource", "", "", 400 },
    { "a list", "[]", ERR_FORM, "not-a-resource", "", "", 400 },
    { "no type", "{\"id\":\"a\"}", ERR_FORM, "not-a-resource", "", "", 400 },
    { "type is no name", "{\"resourceType\":\"<b>\"}", ERR_FORM,
      "not-a-resource", "", "", 400 },
    { "type is null", "{\"resourceType\":null}", ERR_FORM, "not-a-resource", "",
      "", 400 },
    { "bundle without type", "{\"resourceType\":\"Bundle\"}", ERR_FORM,
      "missing-element", "Bundle.type", "", 400 },
    { "bundle of no type", "{\"resourceType\":\"Bundle\",\"type\":\"heap\"}",
      ERR_FORM, "bad-value", "Bundle.type", "", 400 },
    { "history", "{\"resourceType\":\"Bundle\",\"type\":\"history\"}", ERR_FORM,
      "not-supported", "Bundle.type", "", 422 },
    { "bundle with null",
      "{\"resourceType\":\"Bundle\",\"type\":\"batch\","
      "\"timestamp\":null}",
      ERR_FORM, "bad-element", "Bundle.timestamp", "", 400 },
    { "empty entries",
      "{\"resourceType\":\"Bundle\",\"type\":\"batch\","
      "\"entry\":[]}",
      ERR_FORM, "bad-element", "Bundle.entry", "", 400 },
    { "entries no list",
      "{\"resourceType\":\"Bundle\",\"type\":\"batch\","
      "\"entry\":{}}",
      ERR_FORM, "bad-element", "Bundle.entry", "", 400 },
};

static void test_bodies(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(bodies); i++) {
        size_t len = strlen(bodies[i].body);
        struct fhir_doc *doc = NULL;
        struct outcome o;

        ROW(bodies[i].name);
        outcome_init(&o);
        assert_int_equal(fhir_read(&reader, bodies[i].body, len, &o, &doc),
                         bodies[i].want);
        print_issues(&o);
        assert_null(doc);
        assert_int_equal(o.count, 1);
        assert_int_equal(o.status, bodies[i].status);
        assert_string_equal(o.issues[0].word, bodies[i].word);
        assert_string_equal(o.issues[0].place, bodies[i].place);
        assert_non_null(strstr(o.issues[0].text, bodies[i].text));
        assert_null(strstr(o.issues[0].text, "secret"));
    }
}

static void test_nul_and_depth(void **state)
{
    static const char nul[] = "{\"resourceType\":\"Patient\"}\0 ";
    struct fhir_doc *doc = NULL;
    struct outcome o;
    char deep[200];

    (void)state;
    outcome_init(&o);
    assert_int_equal(fhir_read(&reader, nul, sizeof(nul) - 1, &o, &doc),
                     ERR_FORM);
    assert_string_equal(o.issues[0].word, "json-syntax");

    /* 64 levels are parsed and found to be no resource; 65 are not parsed. */
    for (size_t depth = 64; depth <= 65; depth++) {
        memset(deep, '[', depth);
        memset(deep + depth, ']', depth);
        outcome_init(&o);
        assert_int_equal(fhir_read(&reader, deep, 2 * depth, &o, &doc),
                         ERR_FORM);
        assert_string_equal(o.issues[0].word,
                            depth == 64 ? "not-a-resource" : "json-syntax");
    }
}

/* ---- one Observation, many ways --------------------------------------- */

#define HEAD                                                                   \
    "{\"resourceType\":\"Observation\",\"subject\":{\"reference\":"            \
    "\"Patient/p-1\"},"
#define FINAL "\"status\":\"final\","
#define AT    "\"effectiveDateTime\":\"2026-03-04T09:30:00Z\","
#define CODED(system, code)                                                    \
    "\"code\":{\"coding\":[{\"system\":\"" system "\",\"code\":\"" code "\"}]" \
    "},"
#define TWO(system1, code1, system2, code2)                                    \
    "\"code\":{\"coding\":[{\"system\":\"" system1 "\",\"code\":\"" code1      \
    "\"},{\"system\":\"" system2 "\",\"code\":\"" code2 "\"}]},"
#define OURS(code) CODED(OBS, code)
#define QTY(value, unit)                                                       \
    "\"valueQuantity\":{\"value\":" value                                      \
    ",\"system\":\"http://unitsofmeasure.org\",\"code\":\"" unit "\"}"
#define FLOW        HEAD FINAL AT OURS("access-flow")
#define SITED(text) "\"bodySite\":{\"text\":\"" text "\"},"

#define VALUE "Observation.value.ofType(Quantity)"

static const struct one {
    const char *name, *body;
    int status;       /* of the outcome */
    const char *word; /* NULL: nothing is said */
    enum severity severity;
    const char *place;
    size_t count;   /* readings, if not refused outright */
    double value;   /* of the last reading */
    enum hold hold; /* of the last reading */
    bool only_held;
} ones[] = {
    { "plain", FLOW QTY("900", "mL/min") "}", 0, NULL, 0, NULL, 1, 900,
      HOLD_NONE, false },

    /* units */
    { "unit of another dimension", FLOW QTY("900", "mL") "}", 422, "unit",
      SEV_ERROR, VALUE ".code", 1, NAN, HOLD_UNIT, true },
    { "unit unknown", FLOW QTY("900", "furlong") "}", 422, "unit", SEV_ERROR,
      VALUE ".code", 1, NAN, HOLD_UNIT, true },
    { "unit per surface", FLOW QTY("900", "mL/min/{1.73_m2}") "}", 422, "unit",
      SEV_ERROR, VALUE ".code", 1, NAN, HOLD_UNIT, true },
    { "unit text known",
      FLOW "\"valueQuantity\":{\"value\":900,\"unit\":\"ml/min\"}}", 0,
      "unit-assumed", SEV_WARNING, VALUE ".unit", 1, 900, HOLD_NONE, false },
    { "unit text unknown",
      FLOW "\"valueQuantity\":{\"value\":900,\"unit\":\"drops\"}}", 422, "unit",
      SEV_ERROR, VALUE ".unit", 1, NAN, HOLD_UNIT, true },
    { "no unit", FLOW "\"valueQuantity\":{\"value\":900}}", 422, "unit",
      SEV_ERROR, VALUE ".code", 1, NAN, HOLD_UNIT, true },
    { "unit code without system (qty-3)",
      FLOW "\"valueQuantity\":{\"value\":900,\"code\":\"mL/min\"}}", 400,
      "invariant", SEV_ERROR, VALUE ".code", 0, 0, 0, false },
    { "unit of another system",
      FLOW "\"valueQuantity\":{\"value\":900,\"code\":\"mL/min\",\"system\":"
           "\"urn:x\"}}",
      422, "unit", SEV_ERROR, VALUE ".system", 1, NAN, HOLD_UNIT, true },
    { "unit with a blank", FLOW QTY("900", "mL/min ") "}", 400, "bad-value",
      SEV_ERROR, VALUE ".code", 0, 0, 0, false },
    { "per cent as fraction",
      HEAD FINAL AT OURS("recirculation") QTY("0.04", "1") "}", 0, NULL, 0,
      NULL, 1, 4, HOLD_NONE, false },
    { "comparator unknown",
      FLOW "\"valueQuantity\":{\"value\":9,\"comparator\":\"~\"}}", 400,
      "bad-value", SEV_ERROR, VALUE ".comparator", 0, 0, 0, false },

    /* plausibility */
    { "litres?", FLOW QTY("2.15", "mL/min") "}", 0, "implausible", SEV_WARNING,
      VALUE, 1, 2.15, HOLD_IMPLAUSIBLE, false },
    { "beyond the hard range", FLOW QTY("8001", "mL/min") "}", 0, "implausible",
      SEV_WARNING, VALUE, 1, 8001, HOLD_IMPLAUSIBLE, false },
    { "at the hard limit", FLOW QTY("8000", "mL/min") "}", 0, "unusual-value",
      SEV_WARNING, VALUE, 1, 8000, HOLD_NONE, false },
    { "at the soft limit", FLOW QTY("4000", "mL/min") "}", 0, NULL, 0, NULL, 1,
      4000, HOLD_NONE, false },
    { "arterial pressure without its sign",
      HEAD FINAL AT OURS("arterial-line-pressure") QTY("180", "mm[Hg]") "}", 0,
      "unusual-value", SEV_WARNING, VALUE, 1, -180, HOLD_NONE, false },
    { "arterial pressure just above zero",
      HEAD FINAL AT OURS("arterial-line-pressure") QTY("20", "mm[Hg]") "}", 0,
      "unusual-value", SEV_WARNING, VALUE, 1, 20, HOLD_NONE, false },

    /* codes */
    { "code unknown", HEAD FINAL AT OURS("wobble") QTY("1", "1") "}", 0,
      "code-unknown", SEV_INFORMATION, "Observation.code", 0, 0, 0, false },
    { "no guess from the display",
      HEAD FINAL AT "\"code\":{\"coding\":[{\"system\":\"urn:x\",\"code\":"
                    "\"9\",\"display\":\"Access blood flow\"}],\"text\":"
                    "\"access-flow\"}," QTY("900", "mL/min") "}",
      0, "code-unknown", SEV_INFORMATION, "Observation.code", 0, 0, 0, false },
    { "codes contradict",
      HEAD FINAL AT TWO(OBS, "access-flow", CODES_MDC, "158740")
          QTY("350", "mL/min") "}",
      422, "code-conflict", SEV_ERROR, "Observation.code", 1, 350, HOLD_CODE,
      true },
    { "sides of the codes contradict",
      HEAD FINAL AT TWO(CODES_LOINC, "8571-2", CODES_LOINC, "8560-5")
          QTY("80", "mm[Hg]") "}",
      422, "code-conflict", SEV_ERROR, "Observation.code", 1, 80, HOLD_CODE,
      true },
    { "the second coding is known",
      HEAD FINAL AT TWO("urn:x", "7", OBS, "access-flow")
          QTY("900", "mL/min") "}",
      0, NULL, 0, NULL, 1, 900, HOLD_NONE, false },
    { "weight: the narrower code",
      HEAD FINAL AT TWO(CODES_LOINC, "29463-7", OBS, "pre-weight")
          QTY("70", "kg") "}",
      0, NULL, 0, NULL, 1, 70, HOLD_NONE, false },
    { "peritoneal Kt/V",
      HEAD FINAL AT CODED(CODES_LOINC, "70960-0") QTY("1.7", "1") "}", 0,
      "not-computed", SEV_INFORMATION, "Observation.code", 0, 0, 0, false },
    { "urea nitrogen, time not said",
      HEAD FINAL AT CODED(CODES_LOINC, "3094-0") QTY("60", "mg/dL") "}", 0,
      "not-computed", SEV_INFORMATION, "Observation.code", 0, 0, 0, false },
    { "saturation without site",
      HEAD FINAL AT CODED(CODES_LOINC, "59408-5") QTY("96", "%") "}", 0,
      "not-computed", SEV_INFORMATION, "Observation.code", 0, 0, 0, false },
    { "saturation of an ear",
      HEAD FINAL AT SITED("left ear") CODED(CODES_MDC, "150456")
          QTY("96", "%") "}",
      0, "not-computed", SEV_INFORMATION, "Observation.code", 0, 0, 0, false },
    { "saturation of a hand",
      HEAD FINAL AT SITED("right hand") CODED(CODES_MDC, "150456")
          QTY("96", "%") "}",
      0, NULL, 0, NULL, 1, 96, HOLD_NONE, false },

    /* sides */
    { "site and code disagree",
      HEAD FINAL AT SITED("right hand") CODED(CODES_LOINC, "8571-2")
          QTY("80", "mm[Hg]") "}",
      0, "access-side", SEV_WARNING, "Observation.code", 1, 80, HOLD_SIDE,
      false },
    { "site names both sides",
      FLOW "\"bodySite\":{\"coding\":[{\"system\":\"http://snomed.info/sct\","
           "\"code\":\"419161000\"}],\"text\":\"right arm\"}," QTY(
               "900", "mL/min") "}",
      0, "access-side", SEV_WARNING, "Observation.bodySite", 1, 900, HOLD_SIDE,
      false },

    /* values */
    { "about", FLOW "\"valueString\":\"about 2000\"}", 0, "not-computed",
      SEV_INFORMATION, "Observation.value.ofType(string)", 0, 0, 0, false },
    { "range", FLOW "\"valueRange\":{\"low\":{\"value\":1}}}", 0,
      "not-computed", SEV_INFORMATION, "Observation.value.ofType(Range)", 0, 0,
      0, false },
    { "ratio", FLOW "\"valueRatio\":{\"numerator\":{\"value\":1}}}", 0,
      "not-computed", SEV_INFORMATION, "Observation.value.ofType(Ratio)", 0, 0,
      0, false },
    { "samples", FLOW "\"valueSampledData\":{\"data\":\"1 2\"}}", 0,
      "not-computed", SEV_INFORMATION, "Observation.value.ofType(SampledData)",
      0, 0, 0, false },
    { "flow as yes", FLOW "\"valueBoolean\":true}", 0, "not-computed",
      SEV_INFORMATION, "Observation.value.ofType(boolean)", 0, 0, 0, false },
    { "flow as integer", FLOW "\"valueInteger\":900}", 422, "unit", SEV_ERROR,
      "Observation.value.ofType(integer)", 1, NAN, HOLD_UNIT, true },
    { "flag", HEAD FINAL AT OURS("bleeding-active") "\"valueBoolean\":true}", 0,
      NULL, 0, NULL, 1, 1, HOLD_NONE, false },
    { "flag, no",
      HEAD FINAL AT OURS("inflow-imaged-clear") "\"valueBoolean\":false}", 0,
      NULL, 0, NULL, 1, 0, HOLD_NONE, false },
    { "flag as text",
      HEAD FINAL AT OURS("bleeding-active") "\"valueBoolean\":\"true\"}", 400,
      "bad-element", SEV_ERROR, "Observation.value.ofType(boolean)", 0, 0, 0,
      false },
    { "symptom unknown",
      HEAD FINAL AT OURS(
          "hand-symptom") "\"valueCodeableConcept\":{\"coding\":[{\"system\":"
                          "\"" OBS
                          "\",\"code\":\"itch\"}],\"text\":\"pain-at-rest\"}}",
      0, "value-unread", SEV_WARNING,
      "Observation.value.ofType(CodeableConcept)", 1, NAN, HOLD_VALUE, false },
    { "symptom as text",
      HEAD FINAL AT OURS("hand-symptom") "\"valueString\":\"weak\"}", 0,
      "value-unread", SEV_WARNING, "Observation.value.ofType(string)", 1, NAN,
      HOLD_VALUE, false },
    { "sign without a value",
      HEAD FINAL AT OURS("hand-symptom") "\"method\":{"
                                         "\"text\":"
                                         "\"a\"}}",
      0, "value-unread", SEV_WARNING, "Observation", 1, NAN, HOLD_VALUE,
      false },
    { "withdrawn without a value",
      HEAD "\"status\":\"entered-in-error\"," AT OURS(
          "hand-symptom") "\"method\":{\"text\":\"a\"}}",
      0, "value-absent", SEV_INFORMATION, "Observation", 0, 0, 0, false },
    { "flag as a number",
      HEAD FINAL AT OURS("bleeding-active") QTY("1", "1") "}", 0, NULL, 0, NULL,
      1, 1, HOLD_NONE, false },
    { "flag as another number",
      HEAD FINAL AT OURS("bleeding-active") QTY("30", "min") "}", 0,
      "value-unread", SEV_WARNING, VALUE, 1, NAN, HOLD_VALUE, false },
    { "symptoms contradict",
      HEAD FINAL AT OURS(
          "thrill") "\"valueCodeableConcept\":{\"coding\":[{\"system\":\"" OBS
                    "\",\"code\":\"present\"},{\"system\":\"" OBS
                    "\",\"code\":\"absent\"}]}}",
      422, "code-conflict", SEV_ERROR,
      "Observation.value.ofType(CodeableConcept)", 1, NAN, HOLD_CODE, true },
    { "stage", HEAD FINAL AT OURS("steal-stage") "\"valueInteger\":4}", 0,
      "stage-assumed", SEV_WARNING, "Observation.value.ofType(integer)", 1, NAN,
      HOLD_NONE, false },
    { "stage too high", HEAD FINAL AT OURS("steal-stage") "\"valueInteger\":5}",
      0, "value-unread", SEV_WARNING, "Observation.value.ofType(integer)", 1,
      NAN, HOLD_VALUE, false },
    { "stage as a quantity",
      HEAD FINAL AT OURS("steal-stage") QTY("4", "1") "}", 0, "stage-assumed",
      SEV_WARNING, VALUE, 1, NAN, HOLD_NONE, false },
    { "stage no whole number",
      HEAD FINAL AT OURS("steal-stage") "\"valueInteger\":2.5}", 400,
      "bad-element", SEV_ERROR, "Observation.value.ofType(integer)", 0, 0, 0,
      false },
    { "two values", FLOW QTY("900", "mL/min") ",\"valueString\":\"a\"}", 400,
      "bad-element", SEV_ERROR, "Observation.value.ofType(string)", 0, 0, 0,
      false },
    { "value and reason (obs-6)",
      FLOW QTY("900", "mL/min") ",\"dataAbsentReason\":{\"text\":\"a\"}}", 400,
      "invariant", SEV_ERROR, "Observation.dataAbsentReason", 0, 0, 0, false },
    { "no value", FLOW "\"method\":{\"text\":\"a\"}}", 0, "value-absent",
      SEV_INFORMATION, "Observation", 0, 0, 0, false },
    { "quantity without value", FLOW "\"valueQuantity\":{\"unit\":\"mL/min\"}}",
      0, "value-absent", SEV_INFORMATION, VALUE, 0, 0, 0, false },

    /* components */
    { "component unknown",
      FLOW QTY("900", "mL/min") ",\"component\":[{" OURS("wobble")
          QTY("1", "1") "}]}",
      0, "code-unknown", SEV_INFORMATION, "Observation.component[0].code", 1,
      900, HOLD_NONE, false },
    { "component without code",
      FLOW QTY("900", "mL/min") ",\"component\":[{" QTY("1", "1") "}]}", 400,
      "missing-element", SEV_ERROR, "Observation.component[0].code", 1, 900, 0,
      false },
    { "component: value and reason",
      FLOW "\"component\":[{" OURS("qb")
          QTY("300", "mL/min") ",\"dataAbsentReason\":{\"text\":\"a\"}}]}",
      400, "invariant", SEV_ERROR, "Observation.component[0].dataAbsentReason",
      0, 0, 0, false },
    { "value and component disagree",
      HEAD FINAL AT CODED(CODES_LOINC, "8480-6")
          QTY("140", "mm[Hg]") ",\"component\":[{" CODED(CODES_MDC, "150017")
              QTY("141", "mm[Hg]") "}]}",
      422, "value-conflict", SEV_ERROR, "Observation.component[0]", 2, 141, 0,
      false },
    { "value and component agree",
      HEAD FINAL AT CODED(CODES_LOINC, "8480-6")
          QTY("140", "mm[Hg]") ",\"component\":[{" CODED(CODES_MDC, "150017")
              QTY("140", "mm[Hg]") "}]}",
      0, "duplicate", SEV_INFORMATION, "Observation.component[0]", 1, 140, 0,
      false },
    { "held unit and form error",
      FLOW QTY("900", "mL") ",\"component\":[{" OURS("qb")
          QTY("300", "mL/min") ",\"dataAbsentReason\":{\"text\":\"a\"}}]}",
      422, "invariant", SEV_ERROR, "Observation.component[0].dataAbsentReason",
      1, NAN, HOLD_UNIT, false },

    /* status */
    { "status unknown to R4",
      HEAD "\"status\":\"done\"," AT OURS("access-flow")
          QTY("900", "mL/min") "}",
      400, "bad-value", SEV_ERROR, "Observation.status", 1, 900, 0, false },
    { "registered",
      HEAD "\"status\":\"registered\"," AT OURS("access-flow")
          QTY("900", "mL/min") "}",
      0, "preliminary", SEV_INFORMATION, "Observation.status", 1, 900,
      HOLD_NONE, false },
    { "entered in error, stripped", HEAD "\"status\":\"entered-in-error\"}", 0,
      NULL, 0, NULL, 0, 0, 0, false },
    { "cancelled, with a wrong unit",
      HEAD "\"status\":\"cancelled\"," OURS("access-flow") QTY("9", "mL") "}",
      0, "unit", SEV_INFORMATION, VALUE ".code", 1, NAN, HOLD_NONE, false },

    /* time */
    { "no time", HEAD FINAL OURS("access-flow") QTY("900", "mL/min") "}", 422,
      "no-time", SEV_ERROR, "Observation.effective", 1, 900, 0, false },
    { "timing",
      HEAD FINAL OURS("access-flow") QTY(
          "900", "mL/min") ",\"effectiveTiming\":{\"event\":[\"2026-03-04\"]}}",
      422, "timing", SEV_ERROR, "Observation.effective.ofType(Timing)", 1, 900,
      0, false },
    { "period without start",
      HEAD FINAL OURS("access-flow")
          QTY("900", "mL/min") ",\"effectivePeriod\":{\"end\":\"2026-03-04\"}}",
      422, "no-time", SEV_ERROR, "Observation.effective.ofType(Period).start",
      1, 900, 0, false },
    { "period backwards (per-1)",
      HEAD FINAL OURS("access-flow") QTY(
          "900",
          "mL/min") ",\"effectivePeriod\":{\"start\":\"2026-03-05\",\"end\":"
                    "\"2026-03-04\"}}",
      400, "invariant", SEV_ERROR, "Observation.effective.ofType(Period)", 1,
      900, 0, false },
    { "two times",
      HEAD FINAL AT OURS("access-flow") QTY(
          "900", "mL/min") ",\"effectiveInstant\":\"2026-03-04T09:30:00Z\"}",
      400, "bad-element", SEV_ERROR, "Observation.effective.ofType(instant)", 0,
      0, 0, false },
    { "an hour ahead",
      HEAD FINAL OURS("access-flow") QTY(
          "900", "mL/min") ",\"effectiveDateTime\":\"2026-06-01T13:00:00Z\"}",
      0, NULL, 0, NULL, 1, 900, HOLD_NONE, false },
    { "more than an hour ahead",
      HEAD FINAL OURS("access-flow") QTY(
          "900", "mL/min") ",\"effectiveDateTime\":\"2026-06-01T13:00:01Z\"}",
      0, "future-time", SEV_WARNING, "Observation.effective.ofType(dateTime)",
      1, 900, HOLD_TIME, false },
    { "today",
      HEAD FINAL OURS("access-flow")
          QTY("900", "mL/min") ",\"effectiveDateTime\":\"2026-06-01\"}",
      0, NULL, 0, NULL, 1, 900, HOLD_NONE, false },
    { "tomorrow",
      HEAD FINAL OURS("access-flow")
          QTY("900", "mL/min") ",\"effectiveDateTime\":\"2026-06-02\"}",
      0, "future-time", SEV_WARNING, "Observation.effective.ofType(dateTime)",
      1, 900, HOLD_TIME, false },
    { "tomorrow, but an emergency",
      HEAD FINAL OURS(
          "bleeding-active") "\"valueBoolean\":true"
                             ",\"effectiveDateTime\":\"2026-06-02T13:00:00Z\"}",
      0, "future-time", SEV_WARNING, "Observation.effective.ofType(dateTime)",
      1, 1, HOLD_NONE, false },
    { "tomorrow, and nothing bad",
      HEAD FINAL OURS(
          "bleeding-active") "\"valueBoolean\":false"
                             ",\"effectiveDateTime\":\"2026-06-02T13:00:00Z\"}",
      0, "future-time", SEV_WARNING, "Observation.effective.ofType(dateTime)",
      1, 0, HOLD_TIME, false },
    { "issued without zone",
      FLOW QTY("900", "mL/min") ",\"issued\":\"2026-03-04T09:30:00\"}", 400,
      "bad-datetime", SEV_ERROR, "Observation.issued", 0, 0, 0, false },

    /* subject and references */
    { "no subject",
      "{\"resourceType\":\"Observation\"," FINAL AT OURS("access-flow")
          QTY("900", "mL/min") "}",
      422, "no-subject", SEV_ERROR, "Observation.subject", 1, 900, 0, false },
    { "subject by words",
      "{\"resourceType\":\"Observation\",\"subject\":{\"display\":\"A\"}," FINAL
          AT OURS("access-flow") QTY("900", "mL/min") "}",
      422, "no-subject", SEV_ERROR, "Observation.subject", 1, 900, 0, false },
    { "subject a group",
      "{\"resourceType\":\"Observation\",\"subject\":{\"reference\":"
      "\"Group/1\"}," FINAL AT OURS("access-flow") QTY("900", "mL/min") "}",
      422, "no-subject", SEV_ERROR, "Observation.subject", 1, 900, 0, false },
    { "subject an organization",
      "{\"resourceType\":\"Observation\",\"subject\":{\"reference\":"
      "\"Organization/1\"}," FINAL AT OURS("access-flow")
          QTY("900", "mL/min") "}",
      400, "bad-reference", SEV_ERROR, "Observation.subject", 1, 900, 0,
      false },
    { "subject no reference",
      "{\"resourceType\":\"Observation\",\"subject\":{\"reference\":"
      "\"Patient/\"}," FINAL AT OURS("access-flow") QTY("900", "mL/min") "}",
      400, "bad-reference", SEV_ERROR, "Observation.subject.reference", 1, 900,
      0, false },
    { "contained and not there",
      FLOW "\"focus\":[{\"reference\":\"#x\"}]," QTY("900", "mL/min") "}", 400,
      "bad-reference", SEV_ERROR, "Observation.focus[0].reference", 1, 900, 0,
      false },
    { "contained in contained",
      FLOW "\"contained\":[{\"resourceType\":\"Device\",\"id\":\"a\","
           "\"contained\":[{\"resourceType\":\"Device\"}]}]," QTY("900",
                                                                  "mL/min") "}",
      400, "invariant", SEV_ERROR, "Observation.contained[0]", 0, 0, 0, false },

    /* form */
    { "modifier extension",
      FLOW
      "\"modifierExtension\":[{\"url\":\"u:x\",\"valueBoolean\":true}]," QTY(
          "900", "mL/min") "}",
      422, "modifier", SEV_ERROR, "Observation.modifierExtension", 0, 0, 0,
      false },
    { "implicit rules",
      FLOW "\"implicitRules\":\"u:x\"," QTY("900", "mL/min") "}", 422,
      "modifier", SEV_ERROR, "Observation.implicitRules", 0, 0, 0, false },
    { "extension of nothing",
      FLOW "\"extension\":[{\"url\":\"u:x\"}]," QTY("900", "mL/min") "}", 400,
      "invariant", SEV_ERROR, "Observation.extension[0]", 0, 0, 0, false },
    { "extension without url",
      FLOW "\"extension\":[{\"valueCode\":\"x\"}]," QTY("900", "mL/min") "}",
      400, "missing-element", SEV_ERROR, "Observation.extension[0].url", 0, 0,
      0, false },
    { "empty text", FLOW "\"id\":\"\"," QTY("900", "mL/min") "}", 400,
      "bad-element", SEV_ERROR, "Observation.id", 0, 0, 0, false },
    { "bad id", FLOW "\"id\":\"a_b\"," QTY("900", "mL/min") "}", 400,
      "bad-value", SEV_ERROR, "Observation.id", 0, 0, 0, false },
    { "empty list", FLOW "\"note\":[]," QTY("900", "mL/min") "}", 400,
      "bad-element", SEV_ERROR, "Observation.note", 0, 0, 0, false },
    { "empty object", FLOW "\"device\":{}," QTY("900", "mL/min") "}", 400,
      "bad-element", SEV_ERROR, "Observation.device", 0, 0, 0, false },
    { "null deep down",
      FLOW "\"text\":{\"status\":null}," QTY("900", "mL/min") "}", 400,
      "bad-element", SEV_ERROR, "Observation.text.status", 0, 0, 0, false },
    { "null in a list", FLOW "\"performer\":[null]," QTY("900", "mL/min") "}",
      400, "bad-element", SEV_ERROR, "Observation.performer[0]", 0, 0, 0,
      false },
    { "object for a list",
      FLOW
      "\"focus\":{\"reference\":\"BodyStructure/1\"}," QTY("900", "mL/min") "}",
      400, "bad-element", SEV_ERROR, "Observation.focus", 0, 0, 0, false },
    { "list for an object",
      FLOW "\"method\":[{\"text\":\"a\"}]," QTY("900", "mL/min") "}", 400,
      "bad-element", SEV_ERROR, "Observation.method", 0, 0, 0, false },
    { "element of another version",
      FLOW "\"bodyStructure\":{\"reference\":\"BodyStructure/1\"}," QTY(
          "900", "mL/min") "}",
      400, "bad-element", SEV_ERROR, "Observation.bodyStructure", 0, 0, 0,
      false },
    { "range of nothing (obs-3)",
      FLOW "\"referenceRange\":[{\"type\":{\"text\":\"a\"}}]," QTY(
          "900", "mL/min") "}",
      400, "invariant", SEV_ERROR, "Observation.referenceRange[0]", 0, 0, 0,
      false },
    { "extension beside a primitive",
      FLOW "\"_status\":{\"extension\":[{\"url\":\"u:x\",\"valueCode\":"
           "\"y\"}]}," QTY("900", "mL/min") "}",
      0, NULL, 0, NULL, 1, 900, HOLD_NONE, false },
    /* R4, element.html: an Element has an id and extensions */
    { "something else beside a primitive",
      FLOW
      "\"_status\":{\"coding\":[{\"code\":\"y\"}]}," QTY("900", "mL/min") "}",
      400, "bad-element", SEV_ERROR, "Observation.status.coding", 0, 0, 0,
      false },
};

static void test_ones(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(ones); i++) {
        const struct one *one = &ones[i];
        struct fhir_doc *doc = read_ok(one->body, strlen(one->body));
        struct fhir_item *item = fhir_doc_item(doc, 0);
        struct fhir_observation *o = &item->u.observation;
        const struct issue *issue;

        ROW(one->name);
        print_issues(&item->outcome);
        assert_int_equal(item->outcome.status, one->status);
        assert_int_equal(item->only_held, one->only_held);
        if (one->word == NULL) {
            assert_int_equal(item->outcome.count, 0);
        } else {
            issue = find_issue(&item->outcome, one->word, one->place);
            assert_non_null(issue);
            assert_int_equal(issue->severity, one->severity);
        }
        assert_int_equal(o->reading_count, one->count);
        if (one->count > 0) {
            const struct fhir_reading *r = &o->readings[one->count - 1];

            if (isnan(one->value))
                assert_true(isnan(r->reading.value));
            else
                assert_near(r->reading.value, one->value, 1e-9);
            assert_int_equal(r->hold, one->hold);
        }
        fhir_doc_free(doc);
    }
}

static void test_hints(void **state)
{
    static const char litres[] = FLOW QTY("2.15", "mL/min") "}";
    static const char bound[] = HEAD FINAL AT OURS(
        "arterial-line-pressure") "\"valueQuantity\":{\"value\":200,"
                                  "\"comparator\":\">=\",\"system\":"
                                  "\"http://"
                                  "unitsofmeasure.org\",\"code\":\"mm[Hg]\"}}";
    struct fhir_doc *doc = read_ok(litres, sizeof(litres) - 1);

    (void)state;
    assert_string_equal(fhir_doc_item(doc, 0)->u.observation.readings[0].hint,
                        "litres?");
    fhir_doc_free(doc);
    /* At least 200 of suction is at most -200. */
    doc = read_ok(bound, sizeof(bound) - 1);
    assert_int_equal(
        fhir_doc_item(doc, 0)->u.observation.readings[0].reading.bound,
        BOUND_AT_MOST);
    fhir_doc_free(doc);
    assert_string_equal(hold_word(HOLD_IMPLAUSIBLE), "implausible");
    assert_string_equal(access_how_word(ACCESS_BY_SOLE), "sole-access");
}

/* An open period counts from its start; one of days keeps them whole. */
static void test_periods(void **state)
{
    static const struct {
        const char *name, *period, *start, *end;
        enum precision precision;
    } cases[] = {
        { "open", "{\"start\":\"2026-03-04T08:00:00Z\"}", "2026-03-04T08:00:00",
          "2026-03-04T08:00:01", AT_PERIOD },
        { "no length",
          "{\"start\":\"2026-03-04T08:00:00Z\",\"end\":"
          "\"2026-03-04T08:00:00Z\"}",
          "2026-03-04T08:00:00", "2026-03-04T08:00:01", AT_PERIOD },
        { "two days", "{\"start\":\"2026-03-04\",\"end\":\"2026-03-05\"}",
          "2026-03-03T23:00:00", "2026-03-05T23:00:00", AT_PERIOD },
        { "months", "{\"start\":\"2026-01\",\"end\":\"2026-02\"}",
          "2025-12-31T23:00:00", "2026-02-28T23:00:00", AT_MONTH },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct fhir_doc *doc;
        struct fhir_time *t;
        char body[600];
        int n;

        ROW(cases[i].name);
        n = snprintf(
            body, sizeof(body),
            HEAD FINAL OURS("access-flow") "\"effectivePeriod\":%s," QTY(
                "900", "mL/min") "}",
            cases[i].period);
        doc = read_ok(body, (size_t)n);
        t = &fhir_doc_item(doc, 0)->u.observation.effective;
        assert_int_equal(t->start_s, utc(cases[i].start));
        assert_int_equal(t->end_s, utc(cases[i].end));
        assert_int_equal(t->precision, cases[i].precision);
        fhir_doc_free(doc);
    }
}

/* All the ways at once stand in the order in which they are to be tried. */
static void test_name_order(void **state)
{
    static const char body[] =
        FLOW "\"extension\":[{\"url\":\"http://hl7.org/fhir/5.0/"
             "StructureDefinition/extension-Observation.bodyStructure\","
             "\"valueReference\":{\"reference\":\"BodyStructure/r5\"}}],"
             "\"bodySite\":{\"extension\":[{\"url\":\"http://hl7.org/fhir/"
             "StructureDefinition/bodySite\",\"valueReference\":"
             "{\"reference\":\"BodyStructure/ext\"}}]},"
             "\"focus\":[{\"reference\":\"Encounter/e\"},"
             "{\"reference\":\"https://r.example/BodyStructure/f\","
             "\"identifier\":{\"value\":\"A-7\"}}]," QTY("900", "mL/min") "}";
    struct fhir_doc *doc = read_ok(body, sizeof(body) - 1);
    char names[300];

    (void)state;
    names_of(&fhir_doc_item(doc, 0)->u.observation, names, sizeof(names));
    assert_string_equal(names, "focus-ref https://r.example/BodyStructure/f, "
                               "focus-id https://r.example/BodyStructure/f, "
                               "bodysite-ext BodyStructure/ext, "
                               "r5-ext BodyStructure/r5");
    fhir_doc_free(doc);
}

static void test_too_many(void **state)
{
    struct buf body;

    (void)state;
    buf_init(&body, 1 << 20);
    for (int components = 63; components <= 64; components++) {
        struct fhir_doc *doc;
        struct fhir_item *item;

        buf_empty(&body);
        buf_puts(&body, HEAD FINAL AT OURS("session-panel") "\"component\":[");
        for (int i = 0; i < components; i++)
            buf_printf(&body, "%s{" OURS("qb") QTY("300", "mL/min") "}",
                       i > 0 ? "," : "");
        buf_puts(&body, "]}");
        assert_int_equal(buf_ok(&body), ERR_OK);
        doc = read_ok(body.data, body.len);
        item = fhir_doc_item(doc, 0);
        assert_int_equal(item->outcome.status, components == 63 ? 0 : 422);
        assert_int_equal(item->u.observation.reading_count,
                         components == 63 ? 63 : 0);
        if (components == 64)
            assert_non_null(find_issue(&item->outcome, "too-many",
                                       "Observation.component"));
        fhir_doc_free(doc);
    }
    buf_clear(&body);
}

/* ---- other resources -------------------------------------------------- */

static void test_body_structure(void **state)
{
    static const char bare[] =
        "{\"resourceType\":\"BodyStructure\",\"active\":false,\"description\":"
        "\"Graft\",\"location\":{\"coding\":[{\"system\":"
        "\"http://snomed.info/sct\",\"code\":\"368209003\"}]},"
        "\"patient\":{\"identifier\":{\"value\":\"1001\"}}}";
    static const char nobody[] = "{\"resourceType\":\"BodyStructure\"}";
    size_t len;
    char *body = load("bodystructure-avf.json", &len);
    struct fhir_doc *doc = read_ok(body, len);
    struct fhir_item *item = fhir_doc_item(doc, 0);

    (void)state;
    assert_int_equal(item->type, FHIR_BODY_STRUCTURE);
    assert_int_equal(item->outcome.count, 0);
    assert_string_equal(item->id, "acc-7");
    assert_string_equal(item->identifiers[0].value, "A-7");
    assert_int_equal(item->u.access.type, SIGN_TYPE_AVF);
    assert_int_equal(item->u.access.side, SIDE_LEFT);
    assert_true(item->u.access.active);
    assert_string_equal(item->u.access.text, "Left upper arm, brachiocephalic");
    assert_string_equal(item->u.access.patient.literal, "Patient/p-1001");
    fhir_doc_free(doc);
    free(body);

    doc = read_ok(bare, sizeof(bare) - 1);
    item = fhir_doc_item(doc, 0);
    assert_int_equal(item->outcome.count, 0);
    assert_int_equal(item->u.access.type, SIGN_TYPE_UNKNOWN);
    assert_int_equal(item->u.access.side, SIDE_RIGHT);
    assert_string_equal(item->u.access.region, "upper-arm");
    assert_false(item->u.access.active);
    assert_string_equal(item->u.access.text, "Graft");
    assert_string_equal(item->u.access.patient.value, "1001");
    fhir_doc_free(doc);

    doc = read_ok(nobody, sizeof(nobody) - 1);
    item = fhir_doc_item(doc, 0);
    assert_int_equal(item->outcome.status, 400);
    assert_non_null(
        find_issue(&item->outcome, "missing-element", "BodyStructure.patient"));
    fhir_doc_free(doc);
}

static void test_patient(void **state)
{
    static const char gaps[] =
        "{\"resourceType\":\"Patient\",\"name\":[{\"given\":[\"A\",null],"
        "\"_given\":[null,{\"id\":\"x\"}]}],\"managingOrganization\":"
        "{\"reference\":\"Organization/b\"}}";
    size_t len;
    char *body = load("patient.json", &len);
    struct fhir_doc *doc = read_ok(body, len);
    struct fhir_item *item = fhir_doc_item(doc, 0);

    (void)state;
    assert_int_equal(item->type, FHIR_PATIENT);
    assert_int_equal(item->outcome.count, 0);
    assert_string_equal(item->identifiers[0].system, "urn:oid:2.999.1.1");
    assert_string_equal(item->u.patient.family, "Fictional");
    assert_string_equal(item->u.patient.given, "Wren");
    assert_null(item->u.patient.unit);
    assert_true(item->u.patient.active);
    fhir_doc_free(doc);
    free(body);

    /* A null in a list of primitives that the list beside it fills. */
    doc = read_ok(gaps, sizeof(gaps) - 1);
    item = fhir_doc_item(doc, 0);
    print_issues(&item->outcome);
    assert_int_equal(item->outcome.count, 0);
    assert_string_equal(item->u.patient.given, "A");
    assert_string_equal(item->u.patient.unit, "Organization/b");
    fhir_doc_free(doc);
}

static void test_other_types(void **state)
{
    static const char other[] = "{\"resourceType\":\"Medication\"}";
    static const char task[] =
        "{\"resourceType\":\"Task\",\"id\":\"t1\",\"status\":\"accepted\","
        "\"intent\":\"proposal\"}";
    struct fhir_doc *doc = read_ok(other, sizeof(other) - 1);
    struct fhir_item *item = fhir_doc_item(doc, 0);

    (void)state;
    assert_int_equal(item->type, FHIR_OTHER);
    assert_string_equal(item->type_name, "Medication");
    assert_int_equal(item->outcome.status, 422);
    assert_string_equal(item->outcome.issues[0].word, "not-supported");
    assert_string_equal(item->outcome.issues[0].code, "not-supported");
    fhir_doc_free(doc);

    doc = read_ok(task, sizeof(task) - 1);
    item = fhir_doc_item(doc, 0);
    assert_int_equal(item->type, FHIR_TASK);
    assert_int_equal(item->outcome.count, 0);
    assert_string_equal(item->id, "t1");
    fhir_doc_free(doc);
}

/* ---- Bundles ---------------------------------------------------------- */

static void test_batch(void **state)
{
    size_t len, start_len;
    char *body = load("bundle-batch-in.json", &len);
    struct fhir_doc *doc = read_ok(body, len);
    struct fhir_item *item = fhir_doc_item(doc, 0);
    static const char start[] = "{\n        \"resourceType\": \"Observation\"";

    (void)state;
    start_len = sizeof(start) - 1;
    assert_int_equal(fhir_doc_bundle(doc), BUNDLE_BATCH);
    assert_int_equal(fhir_doc_count(doc), 2);
    assert_null(fhir_doc_item(doc, 2));
    assert_int_equal(item->outcome.count, 0);
    assert_string_equal(item->method, "PUT");
    assert_string_equal(item->url_id, "o1");
    assert_int_equal(item->u.observation.reading_count, 1);
    assert_memory_equal(body + item->offset, start, start_len);
    assert_int_equal(body[item->offset + item->len - 1], '}');
    item = fhir_doc_item(doc, 1);
    assert_string_equal(item->method, "POST");
    assert_null(item->url_id);
    assert_int_equal(item->u.observation.reading_count, 3);
    assert_memory_equal(body + item->offset, start, start_len);
    fhir_doc_free(doc);
    free(body);
}

#define BUNDLE(type, entries)                                                  \
    "{\"resourceType\":\"Bundle\",\"type\":\"" type "\",\"entry\":[" entries   \
    "]}"
#define PATIENT "\"resource\":{\"resourceType\":\"Patient\",\"id\":\"p1\"}"
#define REQUEST(method, url)                                                   \
    ",\"request\":{\"method\":\"" method "\",\"url\":\"" url "\"}"

#define BINARY(type, data)                                                     \
    "\"resource\":{\"resourceType\":\"Binary\",\"contentType\":\"" type        \
    "\",\"data\":\"" data "\"}"

static const struct {
    const char *name, *body;
    int status;
    const char *word, *place;
} entries[] = {
    { "post", BUNDLE("transaction", "{" PATIENT REQUEST("POST", "Patient") "}"),
      0, NULL, NULL },
    { "put",
      BUNDLE("transaction", "{" PATIENT REQUEST("PUT", "Patient/p1") "}"), 0,
      NULL, NULL },
    { "put of another id",
      BUNDLE("batch", "{" PATIENT REQUEST("PUT", "Patient/p2") "}"), 400,
      "bad-value", "Bundle.entry[0].request.url" },
    { "put without id",
      BUNDLE("batch", "{" PATIENT REQUEST("PUT", "Patient") "}"), 400,
      "bad-value", "Bundle.entry[0].request.url" },
    { "post with id",
      BUNDLE("batch", "{" PATIENT REQUEST("POST", "Patient/p1") "}"), 400,
      "bad-value", "Bundle.entry[0].request.url" },
    { "another type",
      BUNDLE("batch", "{" PATIENT REQUEST("POST", "Observation") "}"), 400,
      "bad-value", "Bundle.entry[0].request.url" },
    { "a longer type",
      BUNDLE("batch", "{" PATIENT REQUEST("POST", "Patients") "}"), 400,
      "bad-value", "Bundle.entry[0].request.url" },
    { "conditional update",
      BUNDLE("batch", "{" PATIENT REQUEST("PUT", "Patient?identifier=1") "}"),
      0, NULL, NULL },
    { "conditional post",
      BUNDLE("batch", "{" PATIENT REQUEST("POST", "Patient?identifier=1") "}"),
      400, "bad-value", "Bundle.entry[0].request.url" },
    { "patch",
      BUNDLE("batch", "{" BINARY("application/json-patch+json", "W10=")
                          REQUEST("PATCH", "Task/t1") "}"),
      0, NULL, NULL },
    { "patch with blanks and a parameter",
      BUNDLE("batch", "{" BINARY("application/json-patch+json; charset=utf-8",
                                 "W1\\n 0=") REQUEST("PATCH", "Task/t1") "}"),
      0, NULL, NULL },
    { "patch of another kind",
      BUNDLE("batch", "{" BINARY("application/json", "W10=")
                          REQUEST("PATCH", "Task/t1") "}"),
      422, "not-supported", "Bundle.entry[0].resource" },
    { "patch that is not base64",
      BUNDLE("batch", "{" BINARY("application/json-patch+json", "W1=")
                          REQUEST("PATCH", "Task/t1") "}"),
      400, "bad-value", "Bundle.entry[0].resource" },
    { "patch of another type",
      BUNDLE("batch", "{" BINARY("application/json-patch+json", "W10=")
                          REQUEST("PATCH", "Patient/p1") "}"),
      422, "not-supported", "Bundle.entry[0].request.url" },
    { "patch without id",
      BUNDLE("batch", "{" BINARY("application/json-patch+json", "W10=")
                          REQUEST("PATCH", "Task") "}"),
      422, "not-supported", "Bundle.entry[0].request.url" },
    { "patch that is a resource",
      BUNDLE("batch", "{" PATIENT REQUEST("PATCH", "Task/t1") "}"), 422,
      "not-supported", "Bundle.entry[0].resource" },
    { "delete",
      BUNDLE("batch", "{\"request\":{\"method\":\"DELETE\",\"url\":"
                      "\"Patient/p1\"}}"),
      422, "not-supported", "Bundle.entry[0].request.method" },
    { "no such method",
      BUNDLE("batch", "{" PATIENT REQUEST("SEND", "Patient") "}"), 400,
      "bad-value", "Bundle.entry[0].request.method" },
    { "no method",
      BUNDLE("batch", "{" PATIENT ",\"request\":{\"url\":\"Patient\"}}"), 400,
      "missing-element", "Bundle.entry[0].request.method" },
    { "no url",
      BUNDLE("batch", "{" PATIENT ",\"request\":{\"method\":\"POST\"}}"), 400,
      "missing-element", "Bundle.entry[0].request.url" },
    { "no request", BUNDLE("batch", "{" PATIENT "}"), 400, "missing-element",
      "Bundle.entry[0].request" },
    { "collection needs none", BUNDLE("collection", "{" PATIENT "}"), 0, NULL,
      NULL },
    { "no resource", BUNDLE("collection", "{\"fullUrl\":\"urn:x\"}"), 400,
      "missing-element", "Bundle.entry[0].resource" },
    { "resource is text", BUNDLE("collection", "{\"resource\":\"x\"}"), 400,
      "bad-element", "Bundle.entry[0].resource" },
    { "entry is null", BUNDLE("collection", "null"), 400, "bad-element",
      "Bundle.entry[0]" },
    { "entry is empty", BUNDLE("collection", "{}"), 400, "bad-element",
      "Bundle.entry[0]" },
    { "bundle in a bundle",
      BUNDLE("collection", "{\"resource\":{\"resourceType\":\"Bundle\"}}"), 422,
      "not-supported", "Bundle" },
    { "entry modifier",
      BUNDLE("collection", "{" PATIENT ",\"modifierExtension\":[{\"url\":"
                           "\"u:x\",\"valueCode\":\"y\"}]}"),
      422, "modifier", "Bundle.entry[0].modifierExtension" },
    { "no resource type", BUNDLE("collection", "{\"resource\":{\"id\":\"a\"}}"),
      400, "not-a-resource", "Resource.resourceType" },
};

/* A patch in a Bundle comes as a Binary; the item is then one of a Task. */
static void test_patch_entry(void **state)
{
    static const char body[] = BUNDLE(
        "transaction",
        "{" BINARY(
            "application/json-patch+json",
            "W10=") ",\"request\":{\"method\":\"PATCH\",\"url\":\"Task/t1\","
                    "\"ifMatch\":\"W/\\\"3\\\"\"}}");
    struct fhir_doc *doc = read_ok(body, strlen(body));
    const struct fhir_item *item = fhir_doc_item(doc, 0);

    (void)state;
    assert_int_equal(item->outcome.status, 0);
    assert_int_equal(item->type, FHIR_TASK);
    assert_string_equal(item->type_name, "Task");
    assert_string_equal(item->method, "PATCH");
    assert_string_equal(item->url_id, "t1");
    assert_string_equal(item->if_match, "W/\"3\"");
    assert_int_equal(item->patch_len, 2);
    assert_memory_equal(item->patch, "[]", 3);
    fhir_doc_free(doc);
}

static void test_entries(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(entries); i++) {
        struct fhir_doc *doc =
            read_ok(entries[i].body, strlen(entries[i].body));
        struct fhir_item *item = fhir_doc_item(doc, 0);

        ROW(entries[i].name);
        print_issues(&item->outcome);
        assert_int_equal(fhir_doc_count(doc), 1);
        assert_int_equal(item->outcome.status, entries[i].status);
        if (entries[i].word == NULL)
            assert_int_equal(item->outcome.count, 0);
        else
            assert_non_null(
                find_issue(&item->outcome, entries[i].word, entries[i].place));
        fhir_doc_free(doc);
    }
}

static void test_entry_extras(void **state)
{
    /* The key is spelled with an escape, and another "resource" stands
     * deeper: the span must be found all the same. */
    static const char body[] = BUNDLE(
        "batch",
        "{\"search\":{\"x\":[\"resource\",{\"resource\":1}]},"
        "\"fullUrl\":\"urn:uuid:1\", \"\\u0072esource\" : "
        "{\"resourceType\":\"Patient\",\"active\":true} "
        ",\"request\":{\"method\":\"POST\",\"url\":\"Patient\","
        "\"ifNoneExist\":\"identifier=1\",\"ifMatch\":\"W/\\\"3\\\"\"}}");
    struct fhir_doc *doc = read_ok(body, sizeof(body) - 1);
    struct fhir_item *item = fhir_doc_item(doc, 0);
    static const char want[] = "{\"resourceType\":\"Patient\",\"active\":true}";
    struct outcome o;

    (void)state;
    print_issues(&item->outcome);
    assert_int_equal(item->outcome.count, 0);
    assert_string_equal(item->full_url, "urn:uuid:1");
    assert_string_equal(item->if_none_exist, "identifier=1");
    assert_string_equal(item->if_match, "W/\"3\"");
    assert_int_equal(item->len, sizeof(want) - 1);
    assert_memory_equal(body + item->offset, want, sizeof(want) - 1);
    fhir_doc_free(doc);

    doc = NULL;
    reader.entries_max = 0;
    outcome_init(&o);
    assert_int_equal(fhir_read(&reader, body, sizeof(body) - 1, &o, &doc),
                     ERR_LIMIT);
    reader.entries_max = 100;
    assert_null(doc);
    assert_int_equal(o.status, 422);
    assert_string_equal(o.issues[0].word, "too-many");
}

/* ---- bytes ------------------------------------------------------------ */

static void digest_of(const char *body, unsigned char digest[32])
{
    struct fhir_doc *doc = read_ok(body, strlen(body));

    memcpy(digest, fhir_doc_item(doc, 0)->digest, 32);
    fhir_doc_free(doc);
}

static void test_digest(void **state)
{
    /* printf '{"active":true,"resourceType":"Patient"}' | sha256sum */
    static const unsigned char want[32] = {
        0x9c, 0x3f, 0x87, 0x4f, 0xab, 0xad, 0xf3, 0x5c, 0x07, 0x49, 0xfb,
        0xc0, 0x65, 0xb7, 0x23, 0x3c, 0x1a, 0x12, 0x40, 0xc9, 0x77, 0x51,
        0x96, 0x1e, 0xdd, 0x1a, 0xb5, 0xb2, 0x6a, 0x08, 0x92, 0xad
    };
    unsigned char a[32], b[32];

    (void)state;
    digest_of("{\"resourceType\":\"Patient\",\"active\":true}", a);
    assert_memory_equal(a, want, 32);
    digest_of("{ \"meta\":{\"versionId\":\"2\"},\"active\" : true,\"id\":\"x\","
              "\"resourceType\":\"Patient\" }",
              b);
    assert_memory_equal(a, b, 32);
    digest_of("{\"resourceType\":\"Patient\",\"active\":false}", b);
    assert_memory_not_equal(a, b, 32);
}

static const struct {
    const char *name, *json, *id, *meta, *want; /* want NULL: ERR_FORM */
} respells[] = {
    { "digits stay", "{\"resourceType\":\"X\",\"id\":\"a\",\"v\":1.50e0}", "b",
      "{\"versionId\":\"1\"}",
      "{\"resourceType\":\"X\",\"id\":\"b\",\"meta\":{\"versionId\":\"1\"},"
      "\"v\":1.50e0}" },
    { "added where there was none", "{\"v\" : [1, 2],\"resourceType\":\"X\"}",
      "b", NULL, "{\"resourceType\":\"X\",\"id\":\"b\",\"v\" : [1, 2]}" },
    { "taken away", "{\"meta\":{\"a\":\"}\\\"\"},\"resourceType\":\"X\"}", NULL,
      NULL, "{\"resourceType\":\"X\"}" },
    { "inner ids stay", " {\"resourceType\":\"X\",\"c\":[{\"id\":\"i\"}]} ",
      "b", NULL,
      "{\"resourceType\":\"X\",\"id\":\"b\",\"c\":[{\"id\":\"i\"}]}" },
    { "id with quotes", "{\"resourceType\":\"X\"}", "a\"b", NULL, NULL },
    { "not an object", "[]", "b", NULL, NULL },
    { "no type", "{\"id\":\"a\"}", "b", NULL, NULL },
    { "nothing", "", "b", NULL, NULL },
};

static void test_respell(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 10000);
    for (size_t i = 0; i < COUNT(respells); i++) {
        ROW(respells[i].name);
        buf_empty(&out);
        assert_int_equal(fhir_respell(respells[i].json,
                                      strlen(respells[i].json), respells[i].id,
                                      respells[i].meta, &out),
                         respells[i].want != NULL ? ERR_OK : ERR_FORM);
        if (respells[i].want != NULL)
            assert_string_equal(out.data, respells[i].want);
    }
    buf_clear(&out);
    buf_init(&out, 10);
    assert_int_equal(
        fhir_respell("{\"resourceType\":\"X\"}", 20, "b", NULL, &out),
        ERR_LIMIT);
    buf_clear(&out);
}

/* A body cut anywhere is refused, and nothing beyond the cut is read: each
 * piece is in memory of just its size, for the address sanitizer to see. */
static void test_cut(void **state)
{
    static const char *const files[] = { "obs-06-panel-components.json",
                                         "bundle-batch-in.json" };

    (void)state;
    for (size_t f = 0; f < COUNT(files); f++) {
        size_t len;
        char *body = load(files[f], &len);

        while (len > 0 && body[len - 1] != '}')
            len--;
        for (size_t cut = 0; cut < len; cut++) {
            char *piece = malloc(cut > 0 ? cut : 1);
            struct fhir_doc *doc = NULL;
            struct outcome o;

            assert_non_null(piece);
            memcpy(piece, body, cut);
            outcome_init(&o);
            assert_int_equal(fhir_read(&reader, piece, cut, &o, &doc),
                             ERR_FORM);
            assert_int_equal(o.status, 400);
            assert_null(doc);
            free(piece);
        }
        free(body);
    }
}

/* Each request of the parser for memory fails in turn. */
static void test_memory(void **state)
{
    enum err e = ERR_MEMORY;
    size_t len;
    char *body = load("bundle-batch-in.json", &len);

    (void)state;
    for (fail_at = 1; e != ERR_OK; fail_at++) {
        struct fhir_doc *doc = NULL;
        struct outcome o;

        allocated = 0;
        outcome_init(&o);
        e = fhir_read(&reader, body, len, &o, &doc);
        assert_int_equal(e, allocated < fail_at ? ERR_OK : ERR_MEMORY);
        assert_int_equal(o.count, 0);
        fhir_doc_free(doc);
    }
    fail_at = 0;
    free(body);
}

/* The list of issues has a ceiling, and errors come before what is not. */
static void test_outcome(void **state)
{
    struct outcome o;

    (void)state;
    outcome_init(&o);
    for (int i = 0; i < OUTCOME_ISSUES_MAX + 3; i++)
        outcome_add(&o, SEV_INFORMATION, "code-unknown", "A", "%d", i);
    assert_int_equal(o.count, OUTCOME_ISSUES_MAX);
    assert_int_equal(o.dropped, 3);
    assert_false(outcome_refuses(&o));
    outcome_add(&o, SEV_ERROR, "unit", "B", "unit");
    assert_int_equal(o.status, 422);
    assert_int_equal(o.dropped, 4);
    assert_non_null(find_issue(&o, "unit", "B"));
    outcome_add(&o, SEV_ERROR, "bad-value", "C", "value");
    assert_int_equal(o.status, 422);
    assert_non_null(find_issue(&o, "bad-value", "C"));
    assert_non_null(find_issue(&o, "unit", "B"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_readings), cmocka_unit_test(test_wholes),
        cmocka_unit_test(test_details),  cmocka_unit_test(test_refused_files),
        cmocka_unit_test(test_bodies),   cmocka_unit_test(test_nul_and_depth),
        cmocka_unit_test(test_ones),     cmocka_unit_test(test_hints),
        cmocka_unit_test(test_periods),  cmocka_unit_test(test_name_order),
        cmocka_unit_test(test_too_many), cmocka_unit_test(test_body_structure),
        cmocka_unit_test(test_patient),  cmocka_unit_test(test_other_types),
        cmocka_unit_test(test_batch),    cmocka_unit_test(test_patch_entry),
        cmocka_unit_test(test_entries),  cmocka_unit_test(test_entry_extras),
        cmocka_unit_test(test_digest),   cmocka_unit_test(test_respell),
        cmocka_unit_test(test_cut),      cmocka_unit_test(test_memory),
        cmocka_unit_test(test_outcome),
    };

    return cmocka_run_group_tests(tests, setup, teardown);
}
