/* Which doubt a person's word settles, and which ones stay. */
#include "service/verdicts.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <math.h>

/* The rules are those of service/verdicts.h; 900 mL/min is a flow like any,
 * 9400 lies outside the hard range of planner/quantity.c (0 to 8000). */
static const struct {
    const char *name;
    unsigned acts;
    int said_for; /* version */
    int64_t access;
    enum side side;
    enum hold before;
    double value;
    bool future;
    enum hold after;
} cases[] = {
    { "nothing said", 0, 1, 0, SIDE_UNKNOWN, HOLD_IMPLAUSIBLE, 9400, false,
      HOLD_IMPLAUSIBLE },
    { "right as sent", VERDICT_AS_SENT, 1, 0, SIDE_UNKNOWN, HOLD_IMPLAUSIBLE,
      9400, false, HOLD_NONE },
    { "right as sent, of an older version", VERDICT_AS_SENT, 2, 0, SIDE_UNKNOWN,
      HOLD_IMPLAUSIBLE, 9400, false, HOLD_IMPLAUSIBLE },
    { "right as sent does not say whose", VERDICT_AS_SENT, 1, 0, SIDE_UNKNOWN,
      HOLD_ACCESS, 900, false, HOLD_ACCESS },
    { "right as sent does not say the unit", VERDICT_AS_SENT, 1, 0,
      SIDE_UNKNOWN, HOLD_UNIT, NAN, false, HOLD_UNIT },
    { "the access", VERDICT_PLACED, 1, 7, SIDE_UNKNOWN, HOLD_ACCESS, 900, false,
      HOLD_NONE },
    { "the access, for a later version too", VERDICT_PLACED, 9, 7, SIDE_UNKNOWN,
      HOLD_ACCESS, 900, false, HOLD_NONE },
    { "the access settles the side", VERDICT_PLACED, 1, 7, SIDE_UNKNOWN,
      HOLD_SIDE, 900, false, HOLD_NONE },
    { "the side", VERDICT_PLACED, 1, 0, SIDE_LEFT, HOLD_SIDE, 900, false,
      HOLD_NONE },
    { "the side does not say which access", VERDICT_PLACED, 1, 0, SIDE_LEFT,
      HOLD_ACCESS, 900, false, HOLD_ACCESS },
    { "behind the side: the future", VERDICT_PLACED, 1, 0, SIDE_LEFT, HOLD_SIDE,
      900, true, HOLD_TIME },
    { "behind the side: no unit", VERDICT_PLACED, 1, 0, SIDE_LEFT, HOLD_SIDE,
      NAN, false, HOLD_UNIT },
    { "behind the side: implausible", VERDICT_PLACED, 1, 0, SIDE_LEFT,
      HOLD_SIDE, 9400, false, HOLD_IMPLAUSIBLE },
    { "both words", VERDICT_PLACED | VERDICT_AS_SENT, 1, 0, SIDE_LEFT,
      HOLD_SIDE, 9400, false, HOLD_NONE },
    { "nobody moves the future", VERDICT_PLACED | VERDICT_AS_SENT, 1, 7,
      SIDE_LEFT, HOLD_TIME, 900, true, HOLD_TIME },
    { "nobody settles a code so", VERDICT_PLACED | VERDICT_AS_SENT, 1, 7,
      SIDE_LEFT, HOLD_CODE, 900, false, HOLD_CODE },
};

static void each_word_settles_its_own_doubt(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct person_verdict said = { .version = cases[i].said_for,
                                       .acts = cases[i].acts,
                                       .access = cases[i].access,
                                       .side = cases[i].side };
        struct fhir_reading r = { .hold = cases[i].before };

        r.reading.quantity = Q_ACCESS_FLOW;
        r.reading.value = cases[i].value;
        verdict_apply(&said, 1, cases[i].future, &r);
        if (r.hold != cases[i].after)
            fail_msg("%s: %s, not %s", cases[i].name, hold_word(r.hold),
                     hold_word(cases[i].after));
    }
    verdict_apply(NULL, 1, false, NULL); /* nothing said, nothing done */
}

static void a_discard_is_of_one_version(void **state)
{
    const struct person_verdict never = { .version = 3,
                                          .acts = VERDICT_DISCARD };
    const struct person_verdict other = { .version = 3,
                                          .acts = VERDICT_AS_SENT };

    (void)state;
    assert_true(verdict_discards(&never, 3));
    assert_false(verdict_discards(&never, 4));
    assert_false(verdict_discards(&other, 3));
    assert_false(verdict_discards(NULL, 3));
}

/* ---- kept ----------------------------------------------------------------- */

static struct person_verdict kept(struct world *w, int64_t resource)
{
    struct verdicts all;

    assert_int_equal(verdicts_of(w->db, resource, &all), ERR_OK);
    assert_int_equal(all.count, 1);
    return all.list[0];
}

static void say(struct world *w, int64_t resource, int version, unsigned acts,
                int64_t access)
{
    const struct verdict_said said = {
        .resource = resource,
        .verdict = { .version = version, .acts = acts, .access = access },
        .reason = "access",
        .who = "A Nurse",
        .why = "asked the unit",
        .now_ms = 1000
    };

    assert_int_equal(verdict_put(w->db, &said), ERR_OK);
}

static void what_was_said_before_stays_where_it_may(void **state)
{
    struct world *w = *state;
    struct resource row;
    struct person_verdict v;
    const char *first = OBS(.id = "o1", .code = "access-flow", .value = "900");

    assert_int_equal(world_put(w, "o1", first), 201);
    assert_int_equal(resource_by_fid(w->db, FHIR_OBSERVATION, "o1", &row),
                     ERR_OK);
    say(w, row.id, 1, VERDICT_PLACED, 7);
    say(w, row.id, 1, VERDICT_AS_SENT, 0);
    v = kept(w, row.id);
    assert_int_equal(v.acts, VERDICT_PLACED | VERDICT_AS_SENT);
    assert_int_equal(v.access, 7);
    assert_int_equal(
        world_put(w, "o1",
                  OBS(.id = "o1", .code = "access-flow", .value = "901")),
        200);
    say(w, row.id, 2, VERDICT_DISCARD, 0);
    v = kept(w, row.id);
    assert_int_equal(v.acts, VERDICT_PLACED | VERDICT_DISCARD);
    assert_int_equal(v.version, 2);
    assert_int_equal(v.access, 7);
    assert_int_equal(verdict_lift(w->db, row.id), ERR_OK);
    assert_int_equal(kept(w, row.id).acts, VERDICT_PLACED);
    assert_int_equal(verdict_lift(w->db, row.id), ERR_ABSENT);
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, world_start, world_stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_word_settles_its_own_doubt),
        cmocka_unit_test(a_discard_is_of_one_version),
        TEST(what_was_said_before_stays_where_it_may),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
