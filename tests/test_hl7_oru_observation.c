#include "tests/hl7_oru_kit.h"

/* ---- when -------------------------------------------------------------- */

static void take_times(const char *obr_7, const char *obr_8, const char *obr_22,
                       const char *obx_14)
{
    char text[1024];

    snprintf(text, sizeof(text),
             MSH PID "OBR|1||S-1|SESSION|||%s|%s||||||||||||||%s\r"
                     "OBX|1|NM|FLOW^^L||900||||||F|||%s\r",
             obr_7, obr_8, obr_22, obx_14);
    take(text);
}

static void test_effective(void **state)
{
    (void)state;
    take_times("20260304080000", "20260304120000", "", "20260304091500");
    assert_text(1, "effectiveDateTime", "2026-03-04T09:15:00+01:00");
    assert_absent(1, "effectivePeriod");
    take_times("20260304080000", "20260304120000", "", "");
    assert_text(1, "effectivePeriod.start", "2026-03-04T08:00:00+01:00");
    assert_text(1, "effectivePeriod.end", "2026-03-04T12:00:00+01:00");
    take_times("20260304080000", "", "", "");
    assert_text(1, "effectiveDateTime", "2026-03-04T08:00:00+01:00");
    take_times("20260304", "", "", "");
    assert_text(1, "effectiveDateTime", "2026-03-04");
    take_times("", "", "", "202603");
    assert_text(1, "effectiveDateTime", "2026-03");
    take_times("", "", "", "2026030409");
    assert_text(1, "effectivePeriod.start", "2026-03-04T09:00:00+01:00");
    assert_text(1, "effectivePeriod.end", "2026-03-04T09:59:59+01:00");
    assert_int_equal(oru.issues.count, 0);
    /* ends before it starts: R4 per-1 */
    take_times("20260304120000", "20260304080000", "", "");
    assert_text(1, "effectiveDateTime", "2026-03-04T12:00:00+01:00");
    assert_issue(0, HL7_WARNING, HL7_DATA_TYPE, "OBR[1]-8");
}

static void test_no_time(void **state)
{
    static const struct {
        const char *obr_7, *obr_8, *obx_14;
        enum hl7_error code;
        const char *place;
    } rows[] = {
        { "", "", "", HL7_MISSING, "OBX[1]-14" },
        { "", "20260304", "", HL7_MISSING, "OBX[1]-14" },
        { "\"\"", "", "\"\"", HL7_MISSING, "OBX[1]-14" },
        { "20260304", "", "20260230", HL7_DATA_TYPE, "OBX[1]-14" },
        { "20260304", "", "yesterday", HL7_DATA_TYPE, "OBX[1]-14" },
        { "2026-03-04", "", "", HL7_DATA_TYPE, "OBR[1]-7" },
        { "18500101", "", "", HL7_DATA_TYPE, "OBR[1]-7" },
        { "20260304", "20260399", "", HL7_DATA_TYPE, "OBR[1]-8" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        print_message("    %zu\n", i);
        take_times(rows[i].obr_7, rows[i].obr_8, "", rows[i].obx_14);
        assert_int_equal(oru.entry_count, 0);
        assert_int_equal(oru.issues.errors, 1);
        assert_issue(0, HL7_ERROR, rows[i].code, rows[i].place);
    }
}

/* OBR-22, else MSH-7 (12:30 in the kit): an instant of FHIR, so to the minute
 * at least. */
static void test_issued(void **state)
{
    (void)state;
    take_times("20260304", "", "202603041015", "");
    assert_text(1, "issued", "2026-03-04T10:15:00+01:00");
    take_times("20260304", "", "", "");
    assert_text(1, "issued", "2026-03-04T12:30:00+01:00");
    take_times("20260304", "", "20260304", "");
    assert_text(1, "issued", "2026-03-04T12:30:00+01:00");
    take_times("20260304", "", "soon", "");
    assert_text(1, "issued", "2026-03-04T12:30:00+01:00");
    take("MSH|^~\\&|S|F|||20260304||ORU^R01|1|P|2.5\r" PID OBR
         "OBX|1|NM|FLOW^^L||900||||||F\r");
    assert_absent(1, "issued");
}

/* ---- where ------------------------------------------------------------- */

static void take_site(enum hl7_access_field field, const char *system)
{
    profile.access_field = field;
    snprintf(profile.access_system, sizeof(profile.access_system), "%s",
             system);
    take(MSH PID "OBR|1||S-1|SESSION|||20260304||||||||^^^LUA&Left upper "
                 "arm&L\r"
                 "OBX|1|NM|FLOW^^L|A-7|900||||||F|||||||||RH^Right hand^L\r");
}

static void test_access(void **state)
{
    static const char system[] = "https://hall-north.example/access";

    (void)state;
    take_site(HL7_ACCESS_OBX_4, system);
    assert_text(1, "focus.0.identifier.system", system);
    assert_text(1, "focus.0.identifier.value", "A-7");
    assert_text(1, "focus.0.type", "BodyStructure");
    assert_text(1, "bodySite.text", "Right hand");
    take_site(HL7_ACCESS_OBX_20, system);
    assert_text(1, "focus.0.identifier.value", "RH");
    assert_absent(1, "bodySite");
    take_site(HL7_ACCESS_OBR_15, system);
    assert_text(1, "focus.0.identifier.value", "LUA");
    assert_text(1, "bodySite.text", "Right hand");
    take_site(HL7_ACCESS_NONE, system);
    assert_absent(1, "focus");
    assert_text(1, "bodySite.coding.0.code", "RH");

    take_site(HL7_ACCESS_OBX_4, "");
    assert_absent(1, "focus");
    assert_text(1, "bodySite.text", "A-7");
    assert_absent(1, "bodySite.coding");
    take_site(HL7_ACCESS_OBX_20, "");
    assert_text(1, "bodySite.text", "Right hand");
    take_site(HL7_ACCESS_OBR_15, "");
    assert_text(1, "bodySite.text", "Left upper arm");
    assert_text(1, "bodySite.coding.0.code", "LUA");
    assert_text(1, "bodySite.coding.0.system", "urn:headgate:hl7:hall-north:L");
}

/*
 * Sub-ids of IHE PCD-01 (PCD TF-2, appendix B.8: dot notation of the containment
 * of ISO/IEEE 11073-10201, from memory) name no access.
 */
static void test_containment(void **state)
{
    static const struct {
        const char *text;
        bool path;
    } rows[] = { { "1.0.0.1", true }, { "1.1.3.2", true },
                 { "1.2.1", true },   { "1.1.3.2.1.1", true },
                 { "12.1", true },    { "12", false },
                 { "A-7", false },    { "A.7", false },
                 { "1..2", false },   { "1.2.", false },
                 { ".1", false },     { "1.2b", false } };

    (void)state;
    for (size_t i = 0; i < 2 * COUNT(rows); i++) {
        const char *text = rows[i / 2].text;
        bool numbers = i % 2 == 0;
        char text_of[512];

        ROW(text);
        if (!numbers)
            profile.access_system[0] = '\0'; /* a body site */
        snprintf(text_of, sizeof(text_of),
                 MSH PID OBR "OBX|1|NM|FLOW^^L|%s|900||||||F\r"
                             "OBX|2|NM|QB^^L|%s|300||||||F\r",
                 text, text);
        take(text_of);
        default_profile();
        assert_int_equal(oru.entry_count, 3);
        assert_int_equal(oru.issues.count, rows[i / 2].path);
        if (rows[i / 2].path) {
            assert_issue(0, HL7_WARNING, HL7_UNKNOWN_KEY, "OBX[1]-4");
            assert_absent(1, "focus");
            assert_absent(1, "bodySite");
        } else {
            assert_text(1,
                        numbers ? "focus.0.identifier.value" : "bodySite.text",
                        text);
        }
        /* it still tells results apart */
        assert_string_not_equal(text_at(1, "identifier.0.value"),
                                text_at(2, "identifier.0.value"));
    }
}

/* ---- what else is kept ------------------------------------------------- */

/* Fields by HL7's map OBX to Observation (v2-to-FHIR 1.0.0, segments). */
static void test_fields(void **state)
{
    (void)state;
    take_obx(
        "OBX|1|NM|8867-4^Heart rate^LN^PULSE^Puls^L|A|72|/min^^UCUM|60-100|"
        "N~A^Abnormal^HL70078|||F|||||77^Pr\xc3\xbc"
        "fer^Eva~88|UD^ultrasound dilution^L|MON-4^WARD");
    assert_text(1, "code.coding.0.system", CODES_LOINC);
    assert_text(1, "code.coding.0.code", "8867-4");
    assert_text(1, "code.coding.0.display", "Heart rate");
    assert_text(1, "code.coding.1.code", "PULSE");
    assert_text(1, "code.text", "Heart rate");
    assert_text(1, "referenceRange.0.text", "60-100");
    assert_text(1, "interpretation.0.text", "N");
    assert_text(1, "interpretation.1.text", "Abnormal");
    assert_text(1, "performer.0.display",
                "Eva Pr\xc3\xbc"
                "fer");
    assert_text(1, "performer.1.display", "88");
    assert_text(1, "method.coding.0.code", "UD");
    assert_text(1, "method.text", "ultrasound dilution");
    assert_text(1, "device.display", "MON-4 WARD");
}

static void test_code(void **state)
{
    (void)state;
    take_obx("OBX|1|NM|^Heart rate||72||||||F");
    assert_absent(1, "code.coding");
    assert_text(1, "code.text", "Heart rate");
    take_obx("OBX|1|NM|||72||||||F");
    assert_issue(0, HL7_ERROR, HL7_MISSING, "OBX[1]-3");
    take_obx("OBX|1|NM|^^LN||72||||||F");
    assert_issue(0, HL7_ERROR, HL7_MISSING, "OBX[1]-3");
}

static void test_notes(void **state)
{
    static char text[200000];
    size_t len;

    (void)state;
    take_obx("OBX|1|NM|FLOW^^L||72||||||V\rNTE|1||one\\.br\\two~three\rNTE|2\r"
             "NTE|3||four\rOBX|2|NM|FLOW^^L|B|72||||||F");
    assert_text(1, "note.0.text", "Result status V of HL7 v2: verified");
    assert_text(1, "note.1.text", "one\ntwo\nthree");
    assert_text(1, "note.2.text", "four");
    assert_absent(1, "note.3");
    assert_absent(2, "note");

    len = (size_t)snprintf(text, sizeof(text),
                           MSH PID OBR "OBX|1|NM|FLOW^^L||72||||||F\r");
    for (int i = 0; i < 25; i++) {
        len += (size_t)snprintf(text + len, 16, "NTE|1||");
        memset(text + len, 'n', i == 3 ? 5000 : 10);
        len += i == 3 ? 5000 : 10;
        text[len++] = '\r';
    }
    take_bytes(text, len);
    assert_int_equal(strlen(text_at(1, "note.3.text")), 4000);
    assert_int_equal(json_array_size(at(resource(1), "note")), 20);
    assert_int_equal(oru.issues.errors, 0);
    assert_issue(0, HL7_WARNING, HL7_TOO_LONG, "NTE[4]-3");
    assert_issue(1, HL7_WARNING, HL7_TOO_LONG, "NTE[21]-3");
}

/* ---- limits ------------------------------------------------------------ */

static void test_issue_ceiling(void **state)
{
    static struct hl7_issues issues;
    struct hl7_place place = { .segment = "OBX", .sequence = 1 };

    (void)state;
    for (int i = 0; i < HL7_ISSUES_MAX; i++)
        hl7_issue_add(&issues, HL7_WARNING, HL7_DATA_TYPE, "bad-value", &place,
                      "warning %d", i);
    for (int i = 0; i < HL7_ISSUES_MAX + 5; i++)
        hl7_issue_add(&issues, HL7_ERROR, HL7_MISSING, "bad-value", &place,
                      "error %d", i);
    hl7_issue_add(&issues, HL7_INFORMATION, 0, "bad-value", &place, "no room");
    assert_int_equal(issues.count, HL7_ISSUES_MAX);
    assert_int_equal(issues.errors, HL7_ISSUES_MAX + 5);
    assert_int_equal(issues.dropped, HL7_ISSUES_MAX + 6);
    for (int i = 0; i < HL7_ISSUES_MAX; i++)
        assert_int_equal(issues.list[i].severity, HL7_ERROR);
}

static void test_entry_ceiling(void **state)
{
    static const char obx[] = "OBX|1|NM|A^^L||1||||||F\r";
    size_t count = HL7_ENTRIES_MAX, len;
    char *text = malloc(HL7_MESSAGE_MAX);
    struct hl7_fault fault;

    (void)state;
    assert_non_null(text);
    forget();
    len = (size_t)snprintf(text, 1024, MSH PID OBR);
    for (size_t i = 0; i < count; i++, len += sizeof(obx) - 1)
        memcpy(text + len, obx, sizeof(obx) - 1);
    assert_int_equal(hl7_read(text, len, "", &message, &fault), ERR_OK);
    assert_int_equal(hl7_oru_read(message, &profile, BASE, &oru), ERR_LIMIT);
    assert_int_equal(oru.bundle.len, 0);
    assert_null(oru.entries);
    hl7_oru_clear(&oru);
    hl7_free(message);
    message = NULL;
    /* the Patient is one of them */
    take_bytes(text, len - (sizeof(obx) - 1));
    assert_int_equal(oru.entry_count, HL7_ENTRIES_MAX);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_effective, fresh),
        cmocka_unit_test_setup(test_no_time, fresh),
        cmocka_unit_test_setup(test_issued, fresh),
        cmocka_unit_test_setup(test_access, fresh),
        cmocka_unit_test_setup(test_containment, fresh),
        cmocka_unit_test_setup(test_fields, fresh),
        cmocka_unit_test_setup(test_code, fresh),
        cmocka_unit_test_setup(test_notes, fresh),
        cmocka_unit_test_setup(test_issue_ceiling, fresh),
        cmocka_unit_test_setup(test_entry_ceiling, fresh),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
