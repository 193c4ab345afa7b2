/* When a patient was born, as far as it is known. */
#include "service/patients.h"
#include "tests/service_world.h"
#include "tests/test.h"

/* A Patient; born "": without a date. */
static const char *born_json(const char *born)
{
    static char text[512];

    snprintf(text, sizeof(text),
             "{\"resourceType\":\"Patient\",\"id\":\"p-1\",\"identifier\":[{"
             "\"system\":\"" IDS "patient\",\"value\":\"1001\"}],"
             "\"gender\":\"%s\"%s%s%s}",
             born[0] != '\0' ? "female" : "unknown",
             born[0] != '\0' ? ",\"birthDate\":\"" : "", born,
             born[0] != '\0' ? "\"" : "");
    return text;
}

static struct patient patient_of(struct world *w, const char *literal)
{
    struct patient p;
    int64_t id;

    assert_int_equal(patient_find(w->db, literal, NULL, NULL, &id), ERR_OK);
    assert_int_equal(patient_get(w->db, id, &p), ERR_OK);
    return p;
}

/* An incomplete date makes nobody older than he may be: it is the last day
 * that it may mean.  The days since 1970 are those of `date -u +%s`. */
static void dates(void **state)
{
    static const struct {
        const char *name, *born;
        int64_t want_s;
    } cases[] = {
        { "a day", "2008-02-29", INT64_C(1204243200) },
        { "before 1970", "1941-05-09", INT64_C(-904089600) },
        { "a month", "2008-02", INT64_C(1204243200) },
        { "the end of a year", "2008-12", INT64_C(1230681600) },
        { "a year", "2008", INT64_C(1230681600) },
        { "not said", "", INT64_MIN },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;

        ROW(cases[i].name);
        world_start(state);
        w = *state;
        assert_int_equal(world_put(w, "p-1", born_json(cases[i].born)), 201);
        assert_true(patient_of(w, "Patient/p-1").born_s == cases[i].want_s);
        world_stop(state);
    }
}

static void a_later_one_counts_and_none_changes_nothing(void **state)
{
    struct world *w = *state;

    assert_int_equal(world_put(w, "p-1", born_json("2008")), 201);
    assert_int_equal(world_put(w, "p-1", born_json("2001-03-04")), 200);
    assert_true(patient_of(w, "Patient/p-1").born_s == INT64_C(983664000));
    assert_int_equal(world_put(w, "p-1", born_json("")), 200);
    assert_true(patient_of(w, "Patient/p-1").born_s == INT64_C(983664000));
}

/* Two that become one keep what is known of either. */
static void it_is_kept_when_two_are_one(void **state)
{
    struct world *w = *state;
    struct fhir_ref both = { .literal = "Patient/p-2",
                             .system = IDS "patient",
                             .value = "1001" };
    struct fhir_ref one = { .literal = "Patient/p-2" };
    int64_t patient;
    bool united;

    assert_int_equal(patient_of_ref(w->db, &one, &patient, &united), ERR_OK);
    assert_int_equal(world_put(w, "p-1", born_json("2001-03-04")), 201);
    assert_int_equal(patient_of_ref(w->db, &both, &patient, &united), ERR_OK);
    assert_true(united);
    assert_true(patient_of(w, "Patient/p-2").born_s == INT64_C(983664000));
}

/* A store of before has the resource, and not the date. */
static void those_of_before_are_read(void **state)
{
    struct world *w = *state;
    struct patient p;

    assert_int_equal(world_put(w, "p-1", born_json("2001-03-04")), 201);
    p = patient_of(w, "Patient/p-1");
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient WHERE"
                                    " born_s IS NOT NULL"),
                     1);
    assert_int_equal(db_run(w->db, Q_PATIENT_SET_BORN, "i", p.id), ERR_OK);
    assert_true(patient_of(w, "Patient/p-1").born_s == INT64_MIN);
    w->reader.now_s = world_now_s;
    assert_int_equal(patients_read_born(w->db, &w->reader), ERR_OK);
    assert_true(patient_of(w, "Patient/p-1").born_s == INT64_C(983664000));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        cmocka_unit_test(dates),
        TEST(a_later_one_counts_and_none_changes_nothing),
        TEST(it_is_kept_when_two_are_one),
        TEST(those_of_before_are_read),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
