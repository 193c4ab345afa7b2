/* Pressures, index, diameters and the like in the input of a plan. */
#include "tests/test.h"

#include "tests/plan_from_kit.h"

static struct from_kit kit;

/* ---- one number of many --------------------------------------------------------- */

#define SYSTOLIC(d, mmhg, ...) NUMBER(d, Q_SYSTOLIC_PRESSURE, mmhg, __VA_ARGS__)
#define DIASTOLIC(d, mmhg, ...)                                                \
    NUMBER(d, Q_DIASTOLIC_PRESSURE, mmhg, __VA_ARGS__)
#define AT(member) offsetof(struct plan_input, member)

/* A flow of day 99 and what is added to it; the number planned with, NAN:
 * unknown; and the ids of the readings behind it, which begin at 2. */
/* clang-format off */
static const struct {
    const char *name;
    size_t place;
    enum plan_use use;
    double want;
    const char *ids;
    struct event events[8];
} numbers[] = {
    { "no pressure", AT(map_mmhg), PLAN_USE_MAP, NAN, "", { { .day = 0 } } },
    { "mean pressure of the session", AT(map_mmhg), PLAN_USE_MAP, 93, "2",
      { MEAN(99.02, 93) } },
    { "the nearest in time", AT(map_mmhg), PLAN_USE_MAP, 95, "3",
      { MEAN(98.95, 88), MEAN(99.01, 95) } },
    /* (130 + 2 * 70) / 3: mean from cuff pressures, from memory */
    { "from systolic and diastolic", AT(map_mmhg), PLAN_USE_MAP, 90, "2 3",
      { SYSTOLIC(99.02, 130), DIASTOLIC(99.02, 70) } },
    { "of another session", AT(map_mmhg), PLAN_USE_MAP, NAN, "",
      { MEAN(98, 93) } },
    { "preliminary", AT(map_mmhg), PLAN_USE_MAP, NAN, "",
      { MEAN(99.02, 93, EARLY) } },

    /* the lowest tenth of at least three sessions: proposed default */
    { "lowest pressure, too few sessions", AT(map_lowest_mmhg),
      PLAN_USE_MAP_LOWEST, NAN, "", { MEAN(80, 80), MEAN(82, 75) } },
    { "lowest of three", AT(map_lowest_mmhg), PLAN_USE_MAP_LOWEST, 75, "3",
      { MEAN(80, 80), MEAN(82, 75), MEAN(84, 90) } },
    { "within a session the lowest", AT(map_lowest_mmhg),
      PLAN_USE_MAP_LOWEST, 62, "3 4",
      { MEAN(80, 80), MEAN(82, 75), MEAN(82.1, 62), MEAN(84, 90) } },
    { "not above that of the baseline", AT(map_lowest_mmhg),
      PLAN_USE_MAP_LOWEST, 70, "5",
      { MEAN(80, 80), MEAN(82, 75), MEAN(84, 90), MEAN(99.01, 70) } },

    { "venous pressure", AT(cvp_mmhg), PLAN_USE_CVP, 11, "3",
      { NUMBER(60, Q_CENTRAL_VENOUS_PRESSURE, 7),
        NUMBER(70, Q_CENTRAL_VENOUS_PRESSURE, 11) } },
    { "venous pressure, sixty days old", AT(cvp_mmhg), PLAN_USE_CVP, 7, "2",
      { NUMBER(40, Q_CENTRAL_VENOUS_PRESSURE, 7) } },
    { "venous pressure, older", AT(cvp_mmhg), PLAN_USE_CVP, NAN, "",
      { NUMBER(40 - SECOND, Q_CENTRAL_VENOUS_PRESSURE, 7) } },
    { "haematocrit", AT(haematocrit_frac), PLAN_USE_HAEMATOCRIT, 0.33, "2",
      { NUMBER(95, Q_HAEMATOCRIT, 0.33) } },
    { "haematocrit, withdrawn", AT(haematocrit_frac), PLAN_USE_HAEMATOCRIT,
      NAN, "", { NUMBER(95, Q_HAEMATOCRIT, 0.33, WITHDRAWN) } },
    { "access", AT(conduit_mm), PLAN_USE_CONDUIT, 9.5, "2",
      { NUMBER(-70, Q_CONDUIT_DIAMETER, 9.5) } },
    { "access, half a year ago", AT(conduit_mm), PLAN_USE_CONDUIT, NAN, "",
      { NUMBER(-81, Q_CONDUIT_DIAMETER, 9.5) } },
    { "artery", AT(artery_mm), PLAN_USE_ARTERY, 6, "2",
      { NUMBER(50, Q_FEEDING_ARTERY_DIAMETER, 6) } },
    { "pump flow", AT(prescribed_pump_ml_min), PLAN_USE_PUMP, 350, "2",
      { NUMBER(50, Q_PRESCRIBED_PUMP_FLOW, 350) } },
    { "a bound is no diameter", AT(artery_mm), PLAN_USE_ARTERY, NAN, "",
      { NUMBER(50, Q_FEEDING_ARTERY_DIAMETER, 6, .bound = BOUND_ABOVE) } },

    { "index", AT(index_open), PLAN_USE_INDEX, 0.72, "3",
      { INDEX(60, 0.66), INDEX(90, 0.72) } },
    { "index, ninety days old", AT(index_open), PLAN_USE_INDEX, 0.66, "2",
      { INDEX(10, 0.66) } },
    { "index, older", AT(index_open), PLAN_USE_INDEX, NAN, "",
      { INDEX(10 - SECOND, 0.66) } },
    { "index, a bound", AT(index_open), PLAN_USE_INDEX, 0.66, "2",
      { INDEX(60, 0.66), INDEX(90, 0.9, .bound = BOUND_ABOVE) } },
    { "index pressed shut", AT(index_compressed), PLAN_USE_INDEX_COMPRESSED,
      0.85, "2", { PRESSED_INDEX(90, 0.85) } },
    { "index pressed shut, the newest", AT(index_compressed),
      PLAN_USE_INDEX_COMPRESSED, 0.9, "3",
      { PRESSED_INDEX(60, 0.85), PRESSED_INDEX(90, 0.9) } },

    { "static pressure", AT(static_mmhg), PLAN_USE_STATIC, 41, "2",
      { NUMBER(90, Q_STATIC_ACCESS_PRESSURE, 41) } },
    /* 25 + 0.35 * 20 + 3.4, JASN review of pressure protocols */
    { "static pressure, from the venous chamber", AT(static_mmhg),
      PLAN_USE_STATIC, 35.4, "2 3",
      { NUMBER(90, Q_STATIC_VENOUS_PRESSURE, 25),
        NUMBER(90, Q_CHAMBER_HEIGHT, 20) } },
    { "static pressure, chamber not known", AT(static_mmhg), PLAN_USE_STATIC,
      NAN, "", { NUMBER(90, Q_STATIC_VENOUS_PRESSURE, 25) } },
    { "static pressure, too old", AT(static_mmhg), PLAN_USE_STATIC, NAN, "",
      { NUMBER(39, Q_STATIC_ACCESS_PRESSURE, 41) } },

    { "stenosis", AT(stenosis_frac), PLAN_USE_STENOSIS, 0.7, "2",
      { NUMBER(90, Q_OUTFLOW_STENOSIS, 70) } },
    { "stenosis that is slight", AT(stenosis_frac), PLAN_USE_STENOSIS, NAN, "",
      { NUMBER(90, Q_OUTFLOW_STENOSIS, 40) } },
};
/* clang-format on */

static void take_event_after_the_flow(const struct event *more,
                                      struct event *events)
{
    const struct event flow = FLOW(99, 1600);

    memset(events, 0, sizeof(*events) * KIT_EVENTS_MAX);
    events[0] = flow;
    for (size_t i = 0; i < 8 && !kit_is_end(&more[i]); i++)
        events[i + 1] = more[i];
}

static void numbers_are_taken(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(numbers); i++) {
        struct event events[KIT_EVENTS_MAX];
        char text[KIT_TEXT_SIZE];
        double got;

        ROW(numbers[i].name);
        take_event_after_the_flow(numbers[i].events, events);
        from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
        assert_int_equal(kit.from.offer, PLAN_OFFERED);
        memcpy(&got, (const char *)&kit.from.in + numbers[i].place,
               sizeof(got));
        if (isnan(numbers[i].want))
            assert_true(isnan(got));
        else
            assert_near(got, numbers[i].want, 1e-9);
        assert_string_equal(from_kit_ids(&kit, numbers[i].use, -1, text),
                            numbers[i].ids);
    }
}

/* ---- of the access as it is now --------------------------------------------------- */

/* A treatment ends what was measured of hand and outflow, not what lasts. */
static void a_treatment_ends_what_it_changes(void **state)
{
    static const struct event events[] = {
        INDEX(60, 0.5),
        PRESSED_INDEX(60, 0.8),
        NUMBER(60, Q_STATIC_ACCESS_PRESSURE, 60),
        NUMBER(60, Q_OUTFLOW_STENOSIS, 70),
        NUMBER(60, Q_FEEDING_ARTERY_DIAMETER, 6),
        NUMBER(60, Q_PRESCRIBED_PUMP_FLOW, 350),
        SIGN(70, SIGN_ANGIOPLASTY_OUTFLOW),
        FLOW(99, 2100),
        { .day = 0 }
    };
    const struct plan_input *in = &kit.from.in;

    (void)state;
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_int_equal(kit.from.offer, PLAN_OFFERED);
    assert_true(isnan(in->index_open) && isnan(in->index_compressed));
    assert_true(isnan(in->static_mmhg) && isnan(in->stenosis_frac));
    assert_near(in->artery_mm, 6, 0);
    assert_near(in->prescribed_pump_ml_min, 350, 0);
}

/* In a case the hand and the outflow are those of before it; what is measured
 * after a tie belongs to its stage. */
static void the_case_changes_no_value_of_the_baseline(void **state)
{
    static const struct event events[] = {
        INDEX(98, 0.55),
        NUMBER(98, Q_STATIC_ACCESS_PRESSURE, 40),
        MEAN(99, 95),
        FLOW(99, 1900),
        DOWEL(99.1, 4),
        INDEX(99.15, 0.75),
        NUMBER(99.15, Q_STATIC_ACCESS_PRESSURE, 20),
        MEAN(99.15, 70),
        FLOW(99.15, 900),
        { .day = 0 }
    };
    const struct plan_input *in = &kit.from.in;

    (void)state;
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_int_equal(kit.from.offer, PLAN_OFFERED);
    assert_near(in->index_open, 0.55, 0);
    assert_near(in->static_mmhg, 40, 0);
    assert_near(in->map_mmhg, 95, 0);
    assert_near(in->stages[0].index, 0.75, 0);
    assert_near(in->stages[0].map_mmhg, 70, 0);
}

/* Anaesthesia lowers the pressure: the day of the case is not usual. */
static void the_pressure_of_the_operating_room_is_not_usual(void **state)
{
    static const struct event events[] = { MEAN(80, 90),   MEAN(82, 85),
                                           MEAN(84, 88),   MEAN(99, 60),
                                           FLOW(99, 1900), DOWEL(99.1, 4),
                                           { .day = 0 } };

    (void)state;
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_near(kit.from.in.map_mmhg, 60, 0);
    /* it is 85, but not above the pressure of the baseline */
    assert_near(kit.from.in.map_lowest_mmhg, 60, 0);
    kit.readings[3].value = 92;
    from_kit_run(&kit, &from_kit_asked);
    assert_near(kit.from.in.map_lowest_mmhg, 85, 0);
}

/* ---- sides ------------------------------------------------------------------------- */

/* The finger over the arm without the access; both sides are to be known. */
static const struct {
    const char *name;
    enum side access, finger, arm;
    double want;
} sides[] = {
    { "the other arm", SIDE_LEFT, SIDE_LEFT, SIDE_RIGHT, 0.8 },
    { "the side of the finger not said", SIDE_LEFT, SIDE_UNKNOWN, SIDE_RIGHT,
      0.8 },
    { "the arm with the access", SIDE_LEFT, SIDE_LEFT, SIDE_LEFT, NAN },
    { "the arm not said", SIDE_LEFT, SIDE_LEFT, SIDE_UNKNOWN, NAN },
    { "no side at all", SIDE_UNKNOWN, SIDE_UNKNOWN, SIDE_RIGHT, NAN },
};

static void an_index_is_computed_over_the_other_arm(void **state)
{
    static const struct event events[] = {
        FLOW(99, 1600),
        NUMBER(99.01, Q_DIGITAL_PRESSURE_COMPRESSED, 112),
        SYSTOLIC(99.02, 140),
        { .day = 0 }
    };

    (void)state;
    for (size_t i = 0; i < COUNT(sides); i++) {
        double got;

        ROW(sides[i].name);
        from_kit_set(&kit, events, AVF, 100);
        kit.h.side = sides[i].access;
        kit.readings[1].side = sides[i].finger;
        kit.readings[2].side = sides[i].arm;
        from_kit_run(&kit, &from_kit_asked);
        got = kit.from.in.index_compressed;
        if (isnan(sides[i].want))
            assert_true(isnan(got));
        else
            assert_near(got, sides[i].want, 1e-9); /* 112 / 140 */
    }
}

/* One that was sent stands before one computed in the same session. */
static void a_sent_index_stands_before_a_computed_one(void **state)
{
    static const struct event events[] = {
        FLOW(99, 1600),
        PRESSED_INDEX(99.01, 0.9),
        NUMBER(99.02, Q_DIGITAL_PRESSURE_COMPRESSED, 112),
        SYSTOLIC(99.02, 140),
        { .day = 0 }
    };

    (void)state;
    from_kit_set(&kit, events, AVF, 100);
    kit.h.side = kit.readings[2].side = SIDE_LEFT;
    kit.readings[3].side = SIDE_RIGHT;
    from_kit_run(&kit, &from_kit_asked);
    assert_near(kit.from.in.index_compressed, 0.9, 0);
}

/* The list of readings has an end, and no reading stands in it twice. */
static void grounds_are_named_once(void **state)
{
    struct event events[KIT_EVENTS_MAX] = { { .day = 0 } };

    (void)state;
    for (int i = 0; i < 60; i++) {
        const struct event e = FLOW(98 + i / 60.0, 1600 + i);

        events[i] = e;
    }
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_in_range(kit.from.in.flow_count, 1, PLAN_READS_MAX);
    for (size_t a = 0; a < kit.from.ground_count; a++) {
        for (size_t b = 0; b < a; b++)
            assert_memory_not_equal(&kit.from.grounds[a], &kit.from.grounds[b],
                                    sizeof(kit.from.grounds[0]));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_are_taken),
        cmocka_unit_test(a_treatment_ends_what_it_changes),
        cmocka_unit_test(the_case_changes_no_value_of_the_baseline),
        cmocka_unit_test(the_pressure_of_the_operating_room_is_not_usual),
        cmocka_unit_test(an_index_is_computed_over_the_other_arm),
        cmocka_unit_test(a_sent_index_stands_before_a_computed_one),
        cmocka_unit_test(grounds_are_named_once),
    };

    kit_policy(&kit.policy);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
