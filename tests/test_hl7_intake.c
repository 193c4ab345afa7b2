/*
 * Messages of HL7 v2 in a real store.  What is expected of answers is that of
 * HL7 v2.5.1, 2.9 and tables 0008, 0085 and 0357.
 */
#include "service/hl7_intake.h"

#include "service/pack.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define PID "PID|1||1001^^^HALL^MR||Beispiel^Anna\r"
#define OBR(issued)                                                            \
    "OBR|1||F-1|S^Session^L|||20260305090000||||||||||||||" issued "|||F\r"

static struct hl7_profile profile;
static struct hl7_intake in;
static char *text;

static int start(void **state)
{
    if (world_start(state) != 0)
        return -1;
    profile = (struct hl7_profile){ .name = "hall",
                                    .unit = "Hall North",
                                    .application = "APP",
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

/* ---- sending -------------------------------------------------------------- */

static void prepare(struct world *w, const char *message)
{
    forget();
    text = strdup(message);
    assert_non_null(text);
    in = (struct hl7_intake){ .bytes = text,
                              .len = strlen(text),
                              .profile = &profile,
                              .reader = w->reader,
                              .way = QUARANTINE_HL7,
                              .merge_implied = true,
                              .now_ms = world_now_ms() };
}

static enum err run(struct world *w)
{
    assert_int_equal(hl7_intake_read(&in), ERR_OK);
    return world_step(w, hl7_intake_apply, &in);
}

static enum hl7_answer deliver(struct world *w, const char *message)
{
    prepare(w, message);
    assert_int_equal(run(w), ERR_OK);
    return in.answer;
}

/* A message: head, then PID and what follows. */
static const char *hl7(const char *sent, const char *control, const char *rest)
{
    static char texts[8][4096];
    static size_t n;
    char *out = texts[n++ % COUNT(texts)];

    snprintf(out, sizeof(texts[0]),
             "MSH|^~\\&|APP|HALL|HEADGATE|UNIT|%s||ORU^R01^ORU_R01|%s|P|2.5.1\r"
             "%s",
             sent, control, rest);
    return out;
}

/* One flow, reported at a time, with a status. */
static const char *flow(const char *control, const char *issued,
                        const char *value, const char *status)
{
    static char rests[8][2048];
    static size_t n;
    char *out = rests[n++ % COUNT(rests)];

    snprintf(out, sizeof(rests[0]),
             PID OBR("%s") "OBX|1|NM|access-flow^Access flow^L||%s|mL/min^^UCUM"
                           "|||||%s\r",
             issued, value, status);
    return hl7("20260306080000", control, out);
}

static bool says(enum hl7_severity severity, enum hl7_error code,
                 const char *word)
{
    for (size_t i = 0; i < in.issues.count; i++) {
        const struct hl7_issue *issue = &in.issues.list[i];

        if (issue->severity == severity && issue->code == code &&
            strcmp(issue->word, word) == 0)
            return true;
    }
    for (size_t i = 0; i < in.issues.count; i++)
        print_error("    %d %d %s: %s\n", (int)in.issues.list[i].severity,
                    (int)in.issues.list[i].code, in.issues.list[i].word,
                    in.issues.list[i].text);
    return false;
}

static long long count(struct world *w, const char *sql)
{
    return world_count(w, sql);
}

/* ---- kept ----------------------------------------------------------------- */

static void keeps_what_came(void **state)
{
    struct world *w = *state;
    const enum query q = Q_HL7_BYTES;
    const char *message = flow("C-1", "20260306081000", "1450.0", "F");
    struct buf body;
    size_t len;
    const void *packed;

    assert_int_equal(deliver(w, message), HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(in.stored, 1);
    assert_int_equal(in.there + in.held + in.refused, 0);
    assert_true(in.id > 0);
    assert_true(in.news);
    assert_false(in.repeated);
    assert_false(in.quarantined);
    assert_int_equal(
        count(w, "SELECT count(*) FROM reading WHERE value = 1450"), 1);
    assert_int_equal(count(w, "SELECT count(*) FROM hl7_message WHERE "
                              "answer = 0 AND source = 'hall' AND "
                              "application = 'APP' AND facility = 'HALL' AND "
                              "control = 'C-1' AND journal > 0"),
                     1);
    /* from a reading the message is found: version, journal, message */
    assert_int_equal(
        count(w, "SELECT count(*) FROM reading r JOIN version v ON v.resource "
                 "= r.resource AND v.ver = r.ver JOIN hl7_message m ON "
                 "m.journal = v.journal"),
        1);
    /* and it is there byte for byte */
    buf_init(&body, 1 << 20);
    assert_int_equal(db_first(w->db, q, "i", in.id), ERR_OK);
    packed = db_blob(w->db, q, 1, &len);
    assert_int_equal(unpack(packed, len, (size_t)db_int(w->db, q, 0), &body),
                     ERR_OK);
    db_done(w->db, q);
    assert_string_equal(body.data, message);
    buf_clear(&body);
    /* the patient is made known, of this unit */
    assert_int_equal(count(w, "SELECT count(*) FROM patient WHERE name = "
                              "'Beispiel, Anna' AND unit = 'Hall North'"),
                     1);
}

/* The same again is answered as before, whatever its time; another content of
 * the same number is another message. */
static void knows_repeats(void **state)
{
    struct world *w = *state;
    int64_t id;
    char again[4096];

    assert_int_equal(deliver(w, flow("C-1", "20260306081000", "1450", "F")),
                     HL7_AA);
    id = in.id;
    assert_int_equal(deliver(w, flow("C-1", "20260306081000", "1450", "F")),
                     HL7_AA);
    assert_true(in.repeated);
    assert_int_equal(in.id, id);
    assert_int_equal(in.stored + in.there, 0);
    assert_false(in.news);
    snprintf(again, sizeof(again), "%s",
             flow("C-1", "20260306081000", "1450", "F"));
    memcpy(strstr(again, "20260306080000"), "20260306080500", 14); /* MSH-7 */
    assert_int_equal(deliver(w, again), HL7_AA);
    assert_true(in.repeated);
    assert_int_equal(count(w, "SELECT count(*) FROM version v JOIN resource r "
                              "ON r.id = v.resource WHERE r.kind = 1"),
                     1);

    assert_int_equal(deliver(w, flow("C-1", "20260306082000", "1300", "C")),
                     HL7_AA);
    assert_false(in.repeated);
    assert_true(says(HL7_WARNING, HL7_DUPLICATE_KEY, "duplicate"));
    assert_true(in.id != id);
    assert_int_equal(in.stored, 1);
    assert_int_equal(
        count(w, "SELECT count(*) FROM reading WHERE value = 1300"), 1);
    assert_int_equal(count(w, "SELECT count(*) FROM reading"), 1);
    /* another number, nothing new in it */
    assert_int_equal(deliver(w, flow("C-2", "20260306082000", "1300", "C")),
                     HL7_AA);
    assert_int_equal(in.there, 1);
    assert_int_equal(count(w, "SELECT count(*) FROM hl7_message"), 3);
}

/* ---- corrections ---------------------------------------------------------- */

static void keeps_corrections(void **state)
{
    static const struct {
        const char *name;
        const char *issued[3], *value[3], *status[3]; /* as they come */
        long long value_left; /* 0: no reading is left */
    } cases[] = {
        { "in order",
          { "20260306081000", "20260306082000", NULL },
          { "1450", "1300", NULL },
          { "F", "C", NULL },
          1300 },
        { "correction before its result",
          { "20260306082000", "20260306081000", NULL },
          { "1300", "1450", NULL },
          { "C", "F", NULL },
          1300 },
        { "withdrawn before it came",
          { "20260306082000", "20260306081000", NULL },
          { "\"\"", "1450", NULL },
          { "D", "F", NULL },
          0 },
        { "posted as wrong, after it came",
          { "20260306081000", "20260306082000", NULL },
          { "1450", "\"\"", NULL },
          { "F", "W", NULL },
          0 },
        { "preliminary after final",
          { "20260306082000", "20260306081000", NULL },
          { "1450", "1999", NULL },
          { "F", "P", NULL },
          1450 },
        { "withdrawn, then reported anew",
          { "20260306081000", "20260306082000", "20260306083000" },
          { "1450", "\"\"", "1500" },
          { "F", "D", "C" },
          1500 },
        { "preliminary becomes final without its value",
          { "20260306081000", "20260306082000", NULL },
          { "1450", "", NULL },
          { "P", "U", NULL },
          1450 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        void *own = NULL;
        struct world *w;
        char control[16];

        ROW(cases[i].name);
        assert_int_equal(start(&own), 0);
        w = own;
        for (int k = 0; k < 3 && cases[i].status[k] != NULL; k++) {
            snprintf(control, sizeof(control), "C-%d", k);
            assert_int_equal(
                deliver(w, flow(control, cases[i].issued[k], cases[i].value[k],
                                cases[i].status[k])),
                HL7_AA);
        }
        assert_int_equal(count(w, "SELECT count(*) FROM resource WHERE kind = "
                                  "1"),
                         1);
        assert_int_equal(count(w, "SELECT coalesce(max(CAST(value AS INT)), 0) "
                                  "FROM reading WHERE status < 3"),
                         cases[i].value_left);
        assert_int_equal(stop(&own), 0);
    }
}

static void makes_results_final(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, flow("C-1", "20260306081000", "1450.0", "P")),
                     HL7_AA);
    assert_int_equal(count(w, "SELECT status FROM reading"),
                     READING_PRELIMINARY);
    assert_int_equal(deliver(w, flow("C-2", "20260306082000", "", "U")),
                     HL7_AA);
    assert_int_equal(in.stored, 1);
    assert_true(in.news);
    assert_int_equal(count(w, "SELECT status FROM reading"), READING_FINAL);
    assert_int_equal(deliver(w, flow("C-3", "20260306082000", "", "U")),
                     HL7_AA);
    assert_int_equal(in.stored, 0);
    assert_int_equal(in.there, 1);
}

/* Nobody can make final what never came: a person looks. */
static void finds_nothing_to_make_final(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, flow("C-1", "20260306082000", "", "U")),
                     HL7_AE);
    assert_true(says(HL7_ERROR, HL7_UNKNOWN_KEY, "not-found"));
    assert_int_equal(in.issues.list[0].place.field, 11);
    assert_true(in.quarantined);
    assert_int_equal(in.refused, 1);
    assert_int_equal(count(w, "SELECT count(*) FROM resource WHERE kind = 1"),
                     0);
}

/* ---- bad content ---------------------------------------------------------- */

/* A text for a number; and one result that is good. */
static const char *half_bad(const char *control)
{
    return hl7(
        "20260306080000", control,
        PID OBR("20260306081000") "OBX|1|NM|access-flow^Access flow^L||about "
                                  "1400|mL/min|||||F\r"
                                  "OBX|2|NM|recirculation^R^L||4|%|||||F\r");
}

static void answers_bad_content_by_profile(void **state)
{
    static const struct {
        enum hl7_bad_content policy;
        enum hl7_answer answer;
        enum hl7_severity severity;
    } cases[] = { { HL7_BAD_AE, HL7_AE, HL7_ERROR },
                  { HL7_BAD_AA, HL7_AA, HL7_WARNING },
                  { HL7_BAD_AR, HL7_AR, HL7_ERROR } };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        void *own = NULL;
        struct world *w;
        char place[64];

        assert_int_equal(start(&own), 0);
        w = own;
        profile.bad_content = cases[i].policy;
        ROW(hl7_answer_word(cases[i].answer));
        assert_int_equal(deliver(w, half_bad("C-1")), cases[i].answer);
        assert_true(in.id > 0); /* kept, whatever it is answered */
        assert_true(in.quarantined);
        assert_int_equal(in.stored, 1); /* the good one is used */
        assert_int_equal(in.issues.list[0].severity, cases[i].severity);
        assert_int_equal(in.issues.list[0].code, HL7_DATA_TYPE);
        assert_int_equal(count(w, "SELECT count(*) FROM reading"), 1);
        assert_int_equal(count(w, "SELECT count(*) FROM quarantine q JOIN "
                                  "hl7_message m ON m.id = q.message WHERE "
                                  "q.state = 0 AND q.way = 5 AND q.source = "
                                  "'hall'"),
                         1);
        world_text(w, "SELECT place FROM quarantine", place, sizeof(place));
        assert_string_equal(place, "OBX[1]-5");
        assert_int_equal(count(w, "SELECT count(*) FROM tally WHERE source = "
                                  "'hall' AND class = 3 AND place = 'OBX-5' "
                                  "AND sample = 'C-1'"),
                         1);
        /* sent again it is looked at anew, and stands there once */
        assert_int_equal(deliver(w, half_bad("C-1")), cases[i].answer);
        assert_int_equal(count(w, "SELECT sum(count) FROM tally WHERE source = "
                                  "'hall' AND class = 3"),
                         1);
        assert_false(in.repeated);
        assert_int_equal(in.there, 1);
        assert_int_equal(count(w, "SELECT count(*) FROM quarantine"), 1);
        assert_int_equal(count(w, "SELECT count(*) FROM hl7_message"), 1);
        assert_int_equal(stop(&own), 0);
    }
}

/* What could not be understood is, once the settings say more. */
static void comes_again_and_is_understood(void **state)
{
    struct world *w = *state;
    const char *message =
        hl7("20260306080000", "C-1",
            "PID|1||1001^^^HALL^MR~SN-5^^^MAKER^U||Beispiel^Anna\r" OBR(
                "20260306081000") "OBX|1|NM|access-flow^Access flow^L||1450|mL/"
                                  "min|||||F\r");

    assert_int_equal(deliver(w, message), HL7_AE); /* whose number? */
    assert_true(says(HL7_ERROR, HL7_UNKNOWN_KEY, "no-subject"));
    assert_int_equal(count(w, "SELECT count(*) FROM reading"), 0);
    snprintf(profile.patient_type, sizeof(profile.patient_type), "MR");
    assert_int_equal(deliver(w, message), HL7_AA);
    assert_false(in.repeated);
    assert_int_equal(in.stored, 1);
    assert_int_equal(count(w, "SELECT state FROM quarantine"),
                     QUARANTINE_CAME_AGAIN);
    assert_int_equal(count(w, "SELECT answer FROM hl7_message"), HL7_AA);
    assert_int_equal(deliver(w, message), HL7_AA); /* and now it is known */
    assert_true(in.repeated);
}

/* A person releases it: read anew though it is closed, which is theirs. */
static void is_read_again_for_a_person(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, half_bad("C-1")), HL7_AE);
    prepare(w, half_bad("C-1"));
    in.again = true;
    assert_int_equal(run(w), ERR_OK);
    assert_true(in.quarantined); /* nothing has changed */
    assert_int_equal(count(w, "SELECT count(*) FROM quarantine WHERE state = "
                              "0"),
                     1);
    assert_int_equal(quarantine_close_message(
                         w->db, in.id, QUARANTINE_DISCARDED, world_now_ms()),
                     ERR_OK);
    /* discarded, and sent again: answered as it was, and left alone */
    assert_int_equal(deliver(w, half_bad("C-1")), HL7_AE);
    assert_true(in.repeated);
    assert_int_equal(count(w, "SELECT count(*) FROM quarantine WHERE state = "
                              "0"),
                     0);
}

/* A value that nobody would believe is kept, and a person is asked. */
static void holds_readings(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, flow("C-1", "20260306081000", "90000", "F")),
                     HL7_AA);
    assert_true(says(HL7_WARNING, HL7_DATA_TYPE, "implausible"));
    assert_int_equal(in.held, 1);
    assert_int_equal(in.stored, 0);
    assert_false(in.quarantined);
    assert_int_equal(count(w, "SELECT count(*) FROM held"), 1);
    assert_int_equal(count(w, "SELECT count(*) FROM quarantine"), 0);
}

/* Bytes are never guessed: the sender's character set is a setting. */
static void knows_the_charset(void **state)
{
    struct world *w = *state;
    const char *message =
        hl7("20260306080000", "C-1",
            "PID|1||1001^^^HALL^MR||M\xfcller^Anna\r" OBR("20260306081000") //
            "OBX|1|ST|note^Note^L||Sp\xfclung|||||F\r");
    char name[64];

    assert_int_equal(deliver(w, message), HL7_AE);
    assert_true(in.quarantined);
    assert_true(in.id > 0);
    assert_int_equal(in.issues.list[0].severity, HL7_ERROR);
    assert_int_equal(count(w, "SELECT count(*) FROM patient"), 0);
    snprintf(profile.charset, sizeof(profile.charset), "8859/1");
    assert_int_equal(deliver(w, message), HL7_AA);
    world_text(w, "SELECT name FROM patient", name, sizeof(name));
    assert_string_equal(name, "M\xc3\xbcller, Anna");
    assert_int_equal(count(w, "SELECT state FROM quarantine"),
                     QUARANTINE_CAME_AGAIN);
}

/* ---- rejected ------------------------------------------------------------- */

static void rejects(void **state)
{
    static const struct {
        const char *name, *message;
        enum hl7_error code;
        bool unknown; /* sender */
        const char *receivers, *place;
    } cases[] = {
        { "type", "MSH|^~\\&|APP|H|HG|U|2026||ADT^A01|1|P|2.5.1\r" PID,
          HL7_MESSAGE_TYPE, false, NULL, "MSH-9" },
        { "event", "MSH|^~\\&|APP|H|HG|U|2026||ORU^W01|1|P|2.5.1\r" PID,
          HL7_EVENT, false, NULL, "MSH-9" },
        { "version", "MSH|^~\\&|APP|H|HG|U|2026||ORU^R01|1|P|2.1\r" PID,
          HL7_VERSION, false, NULL, "MSH-12" },
        { "training", "MSH|^~\\&|APP|H|HG|U|2026||ORU^R01|1|T|2.5.1\r" PID,
          HL7_PROCESSING_ID, false, NULL, "MSH-11" },
        { "sender", "MSH|^~\\&|APP|H|HG|U|2026||ORU^R01|1|P|2.5.1\r" PID,
          HL7_UNKNOWN_KEY, true, NULL, "MSH-3" },
        { "receiver", "MSH|^~\\&|APP|H|HG|U|2026||ORU^R01|1|P|2.5.1\r" PID,
          HL7_UNKNOWN_KEY, false, "US,THEM", "MSH-5" },
        { "no head", "PID|1||1001\r", HL7_DATA_TYPE, false, NULL, "" },
        { "nothing", "", HL7_DATA_TYPE, false, NULL, "" },
    };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        prepare(w, cases[i].message);
        in.profile = cases[i].unknown ? NULL : &profile;
        in.receivers = cases[i].receivers;
        assert_int_equal(run(w), ERR_OK);
        assert_int_equal(in.answer, HL7_AR);
        assert_int_equal(in.id, 0);
        assert_int_equal(in.issues.list[0].severity, HL7_ERROR);
        assert_int_equal(in.issues.list[0].code, cases[i].code);
        if (cases[i].place[0] != '\0') {
            char sql[200];

            snprintf(sql, sizeof(sql),
                     "SELECT count(*) FROM tally WHERE class = 2 AND source = "
                     "'%s' AND place = '%s'",
                     cases[i].unknown ? "unknown" : "hall", cases[i].place);
            assert_int_equal(count(w, sql), 1);
        }
    }
    assert_int_equal(count(w, "SELECT count(*) FROM hl7_message"), 0);
    assert_int_equal(count(w, "SELECT count(*) FROM quarantine"), 0);
    assert_int_equal(count(w, "SELECT count(*) FROM resource"), 0);
}

/* ---- patients ------------------------------------------------------------- */

/* Each of another moment, so that no result is a report of another. */
static const char *named(const char *control, const char *name,
                         const char *value)
{
    static char rest[1024];

    snprintf(rest, sizeof(rest),
             "PID|1||1001^^^HALL^MR||%s\r" OBR(
                 "20260306081%s") "OBX|1|NM|access-flow^Access "
                                  "flow^L||1%s|mL/min|||||F|||20260305091%s\r",
             name, value, value, value);
    return hl7("20260306080000", control, rest);
}

/* The record's Patient stays the record's; a name that does not fit may be a
 * mistyped number. */
static void leaves_the_patient_of_others(void **state)
{
    struct world *w = *state;
    char name[64];

    assert_int_equal(
        world_put(w, "p-1",
                  "{\"resourceType\":\"Patient\",\"id\":\"p-1\",\"identifier\":"
                  "[{\"system\":\"" IDS "patient\",\"value\":\"1001\"}],"
                  "\"name\":[{\"family\":\"Beispiel\",\"given\":[\"Anna\"]}]}"),
        201);
    assert_int_equal(deliver(w, named("C-1", "BEISPIEL^A", "010")), HL7_AA);
    assert_int_equal(in.issues.count, 0); /* the same name, in capitals */
    assert_int_equal(deliver(w, named("C-2", "Anders^Anna", "020")), HL7_AA);
    assert_true(says(HL7_WARNING, HL7_UNKNOWN_KEY, "identity"));
    for (size_t i = 0; i < in.issues.count; i++) {
        assert_null(strstr(in.issues.list[i].text, "Anders"));
        assert_null(strstr(in.issues.list[i].text, "Beispiel"));
    }
    assert_int_equal(in.stored, 1);
    world_text(w, "SELECT name FROM patient", name, sizeof(name));
    assert_string_equal(name, "Beispiel, Anna");
    assert_int_equal(count(w, "SELECT count(*) FROM patient"), 1);
    assert_int_equal(count(w, "SELECT max(ver) FROM resource WHERE kind = 3"),
                     1);
}

/* One that HL7 v2 has made may be changed by it. */
static void changes_its_own_patient(void **state)
{
    struct world *w = *state;
    char name[64];

    assert_int_equal(deliver(w, named("C-1", "Beispiel^Anna", "010")), HL7_AA);
    assert_int_equal(deliver(w, named("C-2", "Beispiel^Anne", "020")), HL7_AA);
    assert_int_equal(in.issues.count, 0);
    assert_int_equal(count(w, "SELECT max(ver) FROM resource WHERE kind = 3"),
                     2);
    assert_int_equal(count(w, "SELECT count(*) FROM resource WHERE kind = 3"),
                     1);
    world_text(w, "SELECT name FROM patient", name, sizeof(name));
    assert_string_equal(name, "Beispiel, Anne");
}

/* ---- faults --------------------------------------------------------------- */

/* Whichever step of the store fails: all of the message, or nothing of it. */
static void keeps_all_or_nothing(void **state)
{
    enum err e = ERR_STORE;
    long n = 0;

    (void)state;
    while (e != ERR_OK) {
        void *own = NULL;
        struct world *w;
        long long kept;

        assert_int_equal(start(&own), 0);
        w = own;
        prepare(w, half_bad("C-1"));
        assert_int_equal(hl7_intake_read(&in), ERR_OK);
        db_fail_step(w->db, ++n + 1); /* the first is the savepoint */
        e = world_step(w, hl7_intake_apply, &in);
        db_fail_step(w->db, 0);
        kept = e == ERR_OK ? 1 : 0;
        assert_int_equal(count(w, "SELECT count(*) FROM hl7_message"), kept);
        assert_int_equal(count(w, "SELECT count(*) FROM quarantine"), kept);
        assert_int_equal(count(w, "SELECT count(*) FROM reading"), kept);
        assert_int_equal(count(w, "SELECT count(*) FROM resource"), 2 * kept);
        assert_int_equal(stop(&own), 0);
        assert_true(n < 500);
    }
    assert_true(n > 20);
}

/* More than people can look at: then the sender keeps it. */
static void refuses_when_full(void **state)
{
    struct world *w = *state;

    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    world_change_file(
        w->path,
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE "
        "i < 50000) INSERT INTO quarantine(id, part, at_ms, way, source, kind, "
        "file, line, start, status, reason, bytes, state) SELECT 1000000 + i, "
        "0, 0, 5, 'hall', 0, 0, 0, 0, 422, 'bad-value', 0, 0 FROM n");
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);

    prepare(w, half_bad("C-1"));
    assert_int_equal(run(w), ERR_LIMIT);
    assert_int_equal(count(w, "SELECT count(*) FROM hl7_message"), 0);
    assert_int_equal(count(w, "SELECT count(*) FROM reading"), 0);
    /* what is good is taken all the same */
    assert_int_equal(deliver(w, flow("C-2", "20260306081000", "1450", "F")),
                     HL7_AA);
}

/* ---- signs, and what is taken back ---------------------------------------- */

static const char *sign(const char *control, const char *type, const char *code,
                        const char *value)
{
    static char rest[1024];

    snprintf(rest, sizeof(rest),
             PID OBR("20260306081000") "OBX|1|%s|%s||%s|"
                                       "|||||F\r",
             type, code, value);
    return hl7("20260306080000", control, rest);
}

/*
 * HL7 v2 has no boolean: yes and no are those of table 0136 (HL7 v2.5.1,
 * appendix A), with its name or, as ID and IS, without.
 */
static void answers_questions(void **state)
{
    static const struct {
        const char *type, *value;
        int present;
    } cases[] = {
        { "CWE", "Y^Yes^HL70136", 1 },
        { "CE", "N^No^HL70136", 0 },
        { "ID", "Y", 1 },
        { "IS", "N", 0 },
        { "CWE", "LA33-6^Yes^LN", 1 },
        { "CWE", "LA32-8^No^LN", 0 },
    };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        char control[16], rest[512], sql[200];

        /* a day each: of one and the same question another final answer would
         * stand beside the first */
        snprintf(control, sizeof(control), "Y-%zu", i);
        snprintf(rest, sizeof(rest),
                 PID OBR("20260306081000") "OBX|1|%s|bleeding-active^Bleeding^L"
                                           "||%s||||||F|||2026020%zu0900\r",
                 cases[i].type, cases[i].value, i + 1);
        assert_int_equal(deliver(w, hl7("20260306080000", control, rest)),
                         HL7_AA);
        snprintf(sql, sizeof(sql),
                 "SELECT count(*) FROM reading WHERE value = %d AND start_s = "
                 "strftime('%%s', '2026-02-0%zu 09:00:00')",
                 cases[i].present, i + 1);
        assert_int_equal(count(w, sql), 1);
        assert_int_equal(count(w, "SELECT count(*) FROM reading"), i + 1);
    }
}

/* A yes in a form of its own is read; of what cannot be read the sender is told,
 * and it is held as a possible emergency, once and not in quarantine besides. */
static void shows_signs_that_are_not_read(void **state)
{
    static const struct {
        const char *type, *value;
        bool read;
    } cases[] = {
        { "NM", "1", true },
        { "ST", "true", true },
        { "CWE", "present^P^L", true },
        { "IS", "^Present", true },
        { "ID", "^Yes", true },
        { "ID", "y ", true },
        { "NM", "7", false },
        { "ST", "still so", false },
        { "CWE", "X1^oozing^L", false },
        { "ED", "a^b^c^A^aGk=", false },
        { "CWE", "", false },
    };
    struct world *w = *state;
    size_t held = 0;

    for (size_t i = 0; i < COUNT(cases); i++) {
        char control[16], rest[512];

        /* a day each, see above */
        snprintf(control, sizeof(control), "U-%zu", i);
        snprintf(rest, sizeof(rest),
                 PID OBR("20260306081000") "OBX|1|%s|rupture-threat^Rupture^L"
                                           "||%s||||||F|||202602%02zu0900\r",
                 cases[i].type, cases[i].value, i + 1);
        assert_int_equal(deliver(w, hl7("20260306080000", control, rest)),
                         cases[i].read ? HL7_AA : HL7_AE);
        held += cases[i].read ? 0 : 1;
        if (!cases[i].read) {
            size_t at = 0;

            while (at < in.issues.count &&
                   strcmp(in.issues.list[at].word, "value-unread") != 0)
                at++;
            assert_true(says(HL7_ERROR, HL7_DATA_TYPE, "value-unread"));
            assert_int_equal(in.issues.list[at].place.field, 5);
        }
        assert_int_equal(count(w, "SELECT count(*) FROM held WHERE emergency = "
                                  "1 AND reason = 'value'"),
                         held);
        assert_int_equal(count(w, "SELECT count(*) FROM reading WHERE value = "
                                  "1"),
                         i + 1 - held);
    }
    assert_int_equal(
        deliver(w, sign("U-98", "ST", "thrill^Thrill^L", "absent")), HL7_AE);
    assert_int_equal(
        deliver(w, sign("U-99", "ST", "access-flow^Flow^L", "150")), HL7_AA);
    assert_true(says(HL7_WARNING, HL7_DATA_TYPE, "not-computed"));
    assert_int_equal(count(w, "SELECT count(*) FROM held"), held + 1);
    assert_int_equal(count(w, "SELECT count(*) FROM reading"),
                     COUNT(cases) - held);
    assert_int_equal(count(w, "SELECT count(*) FROM quarantine"), 0);
}

/* HL7 v2.5.1, table 0085: F can be changed by a corrected result alone.  A
 * message that is sent again has a new MSH-7, and nothing else is new. */
static void a_repeat_undoes_nothing(void **state)
{
    static const char first[] =
        PID "OBR|1||F-1|S^Session^L|||20260306081000\r"
            "OBX|1|NM|access-flow^Flow^L||1450|mL/min^^UCUM|||||F\r"
            "OBX|2|NM|qb^Pump^L||about 300|mL/min^^UCUM|||||F\r";
    static const char corrected[] =
        PID "OBR|1||F-1|S^Session^L|||20260306081000\r"
            "OBX|1|NM|access-flow^Flow^L||1250|mL/min^^UCUM|||||C\r";
    struct world *w = *state;

    assert_int_equal(deliver(w, hl7("20260306090000", "R-1", first)), HL7_AE);
    assert_int_equal(deliver(w, hl7("20260306100000", "R-2", corrected)),
                     HL7_AA);
    assert_int_equal(deliver(w, hl7("20260306110000", "R-1", first)), HL7_AE);
    assert_int_equal(deliver(w, hl7("20260306120000", "R-3", first)), HL7_AE);
    assert_int_equal(
        count(w, "SELECT count(*) FROM reading WHERE value = 1250"), 1);
    assert_int_equal(
        count(w, "SELECT count(*) FROM reading WHERE value = 1450"), 0);
}

/* What is corrected is known to be wrong, whatever the correction says. */
static void a_correction_that_is_not_read_ends_the_value(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, flow("E-1", "20260306081000", "1450", "F")),
                     HL7_AA);
    assert_int_equal(count(w, "SELECT count(*) FROM reading"), 1);
    assert_int_equal(deliver(w, flow("E-2", "20260306091000", "<600", "C")),
                     HL7_AE);
    assert_int_equal(count(w, "SELECT count(*) FROM reading"), 0);
}

/* Two results of one key are two, whatever is wrong with the first. */
static void a_bad_result_keeps_its_place(void **state)
{
    static const char two[] =
        PID "OBR|1||F-1|S^Session^L|||20260306081000\r"
            "OBX|1|NM|access-flow^Flow^L||abc|mL/min^^UCUM|||||F\r"
            "OBX|2|NM|access-flow^Flow^L||900|mL/min^^UCUM|||||F\r";
    static const char one[] =
        PID "OBR|1||F-1|S^Session^L|||20260306081000\r"
            "OBX|1|NM|access-flow^Flow^L||1500|mL/min^^UCUM|||||F\r";
    struct world *w = *state;

    assert_int_equal(deliver(w, hl7("20260306090000", "P-1", two)), HL7_AE);
    assert_int_equal(deliver(w, hl7("20260306100000", "P-2", one)), HL7_AA);
    assert_int_equal(
        count(w, "SELECT count(*) FROM reading WHERE value IN (900, 1500)"), 2);
}

static void warns_of_what_hits_nothing(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, flow("N-1", "20260306081000", "1450", "D")),
                     HL7_AA);
    assert_true(says(HL7_WARNING, HL7_UNKNOWN_KEY, "not-found"));
    assert_int_equal(in.issues.list[0].place.field, 11);
}

/* The same number, padded. */
static void passes_over_blanks_of_a_number(void **state)
{
    static const char *const numbers[] = { "1001", " 1001", "1001  ",
                                           "1001\t" };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(numbers); i++) {
        char control[16], rest[512];

        snprintf(control, sizeof(control), "B-%zu", i);
        snprintf(rest, sizeof(rest),
                 "PID|1||%s^^^HALL^MR||Beispiel^Anna\r" OBR(
                     "2026030608100%zu") "OBX|1|NM|access-flow^Flow^L||1450|mL/"
                                         "min|||||F\r",
                 numbers[i], i);
        assert_int_equal(deliver(w, hl7("20260306080000", control, rest)),
                         HL7_AA);
    }
    assert_int_equal(count(w, "SELECT count(*) FROM patient"), 1);
}

/* A mistyped number must not rename whom it belongs to, and an empty name is
 * no name. */
static void renames_nobody_by_mistake(void **state)
{
    struct world *w = *state;

    assert_int_equal(deliver(w, named("M-1", "Beispiel^Anna", "010")), HL7_AA);
    assert_int_equal(deliver(w, named("M-2", "Anders^Otto", "020")), HL7_AA);
    assert_true(says(HL7_WARNING, HL7_UNKNOWN_KEY, "identity"));
    assert_int_equal(deliver(w, named("M-3", "", "030")), HL7_AA);
    assert_int_equal(count(w, "SELECT count(*) FROM patient WHERE name LIKE "
                              "'Beispiel%'"),
                     1);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(keeps_what_came),
        TEST(knows_repeats),
        cmocka_unit_test(keeps_corrections),
        TEST(makes_results_final),
        TEST(finds_nothing_to_make_final),
        cmocka_unit_test(answers_bad_content_by_profile),
        TEST(comes_again_and_is_understood),
        TEST(is_read_again_for_a_person),
        TEST(holds_readings),
        TEST(knows_the_charset),
        TEST(rejects),
        TEST(leaves_the_patient_of_others),
        TEST(changes_its_own_patient),
        cmocka_unit_test(keeps_all_or_nothing),
        TEST(refuses_when_full),
        TEST(answers_questions),
        TEST(shows_signs_that_are_not_read),
        TEST(a_repeat_undoes_nothing),
        TEST(a_correction_that_is_not_read_ends_the_value),
        TEST(a_bad_result_keeps_its_place),
        TEST(warns_of_what_hits_nothing),
        TEST(passes_over_blanks_of_a_number),
        TEST(renames_nobody_by_mistake),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
