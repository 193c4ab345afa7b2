/* At which access that is said which concerns the patient as a whole. */
#include "tests/service_world.h"
#include "tests/test.h"

static struct access access_of(struct world *w, const char *fid)
{
    struct resource row;
    struct access a;
    int64_t id;

    assert_int_equal(resource_by_fid(w->db, FHIR_BODY_STRUCTURE, fid, &row),
                     ERR_OK);
    assert_int_equal(db_first(w->db, Q_ACCESS_OF_RESOURCE, "i", row.id),
                     ERR_OK);
    id = db_int(w->db, Q_ACCESS_OF_RESOURCE, 0);
    db_done(w->db, Q_ACCESS_OF_RESOURCE);
    assert_int_equal(access_get(w->db, id, &a), ERR_OK);
    return a;
}

static bool is_led(struct world *w, const char *fid)
{
    struct access a = access_of(w, fid);
    bool leads;

    assert_int_equal(access_other_leads(w->db, &a, &leads), ERR_OK);
    return leads;
}

static void put_access(struct world *w, const char *fid, const char *type,
                       const char *patient, bool inactive, int status)
{
    assert_int_equal(world_put(w, fid,
                               ACC(.id = fid, .type = type, .patient = patient,
                                   .inactive = inactive)),
                     status);
}

/* One that is in use and no catheter; others of the patient follow it. */
static void the_one_known_longest_leads(void **state)
{
    struct world *w = *state;

    put_access(w, "acc-1", "cvc", "Patient/p-1", false, 201);
    put_access(w, "acc-2", "avf", "Patient/p-1", false, 201);
    put_access(w, "acc-3", "avg", "Patient/p-1", false, 201);
    put_access(w, "acc-4", "avf", "Patient/p-2", false, 201);
    assert_false(is_led(w, "acc-2"));
    assert_true(is_led(w, "acc-3"));
    assert_false(is_led(w, "acc-4"));
    world_review(w);
    put_access(w, "acc-2", "avf", "Patient/p-1", true, 200);
    assert_false(is_led(w, "acc-3"));
    /* which changes what is said at the others: all are looked at again */
    assert_int_equal(world_count(w, "SELECT count(*) FROM news"), 3);
}

static void thigh_and_chest_are_central(void **state)
{
    static const struct {
        const char *region;
        bool central;
    } cases[] = { { "thigh", true },
                  { "chest", true },
                  { "upper-arm", false },
                  { "forearm", false },
                  { "", false } };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct access a = { .id = 1 };

        ROW(cases[i].region);
        snprintf(a.region, sizeof(a.region), "%s", cases[i].region);
        assert_int_equal(access_is_central(&a), cases[i].central);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(the_one_known_longest_leads,
                                        world_start, world_stop),
        cmocka_unit_test(thigh_and_chest_are_central),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
