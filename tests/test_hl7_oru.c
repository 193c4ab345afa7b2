#include "tests/hl7_oru_kit.h"

/* ---- what is taken at all ---------------------------------------------- */

static void admit(const char *nine, const char *ten, const char *eleven,
                  const char *twelve, struct hl7_issues *issues)
{
    char text[512];
    struct hl7_fault fault;
    enum err e;

    forget();
    snprintf(text, sizeof(text), "MSH|^~\\&|S|F|||20260304||%s|%s|%s|%s\r",
             nine, ten, eleven, twelve);
    *issues = (struct hl7_issues){ .count = 0 };
    assert_int_equal(hl7_read(text, strlen(text), NULL, &message, &fault),
                     ERR_OK);
    e = hl7_admit(message, &profile, issues);
    assert_int_equal(e, issues->errors == 0 ? ERR_OK : ERR_DENIED);
}

/* Codes: HL7 table 0357 (101 required field missing, 104 too long, 200
 * message type, 201 event, 202 processing id, 203 version). */
static void test_admit(void **state)
{
    static const char longest[] =
        "1234567890123456789012345678901234567890123456789012345678901234567890"
        "1234567890123456789012345678901234567890123456789012345678901234567890"
        "123456789012345678901234567890123456789012345678901234567890";
    static const struct {
        const char *type, *control, *processing, *version;
        enum hl7_error code; /* 0: taken */
        const char *place;
    } rows[] = {
        { "ORU^R01^ORU_R01", "1", "P", "2.5.1", 0, "" },
        { "ORU^R01", "1", "P", "2.3", 0, "" },
        { "ORU", "1", "P^A", "2.3.1", 0, "" },
        { "ORU^R01^ORU_R01", "1", "P", "2.4", 0, "" },
        { "ORU^R01^ORU_R01", "1", "P", "2.5", 0, "" },
        { "ORU^R01^ORU_R01", "1", "P", "2.6", 0, "" },
        { "ORU^R01^ORU_R01", "1", "P", "2.7.1", 0, "" },
        { "ORU^R01^ORU_R01", "1", "P", "2.8.2^DEU&Germany&ISO3166_1", 0, "" },
        { "ADT^A01^ADT_A01", "1", "P", "2.5.1", HL7_MESSAGE_TYPE,
          "MSH[1]-9.1" },
        { "", "1", "P", "2.5.1", HL7_MESSAGE_TYPE, "MSH[1]-9.1" },
        { "oru^R01", "1", "P", "2.5.1", HL7_MESSAGE_TYPE, "MSH[1]-9.1" },
        { "ORU^R30^ORU_R30", "1", "P", "2.5.1", HL7_EVENT, "MSH[1]-9.2" },
        { "ORU^R01^OUL_R21", "1", "P", "2.5.1", HL7_MESSAGE_TYPE,
          "MSH[1]-9.3" },
        { "ORU^R01", "", "P", "2.5.1", HL7_MISSING, "MSH[1]-10" },
        { "ORU^R01", longest, "P", "2.5.1", HL7_TOO_LONG, "MSH[1]-10" },
        { "ORU^R01", "1", "T", "2.5.1", HL7_PROCESSING_ID, "MSH[1]-11.1" },
        { "ORU^R01", "1", "D", "2.5.1", HL7_PROCESSING_ID, "MSH[1]-11.1" },
        { "ORU^R01", "1", "", "2.5.1", HL7_PROCESSING_ID, "MSH[1]-11.1" },
        { "ORU^R01", "1", "P", "2.2", HL7_VERSION, "MSH[1]-12.1" },
        { "ORU^R01", "1", "P", "2.9", HL7_VERSION, "MSH[1]-12.1" },
        { "ORU^R01", "1", "P", "", HL7_VERSION, "MSH[1]-12.1" },
        { "ORU^R01", "1", "P", "2.55", HL7_VERSION, "MSH[1]-12.1" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct hl7_issues issues;
        char place[HL7_PLACE_SIZE];

        ROW(rows[i].type);
        admit(rows[i].type, rows[i].control, rows[i].processing,
              rows[i].version, &issues);
        assert_int_equal(issues.errors, rows[i].code != 0);
        if (issues.errors == 0)
            continue;
        hl7_place_write(&issues.list[0].place, place);
        assert_int_equal(issues.list[0].code, rows[i].code);
        assert_string_equal(place, rows[i].place);
    }
}

static void test_admit_test(void **state)
{
    struct hl7_issues issues;

    (void)state;
    profile.accept_test = true;
    admit("ORU^R01", "1", "T", "2.5.1", &issues);
    assert_int_equal(issues.errors, 0);
    admit("ORU^R01", "1", "D", "2.5.1", &issues);
    assert_int_equal(issues.errors, 0);
    admit("ORU^R01", "1", "X", "2.5.1", &issues);
    assert_int_equal(issues.errors, 1);
    /* everything that is wrong is named, not the first alone */
    admit("ADT^A01", "", "X", "2.1", &issues);
    assert_int_equal(issues.errors, 4);
}

/* ---- status ------------------------------------------------------------ */

/*
 * Rows with a status of HL7's: ConceptMap
 * http://hl7.org/fhir/uv/v2mappings/ConceptMap/table-hl70085-to-observation-
 * status, 1.0.0 (HL7/v2-to-fhir, mappings/codesystems, "HL7 Concept Map - FHIR
 * E2_ ObservationResultStatusCodesInterpretation"): A, C, D, F, P, W, X.  B, I,
 * N, O, R, S, U, V have no target there; what these become is our own decision.
 */
static void test_status(void **state)
{
    static const struct {
        char letter;
        const char *status; /* NULL: ignored */
        bool withdrawn, noted, of_hl7;
    } rows[] = {
        { 'A', "amended", false, false, true },
        { 'B', "final", false, true, false },
        { 'C', "corrected", false, false, true },
        { 'D', "entered-in-error", true, false, true },
        { 'F', "final", false, false, true },
        { 'I', NULL, false, false, false },
        { 'N', NULL, false, false, false },
        { 'O', NULL, false, false, false },
        { 'P', "preliminary", false, false, true },
        { 'R', "preliminary", false, false, false },
        { 'S', "preliminary", false, false, false },
        { 'U', "final", false, false, false },
        { 'V', "final", false, true, false },
        { 'W', "entered-in-error", true, false, true },
        { 'X', "cancelled", true, false, true },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char obx[128];

        print_message("    %c\n", rows[i].letter);
        snprintf(obx, sizeof(obx), "OBX|1|NM|FLOW^^L||900|mL/min^^UCUM|||||%c",
                 rows[i].letter);
        take_obx(obx);
        assert_int_equal(oru.issues.errors, 0);
        if (rows[i].status == NULL) {
            assert_int_equal(oru.entry_count, 0);
            assert_int_equal(oru.bundle.len, 0);
            assert_issue(0, HL7_INFORMATION, HL7_TABLE_VALUE, "OBX[1]-11");
            continue;
        }
        assert_int_equal(oru.entry_count, 2);
        assert_true(oru.has_patient);
        assert_false(oru.entries[1].promote || oru.entries[1].if_known);
        assert_text(1, "status", rows[i].status);
        if (rows[i].withdrawn)
            assert_absent(1, "valueQuantity");
        else
            assert_bytes("\"valueQuantity\":{\"value\":900,");
        assert_absent(1, "dataAbsentReason");
        assert_int_equal(at(resource(1), "note") != NULL, rows[i].noted);
    }
}

/* Each letter of table 0085 (HL7 v2.5.1, chapter 7) has its row above, and no
 * other is taken. */
static void test_other_status(void **state)
{
    static const char table_0085[] = "ABCDFINOPRSUVWX";

    (void)state;
    for (int c = '!'; c <= '~'; c++) {
        char obx[128];

        if (strchr("|^~\\&\"", c) != NULL || strchr(table_0085, c) != NULL)
            continue;
        snprintf(obx, sizeof(obx), "OBX|1|NM|FLOW^^L||900||||||%c", c);
        take_obx(obx);
        assert_int_equal(oru.entry_count, 0);
        assert_int_equal(oru.issues.errors, 1);
        assert_issue(0, HL7_ERROR, HL7_TABLE_VALUE, "OBX[1]-11");
    }
    take_obx("OBX|1|NM|FLOW^^L||900||||||FF");
    assert_issue(0, HL7_ERROR, HL7_TABLE_VALUE, "OBX[1]-11");
}

/* An empty OBX-11: the order's status (HL7 table 0123; F, C, P, X by HL7's
 * ConceptMap table-hl70123-to-diagnostic-report-status), else final. */
static void test_status_of_order(void **state)
{
    static const struct {
        const char *code, *status;
    } rows[] = {
        { "", "final" },        { "F", "final" },       { "C", "corrected" },
        { "P", "preliminary" }, { "X", "cancelled" },   { "A", "preliminary" },
        { "R", "preliminary" }, { "I", "preliminary" }, { "S", "preliminary" },
        { "O", "preliminary" }, { "M", "preliminary" }, { "N", "preliminary" },
        { "Y", NULL },          { "Z", NULL },          { "f", NULL },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        char text[512];

        ROW(rows[i].code);
        snprintf(text, sizeof(text),
                 MSH PID "OBR|1||S-1|SESSION|||20260304080000||||||||||||||||"
                         "||%s\rOBX|1|NM|FLOW^^L||900\r",
                 rows[i].code);
        take(text);
        if (rows[i].status == NULL)
            assert_issue(0, HL7_ERROR, HL7_TABLE_VALUE, "OBR[1]-25");
        else
            assert_text(1, "status", rows[i].status);
    }
}

static void test_promote(void **state)
{
    (void)state;
    take_obx("OBX|1|NM|FLOW^^L|||mL/min^^UCUM|||||U");
    assert_int_equal(oru.entry_count, 2);
    assert_false(oru.entries[0].promote);
    assert_true(oru.entries[1].promote);
    assert_text(1, "status", "final");
    assert_absent(1, "valueQuantity");
    assert_absent(1, "dataAbsentReason");
}

/* ---- identity ---------------------------------------------------------- */

static void key_of(const char *text, size_t entry, char key[64])
{
    take(text);
    snprintf(key, 64, "%s", text_at(entry, "identifier.0.value"));
    assert_true(key[0] != '\0');
    assert_text(entry, "identifier.0.system", BASE "/NamingSystem/hl7-result");
}

/* Two reports of one result have one identifier; of two results, two. */
static void test_identity(void **state)
{
    static const char first[] =
        MSH PID OBR "OBX|1|NM|FLOW^Flow^L|A|900|mL/min|||||P\r";
    static const struct {
        const char *text;
        bool same;
    } rows[] = {
        /* value, unit, status, texts, place in the message, report */
        { MSH PID OBR "OBX|7|SN|FLOW^Access flow^L|A|>^910|L/min|||||C\r",
          true },
        /* the same moment, said otherwise */
        { MSH PID "OBR|1||S-1|SESSION|||20260304070000+0000\r"
                  "OBX|1|NM|FLOW^^L|A|900||||||F\r",
          true },
        { MSH PID OBR "OBX|1|NM|FLOW^^L|A|900||||||F|||202603040800\r", true },
        { MSH PID OBR "OBX|1|NM|FLOW^^L|B|900||||||F\r", false },
        { MSH PID OBR "OBX|1|NM|FLOW^^99X|A|900||||||F\r", false },
        { MSH PID OBR "OBX|1|NM|FLOW2^^L|A|900||||||F\r", false },
        { MSH PID OBR "OBX|1|NM|FLOW^^L|A|900||||||F|||202603040801\r", false },
        { MSH PID "OBR|1||S-2|SESSION|||20260304080000+0100\r"
                  "OBX|1|NM|FLOW^^L|A|900||||||F\r",
          false },
        { MSH "PID|1||1002\r" OBR "OBX|1|NM|FLOW^^L|A|900||||||F\r", false },
        { "MSH|^~\\&|OTHER|HALLN|||20260304123000||ORU^R01|1|P|2.5\r" PID OBR
          "OBX|1|NM|FLOW^^L|A|900||||||F\r",
          false },
        { "MSH|^~\\&|SESSIONS|OTHER|||20260304123000||ORU^R01|1|P|2.5\r" PID OBR
          "OBX|1|NM|FLOW^^L|A|900||||||F\r",
          false },
    };
    char key[64], other[64];

    (void)state;
    key_of(first, 1, key);
    for (size_t i = 0; i < COUNT(rows); i++) {
        print_message("    %zu\n", i);
        key_of(rows[i].text, 1, other);
        assert_int_equal(strcmp(key, other) == 0, rows[i].same);
    }
}

/*
 * An instance identifier (OBX-21; HL7 v2.7, 7.4.2.21) takes the place of order
 * and sub-id.  The time stays part of the first identifier, since senders use
 * one again on another day; the second is without it, and finds what is
 * withdrawn without a time.
 */
static void test_instance(void **state)
{
    char key[64], instance[64], other[64];

    (void)state;
    key_of(MSH PID OBR "OBX|1|NM|FLOW^^L|A|900||||||F||||||||||R-1^X\r", 1,
           key);
    snprintf(instance, sizeof(instance), "%s",
             text_at(1, "identifier.1.value"));
    assert_text(1, "identifier.1.system", BASE "/NamingSystem/hl7-result");
    assert_string_not_equal(key, instance);
    key_of(MSH PID "OBR|1||S-9||||202603040800\r"
                   "OBX|1|NM|FLOW^^L|B|910||||||C||||||||||R-1^X\r",
           1, other);
    assert_string_equal(key, other);
    assert_text(1, "identifier.1.value", instance);
    key_of(MSH PID "OBR|1||S-9||||202603050900\r"
                   "OBX|1|NM|FLOW^^L|B|900||||||C||||||||||R-1^X\r",
           1, other);
    assert_string_not_equal(key, other);
    assert_text(1, "identifier.1.value", instance);
    key_of(MSH PID OBR "OBX|1|NM|FLOW^^L|A|900||||||F||||||||||R-2^X\r", 1,
           other);
    assert_string_not_equal(key, other);
    assert_string_not_equal(text_at(1, "identifier.1.value"), instance);
    /* the same number of another patient is another result */
    key_of(MSH "PID|1||1002\r" OBR
               "OBX|1|NM|FLOW^^L|A|900||||||F||||||||||R-1^X\r",
           1, other);
    assert_string_not_equal(key, other);
    assert_string_not_equal(text_at(1, "identifier.1.value"), instance);
    /* a withdrawal needs no time then, and without it cannot be told */
    key_of(MSH PID "OBR|1||S-1\r"
                   "OBX|1|NM|FLOW^^L||||||||D||||||||||R-1^X\r",
           1, other);
    assert_string_not_equal(key, other);
    assert_text(1, "identifier.1.value", instance);
    assert_absent(1, "effectiveDateTime");
    take(MSH PID "OBR|1||S-1\rOBX|1|NM|FLOW^^L||||||||D\r");
    assert_int_equal(oru.entry_count, 0);
    assert_issue(0, HL7_ERROR, HL7_MISSING, "OBX[1]-14");
    /* without OBX-21 there is no second identifier */
    take(MSH PID OBR "OBX|1|NM|FLOW^^L|A|900||||||F\r");
    assert_absent(1, "identifier.1");
}

/* Results that nothing tells apart do not overwrite each other, and are the
 * same again when the message comes again. */
static void test_order_tells(void **state)
{
    static const char text[] = MSH PID OBR "OBX|1|TX|NOTE^^L||line one||||||F\r"
                                           "OBX|2|TX|NOTE^^L||line two||||||F\r"
                                           "OBX|3|NM|SYS^^L||120||||||F\r"
                                           "OBX|4|NM|SYS^^L||130||||||F\r";
    char keys[4][64];

    (void)state;
    for (size_t i = 0; i < 4; i++)
        key_of(text, i + 1, keys[i]);
    for (size_t i = 0; i < 4; i++) {
        char again[64];

        for (size_t k = 0; k < i; k++)
            assert_string_not_equal(keys[i], keys[k]);
        key_of(text, i + 1, again);
        assert_string_equal(keys[i], again);
    }
    assert_int_equal(oru.issues.errors, 0);
    assert_int_equal(oru.issues.count, 1); /* of numbers only */
    assert_issue(0, HL7_WARNING, HL7_DUPLICATE_KEY, "OBX[4]-4");
}

/* Whatever keeps a result out, those behind it keep their keys: no result yet
 * (I, N, O of table 0085), a status that nobody knows, a value that is none. */
static void test_order_is_kept(void **state)
{
    static const char *const firsts[] = { "OBX|1|NM|FLOW^^L||||||||I",
                                          "OBX|1|NM|FLOW^^L||||||||N",
                                          "OBX|1|NM|FLOW^^L||||||||O",
                                          "OBX|1|NM|FLOW^^L||800||||||Q",
                                          "OBX|1|NM|FLOW^^L||much||||||F" };
    char key[64];

    (void)state;
    key_of(MSH PID OBR "OBX|1|NM|FLOW^^L||800||||||F\r"
                       "OBX|2|NM|FLOW^^L||900||||||F\r",
           2, key);
    for (size_t i = 0; i < COUNT(firsts); i++) {
        char text[1024], other[64];

        ROW(firsts[i]);
        snprintf(text, sizeof(text),
                 MSH PID OBR "%s\rOBX|2|NM|FLOW^^L||900||||||F\r", firsts[i]);
        key_of(text, 1, other);
        assert_string_equal(key, other);
    }
    /* one of another time holds no place here */
    key_of(MSH PID OBR "OBX|1|NM|FLOW^^L||||||||I|||20260301\r"
                       "OBX|2|NM|FLOW^^L||800||||||F\r"
                       "OBX|3|NM|FLOW^^L||900||||||F\r",
           2, key);
    take(MSH PID OBR "OBX|1|NM|FLOW^^L||800||||||F\r"
                     "OBX|2|NM|FLOW^^L||900||||||F\r");
    assert_text(2, "identifier.0.value", key);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_order_is_kept, fresh),
        cmocka_unit_test_setup(test_admit, fresh),
        cmocka_unit_test_setup(test_admit_test, fresh),
        cmocka_unit_test_setup(test_status, fresh),
        cmocka_unit_test_setup(test_other_status, fresh),
        cmocka_unit_test_setup(test_status_of_order, fresh),
        cmocka_unit_test_setup(test_promote, fresh),
        cmocka_unit_test_setup(test_identity, fresh),
        cmocka_unit_test_setup(test_instance, fresh),
        cmocka_unit_test_setup(test_order_tells, fresh),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
