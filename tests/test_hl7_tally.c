/*
 * What of a message of HL7 v2 was warned of, left out or not used, in the
 * weekly report of its unit: each fault once, with its place and what would
 * mend it, and nothing of a patient.
 *
 * That these are faults: HL7 v2.5.1, 7.4.2 (OBX-3 is an identifier and a text,
 * of which the identifier is what a receiver goes by; OBX-4 tells apart equal
 * identifiers; OBX-11 by table 0085), 2.15.9 (MSH-10 is unique), table 0357.
 * What a week counts as is headgate's own.
 */
#include "service/feed_report.h"
#include "service/hl7_intake.h"
#include "service/tally.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define PID  "PID|1||1001^^^HALL^MR||Beispiel^Anna\r"
#define OBR  "OBR|1||F-1|S^Session^L|||20260305090000||||||||||||||%s|||F\r"
#define OBR1 "OBR|1||F-1|S^Session^L|||20260305090000\r"
#define NM   "OBX|1|NM|access-flow^Access flow^L||1450|mL/min^^UCUM|||||F\r"

static struct hl7_profile profile;
static struct hl7_intake in;
static char text[16384];

static int start(void **state)
{
    if (world_start(state) != 0)
        return -1;
    profile = (struct hl7_profile){ .name = "hall",
                                    .unit = "Hall North",
                                    .application = "APP",
                                    .zone = ((struct world *)*state)->zone,
                                    .patient_system = IDS "patient",
                                    .access_system = IDS "access",
                                    .access_field = HL7_ACCESS_OBX_4,
                                    .systems = { { "L", OBS_CODES } },
                                    .system_count = 1 };
    return 0;
}

static int stop(void **state)
{
    hl7_intake_clear(&in);
    return world_stop(state);
}

static enum hl7_answer deliver(struct world *w, const char *control,
                               const char *rest)
{
    int len = snprintf(text, sizeof(text),
                       "MSH|^~\\&|APP|HALL|HG|U|20260306080000||ORU^R01^ORU_R01"
                       "|%s|P|2.5.1||||||UNICODE UTF-8\r%s",
                       control, rest);

    hl7_intake_clear(&in);
    assert_true(len > 0 && (size_t)len < sizeof(text));
    in = (struct hl7_intake){ .bytes = text,
                              .len = (size_t)len,
                              .profile = &profile,
                              .reader = w->reader,
                              .way = QUARANTINE_HL7,
                              .merge_implied = true,
                              .now_ms = world_now_ms() };
    assert_int_equal(hl7_intake_read(&in), ERR_OK);
    assert_int_equal(world_step(w, hl7_intake_apply, &in), ERR_OK);
    return in.answer;
}

/* All that is counted, but for what was used: "held code-unknown OBX-3 2; ". */
static void counted(struct world *w, char *out, size_t size)
{
    struct feed_report report;

    out[0] = '\0';
    assert_int_equal(
        feed_report_read(w->db, tally_week(world_now_ms()), &report), ERR_OK);
    for (size_t i = 0; i < report.count; i++) {
        const struct report_row *row = &report.rows[i];

        if (row->class == REPORT_TAKEN)
            continue;
        snprintf(out + strlen(out), size - strlen(out), "%s %s %s %lld; ",
                 report_class_word(row->class), row->reason, row->place,
                 (long long)row->count);
        /* in words, and with something that is to be done */
        assert_string_not_equal(row->why, row->reason);
        assert_true(strlen(report_mend(row)) > 10);
    }
    feed_report_clear(&report);
}

/* ---- each fault ----------------------------------------------------------- */

static const struct {
    const char *name;
    const char *first; /* a message before it; NULL: none */
    const char *rest;
    enum hl7_answer answer;
    const char *counted;
} cases[] = {
    { "nothing", NULL, PID OBR1 NM, HL7_AA, "" },
    { "OBX-3 a text alone, twice", NULL,
      PID OBR1 "OBX|1|NM|^Geheimnis||1450|mL/min^^UCUM|||||F\r"
               "OBX|2|NM|^Anderes^L||3|mL/min^^UCUM|||||F\r",
      HL7_AA, "held code-unknown OBX-3 2; " },
    { "a code that no map has", NULL,
      PID OBR1 "OBX|1|NM|X9^Something^L||1450|mL/min^^UCUM|||||F\r", HL7_AA,
      "unknown-code code-unknown OBX-3 1; " },
    { "a unit that nobody knows", NULL,
      PID OBR1 "OBX|1|NM|access-flow^F^L||1450|furlong|||||F\r", HL7_AA,
      "held unit OBX-6 1; " },
    { "no unit", NULL, PID OBR1 "OBX|1|NM|access-flow^F^L||1450||||||F\r",
      HL7_AA, "held unit OBX-6 1; " },
    { "a unit by a word", NULL,
      PID OBR1 "OBX|1|NM|access-flow^F^L||1450|mL / min|||||F\r", HL7_AA,
      "tolerated unit-assumed OBX-6 1; " },
    { "a method that no map has", NULL,
      PID OBR1 "OBX|1|NM|access-flow^F^L||1450|mL/min^^UCUM|||||F||||||M9^Own^L"
               "\r",
      HL7_AA, "tolerated code-unknown OBX-17 1; " },
    { "no value: not measured", NULL,
      PID OBR1 "OBX|1|NM|access-flow^F^L|||mL/min^^UCUM|||||F\r", HL7_AA, "" },
    { "no result yet", NULL,
      PID OBR1 "OBX|1|NM|access-flow^F^L||1450|mL/min^^UCUM|||||I\r", HL7_AA,
      "" },
    { "a sign without a value", NULL,
      PID OBR1 "OBX|1|CWE|bleeding-active^B^L||||||||F\r", HL7_AE,
      "held value OBX-5 1; " },
    { "a sign of a type that is not kept", NULL,
      PID OBR1 "OBX|1|ED|bleeding-active^B^L||a^b^c^A^aGk=||||||F\r", HL7_AE,
      "held value OBX-5 1; " },
    { "a sign, and beside it a text for a number", NULL,
      PID OBR1 "OBX|1|CWE|bleeding-active^B^L||X1^so so^L||||||F\r"
               "OBX|2|NM|recirculation^R^L||about 4|%|||||F\r",
      HL7_AE,
      "quarantined bad-value OBX-5 1; held value OBX-5 1; "
      "unknown-code code-unknown OBX-5 1; " },
    { "a number of a type that is not kept", NULL,
      PID OBR1 "OBX|1|ED|access-flow^F^L||a^b^c^A^aGk=||||||F\r", HL7_AA,
      "held not-supported OBX-2 1; " },
    { "a text where a number belongs", NULL,
      PID OBR1 "OBX|1|ST|access-flow^F^L||plenty||||||F\r", HL7_AA,
      "held not-computed OBX-5 1; " },
    { "no time of day", NULL,
      PID OBR1 "OBX|1|TM|access-flow^F^L||99:99||||||F\r", HL7_AA,
      "held not-computed OBX-5 1; " },
    { "not plausible", NULL,
      PID OBR1 "OBX|1|NM|access-flow^F^L||90000|mL/min^^UCUM|||||F\r", HL7_AA,
      "held implausible OBX-5 1; " },
    { "a correction of what never came", NULL,
      PID OBR1 "OBX|1|NM|access-flow^F^L||1450|mL/min^^UCUM|||||C\r", HL7_AA,
      "tolerated not-found OBX-11 1; " },
    { "the same code at the same time", NULL,
      PID OBR1 NM "OBX|2|NM|access-flow^F^L||1460|mL/min^^UCUM|||||F\r", HL7_AA,
      "tolerated identity OBX-4 1; " },
    { "a path within a machine", NULL,
      PID OBR1 "OBX|1|NM|access-flow^F^L|1.0.0.1|1450|mL/min^^UCUM|||||F\r",
      HL7_AA, "tolerated access-ambiguous OBX-4 1; " },
    { "another name", PID OBR1 NM,
      "PID|1||1001^^^HALL^MR||Anders^Anna\r" OBR1
      "OBX|1|NM|access-flow^F^L||1450|mL/min^^UCUM|||||F|||20260304090000\r",
      HL7_AA, "tolerated identity PID-5 1; " },
    { "a date of birth that cannot be", NULL,
      "PID|1||1001^^^HALL^MR||Beispiel^Anna||19501340\r" OBR1 NM, HL7_AA,
      "tolerated bad-datetime PID-7 1; " },
    { "a byte of another character set in a name", NULL,
      "PID|1||1001^^^HALL^MR||Beispiel^Ann\xe4\r" OBR1 NM, HL7_AA,
      "tolerated bad-value PID-5 1; " },
    { "no number of a patient", NULL, "PID|1||||Beispiel^Anna\r" OBR1 NM NM,
      HL7_AE, "quarantined no-subject PID-3 1; " },
};

static void each_is_counted_once(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        void *own = NULL;
        char got[600], again[600];
        struct world *w;

        ROW(cases[i].name);
        assert_int_equal(start(&own), 0);
        w = own;
        if (cases[i].first != NULL)
            assert_int_equal(deliver(w, "C-0", cases[i].first), HL7_AA);
        assert_int_equal(deliver(w, "C-1", cases[i].rest), cases[i].answer);
        counted(w, got, sizeof(got));
        if (strcmp(got, cases[i].counted) != 0)
            fail_msg("'%s', not '%s'", got, cases[i].counted);
        /* sent again it is the same message, with the same faults */
        assert_int_equal(deliver(w, "C-1", cases[i].rest), cases[i].answer);
        counted(w, again, sizeof(again));
        assert_string_equal(again, cases[i].counted);
        assert_int_equal(stop(&own), 0);
    }
}

/* What the sender typed where a code belongs may be a name; neither it nor
 * anything of PID is in the tally or on the page. */
static void nothing_of_a_patient_is_in_it(void **state)
{
    static const char *const secret[] = { "Geheimnis", "Anderes", "Beispiel",
                                          "Anna",      "1001",    "1450" };
    struct world *w = *state;
    struct feed_report report;
    struct buf page;

    assert_int_equal(deliver(w, "C-1", cases[1].rest), HL7_AA);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM tally WHERE class = 4 AND what = "
                       "'' AND sample = 'C-1' AND source = 'hall'"),
        1);
    buf_init(&page, 1 << 20);
    assert_int_equal(
        feed_report_read(w->db, tally_week(world_now_ms()), &report), ERR_OK);
    assert_int_equal(feed_report_write(&report, NULL, false, &page), ERR_OK);
    assert_int_equal(feed_report_write(&report, NULL, true, &page), ERR_OK);
    feed_report_clear(&report);
    assert_non_null(strstr(page.data, "a text alone, without"));
    assert_non_null(strstr(page.data, "OBX-3.1"));
    for (size_t i = 0; i < COUNT(secret); i++) {
        if (strstr(page.data, secret[i]) != NULL)
            fail_msg("'%s' is on the page: %s", secret[i], page.data);
    }
    buf_clear(&page);
}

/* ---- between messages ----------------------------------------------------- */

static void issued(struct world *w, const char *control, const char *when,
                   const char *value, const char *status)
{
    char rest[1024];

    snprintf(rest, sizeof(rest),
             PID OBR "OBX|1|NM|access-flow^F^L||%s|mL/min^^UCUM|||||%s\r", when,
             value, status);
    assert_int_equal(deliver(w, control, rest), HL7_AA);
}

static void what_comes_after_its_correction(void **state)
{
    struct world *w = *state;
    char got[600];

    issued(w, "C-1", "20260306080000", "1450", "F");
    issued(w, "C-2", "20260306082000", "1300", "C");
    counted(w, got, sizeof(got));
    assert_string_equal(got, "");
    issued(w, "C-3", "20260306081000", "1400", "F");
    counted(w, got, sizeof(got));
    assert_string_equal(got, "held out-of-order OBX 1; ");
}

static void a_number_that_is_used_again(void **state)
{
    struct world *w = *state;
    char got[600];

    issued(w, "C-1", "20260306080000", "1450", "F");
    issued(w, "C-1", "20260306082000", "1300", "C");
    counted(w, got, sizeof(got));
    assert_string_equal(got, "tolerated duplicate MSH-10 1; ");
}

/* ---- many ----------------------------------------------------------------- */

/* An answer lists HL7_ISSUES_MAX of them; the others are counted as well. */
static void more_faults_than_are_told(void **state)
{
    enum { BAD = HL7_ISSUES_MAX + 5 };
    struct world *w = *state;
    char rest[8192] = PID OBR1, got[600];

    for (int i = 0; i < BAD; i++)
        snprintf(rest + strlen(rest), sizeof(rest) - strlen(rest),
                 "OBX|%d|NM|access-flow^F^L|%d|much|mL/min^^UCUM|||||F\r",
                 i + 1, i + 1);
    assert_int_equal(deliver(w, "C-1", rest), HL7_AE);
    assert_int_equal(in.refused, BAD);
    counted(w, got, sizeof(got));
    assert_string_equal(got, "quarantined bad-value OBX-5 20; "
                             "quarantined error  5; ");
}

/* Results that could not become anything are refused, each; one that says that
 * there is none is not. */
static void results_are_counted(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "C-1",
                             PID OBR1 NM
                             "OBX|2|NM|recirculation^R^L||about 4|%|||||F\r"
                             "OBX|3|NM|recirculation^R^L||4|%|||||N\r"
                             "OBX|4|NM|||4|%|||||F\r"),
                     HL7_AE);
    assert_int_equal(in.stored, 1);
    assert_int_equal(in.refused, 2);
    assert_int_equal(deliver(w, "C-2", "PID|1||||B^A\r" OBR1 NM NM), HL7_AE);
    assert_int_equal(in.stored, 0);
    assert_int_equal(in.refused, 2);
    assert_int_equal(deliver(w, "C-3", OBR1 NM), HL7_AE);
    assert_int_equal(in.refused, 1);
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_is_counted_once),
        TEST(nothing_of_a_patient_is_in_it),
        TEST(what_comes_after_its_correction),
        TEST(a_number_that_is_used_again),
        TEST(more_faults_than_are_told),
        TEST(results_are_counted),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
