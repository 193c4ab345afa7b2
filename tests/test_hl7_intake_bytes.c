/*
 * Bytes that are not of the message's character set, in a real store: what is
 * left out, what is used all the same, and what the sender is told.
 *
 * Places and codes: HL7 v2.5.1, 2.15.5 (ERR), table 0357 (102: data type
 * error).  That an emergency sign must not wait for a byte in some name is ours;
 * that OBX-3.1, PID-3, OBX-14 and OBX-4 make a result what it is, is the
 * v2-to-FHIR guide's map of OBX (code, subject, effective).
 */
#include "service/hl7_intake.h"

#include "tests/service_world.h"
#include "tests/test.h"

#define HEAD                                                                   \
    "MSH|^~\\&|APP|HALL|HEADGATE|UNIT|20260306080000||ORU^R01^ORU_R01|%s|P|"   \
    "2.5.1||||||UNICODE UTF-8\r"
#define PID  "PID|1||1001^^^HALL^MR||Beispiel^Anna\r"
#define OBR  "OBR|1||F-1|S^Session^L|||20260305090000\r"
#define FLOW "OBX|1|NM|access-flow^Flow^L||1450|mL/min^^UCUM|||||F\r"
#define SIGN "OBX|2|CWE|bleeding-active^^L||Y^Yes^HL70136||||||F\r"

static struct hl7_profile profile;
static struct hl7_intake in;
static char text[4096];

static int start(void **state)
{
    if (world_start(state) != 0)
        return -1;
    profile = (struct hl7_profile){ .name = "hall",
                                    .application = "APP",
                                    .zone = ((struct world *)*state)->zone,
                                    .patient_system = IDS "patient",
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
    int len = snprintf(text, sizeof(text), HEAD "%s", control, rest);

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

/* The places of what is told of this severity: "OBX[1]-5.1 PID[1]-5.1 ". */
static const char *places(enum hl7_severity severity)
{
    static char out[600];

    out[0] = '\0';
    for (size_t i = 0; i < in.issues.count; i++) {
        const struct hl7_issue *issue = &in.issues.list[i];
        char place[HL7_PLACE_SIZE];

        if (issue->severity != severity || issue->code != HL7_DATA_TYPE)
            continue;
        hl7_place_write(&issue->place, place);
        snprintf(out + strlen(out), sizeof(out) - strlen(out), "%s ", place);
    }
    return out;
}

/* 0xE4 is no beginning of a character in UTF-8 where "|" or "^" follows. */
static const struct {
    const char *name, *rest;
    enum hl7_answer answer;
    const char *errors, *warnings;
    int stored; /* results */
} cases[] = {
    { "nothing", PID OBR FLOW SIGN, HL7_AA, "", "", 2 },
    /* only shown */
    { "PID-5", "PID|1||1001^^^HALL^MR||M\xe4^Anna\r" OBR FLOW SIGN, HL7_AA, "",
      "PID[1]-5.1 ", 2 },
    { "OBX-3.2",
      PID OBR "OBX|1|NM|access-flow^Flu\xdf^L||1450|mL/min^^UCUM"
              "|||||F\r" SIGN,
      HL7_AA, "", "OBX[1]-3.2 ", 2 },
    { "OBX-16",
      PID OBR "OBX|1|NM|access-flow^Flow^L||1450|mL/min^^UCUM"
              "|||||F|||||H\xe4^user\r" SIGN,
      HL7_AA, "", "OBX[1]-16.1 ", 2 },
    { "NTE", PID OBR FLOW "NTE|1||Sp\xfclung\r" SIGN, HL7_AA, "", "NTE[1]-3.1 ",
      2 },
    { "OBX-5.2",
      PID OBR FLOW "OBX|2|CWE|bleeding-active^^L||Y^J\xe4^HL70136"
                   "||||||F\r",
      HL7_AA, "", "OBX[2]-5.2 ", 2 },
    { "a segment that is not looked at", PID "PV1|1|\xe4\r" OBR FLOW SIGN,
      HL7_AA, "", "PV1[1]-2.1 ", 2 },
    { "OBR-16, who ordered",
      PID "OBR|1||F-1|S^Session^L|||20260305090000|||||||||\xe4\r" FLOW SIGN,
      HL7_AA, "", "OBR[1]-16.1 ", 2 },
    /* one result */
    { "OBX-5 of the other",
      PID OBR "OBX|1|ST|note^Note^L||Sp\xfclung||||||F\r" SIGN, HL7_AE,
      "OBX[1]-5.1 ", "", 1 },
    { "OBX-5, a code",
      PID OBR FLOW "OBX|2|CWE|bleeding-active^^L||Y\xe4^Ja"
                   "^HL70136||||||F\r",
      HL7_AE, "OBX[2]-5.1 ", "", 1 },
    { "OBX-6",
      PID OBR "OBX|1|NM|access-flow^Flow^L||1450|mL\xb7min^^UCUM"
              "|||||F\r" SIGN,
      HL7_AE, "OBX[1]-6.1 ", "", 1 },
    { "OBX-3.1",
      PID OBR "OBX|1|NM|access-flu\xdf^Flow^L||1450|mL/min^^UCUM"
              "|||||F\r" SIGN,
      HL7_AE, "OBX[1]-3.1 ", "", 1 },
    { "OBX-4",
      PID OBR "OBX|1|NM|access-flow^Flow^L|\xe4|1450|mL/min^^UCUM"
              "|||||F\r" SIGN,
      HL7_AE, "OBX[1]-4.1 ", "", 1 },
    { "OBX-11",
      PID OBR "OBX|1|NM|access-flow^Flow^L||1450|mL/min^^UCUM"
              "|||||\xe4|\r" SIGN,
      HL7_AE, "OBX[1]-11.1 ", "", 1 },
    { "OBX-14",
      PID OBR "OBX|1|NM|access-flow^Flow^L||1450|mL/min^^UCUM"
              "|||||F|||2026\xe4\r" SIGN,
      HL7_AE, "OBX[1]-14.1 ", "", 1 },
    { "a name besides",
      PID OBR "OBX|1|NM|access-flow^Flow^L||1450|mL\xb7min"
              "^^UCUM|||||F|||||H\xe4^user\r" SIGN,
      HL7_AE, "OBX[1]-6.1 ", "OBX[1]-16.1 ", 1 },
    /* an order */
    { "OBR-7", PID "OBR|1||F-1|S^Session^L|||2026\xe4\r" FLOW OBR SIGN, HL7_AE,
      "OBR[1]-7.1 ", "", 1 },
    { "OBR-3", PID "OBR|1||\xe4|S^Session^L|||20260305090000\r" FLOW SIGN,
      HL7_AE, "OBR[1]-3.1 ", "", 0 },
    /* a patient */
    { "PID-3", "PID|1||1001\xe4^^^HALL^MR||Beispiel^Anna\r" OBR FLOW SIGN,
      HL7_AE, "PID[1]-3.1 ", "", 0 },
    { "PID-3.4", "PID|1||1001^^^H\xe4^MR||Beispiel^Anna\r" OBR FLOW SIGN,
      HL7_AE, "PID[1]-3.4 ", "", 0 },
    { "PID-3 of the first",
      "PID|1||1001\xe4\r" OBR FLOW
      "PID|2||1002^^^HALL^MR||Muster^Bo\r" OBR SIGN,
      HL7_AE, "PID[1]-3.1 ", "", 1 },
};

static void leaves_out_alone(void **state)
{
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        char control[16];

        ROW(cases[i].name);
        /* the same results each time: what counts is what this one brought */
        assert_int_equal(stop(state), 0);
        assert_int_equal(start(state), 0);
        w = *state;
        snprintf(control, sizeof(control), "B-%zu", i);
        assert_int_equal(deliver(w, control, cases[i].rest), cases[i].answer);
        assert_string_equal(places(HL7_ERROR), cases[i].errors);
        assert_string_equal(places(HL7_WARNING), cases[i].warnings);
        assert_int_equal(in.stored, cases[i].stored);
        assert_int_equal(world_count(w, "SELECT count(*) FROM reading"),
                         cases[i].stored);
        assert_int_equal(in.quarantined, cases[i].answer == HL7_AE);
        assert_int_equal(world_count(w, "SELECT count(*) FROM hl7_message"), 1);
        assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine"),
                         cases[i].answer == HL7_AE);
    }
}

/* MSH, and what follows a segment without a name, are nobody's guess. */
static void refuses_the_rest(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "B-\xe4|", PID OBR FLOW SIGN), HL7_AE);
    assert_string_equal(places(HL7_ERROR), "MSH[1]-10 ");
    assert_true(in.quarantined && in.stored == 0);
    assert_int_equal(deliver(w, "B-2", PID OBR "OB\xe4|1\r" SIGN), HL7_AE);
    assert_string_equal(places(HL7_ERROR), "OBR[1] ");
    assert_true(in.quarantined && in.stored == 0);
}

/* A correction whose value cannot be read ends what it corrects, as any other
 * that is of no use; one that withdraws needs no value. */
static void ends_what_it_corrects(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, "B-1", PID OBR FLOW), HL7_AA);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 1);
    assert_int_equal(
        deliver(w, "B-2",
                PID OBR "OBX|1|NM|access-flow^Flow^L||14\xe4|mL/min^^UCUM|||||C"
                        "\r"),
        HL7_AE);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 0);
    assert_int_equal(
        deliver(w, "B-3",
                PID OBR "OBX|1|NM|access-flow^Flow^L||14\xe4|mL/min^^UCUM|||||D"
                        "\r"),
        HL7_AA);
    assert_string_equal(places(HL7_ERROR), "");
}

/* A name with U+FFFD is better than none, and never better than one that was
 * read. */
static void keeps_the_better_name(void **state)
{
    static const struct {
        const char *family, *known;
        bool warns; /* of another name for this number */
    } names[] = {
        { "M\xfcller^Anna", "M\xef\xbf\xbdller, Anna", false },
        { "M\xc3\xbcller^Anna", "M\xc3\xbcller, Anna", false },
        { "M\xfcller^Anna", "M\xc3\xbcller, Anna", false },
        { "M\xc3\xbcller^Ann\xe4", "M\xc3\xbcller, Anna", false },
        { "Sch\xfcler^Anna", "M\xc3\xbcller, Anna", true },
    };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(names); i++) {
        char control[16], rest[400], name[64];
        bool warned = false;

        ROW(names[i].family);
        snprintf(control, sizeof(control), "N-%zu", i);
        snprintf(rest, sizeof(rest),
                 "PID|1||1001^^^HALL^MR||%s\rOBR|1||F-%zu|S^Session^L|||"
                 "20260305090000\r" FLOW,
                 names[i].family, i);
        assert_int_equal(deliver(w, control, rest), HL7_AA);
        for (size_t k = 0; k < in.issues.count; k++)
            warned = warned || in.issues.list[k].code == HL7_UNKNOWN_KEY;
        assert_int_equal(warned, names[i].warns);
        world_text(w, "SELECT name FROM patient", name, sizeof(name));
        assert_string_equal(name, names[i].known);
    }
}

#define TEST(function) cmocka_unit_test_setup_teardown(function, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(leaves_out_alone),
        TEST(refuses_the_rest),
        TEST(ends_what_it_corrects),
        TEST(keeps_the_better_name),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
