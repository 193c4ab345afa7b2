/*
 * A death that is recorded, and something that only one who lives can have:
 * the death ends nothing then, and people are told to ask.
 *
 * What makes a death doubtful is our own rule (deceased.h): it is checked
 * against its words.  That a sign of emergency must not be lost by a slip in
 * the record is common practice, no source.
 */
#include "service/cases.h"
#include "service/deceased.h"
#include "service/digest.h"
#include "service/explain.h"
#include "service/queue.h"
#include "service/queue_rows.h"
#include "tests/planning_kit.h"
#include "tests/test.h"

#include <stdlib.h>

#define FLOW_TASK     "refer-flow-review"
#define BLEEDING_TASK "refer-bleeding"

/* ---- a world -------------------------------------------------------------- */

/* more: members, with a comma before. */
static const char *person(const char *more)
{
    static char texts[4][1024];
    static size_t n;
    char *text = texts[n++ % COUNT(texts)];

    snprintf(text, sizeof(texts[0]),
             "{\"resourceType\":\"Patient\",\"id\":\"p-1\",\"identifier\":[{"
             "\"system\":\"" IDS "patient\",\"value\":\"1001\"}],\"name\":[{"
             "\"family\":\"Beispiel\"}],\"managingOrganization\":{\"display\":"
             "\"Hall North\"}%s}",
             more);
    return text;
}

static void put(struct world *w, const char *more)
{
    w->reader.now_s = world_now_s;
    assert_int_equal(world_put(w, "p-1", person(more)), 200);
    world_review(w);
}

static void post(struct world *w, const char *json)
{
    assert_int_equal(world_post(w, json), 201);
    world_review(w);
}

static int start(void **state)
{
    struct world *w;

    if (world_start(state) != 0)
        return -1;
    world_now_s = START_S;
    w = *state;
    w->reader.now_s = world_now_s;
    assert_int_equal(world_put(w, "p-1", person("")), 201);
    assert_int_equal(
        world_put(w, "acc-7", ACC(.id = "acc-7", .identifier = "A-7")), 201);
    return 0;
}

static int stop(void **state)
{
    world_now_s = START_S;
    return world_stop(state);
}

/* Two of last week, and a Task. */
static void high_flow(struct world *w)
{
    post(w, OBS(.value = "2240", .access = ACCESS, .ago_h = 200.0));
    post(w, OBS(.value = "2310", .access = ACCESS, .ago_h = 160.0));
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
}

static const char *bleeding(double ago_h, const char *access)
{
    return OBS(.id = NULL, .identifier = "bl-1", .code = "bleeding-active",
               .sign = "present", .access = access, .ago_h = ago_h,
               .patient = "Patient/p-1");
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

/* Is he thought to be dead, and does anything speak against it? */
static void expect(struct world *w, bool dead, bool measured)
{
    struct patient p = patient_of(w);

    assert_int_equal(p.deceased, dead);
    assert_int_equal(p.death_measured, measured);
}

/* Rows of the queue that say so. */
static size_t doubtful_rows(struct world *w, const char *died)
{
    struct queue_rows l;
    size_t count = 0;

    assert_int_equal(queue_rows_read(w->db, 0, world_now_s, &l), ERR_OK);
    for (size_t i = 0; i < l.count; i++) {
        if (!queue_is_death_doubtful(&l.rows[i]))
            continue;
        assert_string_equal(l.rows[i].died, died);
        count++;
    }
    queue_rows_clear(&l);
    return count;
}

/* The queue, or the digest of this week, as people read it. */
static void page(struct world *w, const char *access, bool digest,
                 struct buf *out)
{
    struct queue_wish wish = {
        .table = true,
        .options = { .columns = 100, .now_s = world_now_s, .zone = w->zone }
    };
    const struct digest_wish week = { .week = digest_week(world_now_s, w->zone),
                                      .now_s = world_now_s,
                                      .zone = w->zone };

    buf_empty(out);
    snprintf(wish.access, sizeof(wish.access), "%s", access);
    if (digest)
        assert_int_equal(digest_read(w->db, &week, out), ERR_OK);
    else
        assert_int_equal(queue_read(w->db, &wish, 0, out), ERR_OK);
}

/* ---- signs of emergency ----------------------------------------------------- */

static void a_sign_after_the_death_stands(void **state)
{
    struct world *w = *state;

    high_flow(w);
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    expect(w, true, false);
    post(w, bleeding(1.0, ACCESS));
    expect(w, false, true);
    assert_int_equal(world_tasks(w, BLEEDING_TASK, "requested"), 1);
    /* and what was measured before means what it did */
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(doubtful_rows(w, "2026-03-05"), 2);
    /* said again, the death changes nothing */
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    expect(w, false, true);
    assert_int_equal(world_tasks(w, BLEEDING_TASK, "requested"), 1);
    /* the record is put right */
    put(w, "");
    expect(w, false, false);
    assert_int_equal(world_tasks(w, BLEEDING_TASK, "requested"), 1);
    assert_int_equal(doubtful_rows(w, ""), 0);
}

/* One who bled, and died of it. */
static void a_sign_before_the_death_ends_with_it(void **state)
{
    struct world *w = *state;

    post(w, bleeding(3.0, ACCESS));
    assert_int_equal(world_tasks(w, BLEEDING_TASK, "requested"), 1);
    put(w, ",\"deceasedDateTime\":\"2026-03-06T07:00:00Z\"");
    expect(w, true, false);
    assert_int_equal(world_tasks(w, BLEEDING_TASK, "cancelled"), 1);
    /* on that day, and only the day was said: it was told of later */
    put(w, "");
    put(w, ",\"deceasedDateTime\":\"2026-03-06\"");
    expect(w, true, false);
    /* but not if he bled after that hour */
    put(w, ",\"deceasedDateTime\":\"2026-03-06T04:00:00Z\"");
    expect(w, false, true);
}

static void a_sign_that_was_an_error_speaks_for_nothing(void **state)
{
    struct world *w = *state;

    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    post(w, bleeding(1.0, ACCESS));
    expect(w, false, true);
    assert_int_equal(
        world_post(w, OBS(.identifier = "bl-1", .status = "entered-in-error",
                          .code = "bleeding-active", .sign = "present",
                          .access = ACCESS, .ago_h = 1.0)),
        200);
    world_review(w);
    expect(w, true, false);
    assert_int_equal(world_tasks(w, BLEEDING_TASK, "cancelled"), 1);
}

/* What cannot be placed, with two accesses, is at the top of the queue. */
static void a_sign_that_is_held_stands(void **state)
{
    struct world *w = *state;

    assert_int_equal(world_put(w, "acc-8",
                               ACC(.id = "acc-8", .identifier = "A-8",
                                   .site = "Right forearm")),
                     201);
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    post(w, bleeding(1.0, NULL));
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 1);
    expect(w, false, true);
    assert_int_equal(doubtful_rows(w, "2026-03-05"), 1);
}

/* Nobody said when: whoever bleeds after we were told of it lives. */
static void a_death_without_a_day(void **state)
{
    struct world *w = *state;

    post(w, bleeding(1.0, ACCESS));
    put(w, ",\"deceasedBoolean\":true");
    expect(w, true, false);
    world_now_s += 2 * 3600;
    put(w, ",\"deceasedBoolean\":true"); /* told again: since the first time */
    expect(w, true, false);
    w->reader.now_s = world_now_s;
    post(w, OBS(.identifier = "bl-2", .code = "bleeding-active",
                .sign = "present", .access = ACCESS, .ago_h = 1.0));
    expect(w, false, true);
    assert_int_equal(doubtful_rows(w, ""), 1);
}

/* ---- other readings -------------------------------------------------------- */

static void a_reading_of_days_after_stands(void **state)
{
    struct world *w = *state;

    high_flow(w);
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    /* a laboratory may have it on the day after */
    post(w, OBS(.identifier = "f-3", .value = "2290", .access = ACCESS,
                .ago_h = 1.0));
    expect(w, true, false);
    put(w, ",\"deceasedDateTime\":\"2026-03-04T07:00:00Z\"");
    expect(w, false, true);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
}

/* A preliminary result confirms nothing, but for a sign of emergency. */
static void a_preliminary_reading_is_no_proof(void **state)
{
    struct world *w = *state;

    put(w, ",\"deceasedDateTime\":\"2026-03-01\"");
    post(w, OBS(.identifier = "f-3", .status = "preliminary", .value = "900",
                .access = ACCESS, .ago_h = 1.0));
    expect(w, true, false);
    post(w, OBS(.identifier = "bl-3", .status = "preliminary",
                .code = "bleeding-active", .sign = "present", .access = ACCESS,
                .ago_h = 1.0));
    expect(w, false, true);
}

static void a_slip_of_the_year(void **state)
{
    struct world *w = *state;

    high_flow(w);
    put(w, ",\"deceasedDateTime\":\"1925\"");
    expect(w, false, true);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, NULL, NULL), 1);
    assert_int_equal(doubtful_rows(w, "1925"), 1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM patient WHERE deceased_doubt > 0"),
        1);
}

/* ---- what people read ------------------------------------------------------ */

static void people_are_told_to_ask(void **state)
{
    struct world *w = *state;
    struct buf out;
    int status = 0;

    buf_init(&out, 1 << 20);
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    post(w, bleeding(1.0, ACCESS));
    page(w, "", false, &out);
    assert_non_null(strstr(out.data, "PHONE NOW"));
    assert_non_null(strstr(out.data, "RECORDED AS DECEASED ON 2026-03-05, and "
                                     "something is dated later: ask now"));
    assert_null(strstr(out.data, "Left out"));
    page(w, "", true, &out);
    assert_non_null(strstr(out.data, "something is dated later (ask now): 1"));
    buf_empty(&out);
    assert_int_equal(explain_access(w->db, &w->review, "A-7", &status, &out),
                     ERR_OK);
    assert_non_null(strstr(out.data, "recorded as deceased on 2026-03-05, but "
                                     "something is dated later"));
    assert_non_null(strstr(out.data, "BL-1"));
    buf_clear(&out);
}

static void who_is_left_out_is_said(void **state)
{
    struct world *w = *state;
    struct buf out;

    buf_init(&out, 1 << 20);
    page(w, "", false, &out);
    assert_null(strstr(out.data, "Left out"));
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    page(w, "", false, &out);
    assert_non_null(
        strstr(out.data, "Left out: 1 patient who is recorded as deceased."));
    assert_null(strstr(out.data, "Beispiel"));
    page(w, "A-7", false, &out);
    assert_non_null(strstr(out.data, "Left out: Beispiel (1001), recorded as "
                                     "deceased on 2026-03-05"));
    page(w, "", true, &out);
    assert_non_null(strstr(out.data, "Hall North"));
    assert_non_null(
        strstr(out.data, "Patients left out now, recorded as deceased: 1"));
    buf_clear(&out);
}

/* Two records that were merged at the clinical record. */
static void a_record_that_was_replaced_says_by_which(void **state)
{
    struct world *w = *state;
    struct buf out;
    int status = 0;

    buf_init(&out, 1 << 20);
    high_flow(w);
    put(w, ",\"active\":false,\"link\":[{\"type\":\"replaced-by\",\"other\":{"
           "\"reference\":\"Patient/p-2\"}}]");
    page(w, "", false, &out);
    assert_non_null(strstr(out.data, "was replaced by p-2:"));
    /* once that one is known, by its number */
    assert_int_equal(world_put(w, "p-2", pat_json("p-2", "2002")), 201);
    page(w, "", false, &out);
    assert_non_null(strstr(out.data, "was replaced by 2002"));
    buf_empty(&out);
    assert_int_equal(explain_access(w->db, &w->review, "A-7", &status, &out),
                     ERR_OK);
    assert_non_null(strstr(out.data, "this record was replaced by 2002"));
    put(w, "");
    page(w, "", false, &out);
    assert_null(strstr(out.data, "replaced"));
    buf_clear(&out);
}

/* ---- plans and cases ------------------------------------------------------- */

/* The plan that headgate plan and headgate case show. */
static void plan(struct world *w, struct planned *out, struct buf *text)
{
    struct planning *planning;
    struct look look;
    int64_t access = world_count(w, "SELECT max(id) FROM access");

    assert_int_equal(planning_open(&planning), ERR_OK);
    assert_int_equal(look_at(w->db, &w->review, access, &look), ERR_OK);
    assert_int_equal(
        planning_make(planning, w->db, &w->review, &look, NULL, out), ERR_OK);
    buf_empty(text);
    write_documents(w, &look, out, NULL, text);
    look_clear(&look);
    planning_close(planning);
}

static void a_plan_says_it_first_and_has_no_size(void **state)
{
    struct world *w = *state;
    struct planned *p = malloc(sizeof(*p));
    struct buf text;

    assert_non_null(p);
    buf_init(&text, 1 << 20);
    high_flow(w);
    plan(w, p, &text);
    assert_true(p->offered);
    assert_null(strstr(text.data, "deceased"));
    put(w, ",\"deceasedDateTime\":\"2026-03-05\"");
    plan(w, p, &text);
    assert_false(p->offered);
    assert_int_equal(p->from.offer, PLAN_DECEASED);
    assert_memory_equal(text.data, "THE PATIENT IS recorded as deceased", 35);
    put(w, ",\"deceasedDateTime\":\"2026-01-05\""); /* doubtful: as ever */
    plan(w, p, &text);
    assert_true(p->offered);
    assert_memory_equal(text.data, "THE PATIENT IS recorded as deceased", 35);
    buf_clear(&text);
    free(p);
}

/* The status of typing this line; the text stays in *text. */
static int type(struct world *w, const char *line, struct buf *text)
{
    struct case_call call = { .review = &w->review,
                              .reader = &w->reader,
                              .now_ms = world_now_ms(),
                              .access = "A-7",
                              .by = "A. Rowan",
                              .method = METHOD_ULTRASOUND_DILUTION,
                              .verb = CASE_STATE };
    struct buf why;
    enum err e;

    buf_init(&why, 1024);
    assert_int_equal(case_line_read(line, &call.line, &why), ERR_OK);
    buf_clear(&why);
    buf_init(&call.text, 1 << 16);
    e = case_call(w->db, &call);
    assert_true(e == ERR_OK || e == ERR_CONFLICT);
    buf_empty(text);
    buf_puts(text, call.text.data != NULL ? call.text.data : "");
    buf_clear(&call.text);
    return e == ERR_OK ? 200 : call.status;
}

/* Recorded as deceased while he is on the table, by a mistake. */
static void a_case_that_runs_is_not_locked(void **state)
{
    struct world *w = *state;
    struct buf text;

    buf_init(&text, 1 << 16);
    put(w, ",\"deceasedBoolean\":true");
    assert_int_equal(type(w, "flow 2240", &text), 409);
    assert_non_null(strstr(text.data, "recorded as deceased"));
    assert_non_null(strstr(text.data, "Is that right?"));
    put(w, "");
    assert_int_equal(type(w, "flow 2240", &text), 200);
    put(w, ",\"deceasedBoolean\":true");
    expect(w, true, false);
    assert_int_equal(type(w, "flow 2300", &text), 200);
    world_now_s += 3600;
    w->reader.now_s = world_now_s;
    assert_int_equal(type(w, "flow 2250", &text), 200);
    buf_clear(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)
        TEST(a_sign_after_the_death_stands),
        TEST(a_sign_before_the_death_ends_with_it),
        TEST(a_sign_that_was_an_error_speaks_for_nothing),
        TEST(a_sign_that_is_held_stands),
        TEST(a_death_without_a_day),
        TEST(a_reading_of_days_after_stands),
        TEST(a_preliminary_reading_is_no_proof),
        TEST(a_slip_of_the_year),
        TEST(people_are_told_to_ask),
        TEST(who_is_left_out_is_said),
        TEST(a_record_that_was_replaced_says_by_which),
        TEST(a_plan_says_it_first_and_has_no_size),
        TEST(a_case_that_runs_is_not_locked),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
