/*
 * Values of which one could be in doubt: a coded value without a code, two units
 * that differ, a time that the clocks show twice.
 *
 * Sources: HL7 v2.5.1, 2.A.74 and 2.A.75 (CE, CWE: identifier, text, system, and
 * the same as alternate), 2.15.9.7 (MSH-7: the default of the times of its
 * message); v2-to-FHIR guide, IS to CodeableConcept; UCUM for the units that are
 * one (mL and ml).  That two units which differ are no reading is ours.
 */
#include "tests/hl7_oru_kit.h"

static void take_result(const char *type, const char *value, const char *unit)
{
    char obx[1024];

    snprintf(obx, sizeof(obx), "OBX|1|%s|FLOW^Flow^L|A|%s|%s|||||F", type,
             value, unit);
    take_obx(obx);
}

/* What is said without a code is a text, and is not lost. */
static void keeps_text_without_code(void **state)
{
    static const struct {
        const char *type, *value, *code, *text;
    } rows[] = {
        { "IS", "^strong", "", "strong" },
        { "ID", "^strong", "", "strong" },
        { "CWE", "^strong", "", "strong" },
        { "IS", "^^^^other^L", "", "other" },
        { "IS", "T^strong", "T", "T" },
        { "ID", "Y", "Y", "Y" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].value);
        take_result(rows[i].type, rows[i].value, "");
        assert_int_equal(oru.issues.errors, 0);
        assert_text(1, "valueCodeableConcept.coding.0.code", rows[i].code);
        assert_text(1, "valueCodeableConcept.text", rows[i].text);
    }
    take_result("IS", "T~^strong", "");
    assert_int_equal(oru.entry_count, 3);
    assert_text(1, "valueCodeableConcept.coding.0.code", "T");
    assert_text(2, "valueCodeableConcept.text", "strong");
}

/* The unit and its alternate: one of them is wrong, and nobody knows which. */
static void refuses_two_units(void **state)
{
    static const struct {
        const char *six;
        bool refused;
    } rows[] = {
        { "mL/min^^UCUM^L/min^^UCUM", true },
        { "mL/min^^UCUM^LPM^L/min^L", true },
        { "FLOW^mL/min^L^L/min^^UCUM", true },
        { "mL/min^^UCUM^%^^UCUM", true },
        { "mL/min^L/min^UCUM^mL/min^^UCUM", true },
        { "mL/min^^UCUM^ml/min^^UCUM", false },
        { "mL/min^^UCUM^mL/min^mL/min^L", false },
        { "265266^MDC_DIM_MILLI_L_PER_MIN^MDC^mL/min^mL/min^UCUM", false },
        { "mL/min^^UCUM^furlong^^L", false },
        { "mL/min^^UCUM", false },
        { "L/min^mL/min^UCUM", false }, /* held for a person, see HL7.md */
    };
    static const char *const values[][2] = { { "NM", "900" },
                                             { "SN", ">^900" },
                                             { "SN", "^800^-^900" } };

    (void)state;
    for (size_t i = 0; i < COUNT(values) * COUNT(rows); i++) {
        const char *const *value = values[i % COUNT(values)];
        const char *six = rows[i / COUNT(values)].six;

        ROW(six);
        take_result(value[0], value[1], six);
        if (rows[i / COUNT(values)].refused) {
            assert_int_equal(oru.entry_count, 0);
            assert_int_equal(oru.issues.errors, 1);
            assert_issue(0, HL7_ERROR, HL7_TABLE_VALUE, "OBX[1]-6.4");
            assert_string_equal(oru.issues.list[0].word, "unit");
        } else {
            assert_int_equal(oru.issues.errors, 0);
            assert_int_equal(oru.entry_count, 2);
        }
    }
    /* what is no number has no unit */
    take_result("ST", "clear", "mL/min^^UCUM^L/min^^UCUM");
    assert_int_equal(oru.issues.errors, 0);
}

/* 25 October 2026, Berlin: 2:00 to 3:00 comes twice (Directive 2000/84/EC). */
static void is_told_which_hour(void **state)
{
    static const struct {
        const char *sent, *time;
        size_t warnings;
    } rows[] = {
        { "20261025031500+0100", "2026-10-25T02:30:00+01:00", 0 },
        { "20261025024500+0200", "2026-10-25T02:30:00+02:00", 0 },
        { "20261025031500", "2026-10-25T02:30:00+02:00", 1 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char text[1024];

        ROW(rows[i].sent);
        snprintf(text, sizeof(text),
                 "MSH|^~\\&|S|H|HEADGATE|UNIT|%s||ORU^R01|N-1|P|2.5.1\r" PID OBR
                 "OBX|1|NM|FLOW^Flow^L||900|mL/min|||||F|||20261025023000\r",
                 rows[i].sent);
        take(text);
        assert_text(1, "effectiveDateTime", rows[i].time);
        assert_int_equal(oru.issues.count, rows[i].warnings);
        if (rows[i].warnings > 0)
            assert_issue(0, HL7_WARNING, HL7_DATA_TYPE, "OBX[1]-14");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(keeps_text_without_code, fresh),
        cmocka_unit_test_setup(refuses_two_units, fresh),
        cmocka_unit_test_setup(is_told_which_hour, fresh),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
