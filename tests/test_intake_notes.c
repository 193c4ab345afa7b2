/* What a sender is told of what is kept: flows of an access whose limits are
 * not known. */
#include "tests/service_world.h"
#include "tests/test.h"

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
        cmocka_unit_test(a_type_that_is_not_known_is_said),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
