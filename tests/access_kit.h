/* access_kit - a patient with one access, and a high flow of it */
#ifndef HEADGATE_TESTS_ACCESS_KIT_H
#define HEADGATE_TESTS_ACCESS_KIT_H

#include "tests/service_world.h"
#include "tests/test.h"

/* cmocka set-up: no reading has come yet. */
static inline int start_access(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    world_has_access(w);
    return 0;
}

/* cmocka set-up: the flow was high twice, the second time (o-flow) with a
 * pressure; a plan is offered. */
static inline int start_high_flow(void **state)
{
    struct world *w;

    start_access(state);
    w = *state;
    assert_int_equal(world_post(w, OBS(.value = "2400", .access = ACCESS,
                                       .ago_h = 30 * DAYS)),
                     201);
    assert_int_equal(world_post(w, OBS(.id = "o-flow", .value = "2500",
                                       .access = ACCESS, .ago_h = 2 * DAYS)),
                     201);
    assert_int_equal(world_post(w, OBS(.code = "mean-pressure", .value = "95",
                                       .unit = "mm[Hg]", .ago_h = 2 * DAYS)),
                     201);
    return 0;
}

#endif
