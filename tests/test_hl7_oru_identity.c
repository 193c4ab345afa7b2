/*
 * Which stored result a result of HL7 v2 is a report of, in a real store.
 *
 * What is expected: HL7 v2.5.1, table 0085 (F can only be changed with a
 * corrected result; C, D, W take it back) and table 0357 (205 duplicate key
 * identifier); HL7 v2.7, 7.4.2.21 (an instance identifier is of one
 * observation).  That a final answer to a question stays beside another one is
 * our own decision: a sign that was seen must not vanish unsaid.
 */
#include "service/hl7_intake.h"

#include "tests/service_world.h"
#include "tests/test.h"

static struct hl7_profile profile;
static struct hl7_intake in;
static char *text;

static int start(void **state)
{
    if (world_start(state) != 0)
        return -1;
    profile = (struct hl7_profile){ .name = "hall",
                                    .unit = "Hall North",
                                    .zone = ((struct world *)*state)->zone,
                                    .patient_system = IDS "patient",
                                    .systems = { { "L", OBS_CODES } },
                                    .system_count = 1 };
    return 0;
}

static void forget(void)
{
    hl7_intake_clear(&in);
    free(text);
    text = NULL;
}

static int stop(void **state)
{
    forget();
    return world_stop(state);
}

/* A message of these OBX; each has a control id of its own. */
static enum hl7_answer deliver(struct world *w, const char *sent,
                               const char *obr_7, const char *obx)
{
    static unsigned number;
    char message[4096];

    forget();
    snprintf(message, sizeof(message),
             "MSH|^~\\&|APP|HALL|HEADGATE|UNIT|%s||ORU^R01^ORU_R01|I-%u|P|2.7\r"
             "PID|1||1001^^^HALL^MR||Beispiel^Anna\r"
             "OBR|1||F-1|S^Session^L|||%s\r%s\r",
             sent, number++, obr_7, obx);
    text = strdup(message);
    assert_non_null(text);
    in = (struct hl7_intake){ .bytes = text,
                              .len = strlen(text),
                              .profile = &profile,
                              .reader = w->reader,
                              .way = QUARANTINE_HL7,
                              .merge_implied = true,
                              .now_ms = world_now_ms() };
    assert_int_equal(hl7_intake_read(&in), ERR_OK);
    assert_int_equal(world_step(w, hl7_intake_apply, &in), ERR_OK);
    return in.answer;
}

/* OBX of a flow; instance: OBX-21. */
static const char *flow(const char *value, const char *status,
                        const char *instance)
{
    static char texts[4][256];
    static size_t n;
    char *out = texts[n++ % COUNT(texts)];

    snprintf(out, sizeof(texts[0]),
             "OBX|1|NM|access-flow^Access flow^L||%s|mL/min^^UCUM|||||%s"
             "||||||||||%s",
             value, status, instance);
    return out;
}

static const char *bleeding(const char *answer, const char *status)
{
    static char texts[4][256];
    static size_t n;
    char *out = texts[n++ % COUNT(texts)];

    snprintf(out, sizeof(texts[0]),
             "OBX|1|CWE|bleeding-active^Bleeding^L||%s^^HL70136||||||%s",
             answer, status);
    return out;
}

static size_t issues_of(enum hl7_error code, const char *word, int field)
{
    size_t found = 0;

    for (size_t i = 0; i < in.issues.count; i++)
        found += in.issues.list[i].code == code &&
                 strcmp(in.issues.list[i].word, word) == 0 &&
                 in.issues.list[i].place.field == field;
    return found;
}

static size_t told(int field)
{
    return issues_of(HL7_DUPLICATE_KEY, "identity", field);
}

/* Readings that count, with this value. */
static long long valued(struct world *w, const char *value)
{
    char sql[160];

    snprintf(sql, sizeof(sql),
             "SELECT count(*) FROM reading WHERE status < 3 AND value = %s",
             value);
    return world_count(w, sql);
}

static long long readings(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM reading WHERE status < 3");
}

static long long tallied(struct world *w, const char *place)
{
    char sql[256];

    snprintf(sql, sizeof(sql),
             "SELECT coalesce(sum(count), 0) FROM tally WHERE source = 'hall' "
             "AND class = 6 AND reason = 'identity' AND place = '%s'",
             place);
    return world_count(w, sql);
}

/* ---- the same key --------------------------------------------------------- */

/* A sender that sends everything again at the end of the day. */
static void the_same_again_is_quiet(void **state)
{
    static const char *const same[] = {
        "OBX|1|NM|access-flow^Access flow^L||1450|mL/min^^UCUM|||||F",
        "OBX|1|NM|access-flow^Access flow^L||1450.0|mL/min^^UCUM|||||F",
        "OBX|9|NM|access-flow^Flow^L||1450|mL/min^per minute^UCUM|||||F",
    };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(same); i++) {
        char sent[32];

        snprintf(sent, sizeof(sent), "2026020510%02zu00", i);
        assert_int_equal(deliver(w, sent, "20260205090000", same[i]), HL7_AA);
        assert_int_equal(in.issues.count, 0);
    }
    assert_int_equal(readings(w), 1);
    assert_int_equal(tallied(w, "OBX-5"), 0);
}

static void another_final_value_is_told(void **state)
{
    struct world *w = *state;

    assert_int_equal(
        deliver(w, "20260205100000", "20260205090000", flow("1450", "F", "")),
        HL7_AA);
    assert_int_equal(
        deliver(w, "20260205110000", "20260205090000", flow("1300", "F", "")),
        HL7_AA);
    assert_int_equal(told(5), 1);
    assert_int_equal(in.issues.list[0].severity, HL7_WARNING);
    assert_false(in.quarantined);
    assert_int_equal(tallied(w, "OBX-5"), 1);
    assert_int_equal(valued(w, "1300"), 1);
    assert_int_equal(readings(w), 1);
    /* the earlier report is kept as a version */
    assert_int_equal(world_count(w, "SELECT max(ver) FROM resource WHERE kind "
                                    "= 1"),
                     2);
    /* an older report that comes late changes nothing, as before */
    assert_int_equal(
        deliver(w, "20260205103000", "20260205090000", flow("1111", "F", "")),
        HL7_AA);
    assert_int_equal(told(5), 0);
    assert_int_equal(valued(w, "1300"), 1);
    /* a correction is what the standard has for it: nothing to tell */
    assert_int_equal(
        deliver(w, "20260205120000", "20260205090000", flow("1250", "C", "")),
        HL7_AA);
    assert_int_equal(in.issues.count, 0);
    /* and so is a final report of a preliminary one */
    assert_int_equal(
        deliver(w, "20260206100000", "20260206090000", flow("1500", "P", "")),
        HL7_AA);
    assert_int_equal(
        deliver(w, "20260206110000", "20260206090000", flow("1510", "F", "")),
        HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(tallied(w, "OBX-5"), 1);
}

/* ---- signs ---------------------------------------------------------------- */

static void a_sign_does_not_vanish(void **state)
{
    struct world *w = *state;
    const char *at = "20260205090000";

    assert_int_equal(deliver(w, "20260205100000", at, bleeding("Y", "F")),
                     HL7_AA);
    assert_int_equal(deliver(w, "20260205110000", at, bleeding("N", "F")),
                     HL7_AA);
    assert_int_equal(told(5), 1);
    assert_int_equal(tallied(w, "OBX-5"), 1);
    assert_int_equal(valued(w, "1"), 1);
    assert_int_equal(valued(w, "0"), 1);
    /* the same again is known, and quiet; in any order */
    assert_int_equal(deliver(w, "20260205120000", at, bleeding("N", "F")),
                     HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(deliver(w, "20260205123000", at, bleeding("Y", "F")),
                     HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(readings(w), 2);
    /* a correction takes both back, and says what is so */
    assert_int_equal(deliver(w, "20260205130000", at, bleeding("N", "C")),
                     HL7_AA);
    assert_int_equal(readings(w), 1);
    assert_int_equal(valued(w, "0"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE kind "
                                    "= 1"),
                     2);
}

/* A code that nobody has mapped yet may be that of a sign. */
static void an_unknown_answer_does_not_vanish(void **state)
{
    static const char *const answers[] = { "Y", "N", "Y", "N" };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(answers); i++) {
        char obx[128], sent[32];

        snprintf(obx, sizeof(obx),
                 "OBX|1|CWE|Q-17^Bleeding^99X||%s^^HL70136"
                 "||||||F",
                 answers[i]);
        snprintf(sent, sizeof(sent), "2026020510%02zu00", i);
        assert_int_equal(deliver(w, sent, "20260205090000", obx), HL7_AA);
        assert_int_equal(told(5), i == 1);
    }
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE kind "
                                    "= 1"),
                     2);
}

/* A new emergency that is reported late counts, whatever came before it. */
static void a_late_sign_counts(void **state)
{
    struct world *w = *state;
    const char *at = "20260205090000";

    assert_int_equal(deliver(w, "20260205110000", at, bleeding("N", "F")),
                     HL7_AA);
    assert_int_equal(deliver(w, "20260205100000", at, bleeding("Y", "F")),
                     HL7_AA);
    assert_int_equal(valued(w, "1"), 1);
    assert_int_equal(deliver(w, "20260205120000", at, bleeding("", "D")),
                     HL7_AA);
    assert_int_equal(readings(w), 0);
}

/* ---- instance identifiers ------------------------------------------------- */

static void an_identifier_of_another_day_is_another_result(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "20260205100000", "20260205090000",
                             flow("1450", "F", "R-1")),
                     HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(
        deliver(w, "20260207100000", "20260207090000", flow("700", "F", "R-1")),
        HL7_AA);
    assert_int_equal(told(21), 1);
    assert_int_equal(tallied(w, "OBX-21"), 1);
    assert_int_equal(valued(w, "1450"), 1);
    assert_int_equal(valued(w, "700"), 1);
    assert_int_equal(
        deliver(w, "20260207110000", "20260207090000", flow("700", "F", "R-1")),
        HL7_AA); /* sent again */
    assert_int_equal(in.issues.count, 0);
    /* which of the two is corrected is told by the time */
    assert_int_equal(deliver(w, "20260207120000", "20260205090000",
                             flow("1400", "C", "R-1")),
                     HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(valued(w, "1400"), 1);
    assert_int_equal(valued(w, "700"), 1);
    assert_int_equal(readings(w), 2);
}

/* With one result of that identifier a correction may be of the time, and a
 * withdrawal needs none. */
static void an_identifier_finds_what_is_corrected(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "20260205100000", "20260205090000",
                             flow("1450", "F", "R-1")),
                     HL7_AA);
    assert_int_equal(deliver(w, "20260205110000", "20260204090000",
                             flow("1450", "C", "R-1")),
                     HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(readings(w), 1);
    assert_int_equal(world_count(w,
                                 "SELECT count(*) FROM reading WHERE start_s = "
                                 "strftime('%s', '2026-02-04 09:00:00')"),
                     1);
    /* later reports of it, by the time that is right */
    assert_int_equal(deliver(w, "20260205120000", "20260204090000",
                             flow("1460", "C", "R-1")),
                     HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(readings(w), 1);
    assert_int_equal(valued(w, "1460"), 1);
    assert_int_equal(deliver(w, "20260205130000", "", flow("", "D", "R-1")),
                     HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(readings(w), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE kind "
                                    "= 1"),
                     1);
}

static void a_withdrawal_that_may_mean_two_is_put_before_people(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "20260205100000", "20260205090000",
                             flow("1450", "F", "R-1")),
                     HL7_AA);
    assert_int_equal(
        deliver(w, "20260207100000", "20260207090000", flow("700", "F", "R-1")),
        HL7_AA);
    assert_int_equal(deliver(w, "20260208100000", "", flow("", "W", "R-1")),
                     HL7_AE);
    assert_int_equal(told(21), 1);
    assert_true(in.quarantined);
    assert_int_equal(in.refused, 1);
    assert_int_equal(readings(w), 2);
    /* a correction of neither time is used, and put before people too */
    assert_int_equal(
        deliver(w, "20260208110000", "20260206090000", flow("650", "C", "R-1")),
        HL7_AE);
    assert_int_equal(valued(w, "650"), 1);
    assert_true(in.quarantined);
}

/* A preliminary result and its final one may bear different times. */
static void a_preliminary_result_becomes_final(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "20260205100000", "20260205090000",
                             flow("1450", "P", "R-1")),
                     HL7_AA);
    assert_int_equal(deliver(w, "20260205110000", "20260205093000",
                             flow("1460", "F", "R-1")),
                     HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(readings(w), 1);
    assert_int_equal(valued(w, "1460"), 1);
    /* without its value, by the time that it had or has */
    assert_int_equal(
        deliver(w, "20260206100000", "20260206090000", flow("900", "P", "R-2")),
        HL7_AA);
    assert_int_equal(
        deliver(w, "20260206110000", "20260206091500", flow("", "U", "R-2")),
        HL7_AA);
    assert_int_equal(in.stored, 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading WHERE value "
                                    "= 900 AND status = 0"),
                     1);
    assert_int_equal(readings(w), 2);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE kind "
                                    "= 1"),
                     2);
}

/* A withdrawal that comes first needs no time, and takes its result along. */
static void a_withdrawal_may_come_first(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "20260205110000", "", flow("", "D", "R-1")),
                     HL7_AA);
    assert_int_equal(issues_of(HL7_UNKNOWN_KEY, "not-found", 11), 1);
    assert_int_equal(deliver(w, "20260205100000", "20260205090000",
                             flow("1450", "F", "R-1")),
                     HL7_AA);
    assert_int_equal(readings(w), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE kind "
                                    "= 1"),
                     1);
}

/* A promotion, after the time of the result was corrected: the stored bytes
 * begin with another key than the one under which they are stored. */
static void a_corrected_time_keeps_one_result(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "20260205100000", "20260205090000",
                             flow("1450", "P", "R-1")),
                     HL7_AA);
    assert_int_equal(deliver(w, "20260205110000", "20260205090000",
                             flow("1450", "F", "R-1")),
                     HL7_AA);
    assert_int_equal(deliver(w, "20260205120000", "20260206090000",
                             flow("1450", "C", "R-1")),
                     HL7_AA);
    assert_int_equal(deliver(w, "20260205130000", "20260206090000",
                             flow("1450", "F", "R-1")),
                     HL7_AA);
    assert_int_equal(readings(w), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE kind "
                                    "= 1"),
                     1);
}

/* Results of an earlier release are known by OBX-21 alone: a store that has
 * them finds them by that, and keeps them apart from those of another time. */
static void a_store_of_before_is_understood(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "20260205100000", "20260205090000",
                             flow("1450", "F", "R-1")),
                     HL7_AA);
    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    world_change_file(
        w->path,
        "UPDATE resource SET ident = replace(ident, substr(ident, "
        "instr(ident, '|') + 1, 32), (SELECT i.value FROM identifier i WHERE "
        "i.resource = resource.id AND instr(resource.ident, i.value) = 0)) "
        "WHERE kind = 1;"
        "DELETE FROM identifier_term WHERE kind = 1 AND instr((SELECT r.ident "
        "FROM resource r WHERE r.id = resource), (SELECT t.value FROM term t "
        "WHERE t.id = term)) = 0");
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
    assert_int_equal(world_count(w,
                                 "SELECT count(*) FROM identifier WHERE kind "
                                 "= 1"),
                     1);
    assert_int_equal(deliver(w, "20260205110000", "20260205090000",
                             flow("1450", "F", "R-1")),
                     HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(readings(w), 1);
    assert_int_equal(
        deliver(w, "20260206100000", "20260206090000", flow("900", "F", "R-1")),
        HL7_AA);
    assert_int_equal(told(21), 1);
    assert_int_equal(readings(w), 2);
    assert_int_equal(
        deliver(w, "20260206110000", "20260205090000", flow("", "D", "R-1")),
        HL7_AA);
    assert_int_equal(readings(w), 1);
    assert_int_equal(valued(w, "900"), 1);
}

/* ---- the order in a message ----------------------------------------------- */

/* What is not there yet holds its place: the results behind it stay the same
 * results when it comes. */
static void a_result_that_comes_later_moves_none(void **state)
{
    static const char *const letters[] = { "I", "N", "O" };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(letters); i++) {
        char obx[512], day[32], sent[32];
        long long before = readings(w);

        snprintf(day, sizeof(day), "202602%02zu090000", 10 + i);
        snprintf(sent, sizeof(sent), "202602%02zu100000", 10 + i);
        snprintf(obx, sizeof(obx),
                 "OBX|1|NM|access-flow^Flow^L|||mL/min^^UCUM|||||%s\r"
                 "OBX|2|NM|access-flow^Flow^L||900|mL/min^^UCUM|||||F",
                 letters[i]);
        ROW(letters[i]);
        assert_int_equal(deliver(w, sent, day, obx), HL7_AA);
        assert_int_equal(readings(w), before + 1);
        sent[9] = '1';
        assert_int_equal(
            deliver(w, sent, day,
                    "OBX|1|NM|access-flow^Flow^L||1500|mL/min^^UCUM|||||F\r"
                    "OBX|2|NM|access-flow^Flow^L||900|mL/min^^UCUM|||||F"),
            HL7_AA);
        assert_int_equal(told(5), 0);
        assert_int_equal(readings(w), before + 2);
    }
    assert_int_equal(valued(w, "900"), (long long)COUNT(letters));
    assert_int_equal(valued(w, "1500"), (long long)COUNT(letters));
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(the_same_again_is_quiet),
        TEST(another_final_value_is_told),
        TEST(a_sign_does_not_vanish),
        TEST(an_unknown_answer_does_not_vanish),
        TEST(a_late_sign_counts),
        TEST(an_identifier_of_another_day_is_another_result),
        TEST(an_identifier_finds_what_is_corrected),
        TEST(a_withdrawal_that_may_mean_two_is_put_before_people),
        TEST(a_preliminary_result_becomes_final),
        TEST(a_withdrawal_may_come_first),
        TEST(a_corrected_time_keeps_one_result),
        TEST(a_store_of_before_is_understood),
        TEST(a_result_that_comes_later_moves_none),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
