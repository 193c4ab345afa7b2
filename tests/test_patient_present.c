/* Whom an erasure would remove, said before it does. */
#include "service/patient_present.h"
#include "service/patient_whole.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define HOUR INT64_C(3600)

static int start(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    assert_int_equal(
        world_put(w, "p-1",
                  "{\"resourceType\":\"Patient\",\"id\":\"p-1\",\"identifier\":"
                  "[{\"system\":\"" IDS "patient\",\"value\":\"1001\"}],"
                  "\"name\":[{\"family\":\"Muster\",\"given\":[\"Ida\"]}],"
                  "\"birthDate\":\"1950-03-02\"}"),
        201);
    assert_int_equal(
        world_put(w, "p-2",
                  "{\"resourceType\":\"Patient\",\"id\":\"p-2\",\"identifier\":"
                  "[{\"system\":\"" IDS "patient\",\"value\":\"1002\"}]}"),
        201);
    assert_int_equal(
        world_put(w, "acc-7", ACC(.id = "acc-7", .identifier = "A-7")), 201);
    assert_int_equal(world_post(w, OBS(.value = "900", .access = ACCESS)), 201);
    return 0;
}

static struct patient_present of(struct world *w, const char *name)
{
    struct patient_present p;
    int64_t patient;

    assert_int_equal(patient_whole_find(w->db, name, &patient), ERR_OK);
    assert_int_equal(
        patient_present(w->db, patient, world_now_s - 12 * HOUR, &p), ERR_OK);
    return p;
}

/* A number that was mistyped is somebody's. */
static void the_name_tells_whether_it_is_the_one(void **state)
{
    static const struct {
        const char *number, *typed;
        bool is;
    } cases[] = {
        { "1001", "Muster, Ida", true }, { "1001", "Muster", true },
        { "1001", "MUSTER", true },      { "1001", "muster, ida", true },
        { "1001", "Must", false },       { "1001", "Ida", false },
        { "1001", "Muster, I", false },  { "1001", "1001", false },
        { "1001", "", false },           { "1002", "1002", true },
        { "1002", "1001", false },       { "1002", "Muster", false },
        { "1002", "", false },
    };
    struct world *w = *state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct patient_present p = of(w, cases[i].number);

        if (patient_present_is_called(&p, cases[i].typed) != cases[i].is)
            fail_msg("%s: '%s' for '%s'", cases[i].number, cases[i].typed,
                     p.patient.name);
    }
}

static void assert_says(struct world *w, const char *text, bool want)
{
    struct patient_present p = of(w, "1001");
    struct buf out;

    buf_init(&out, 65536);
    assert_int_equal(patient_present_write(w->db, &p, false, &out), ERR_OK);
    patient_present_write_urgent(&p, &out);
    if ((strstr(out.data, text) != NULL) != want)
        fail_msg("'%s' in: %s", text, out.data);
    buf_clear(&out);
}

static void who_it_is_and_what_there_is_are_said(void **state)
{
    struct world *w = *state;

    assert_says(w, "Muster, Ida", true);
    assert_says(w, "1950-03-02", true);
    assert_says(w, IDS "patient|1001", true);
    assert_says(w, "(left upper arm)", true);
    assert_says(w, "Readings: 1, 2026-03-06", true);
    assert_says(w, "Open: 0 suggestions, 0 reminders.", true);
    assert_says(w, "1002", false);
    assert_says(w, "--even-if-urgent", false);
    assert_false(patient_present_is_urgent(
        &(struct patient_present){ .suggestions = 3, .reminders = 2 }));
}

/* Who is removed is watched no more: not without a second word. */
static void something_very_urgent_is_in_the_way(void **state)
{
    struct world *w = *state;
    struct patient_present p;

    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "motor-weakness",
                          .access = ACCESS)),
        201);
    world_review(w);
    p = of(w, "1001");
    assert_int_equal(p.suggestions, 1);
    assert_int_equal(p.emergencies, 1);
    assert_true(patient_present_is_urgent(&p));
    assert_says(w, "PHONE NOW:", true);
    assert_says(w, "SOMETHING VERY URGENT IS OPEN", true);
    assert_says(w, "--even-if-urgent", true);
    p = of(w, "1002");
    assert_false(patient_present_is_urgent(&p));
}

static void a_band_being_tied_is_in_the_way(void **state)
{
    struct world *w = *state;
    struct patient_present p;

    assert_int_equal(
        world_post(w, OBS(.code = "dowel-diameter", .value = "4", .unit = "mm",
                          .access = ACCESS, .ago_h = 13)),
        201);
    p = of(w, "1001"); /* the case of yesterday is over */
    assert_false(patient_present_is_urgent(&p));
    assert_int_equal(
        world_post(w, OBS(.code = "dowel-diameter", .value = "3.5",
                          .unit = "mm", .access = ACCESS, .ago_h = 1)),
        201);
    p = of(w, "1001");
    assert_int_equal(p.tied, 1);
    assert_true(patient_present_is_urgent(&p));
    assert_says(w, "A BAND IS BEING TIED", true);
}

/* More accesses than anybody has: 20 of them, and how many more. */
static void a_long_list_is_cut_and_says_so(void **state)
{
    enum { ACCESSES = 26 };
    struct world *w = *state;
    struct patient_present p;
    struct buf out;

    for (int i = 0; i < ACCESSES; i++) {
        char id[16], name[16];

        snprintf(id, sizeof(id), "many-%02d", i);
        snprintf(name, sizeof(name), "M-%02d", i);
        assert_int_equal(world_put(w, id,
                                   ACC(.id = id, .identifier = name,
                                       .patient = "Patient/p-2")),
                         201);
    }
    p = of(w, "1002");
    buf_init(&out, 65536);
    assert_int_equal(patient_present_write(w->db, &p, false, &out), ERR_OK);
    assert_non_null(strstr(out.data, "M-19"));
    assert_null(strstr(out.data, "M-20"));
    assert_non_null(
        strstr(out.data, "\n  ... and 6 more (--all shows them)\n"));
    buf_empty(&out);
    assert_int_equal(patient_present_write(w->db, &p, true, &out), ERR_OK);
    assert_non_null(strstr(out.data, "M-25"));
    assert_null(strstr(out.data, "--all"));
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(the_name_tells_whether_it_is_the_one),
        TEST(who_it_is_and_what_there_is_are_said),
        TEST(something_very_urgent_is_in_the_way),
        TEST(a_band_being_tied_is_in_the_way),
        TEST(a_long_list_is_cut_and_says_so),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
