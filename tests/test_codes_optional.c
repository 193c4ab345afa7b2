/*
 * The maps that are off until a site names them: what is unknown without
 * them, what it means with them, and that a side which nobody has explained
 * is held rather than guessed.
 */
#include "adapters/codes_rows.h"
#include "adapters/csv_file.h"
#include "adapters/fhir_read.h"
#include "tests/map_kit.h"

#define BASE "https://headgate.example/fhir"
#define OBS  BASE "/CodeSystem/av-observation"
#define NOW  CODES_NEWEST
#define SCT  "snomed-ct.csv"
#define SEC  "second-hand.csv"

static struct codes *fresh(void)
{
    struct codes *codes = NULL;

    assert_int_equal(codes_new(BASE, &codes), ERR_OK);
    return codes;
}

/*
 * Sides: HL7 FHIR R4 (4.0.1), value set bodystructure-relative-location, and
 * HL7 mCODE 0.9.1, value set vital-BloodPressureBodyLocationVS, by their
 * displays (check_codes.mjs compares the first with HL7's own file).
 */
static const struct {
    const char *code;
    enum side side;
    const char *region;
} sides[] = {
    { "419161000", SIDE_LEFT, "" },          /* Unilateral left */
    { "419465000", SIDE_RIGHT, "" },         /* Unilateral right */
    { "368208006", SIDE_LEFT, "upper-arm" }, /* Left upper arm structure */
    { "368209003", SIDE_RIGHT, "upper-arm" },
};

static void test_sides(void **state)
{
    struct codes *off = fresh(), *on = fresh();

    (void)state;
    map_add(on, SCT);
    for (size_t i = 0; i < COUNT(sides); i++) {
        struct body_site site;

        ROW(sides[i].code);
        site = codes_site(off, CODES_SCT, sides[i].code, NOW);
        assert_int_equal(site.side, SIDE_UNKNOWN);
        assert_false(codes_listed(off, CODES_SCT, sides[i].code, NOW));
        site = codes_site(on, CODES_SCT, sides[i].code, NOW);
        assert_int_equal(site.side, sides[i].side);
        assert_string_equal(site.region, sides[i].region);
    }
    codes_free(off);
    codes_free(on);
}

/* By the names that the notes of the rows give. */
static const struct {
    const char *map, *system, *code;
    enum quantity quantity; /* Q_NONE: known, and not for us */
} measured[] = {
    { SCT, CODES_SCT, "401000124105", Q_PUMP_FLOW },
    { SEC, CODES_MDC, "150301", Q_SYSTOLIC_PRESSURE },
    { SEC, CODES_MDC, "150302", Q_DIASTOLIC_PRESSURE },
    { SEC, CODES_MDC, "150303", Q_MEAN_PRESSURE },
    { SEC, CODES_MDC, "188736", Q_BODY_WEIGHT },
    { SEC, CODES_MDC, "158720", Q_TREATMENT_TIME },
    { SEC, CODES_MDC, "159032", Q_UF_VOLUME },
    { SEC, CODES_MDC, "159028", Q_NONE },
    { SEC, CODES_MDC, "158744", Q_ARTERIAL_LINE_PRESSURE },
    { SEC, CODES_MDC, "158776", Q_VENOUS_LINE_PRESSURE },
    { SEC, CODES_LOINC, "70965-9", Q_SPKTV },
};

static void test_measured(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(measured); i++) {
        struct codes *codes = fresh();
        struct code_entry e;

        ROW(measured[i].code);
        e = codes_find(codes, measured[i].system, measured[i].code, NOW);
        assert_int_equal(e.meaning, CODE_UNKNOWN);
        map_add(codes, measured[i].map);
        e = codes_find(codes, measured[i].system, measured[i].code, NOW);
        assert_int_equal(e.meaning, measured[i].quantity == Q_NONE
                                        ? CODE_IGNORE
                                        : CODE_QUANTITY);
        assert_int_equal(e.quantity, measured[i].quantity);
        codes_free(codes);
    }
}

/* No code of SNOMED CT is shipped as mapped. */
static void test_shipped(void **state)
{
    (void)state;
    for (size_t i = 0; i < codes_shipped_count; i++)
        assert_string_not_equal(codes_shipped[i].system, CODES_SCT);
}

static size_t rows_seen;

static enum err on_row(void *arg, const struct csv_row *row)
{
    const char *note = row->fields[row->count - 1];

    (void)arg;
    if (rows_seen++ == 0) {
        assert_string_equal(note, "note");
        return ERR_OK;
    }
    ROW(row->fields[1]);
    /* one mark, and what it rests on */
    assert_true((strstr(note, "Published: ") != NULL) !=
                (strstr(note, "Second-hand: ") != NULL));
    if (strstr(note, "Second-hand: ") != NULL)
        assert_non_null(strstr(note, "re-check"));
    return ERR_OK;
}

/* Every row is in a test above, and says where its fact comes from. */
static void test_notes(void **state)
{
    static const char *const names[] = { SCT, SEC };
    size_t rows = 0;

    (void)state;
    for (size_t i = 0; i < COUNT(names); i++) {
        struct csv_fault fault;
        struct buf text, why;
        char path[512];

        buf_init(&text, 1 << 20);
        buf_init(&why, 4096);
        snprintf(path, sizeof(path), SOURCE_DIR "/config/maps/%s", names[i]);
        assert_int_equal(file_read(path, &text, &why), ERR_OK);
        rows_seen = 0;
        assert_int_equal(
            csv_file_read(text.data, text.len, on_row, NULL, &fault), ERR_OK);
        rows += rows_seen - 1;
        buf_clear(&why);
        buf_clear(&text);
    }
    assert_int_equal(rows, COUNT(sides) + COUNT(measured));
}

/* A blood pump is never the access, whichever maps are on. */
static void test_pump(void **state)
{
    static const char wrong[] =
        "source_system,source_code,target\n" CODES_MDC ",158740,access-flow\n";
    static const char wrong_sct[] =
        "source_system,source_code,target\n" CODES_SCT
        ",401000124105,access-flow\n";
    struct codes *codes = fresh();
    struct buf why;

    (void)state;
    buf_init(&why, 4096);
    assert_int_equal(codes_add_csv(codes, wrong, strlen(wrong), &why),
                     ERR_CONFLICT);
    map_add(codes, SCT);
    map_add(codes, SEC);
    assert_int_equal(codes_add_csv(codes, wrong, strlen(wrong), &why),
                     ERR_CONFLICT);
    assert_int_equal(codes_add_csv(codes, wrong_sct, strlen(wrong_sct), &why),
                     ERR_CONFLICT);
    buf_clear(&why);
    codes_free(codes);
}

/* ---- a side that is said, and not understood ------------------------------- */

#define SITE(words) "\"bodySite\":{" words "},"
#define CODE(system, code)                                                     \
    "\"coding\":[{\"system\":\"" system "\",\"code\":\"" code "\"}]"
#define LEFT_CODE CODE(CODES_SCT, "419161000")

static const struct {
    const char *name, *code, *value, *site;
    enum hold off, on;
    enum side side_off, side_on;
    bool said; /* without the map, that the code is unknown */
} held[] = {
    { "a pressure of a finger, by a code", "digital-pressure", "55",
      SITE(LEFT_CODE), HOLD_SIDE, HOLD_NONE, SIDE_UNKNOWN, SIDE_LEFT, true },
    { "and by exact words", "digital-pressure", "55",
      SITE(LEFT_CODE ",\"text\":\"left hand\""), HOLD_NONE, HOLD_NONE,
      SIDE_LEFT, SIDE_LEFT, true },
    { "words and code contradict", "digital-pressure", "55",
      SITE(LEFT_CODE ",\"text\":\"right hand\""), HOLD_NONE, HOLD_SIDE,
      SIDE_RIGHT, SIDE_UNKNOWN, true },
    { "words that are not known", "digital-pressure", "55",
      SITE(LEFT_CODE ",\"text\":\"li. Hand\""), HOLD_SIDE, HOLD_NONE,
      SIDE_UNKNOWN, SIDE_LEFT, true },
    { "nothing is said of a side", "digital-pressure", "55", "", HOLD_NONE,
      HOLD_NONE, SIDE_UNKNOWN, SIDE_UNKNOWN, false },
    { "flow is of the access", "access-flow", "900", SITE(LEFT_CODE), HOLD_NONE,
      HOLD_NONE, SIDE_UNKNOWN, SIDE_LEFT, true },
};

static void read_one(const struct codes *codes, size_t i, enum hold hold,
                     enum side side, bool said)
{
    struct zone *zone = NULL;
    struct fhir_reader reader = {
        .codes = codes, .base = BASE, .now_s = 1780000000, .entries_max = 1
    };
    const struct fhir_item *item;
    struct fhir_doc *doc = NULL;
    struct outcome outcome;
    char body[1024];

    assert_int_equal(zone_load("UTC", &zone), ERR_OK);
    reader.zone = zone;
    snprintf(body, sizeof(body),
             "{\"resourceType\":\"Observation\",\"status\":\"final\","
             "\"subject\":{\"reference\":\"Patient/p\"},\"effectiveDateTime\":"
             "\"2026-05-01T10:00:00Z\",\"code\":{" CODE(
                 OBS, "%s") "},%s"
                            "\"valueQuantity\":{\"value\":%s,\"unit\":\"%s\"}}",
             held[i].code, held[i].site, held[i].value,
             strcmp(held[i].code, "access-flow") == 0 ? "mL/min" : "mm[Hg]");
    outcome_init(&outcome);
    assert_int_equal(fhir_read(&reader, body, strlen(body), &outcome, &doc),
                     ERR_OK);
    item = fhir_doc_item(doc, 0);
    assert_int_equal(item->u.observation.reading_count, 1);
    assert_int_equal(item->u.observation.readings[0].hold, hold);
    assert_int_equal(item->u.observation.readings[0].reading.side, side);
    assert_int_equal(
        item->outcome.count > 0 &&
            strcmp(item->outcome.issues[0].word, "code-unknown") == 0 &&
            strcmp(item->outcome.issues[0].place, "Observation.bodySite") == 0,
        said);
    fhir_doc_free(doc);
    zone_free(zone);
}

static void test_held(void **state)
{
    struct codes *off = fresh(), *on = fresh();

    (void)state;
    map_add(on, SCT);
    for (size_t i = 0; i < COUNT(held); i++) {
        ROW(held[i].name);
        read_one(off, i, held[i].off, held[i].side_off, held[i].said);
        read_one(on, i, held[i].on, held[i].side_on, false);
    }
    codes_free(off);
    codes_free(on);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sides),   cmocka_unit_test(test_measured),
        cmocka_unit_test(test_shipped), cmocka_unit_test(test_notes),
        cmocka_unit_test(test_pump),    cmocka_unit_test(test_held),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
