#include "tests/hl7_oru_kit.h"

static void take_value(const char *type, const char *value, const char *unit)
{
    char obx[4096];

    snprintf(obx, sizeof(obx), "OBX|1|%s|FLOW^Flow^L|A|%s|%s|||||F", type,
             value, unit);
    take_obx(obx);
}

static void test_coded(void **state)
{
    char base[64], second[80];

    (void)state;
    take_value("CWE",
               "cold^Cold hand^L~numb^Numb^L^44077006^Numbness^SCT~~"
               "^^^^^^^^something else",
               "");
    assert_int_equal(oru.entry_count, 4);
    assert_text(1, "valueCodeableConcept.coding.0.system",
                "urn:headgate:hl7:hall-north:L");
    assert_text(1, "valueCodeableConcept.coding.0.code", "cold");
    assert_text(1, "valueCodeableConcept.text", "Cold hand");
    assert_text(2, "valueCodeableConcept.coding.1.system", CODES_SCT);
    assert_text(2, "valueCodeableConcept.coding.1.code", "44077006");
    assert_absent(3, "valueCodeableConcept.coding");
    assert_text(3, "valueCodeableConcept.text", "something else");
    /* the first goes by the name of the result, others by their number */
    snprintf(base, sizeof(base), "%s", text_at(1, "identifier.0.value"));
    snprintf(second, sizeof(second), "%s#2", base);
    assert_text(2, "identifier.0.value", second);
    snprintf(second, sizeof(second), "%s#4", base);
    assert_text(3, "identifier.0.value", second);
    assert_false(oru.entries[1].if_known || oru.entries[3].if_known);
}

/* A correction that names fewer symptoms must not leave the others standing:
 * each further repetition is withdrawn where it is known. */
static void test_coded_corrected(void **state)
{
    static const char *const withdrawals[] = {
        "OBX|1|CWE|SYM^^L||cold^Cold^L||||||D",
        "OBX|1|CWE|SYM^^L||||||||W",
        "OBX|1||SYM^^L||||||||D",
    };

    (void)state;
    take_obx("OBX|1|CWE|SYM^^L||cold^Cold^L~~numb^Numb^L||||||C");
    assert_int_equal(oru.entry_count, 1 + HL7_REPETITIONS_MAX);
    for (size_t i = 1; i <= HL7_REPETITIONS_MAX; i++) {
        bool there = i == 1 || i == 3;

        assert_int_equal(oru.entries[i].if_known, !there);
        assert_text(i, "status", there ? "corrected" : "entered-in-error");
        assert_int_equal(at(resource(i), "valueCodeableConcept") != NULL,
                         there);
    }
    for (size_t k = 0; k < COUNT(withdrawals); k++) {
        ROW(withdrawals[k]);
        take_obx(withdrawals[k]);
        assert_int_equal(oru.entry_count, 1 + HL7_REPETITIONS_MAX);
        for (size_t i = 1; i <= HL7_REPETITIONS_MAX; i++) {
            assert_int_equal(oru.entries[i].if_known, i > 1);
            assert_text(i, "status", "entered-in-error");
        }
    }
    take_obx("OBX|1||SYM^^L||||||||X");
    assert_int_equal(oru.entry_count, 2);
    /* a number has no repetitions, and a first report replaces nothing */
    take_obx("OBX|1|NM|FLOW^^L||900||||||C");
    assert_int_equal(oru.entry_count, 2);
    take_obx("OBX|1|CWE|SYM^^L||cold^Cold^L||||||F");
    assert_int_equal(oru.entry_count, 2);
    /* without a value: promoted, all of them */
    take_obx("OBX|1|CWE|SYM^^L||||||||U");
    assert_int_equal(oru.entry_count, 1 + HL7_REPETITIONS_MAX);
    assert_true(oru.entries[5].promote && oru.entries[5].if_known);
    assert_text(5, "status", "final");
}

static void test_too_many_codes(void **state)
{
    (void)state;
    take_value("CWE", "a~b~c~d~e~f~g~h~i~j~k", "");
    assert_int_equal(oru.entry_count, 1 + HL7_REPETITIONS_MAX);
    assert_issue(0, HL7_ERROR, HL7_TOO_LONG, "OBX[1]-5[11]");
}

/* FHIR R4, code: words with one blank between.  Anything else is a text. */
static void test_odd_codes(void **state)
{
    static const struct {
        const char *value, *code, *text;
    } rows[] = {
        { "two words", "two words", "two words" },
        { "two  blanks", "", "two  blanks" },
        { " before", "", " before" },
        { "after ", "", "after " },
        { "line\\.br\\feed", "", "line\nfeed" },
        { "hard\xc2\xa0"
          "blank",
          "", "hard blank" },
        { "gr\xc3\xbc\xc3\x9f", "gr\xc3\xbc\xc3\x9f", "gr\xc3\xbc\xc3\x9f" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].value);
        take_value(i % 2 == 0 ? "CWE" : "IS", rows[i].value, "");
        assert_text(1, "valueCodeableConcept.coding.0.code", rows[i].code);
        assert_text(1, "valueCodeableConcept.text", rows[i].text);
    }
}

/* Table 0396 names and the URIs of FHIR R4 (terminologies-systems) and HL7
 * Terminology; what is not listed stays a name of its sender's. */
static void test_systems(void **state)
{
    static const struct {
        const char *name, *uri;
    } rows[] = {
        { "LN", "http://loinc.org" },
        { "SCT", "http://snomed.info/sct" },
        { "MDC", "urn:iso:std:iso:11073:10101" },
        { "UCUM", "http://unitsofmeasure.org" },
        { "I9CDX", "http://hl7.org/fhir/sid/icd-9-cm" },
        { "I10", "http://hl7.org/fhir/sid/icd-10" },
        { "I10C", "http://hl7.org/fhir/sid/icd-10-cm" },
        { "HL70078", "http://terminology.hl7.org/CodeSystem/v2-0078" },
        { "HL7007", "urn:headgate:hl7:hall-north:HL7007" },
        { "HL7007x", "urn:headgate:hl7:hall-north:HL7007x" },
        { "L", "urn:headgate:hl7:hall-north:L" },
        { "99HG", "https://hall-north.example/codes" },
        { "ln", "urn:headgate:hl7:hall-north:ln" },
        { "", "urn:headgate:hl7:hall-north:" },
        { "a b:c/\xc3\xa4", "urn:headgate:hl7:hall-north:a%20b%3Ac%2F%C3%A4" },
    };
    struct buf uri;

    (void)state;
    snprintf(profile.systems[0].name, sizeof(profile.systems[0].name), "99HG");
    snprintf(profile.systems[0].uri, sizeof(profile.systems[0].uri),
             "https://hall-north.example/codes");
    profile.system_count = 1;
    buf_init(&uri, 4096);
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].name);
        buf_empty(&uri);
        hl7_system_uri(&profile, rows[i].name, &uri);
        assert_string_equal(uri.data, rows[i].uri);
    }
    /* the settings go before the standard */
    snprintf(profile.systems[0].name, sizeof(profile.systems[0].name), "LN");
    buf_empty(&uri);
    hl7_system_uri(&profile, "LN", &uri);
    assert_string_equal(uri.data, "https://hall-north.example/codes");
    buf_clear(&uri);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_coded, fresh),
        cmocka_unit_test_setup(test_coded_corrected, fresh),
        cmocka_unit_test_setup(test_too_many_codes, fresh),
        cmocka_unit_test_setup(test_odd_codes, fresh),
        cmocka_unit_test_setup(test_systems, fresh),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
