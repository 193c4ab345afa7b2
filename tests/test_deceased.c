/*
 * Who is dead is not spoken of any more, and what was withdrawn comes back
 * when it was an error.
 *
 * Patient.deceased[x]: HL7 FHIR R4 (4.0.1), Patient; that a resource without an
 * element says that it has none is its PUT (http.html, 3.1.0.4).  PID-29 and
 * PID-30 with table 0136, and that an empty field says nothing while "" takes
 * away: HL7 v2.5.1, 3.4.2.29, 3.4.2.30 and 2.5.3.  Which of the two becomes
 * deceasedDateTime and which deceasedBoolean: HL7's map of PID to Patient.
 */
#include "service/cases.h"
#include "service/deceased.h"
#include "service/explain.h"
#include "service/hl7_intake.h"
#include "service/queue_rows.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define FLOW_TASK "refer-flow-review"
#define HAND_TASK "refer-hand-review"
#define AGAIN     "repeat-digital-pressure"

/* ---- a world -------------------------------------------------------------- */

/* A Patient; more: members, with a comma before. */
static const char *person(const char *more)
{
    static char texts[4][1024];
    static size_t n;
    char *text = texts[n++ % COUNT(texts)];

    snprintf(text, sizeof(texts[0]),
             "{\"resourceType\":\"Patient\",\"id\":\"p-1\",\"identifier\":[{"
             "\"system\":\"" IDS "patient\",\"value\":\"1001\"}],\"name\":[{"
             "\"family\":\"Beispiel\"}],\"birthDate\":\"1952-07-14\"%s}",
             more);
    return text;
}

static void put(struct world *w, const char *more)
{
    assert_int_equal(world_put(w, "p-1", person(more)), 200);
    world_review(w);
}

static int start(void **state)
{
    struct world *w;

    if (world_start(state) != 0)
        return -1;
    w = *state;
    w->reader.now_s = world_now_s;
    assert_int_equal(world_put(w, "p-1", person("")), 201);
    assert_int_equal(
        world_put(w, "acc-7", ACC(.id = "acc-7", .identifier = "A-7")), 201);
    return 0;
}

static void high_flow(struct world *w)
{
    assert_int_equal(
        world_post(w, OBS(.value = "2240", .access = ACCESS, .ago_h = 168.0)),
        201);
    assert_int_equal(world_post(w, OBS(.value = "2310", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
}

static struct patient patient_of(struct world *w)
{
    struct patient p;
    int64_t id;

    assert_int_equal(patient_find(w->db, "Patient/p-1", NULL, NULL, &id),
                     ERR_OK);
    assert_int_equal(patient_get(w->db, id, &p), ERR_OK);
    return p;
}

/* What the queue shows. */
static size_t rows(struct world *w, size_t *of_dead)
{
    struct queue_rows l;
    size_t count;

    assert_int_equal(queue_rows_read(w->db, 0, world_now_s, &l), ERR_OK);
    count = l.count;
    *of_dead = 0;
    for (size_t i = 0; i < l.count; i++)
        *of_dead += l.rows[i].deceased ? 1 : 0;
    queue_rows_clear(&l);
    return count;
}

/* ---- what is said of a death ---------------------------------------------- */

static void what_a_patient_says(void **state)
{
    static const struct {
        const char *name, *more;
        bool dead, doubtful;
        const char *since;
    } cases[] = {
        { "nothing", "", false, false, "" },
        { "not", ",\"deceasedBoolean\":false", false, false, "" },
        { "true", ",\"deceasedBoolean\":true", true, false, "" },
        { "a day", ",\"deceasedDateTime\":\"2026-03-01\"", true, false,
          "2026-03-01" },
        /* the day of the site, which is in UTC */
        { "a time", ",\"deceasedDateTime\":\"2026-03-02T00:30:00+02:00\"", true,
          false, "2026-03-01" },
        { "a month", ",\"deceasedDateTime\":\"2026-02\"", true, false,
          "2026-02" },
        { "this month", ",\"deceasedDateTime\":\"2026-03\"", true, false,
          "2026-03" },
        { "a year", ",\"deceasedDateTime\":\"2025\"", true, false, "2025" },
        { "today", ",\"deceasedDateTime\":\"2026-03-06\"", true, false,
          "2026-03-06" },
        { "tomorrow", ",\"deceasedDateTime\":\"2026-03-07\"", false, true, "" },
        { "a slip of the year", ",\"deceasedDateTime\":\"2062-03-01\"", false,
          true, "" },
        { "before the birth", ",\"deceasedDateTime\":\"1926-03-01\"", false,
          true, "" },
        { "no value",
          ",\"_deceasedDateTime\":{\"extension\":[{\"url\":\"http://hl7.org/"
          "fhir/StructureDefinition/data-absent-reason\",\"valueCode\":"
          "\"unknown\"}]}",
          false, true, "" },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;
        struct patient p;

        ROW(cases[i].name);
        start(state);
        w = *state;
        put(w, cases[i].more[0] != '\0' ? cases[i].more
                                        : ",\"gender\":\"female\"");
        p = patient_of(w);
        assert_int_equal(p.deceased, cases[i].dead);
        assert_int_equal(p.death_doubtful, cases[i].doubtful);
        assert_string_equal(p.died, cases[i].since);
        assert_int_equal(world_says(w, 0, "death-doubtful"),
                         cases[i].doubtful &&
                             strstr(cases[i].more, "_dec") == NULL);
        world_stop(state);
    }
}

/* A form that is none of R4 is refused, and changes nothing. */
static void what_cannot_be_read_is_refused(void **state)
{
    struct world *w = *state;

    put(w, ",\"deceasedDateTime\":\"2026-03-01\"");
    assert_int_equal(
        world_put(w, "p-1", person(",\"deceasedDateTime\":\"yesterday\"")),
        400);
    assert_int_equal(
        world_put(w, "p-1", person(",\"deceasedBoolean\":\"yes\"")), 400);
    assert_string_equal(patient_of(w).died, "2026-03-01");
    /* what can be read, and not believed, leaves standing what stood */
    put(w, ",\"deceasedDateTime\":\"2062-03-01\"");
    assert_true(patient_of(w).deceased);
    assert_true(patient_of(w).death_doubtful);
}

/* ---- what follows from it ------------------------------------------------- */

static void what_is_open_is_withdrawn_and_comes_back(void **state)
{
    struct world *w = *state;
    size_t of_dead;

    high_flow(w);
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    assert_true(w->told);
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK,
                                     "{\"text\":\"The patient is recorded as "
                                     "deceased\"}"),
                     1); /* statusReason */
    assert_int_equal(rows(w, &of_dead), 0);

    /* readings go on being stored, and nothing is said of them: a result may be
     * of the hours after, see test_death_doubt */
    world_now_s += 3600;
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "coldness", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 3);

    /* 60 days later it turns out to have been an error: what was withdrawn is
     * older than what is put to people by itself, and comes back */
    world_now_s += (int64_t)60 * 86400;
    put(w, ",\"deceasedBoolean\":false");
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    assert_int_equal(rows(w, &of_dead), 1);
}

static void a_death_that_is_said_no_more_was_an_error(void **state)
{
    struct world *w = *state;

    high_flow(w);
    put(w, ",\"deceasedBoolean\":true");
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 0);
    put(w, "");
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_false(patient_of(w).deceased);
}

static void nothing_is_begun_of_the_dead(void **state)
{
    struct world *w = *state;

    put(w, ",\"deceasedBoolean\":true");
    assert_int_equal(
        world_post(w, OBS(.value = "2240", .access = ACCESS, .ago_h = 168.0)),
        201);
    assert_int_equal(world_post(w, OBS(.value = "2310", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, NULL), 0);
    assert_false(w->told);
    /* and no day is noted on which something would have to be said */
    assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 0);
}

static void what_is_in_hand_gets_a_note(void **state)
{
    struct world *w = *state;
    size_t of_dead;

    high_flow(w);
    world_person(w, FLOW_TASK, "accepted");
    world_review(w);
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    assert_int_equal(world_tasks(w, FLOW_TASK, "accepted"), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "recorded as deceased"), 1);
    assert_int_equal(world_task_says(w, FLOW_TASK, "only this note is added"),
                     1);
    assert_int_equal(rows(w, &of_dead), 1); /* waits to be closed */
    assert_int_equal(of_dead, 1);
    put(w, ",\"deceasedDateTime\":\"2026-03-04\""); /* said once */
    assert_int_equal(world_task_says(w, FLOW_TASK, "recorded as deceased"), 1);
}

static void a_reminder_is_withdrawn_and_comes_back(void **state)
{
    struct world *w = *state;

    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "coldness", .access = ACCESS)),
                     201);
    assert_int_equal(
        world_post(w, OBS(.code = "digital-pressure", .value = "45",
                          .unit = "mm[Hg]", .access = ACCESS)),
        201);
    world_review(w);
    assert_int_equal(world_tasks(w, AGAIN, "requested"), 1);
    put(w, ",\"deceasedBoolean\":true");
    assert_int_equal(world_tasks(w, AGAIN, "cancelled"), 1);
    assert_int_equal(world_task_says(w, AGAIN, "recorded as deceased"), 2);
    put(w, "");
    assert_int_equal(world_tasks(w, AGAIN, "requested"), 1);
    assert_int_equal(world_tasks(w, AGAIN, "cancelled"), 1);
}

/* A death that nothing may rest on ends nothing. */
static void in_doubt_all_goes_on(void **state)
{
    struct world *w = *state;

    high_flow(w);
    put(w, ",\"deceasedDateTime\":\"2062-03-05\"");
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
}

/* Emergencies that are held back leave the queue, and not the store. */
static void held_signs_leave_the_queue(void **state)
{
    struct world *w = *state;
    size_t of_dead;

    assert_int_equal(world_put(w, "acc-8",
                               ACC(.id = "acc-8", .identifier = "A-8",
                                   .site = "Right forearm")),
                     201);
    assert_int_equal(
        world_post(w, OBS(.code = "bleeding-active", .sign = "present",
                          .patient = "Patient/p-1")),
        201);
    assert_int_equal(rows(w, &of_dead), 1);
    put(w, ",\"deceasedBoolean\":true");
    assert_int_equal(rows(w, &of_dead), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 1);
}

/* Two that are one: the death of either is that of both. */
static void it_is_kept_when_two_are_one(void **state)
{
    struct world *w = *state;
    struct fhir_ref one = { .literal = "Patient/p-2" };
    struct fhir_ref both = { .literal = "Patient/p-2",
                             .system = IDS "patient",
                             .value = "1001" };
    int64_t patient;
    bool united;

    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    assert_int_equal(patient_of_ref(w->db, &one, &patient, &united), ERR_OK);
    assert_int_equal(patient_of_ref(w->db, &both, &patient, &united), ERR_OK);
    assert_true(united);
    assert_string_equal(patient_of(w).died, "2026-03-05");
}

/* A store of before has the resource, and not the fact. */
static void those_of_before_are_read(void **state)
{
    struct world *w = *state;
    struct patient p;

    high_flow(w);
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    p = patient_of(w);
    assert_int_equal(db_run(w->db, Q_DECEASED_SET, "isiii", p.id, NULL,
                            INT64(0), INT64(0), INT64_MIN),
                     ERR_OK);
    assert_false(patient_of(w).deceased);
    assert_int_equal(deceased_read(w->db, &w->reader), ERR_OK);
    assert_string_equal(patient_of(w).died, "2026-03-05");
}

/* ---- what people see ------------------------------------------------------ */

static void people_are_told(void **state)
{
    struct world *w = *state;
    struct case_call call = { .review = &w->review,
                              .reader = &w->reader,
                              .now_ms = world_now_ms(),
                              .access = "A-7",
                              .verb = CASE_LIST };
    struct buf out;
    int status = 0;

    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    buf_init(&out, 1 << 20);
    assert_int_equal(explain_access(w->db, &w->review, "A-7", &status, &out),
                     ERR_OK);
    assert_int_equal(status, 200);
    assert_non_null(strstr(out.data, "recorded as deceased since 2026-03-05"));
    assert_non_null(strstr(out.data, "No rule is looked at"));
    assert_null(strstr(out.data, "HF-1"));

    buf_init(&call.text, 65536);
    assert_int_equal(case_call(w->db, &call), ERR_CONFLICT);
    assert_int_equal(call.status, 409);
    assert_non_null(
        strstr(call.text.data, "recorded as deceased since 2026-03-05"));
    buf_clear(&call.text);

    put(w, ",\"deceasedDateTime\":\"2062-03-05\"");
    put(w, ",\"deceasedBoolean\":false");
    put(w, ",\"deceasedDateTime\":\"2062-03-05\"");
    buf_empty(&out);
    assert_int_equal(explain_access(w->db, &w->review, "A-7", &status, &out),
                     ERR_OK);
    assert_non_null(strstr(out.data, "it is not acted upon"));
    assert_non_null(strstr(out.data, "HF-1"));
    buf_clear(&out);
}

/* ---- HL7 v2 --------------------------------------------------------------- */

/* A message with this PID-5, PID-29 and PID-30; its results count as ever. */
static void tell(struct world *w, const char *name, const char *died,
                 const char *is_dead)
{
    static int control;
    struct hl7_profile profile = { .name = "hall",
                                   .unit = "Hall North",
                                   .application = "APP",
                                   .zone = w->zone,
                                   .patient_system = IDS "patient",
                                   .systems = { { "L", OBS_CODES } },
                                   .system_count = 1 };
    char text[2048];
    struct hl7_intake in = { .bytes = text,
                             .profile = &profile,
                             .reader = w->reader,
                             .way = QUARANTINE_HL7,
                             .merge_implied = true,
                             .now_ms = world_now_ms() };

    control++;
    snprintf(text, sizeof(text),
             "MSH|^~\\&|APP|HALL|HEADGATE|UNIT|20260306080000||ORU^R01^ORU_R01"
             "|C-%d|P|2.5.1\r"
             "PID|1||1001^^^HALL^MR||%s||||||||||||||||||||||||%s|%s\r"
             "OBR|1||F-%d|S^Session^L|||20260305090000\r"
             "OBX|1|NM|access-flow^Access flow^L||2280|mL/min^^UCUM|||||F\r",
             control, name, died, is_dead, control);
    in.len = strlen(text);
    assert_int_equal(hl7_intake_read(&in), ERR_OK);
    assert_int_equal(world_step(w, hl7_intake_apply, &in), ERR_OK);
    assert_int_equal(in.answer, HL7_AA);
    assert_int_equal(in.stored, 1);
    hl7_intake_clear(&in);
    world_review(w);
}

/* The Patient is a record's: it stays so, but for a death. */
static void a_message_tells_of_a_death(void **state)
{
    static const struct {
        const char *name, *family, *died, *is_dead;
        bool dead;
        const char *since;
    } cases[] = {
        { "nothing said", "Beispiel^Anna", "", "", false, "" },
        { "the indicator", "Beispiel^Anna", "", "Y", true, "" },
        { "the time", "Beispiel^Anna", "20260305", "", true, "2026-03-05" },
        { "both", "Beispiel^Anna", "202603051230", "Y", true, "2026-03-05" },
        { "no", "Beispiel^Anna", "", "N", false, "" },
        { "a number alone", "", "20260305", "Y", true, "2026-03-05" },
        { "another name", "Anders^Anna", "20260305", "Y", false, "" },
        { "in the future", "Beispiel^Anna", "20620305", "Y", false, "" },
        { "no time that can be", "Beispiel^Anna", "20261305", "Y", false, "" },
        { "a time, and not dead", "Beispiel^Anna", "20260305", "N", false, "" },
        { "neither Y nor N", "Beispiel^Anna", "20260305", "X", false, "" },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;

        ROW(cases[i].name);
        start(state);
        w = *state;
        high_flow(w);
        tell(w, cases[i].family, cases[i].died, cases[i].is_dead);
        assert_int_equal(patient_of(w).deceased, cases[i].dead);
        assert_string_equal(patient_of(w).died, cases[i].since);
        assert_int_equal(world_tasks(w, FLOW_TASK, "requested"),
                         cases[i].dead ? 0 : 1);
        world_stop(state);
    }
}

static void who_said_it_takes_it_back(void **state)
{
    struct world *w = *state;

    high_flow(w);
    tell(w, "Beispiel^Anna", "20260305", "Y");
    assert_true(patient_of(w).deceased);
    tell(w, "Beispiel^Anna", "", ""); /* an empty field says nothing */
    assert_true(patient_of(w).deceased);
    put(w, ",\"gender\":\"female\""); /* nor does a record that never did */
    assert_true(patient_of(w).deceased);
    tell(w, "Beispiel^Anna", "\"\"", "");
    assert_false(patient_of(w).deceased);
    tell(w, "Beispiel^Anna", "", "Y");
    tell(w, "Beispiel^Anna", "", "N");
    assert_false(patient_of(w).deceased);
    tell(w, "Beispiel^Anna", "", "Y");
    put(w, ",\"deceasedBoolean\":false"); /* the record goes first */
    assert_false(patient_of(w).deceased);

    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    tell(w, "Beispiel^Anna", "", "N"); /* and is not talked down */
    tell(w, "Beispiel^Anna", "20260101", "Y");
    assert_string_equal(patient_of(w).died, "2026-03-05");
}

/* A Patient that messages made, and that each of them makes anew. */
static void a_patient_of_messages(void **state)
{
    struct world *w = *state;
    struct patient p;
    int64_t id;

    assert_int_equal(patient_find(w->db, "Patient/p-9", NULL, NULL, &id),
                     ERR_ABSENT);
    tell(w, "Beispiel^Anna", "", "Y");
    tell(w, "Beispiel^Anna", "", "");
    assert_int_equal(patient_find(w->db, NULL, IDS "patient", "1001", &id),
                     ERR_OK);
    assert_int_equal(patient_get(w->db, id, &p), ERR_OK);
    assert_true(p.deceased);
    tell(w, "Beispiel^Anna", "", "N");
    assert_int_equal(patient_get(w->db, id, &p), ERR_OK);
    assert_false(p.deceased);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        cmocka_unit_test(what_a_patient_says),
        TEST(what_cannot_be_read_is_refused),
        TEST(what_is_open_is_withdrawn_and_comes_back),
        TEST(a_death_that_is_said_no_more_was_an_error),
        TEST(nothing_is_begun_of_the_dead),
        TEST(what_is_in_hand_gets_a_note),
        TEST(a_reminder_is_withdrawn_and_comes_back),
        TEST(in_doubt_all_goes_on),
        TEST(held_signs_leave_the_queue),
        TEST(it_is_kept_when_two_are_one),
        TEST(those_of_before_are_read),
        TEST(people_are_told),
        cmocka_unit_test(a_message_tells_of_a_death),
        TEST(who_said_it_takes_it_back),
        cmocka_unit_test_setup_teardown(a_patient_of_messages, world_start,
                                        world_stop),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
