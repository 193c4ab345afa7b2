/*
 * Which codes may mean an emergency as long as nobody knows the value: exactly
 * those of which some value is one by reading_is_emergency().
 */
#include "tests/test.h"

#include "planner/reading.h"

#include <math.h>

static bool any_value_is(enum quantity q)
{
    for (int s = SIGN_NONE; s < SIGN_COUNT; s++) {
        const struct reading r = {
            .quantity = q, .sign = (enum sign)s, .present = true, .value = 1
        };
        bool fits = s == SIGN_NONE || sign_info((enum sign)s)->quantity == q;

        if (fits && reading_is_emergency(&r))
            return true;
    }
    return false;
}

static void a_quantity_may_be_one_if_a_value_of_it_is(void **state)
{
    size_t urgent = 0;

    (void)state;
    for (int q = 0; q < QUANTITY_COUNT; q++) {
        ROW(quantity_info((enum quantity)q)->code);
        assert_int_equal(reading_may_be_emergency((enum quantity)q, SIGN_NONE),
                         any_value_is((enum quantity)q));
        urgent += any_value_is((enum quantity)q) ? 1 : 0;
    }
    /* hand, its grade, thrill, infection, bleeding, rupture */
    assert_int_equal(urgent, 6);
}

static void a_question_may_be_one_if_its_yes_is(void **state)
{
    (void)state;
    for (int s = SIGN_NONE + 1; s < SIGN_COUNT; s++) {
        const struct sign_info *info = sign_info((enum sign)s);
        const struct reading yes = { .quantity = info->quantity,
                                     .sign = (enum sign)s,
                                     .present = true,
                                     .value = NAN };
        struct reading no = yes;

        ROW(info->code);
        no.present = false;
        assert_int_equal(reading_may_be_emergency(info->quantity, (enum sign)s),
                         reading_is_emergency(&yes));
        assert_false(reading_is_emergency(&no));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_quantity_may_be_one_if_a_value_of_it_is),
        cmocka_unit_test(a_question_may_be_one_if_its_yes_is),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
