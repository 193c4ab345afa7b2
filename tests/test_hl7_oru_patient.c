#include "tests/hl7_oru_kit.h"

#define RESULT OBR "OBX|1|NM|FLOW^^L|A|900|mL/min^^UCUM|||||F\r"

static void take_pid(const char *pid)
{
    char text[4096];

    snprintf(text, sizeof(text), MSH "%s\r" RESULT, pid);
    take(text);
}

/* ---- numbers ----------------------------------------------------------- */

static void test_number(void **state)
{
    static const struct {
        const char *authority, *type, *pid;
        const char *number; /* NULL: refused */
        enum hl7_error code;
    } rows[] = {
        { "", "", "PID|1||1001", "1001", 0 },
        { "", "", "PID|1||1001~1001^^^OTHER", "1001", 0 },
        { "", "", "PID|1||~1001", "1001", 0 },
        { "", "", "PID|1||1001~1002", NULL, HL7_UNKNOWN_KEY },
        { "", "", "PID|1||1001^^^HALLN~1001^^^OTHER", NULL, HL7_UNKNOWN_KEY },
        { "", "", "PID|1||", NULL, HL7_MISSING },
        { "", "", "PID|1", NULL, HL7_MISSING },
        { "", "", "PID|1||\"\"", NULL, HL7_UNKNOWN_KEY },
        { "", "", "PID|1||^^^HALLN^MR", NULL, HL7_UNKNOWN_KEY },
        { "HALLN", "", "PID|1||7^^^OTHER~1001^^^HALLN&2.999&ISO", "1001", 0 },
        { "HALLN", "", "PID|1||7^^^OTHER", NULL, HL7_UNKNOWN_KEY },
        { "", "MR", "PID|1||7^^^HALLN^PI~1001^^^HALLN^MR", "1001", 0 },
        { "HALLN", "MR", "PID|1||7^^^HALLN^PI~1001^^^HALLN^MR~8^^^X^MR", "1001",
          0 },
        { "HALLN", "MR", "PID|1||1^^^HALLN^MR~2^^^HALLN^MR", NULL,
          HL7_UNKNOWN_KEY },
        { "HALLN", "MR", "PID|1||1^^^HALLN^PI~2^^^X^MR", NULL,
          HL7_UNKNOWN_KEY },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].pid);
        snprintf(profile.patient_authority, sizeof(profile.patient_authority),
                 "%s", rows[i].authority);
        snprintf(profile.patient_type, sizeof(profile.patient_type), "%s",
                 rows[i].type);
        take_pid(rows[i].pid);
        if (rows[i].number == NULL) {
            assert_int_equal(oru.bundle.len, 0);
            assert_false(oru.has_patient);
            assert_int_equal(oru.issues.errors, 1);
            assert_issue(0, HL7_ERROR, rows[i].code, "PID[1]-3");
            continue;
        }
        assert_true(oru.has_patient);
        assert_text(0, "identifier.0.value", rows[i].number);
        assert_text(1, "subject.identifier.value", rows[i].number);
        assert_text(1, "subject.type", "Patient");
    }
}

/*
 * Whose numbers they are: PID-3.4 is the assigning authority, an HD of name and
 * identifier; MSH-4 names the facility (HL7 v2.5.1, 2.A.14, 2.A.33 and
 * 2.15.9.4).  How a URI names them is our own.
 */
static void test_number_space(void **state)
{
#define HALL "urn:headgate:hl7:hall-north:patient"
    static const struct {
        const char *name, *system, *facility, *authority, *type;
        const char *three, *four, *pid;
        const char *want; /* NULL: refused */
    } rows[] = {
        { "a hall of the settings", "", "HALLN", "", "", "S", "HALLN",
          "PID|1||1001", HALL },
        { "many halls", "", "", "", "", "S", "EAST", "PID|1||1001",
          HALL ":S:EAST" },
        { "many machines", "", "", "", "", "T", "EAST", "PID|1||1001",
          HALL ":T:EAST" },
        { "by identifiers", "", "", "", "", "^1.2^ISO", "^1.3^ISO",
          "PID|1||1001", HALL ":1.2:1.3" },
        { "odd names", "", "", "", "", "A:B", "E\xc3\xa4", "PID|1||1001",
          HALL ":A%3AB:E%C3%A4" },
        { "no names", "", "", "", "", "", "", "PID|1||1001", HALL },
        { "an authority", "", "", "", "", "S", "EAST", "PID|1||1001^^^CITY",
          HALL ":CITY" },
        { "an authority of a hall", "", "HALLN", "", "MR", "S", "HALLN",
          "PID|1||1001^^^CITY^MR", HALL ":CITY" },
        { "an authority by identifier", "", "HALLN", "", "", "S", "HALLN",
          "PID|1||1001^^^&2.999&ISO", HALL ":2.999" },
        { "said twice, once whose", "", "HALLN", "", "", "S", "HALLN",
          "PID|1||1001~1001^^^CITY", HALL ":CITY" },
        { "deleted", "", "HALLN", "", "", "S", "HALLN", "PID|1||1001^^^\"\"",
          HALL },
        { "an authority of the settings", "", "", "CITY", "", "S", "EAST",
          "PID|1||1001^^^CITY", HALL },
        { "a system of the settings", "https://site.example/ids", "", "", "",
          "S", "EAST", "PID|1||1001^^^CITY", "https://site.example/ids" },
        { "and all of it counts alike", "https://site.example/ids", "", "", "",
          "S", "EAST", "PID|1||1001^^^CITY~1001^^^TOWN",
          "https://site.example/ids" },
        { "too long", "", "", "", "", "S",
          "12345678901234567890123456789012345678901234567890123456789012345",
          "PID|1||1001", NULL },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char text[2048];

        ROW(rows[i].name);
        snprintf(profile.patient_system, sizeof(profile.patient_system), "%s",
                 rows[i].system);
        snprintf(profile.facility, sizeof(profile.facility), "%s",
                 rows[i].facility);
        snprintf(profile.patient_authority, sizeof(profile.patient_authority),
                 "%s", rows[i].authority);
        snprintf(profile.patient_type, sizeof(profile.patient_type), "%s",
                 rows[i].type);
        snprintf(text, sizeof(text),
                 "MSH|^~\\&|%s|%s|HEADGATE|UNIT|20260304123000||ORU^R01|N-1|P|"
                 "2.5.1||||||UNICODE UTF-8\r%s\r" RESULT,
                 rows[i].three, rows[i].four, rows[i].pid);
        take(text);
        if (rows[i].want == NULL) {
            assert_int_equal(oru.bundle.len, 0);
            assert_issue(0, HL7_ERROR, HL7_TOO_LONG, "PID[1]-3");
            continue;
        }
        assert_text(0, "identifier.0.system", rows[i].want);
        assert_text(1, "subject.identifier.system", rows[i].want);
    }
#undef HALL
}

static const char *request(size_t entry, const char *key)
{
    json_t *e = json_array_get(json_object_get(bundle, "entry"), entry);
    const char *text =
        json_string_value(json_object_get(json_object_get(e, "request"), key));

    return text != NULL ? text : "";
}

static void test_request(void **state)
{
    char longest[256];

    (void)state;
    snprintf(profile.patient_system, sizeof(profile.patient_system),
             "https://hall-north.example/ids");
    take_pid("PID|1||A 1+2\\T\\3=|4%");
    assert_text(0, "identifier.0.value", "A 1+2&3=");
    assert_string_equal(request(0, "method"), "POST");
    assert_string_equal(request(0, "url"), "Patient");
    /* percent-encoded by RFC 3986, so that '&' and '+' stay themselves */
    assert_string_equal(
        request(0, "ifNoneExist"),
        "identifier=https%3A%2F%2Fhall-north.example%2Fids%7CA%201%2B2%263%3D");
    assert_string_equal(request(1, "url"), "Observation");
    assert_string_equal(request(1, "ifNoneExist"), "");

    memset(longest, '7', sizeof(longest));
    memcpy(longest, "PID|1||", 7);
    longest[7 + 200] = '\0';
    take_pid(longest);
    assert_int_equal(oru.issues.errors, 0);
    longest[7 + 200] = '7';
    longest[7 + 201] = '\0';
    take_pid(longest);
    assert_issue(0, HL7_ERROR, HL7_TOO_LONG, "PID[1]-3");
}

/* ---- demographics ------------------------------------------------------ */

static void test_person(void **state)
{
    (void)state;
    take_pid(
        "PID|1||1001||Alias^A^^^^^A~van Muster&van&Muster^Anna^Maria^jr^Dr^"
        "^L||19520714|F");
    assert_text(0, "name.0.family", "van Muster");
    assert_text(0, "name.0.given.0", "Anna");
    assert_text(0, "name.0.given.1", "Maria");
    assert_text(0, "name.0.prefix.0", "Dr");
    assert_text(0, "name.0.suffix.0", "jr");
    assert_text(0, "birthDate", "1952-07-14");
    assert_text(0, "gender", "female");
    assert_text(0, "managingOrganization.display", "Hall North");
    assert_text(0, "meta.source", BASE "/hl7/hall-north");
    assert_text(1, "meta.source", BASE "/hl7/hall-north");

    profile.unit[0] = '\0';
    take_pid("PID|1||1001||&de&Vries^\"\"||1952071408|X");
    assert_text(0, "name.0.family", "de Vries");
    assert_absent(0, "name.0.given");
    assert_text(0, "birthDate", "1952-07-14");
    assert_absent(0, "gender");
    assert_text(0, "managingOrganization.display", "hall-north");

    take_pid("PID|1||1001||\"\"||1952|U");
    assert_absent(0, "name");
    assert_text(0, "birthDate", "1952");
    assert_text(0, "gender", "unknown");

    take_pid("PID|1||1001||||19521301");
    assert_absent(0, "birthDate");
    assert_int_equal(oru.issues.errors, 0);
    assert_issue(0, HL7_WARNING, HL7_DATA_TYPE, "PID[1]-7");
}

/*
 * PID-29 is deceasedDateTime and, where it is empty, PID-30 deceasedBoolean:
 * HL7's map of PID to Patient (v2-to-FHIR).  Table 0136 has Y and N.  What is
 * not to be believed: R4's extension data-absent-reason, code error.
 */
static void test_death(void **state)
{
    static const struct {
        const char *name, *died, *is_dead;
        const char *time, *boolean; /* NULL: absent */
        const char *at;             /* of a warning; NULL: none */
    } rows[] = {
        { "nothing", "", "", NULL, NULL, NULL },
        { "yes", "", "Y", NULL, "true", NULL },
        { "no", "", "N", NULL, "false", NULL },
        { "a day", "20260301", "", "2026-03-01", NULL, NULL },
        { "a month", "202603", "Y", "2026-03", NULL, NULL },
        { "cut off", "20260301^D", "Y", "2026-03-01", NULL, NULL },
        { "a time, with an offset", "20260301083000+0000", "Y",
          "2026-03-01T08:30:00Z", NULL, NULL },
        { "taken back", "\"\"", "", NULL, "false", NULL },
        { "taken back there", "", "\"\"", NULL, "false", NULL },
        { "the time taken back", "\"\"", "Y", NULL, "true", NULL },
        { "no time that can be", "20261301", "Y", NULL, NULL, "PID[1]-29" },
        { "both, and not dead", "20260301", "N", NULL, NULL, "PID[1]-30" },
        { "another code", "", "U", NULL, NULL, "PID[1]-30" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char pid[256];

        ROW(rows[i].name);
        snprintf(pid, sizeof(pid),
                 "PID|1||1001||A||||||||||||||||||||||||%s|%s", rows[i].died,
                 rows[i].is_dead);
        take_pid(pid);
        assert_int_equal(oru.issues.errors, 0);
        if (rows[i].time != NULL)
            assert_text(0, "deceasedDateTime", rows[i].time);
        else
            assert_absent(0, "deceasedDateTime");
        if (rows[i].boolean == NULL)
            assert_absent(0, "deceasedBoolean");
        else
            assert_int_equal(strstr(oru.bundle.data,
                                    rows[i].boolean[0] == 't'
                                        ? "\"deceasedBoolean\":true"
                                        : "\"deceasedBoolean\":false") != NULL,
                             true);
        if (rows[i].at == NULL) {
            assert_absent(0, "_deceasedDateTime");
            continue;
        }
        assert_text(0, "_deceasedDateTime.extension.0.valueCode", "error");
        assert_issue(0, HL7_WARNING, HL7_DATA_TYPE, rows[i].at);
    }
}

/* HL7's ConceptMap table-hl70001-to-administrative-gender (v2-to-FHIR,
 * mappings/codesystems, AdministrativeSex). */
static void test_gender(void **state)
{
    static const char *const rows[][2] = {
        { "F", "female" },  { "M", "male" },  { "O", "other" },
        { "U", "unknown" }, { "A", "other" }, { "N", "other" },
        { "f", "" },        { "", "" }
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char pid[64];

        snprintf(pid, sizeof(pid), "PID|1||1001|||||%s", rows[i][0]);
        take_pid(pid);
        assert_text(0, "gender", rows[i][1]);
    }
}

/* ---- order of the segments --------------------------------------------- */

static void test_several(void **state)
{
    (void)state;
    take(MSH "PID|1||1001\r" RESULT "PID|2\r" RESULT "PID|3||1003\r" RESULT);
    assert_int_equal(oru.entry_count, 4);
    assert_text(0, "identifier.0.value", "1001");
    assert_text(1, "subject.identifier.value", "1001");
    assert_text(2, "identifier.0.value", "1003");
    assert_text(3, "subject.identifier.value", "1003");
    assert_string_equal(oru.entries[2].place.segment, "PID");
    assert_int_equal(oru.entries[2].place.sequence, 3);
    assert_string_equal(oru.entries[3].place.segment, "OBX");
    assert_int_equal(oru.entries[3].place.sequence, 3);
    assert_int_equal(oru.issues.errors, 1);
    assert_issue(0, HL7_ERROR, HL7_MISSING, "PID[2]-3");
}

static void test_segments(void **state)
{
    (void)state;
    take(MSH OBR "OBX|1|NM|FLOW^^L||900||||||F\r");
    assert_int_equal(oru.bundle.len, 0);
    assert_int_equal(oru.issues.errors, 1);
    assert_issue(0, HL7_ERROR, HL7_SEQUENCE, "PID[1]");

    take(MSH PID "OBX|1|NM|FLOW^^L||900||||||F|||20260304\r" RESULT);
    assert_int_equal(oru.entry_count, 2);
    assert_issue(0, HL7_ERROR, HL7_SEQUENCE, "OBX[1]");

    /* the order of one patient is not that of the next */
    take(MSH PID RESULT "PID|2||1002\rOBX|1|NM|FLOW^^L||900||||||F\r");
    assert_issue(0, HL7_ERROR, HL7_SEQUENCE, "OBX[2]");

    /* nothing measured: nobody is made known */
    take(MSH PID OBR);
    assert_int_equal(oru.bundle.len, 0);
    assert_false(oru.has_patient);
    assert_int_equal(oru.issues.count, 0);

    /* other segments are let pass */
    take(MSH "SFT|1\r" PID "PV1|1|O\rNTE|1||of the patient\rORC|RE\r" OBR
             "NTE|1||of the order\rTQ1|1\r"
             "OBX|1|NM|FLOW^^L||900||||||F\rNTE|1||of the result\rSPM|1\r"
             "ZZZ|1\r");
    assert_int_equal(oru.entry_count, 2);
    assert_int_equal(oru.issues.count, 0);
    assert_text(1, "note.0.text", "of the result");
    assert_absent(1, "note.1");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_number, fresh),
        cmocka_unit_test_setup(test_number_space, fresh),
        cmocka_unit_test_setup(test_request, fresh),
        cmocka_unit_test_setup(test_person, fresh),
        cmocka_unit_test_setup(test_gender, fresh),
        cmocka_unit_test_setup(test_several, fresh),
        cmocka_unit_test_setup(test_segments, fresh),
        cmocka_unit_test_setup(test_death, fresh),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
