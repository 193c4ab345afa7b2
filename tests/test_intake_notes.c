/* What a sender is told of what is kept: signs that no rule looks at, and
 * flows of an access whose limits are not known. */
#include "tests/service_world.h"
#include "tests/test.h"

#define YES ",\"valueBoolean\":true"
#define NO  ",\"valueBoolean\":false"

static void what_no_rule_looks_at_is_said(void **state)
{
    static const struct {
        const char *name, *code, *sign, *more;
        bool said;
    } cases[] = {
        { "thrill lost", "thrill", "absent", NULL, true },
        { "thrill weak", "thrill", "weak", NULL, false },
        { "bleeding", "bleeding-active", NULL, YES, true },
        { "no bleeding", "bleeding-active", NULL, NO, false },
        { "rupture", "rupture-threat", NULL, YES, true },
        { "no rupture", "rupture-threat", NULL, NO, false },
        { "infection", "infection-sign", "infection-local", NULL, true },
        { "sepsis", "infection-sign", "infection-sepsis", NULL, true },
        { "long bleeding has a rule", "bleeding-prolonged", NULL, YES, false },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;

        ROW(cases[i].name);
        world_start(state);
        w = *state;
        assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
        assert_int_equal(
            world_post(w, OBS(.code = cases[i].code, .sign = cases[i].sign,
                              .more = cases[i].more,
                              .access = "BodyStructure/acc-7")),
            201);
        assert_int_equal(world_says_at(w, 0, "no-rule", "Observation"),
                         cases[i].said);
        assert_int_equal(world_count(w, "SELECT count(*) FROM reading") > 0, 1);
        world_stop(state);
    }
}

/* It may be an emergency though it is not clear of which access. */
static void it_is_said_of_what_is_held(void **state)
{
    struct world *w = *state;

    assert_int_equal(world_put(w, "acc-7", ACC(.id = "acc-7")), 201);
    assert_int_equal(
        world_put(w, "acc-8", ACC(.id = "acc-8", .site = "Right upper arm")),
        201);
    world_post(w, OBS(.code = "bleeding-active", .more = YES));
    assert_true(world_says(w, 0, "access-ambiguous"));
    assert_true(world_says(w, 0, "no-rule"));
}

static void a_type_that_is_not_known_is_said(void **state)
{
    static const struct {
        const char *name, *type, *code, *unit;
        bool said;
    } cases[] = {
        { "fistula", "avf", "access-flow", "mL/min", false },
        { "graft", "avg", "access-flow", "mL/min", false },
        { "not known", "unknown", "access-flow", "mL/min", true },
        { "no access has come", NULL, "access-flow", "mL/min", true },
        { "the rule needs no type", NULL, "digital-pressure", "mm[Hg]", false },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world *w;

        ROW(cases[i].name);
        world_start(state);
        w = *state;
        if (cases[i].type != NULL)
            assert_int_equal(
                world_put(w, "acc-7",
                          ACC(.id = "acc-7", .type = cases[i].type)),
                201);
        /* the second as well: a flow is kept each time */
        for (int k = 0; k < 2; k++) {
            assert_int_equal(
                world_post(w, OBS(.code = cases[i].code, .value = "90",
                                  .unit = cases[i].unit, .ago_h = 1 + k * 50.0,
                                  .access = "BodyStructure/acc-7")),
                201);
            assert_int_equal(world_says(w, 0, "type-unknown"), cases[i].said);
        }
        world_stop(state);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_no_rule_looks_at_is_said),
        cmocka_unit_test_setup_teardown(it_is_said_of_what_is_held, world_start,
                                        world_stop),
        cmocka_unit_test(a_type_that_is_not_known_is_said),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
