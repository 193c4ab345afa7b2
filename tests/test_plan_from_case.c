/* A case: what was done to the band, and what was measured after each step. */
#include "tests/test.h"

#include "tests/plan_from_kit.h"

static struct from_kit kit;

#define BASE FLOW(99, 2000, DILUTION), FLOW(99 + MINUTES(5), 2100, DILUTION)

/* ---- steps -------------------------------------------------------------------- */

/* A case in a line, each stage "tied 4: 1200 1250"; what is not known is left
 * out. */
static const char *case_text(char text[KIT_TEXT_SIZE])
{
    static const char *const steps[] = { "tied", "stretched", "released" };
    const struct plan_from *from = &kit.from;
    size_t len = 0;

    text[0] = '\0';
    for (size_t i = 0; i < from->in.stage_count; i++) {
        const struct plan_stage *s = &from->in.stages[i];
        double mm = s->step == PLAN_TIED ? s->dowel_mm : from->balloon_mm[i];
        char flows[KIT_TEXT_SIZE];

        len += (size_t)snprintf(text + len, KIT_TEXT_SIZE - len, "%s%s",
                                i > 0 ? ", " : "", steps[s->step]);
        if (isfinite(mm))
            len += (size_t)snprintf(text + len, KIT_TEXT_SIZE - len, " %g", mm);
        if (s->flow_count > 0)
            len += (size_t)snprintf(
                text + len, KIT_TEXT_SIZE - len, ": %s",
                from_kit_flows(s->flow_ml_min, s->flow_count, flows));
    }
    return text;
}

/* clang-format off */
static const struct {
    const char *name, *want;
    double now_day;
    struct event events[14];
} steps[] = {
    { "none", "", 100, { BASE } },
    { "tied, not measured", "tied 4", 100, { BASE, DOWEL(99.1, 4) } },
    { "tied, measured", "tied 4: 1200 1250", 100,
      { BASE, DOWEL(99.1, 4), FLOW(99.11, 1200, DILUTION),
        FLOW(99.12, 1250, DILUTION) } },
    { "tied twice", "tied 4: 1400, tied 3.5: 1000", 100,
      { BASE, DOWEL(99.1, 4), FLOW(99.11, 1400, DILUTION), DOWEL(99.2, 3.5),
        FLOW(99.21, 1000, DILUTION) } },
    { "stretched", "tied 3: 600, stretched 4: 900", 100,
      { BASE, DOWEL(99.1, 3), FLOW(99.11, 600, DILUTION), STRETCH(99.2, 4),
        FLOW(99.21, 900, DILUTION) } },
    { "cut and tied looser", "tied 3: 600, released, tied 4: 1200", 100,
      { BASE, DOWEL(99.1, 3), FLOW(99.11, 600, DILUTION), RELEASE(99.2),
        DOWEL(99.25, 4), FLOW(99.3, 1200, DILUTION) } },
    { "not cut after all", "tied 3: 600", 100,
      { BASE, DOWEL(99.1, 3), FLOW(99.11, 600, DILUTION),
        NUMBER(99.2, Q_BAND_RELEASED, 0) } },
    { "a tie withdrawn", "tied 4: 1200", 100,
      { BASE, DOWEL(99.1, 4), DOWEL(99.105, 3, WITHDRAWN),
        FLOW(99.11, 1200, DILUTION) } },
    { "said twice: banded, and over what", "tied 4: 1200", 100,
      { BASE, DOWEL(99.1, 4), SIGN(99.1, SIGN_BANDED),
        FLOW(99.11, 1200, DILUTION) } },
    { "flows in the order of their times", "tied 4: 1250 1200", 100,
      { BASE, FLOW(99.12, 1200, DILUTION), FLOW(99.11, 1250, DILUTION),
        DOWEL(99.1, 4) } },
    /* methods are never mixed */
    { "by another method", "tied 4", 100,
      { BASE, DOWEL(99.1, 4), SIGN(99.105, SIGN_GRADE_1),
        FLOW(98.2, 1900, DUPLEX), FLOW(99.01, 2050, DILUTION) } },
    { "by both", "tied 4: 1200", 100,
      { BASE, DOWEL(99.1, 4), FLOW(99.11, 1200, DILUTION),
        FLOW(99.12, 1500, DUPLEX) } },
    { "a bound", "tied 4: 1200", 100,
      { BASE, DOWEL(99.1, 4), FLOW(99.11, 1200, DILUTION),
        FLOW(99.12, 1500, DILUTION, .bound = BOUND_ABOVE) } },
    { "a flow of the day only may be of before", "tied 4", 100,
      { BASE, DOWEL(99.1, 4),
        FLOW(99.5, 1200, DILUTION, .precision = AT_DAY) } },
    { "an earlier band cut first", "tied 4", 100,
      { SIGN(40, SIGN_BANDED), BASE, RELEASE(99.05), FLOW(99.06, 2300),
        DOWEL(99.1, 4) } },
    { "the case is over a day after its newest step", "tied 4: 1200",
      99.1 + 1 , { BASE, DOWEL(99.1, 4), FLOW(99.11, 1200, DILUTION) } },
};
/* clang-format on */

static void steps_are_stages(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(steps); i++) {
        char text[KIT_TEXT_SIZE];

        ROW(steps[i].name);
        from_kit_make(&kit, steps[i].events, AVF, steps[i].now_day,
                      &from_kit_asked);
        assert_int_equal(kit.from.offer, PLAN_OFFERED);
        assert_string_equal(case_text(text), steps[i].want);
        assert_int_equal(kit.from.case_s != INT64_MIN,
                         steps[i].want[0] != '\0');
    }
}

/* What is not known of a stage is said to be unknown. */
static void an_unmeasured_stage_is_unknown(void **state)
{
    static const struct event events[] = {
        BASE, MEAN(99, 95), INDEX(99, 0.7), DOWEL(99.1, 4), { .day = 0 }
    };
    const struct plan_stage *s = &kit.from.in.stages[0];

    (void)state;
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_int_equal(s->flow_count, 0);
    assert_true(isnan(s->map_mmhg)); /* that of before is not that of then */
    assert_true(isnan(s->index));
    assert_false(s->weak_thrill);
    assert_near(kit.from.in.map_mmhg, 95, 0);
    assert_near(kit.from.in.index_open, 0.7, 0);
}

/* Each stage has what was measured in it, and the baseline what was before. */
static void a_stage_has_its_own_pressure_index_and_thrill(void **state)
{
    static const struct event events[] = { BASE,           /* 1 2 */
                                           MEAN(99, 95),   /* 3 */
                                           DOWEL(99.1, 4), /* 4 */
                                           FLOW(99.11, 1400, DILUTION), /* 5 */
                                           MEAN(99.11, 91),             /* 6 */
                                           INDEX(99.115, 0.72),         /* 7 */
                                           DOWEL(99.12, 3.5),           /* 8 */
                                           SIGN(99.125,
                                                SIGN_THRILL_WEAK),     /* 9 */
                                           FLOW(99.13, 500, DILUTION), /* 10 */
                                           MEAN(99.13, 78),            /* 11 */
                                           { .day = 0 } };
    const struct plan_stage *s = kit.from.in.stages;
    char text[KIT_TEXT_SIZE];

    (void)state;
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_int_equal(kit.from.offer, PLAN_OFFERED);
    assert_near(kit.from.in.map_mmhg, 95, 0);
    assert_near(s[0].map_mmhg, 91, 0);
    assert_near(s[0].index, 0.72, 0);
    assert_false(s[0].weak_thrill);
    assert_near(s[1].map_mmhg, 78, 0);
    assert_true(isnan(s[1].index));
    assert_true(s[1].weak_thrill);
    assert_string_equal(from_kit_ids(&kit, PLAN_USE_STEP, 0, text), "4");
    assert_string_equal(from_kit_ids(&kit, PLAN_USE_STAGE_FLOW, 0, text), "5");
    assert_string_equal(from_kit_ids(&kit, PLAN_USE_STAGE_MAP, 0, text), "6");
    assert_string_equal(from_kit_ids(&kit, PLAN_USE_STAGE_INDEX, 0, text), "7");
    assert_string_equal(from_kit_ids(&kit, PLAN_USE_STAGE_THRILL, 1, text),
                        "9");
    assert_int_equal(kit.from.stage_s[1], kit_s(99.12));
}

/* clang-format off */
static const struct {
    const char *name;
    bool weak;
    struct event events[6];
} thrills[] = {
    { "present", false, { SIGN(99.2, SIGN_THRILL_PRESENT) } },
    { "weak", true, { SIGN(99.2, SIGN_THRILL_WEAK) } },
    { "lost", true, { SIGN(99.2, SIGN_THRILL_ABSENT) } },
    { "weak, then present", false,
      { SIGN(99.2, SIGN_THRILL_WEAK), SIGN(99.3, SIGN_THRILL_PRESENT) } },
    { "weak before the tie", false, { SIGN(99.05, SIGN_THRILL_WEAK) } },
    { "weak, withdrawn", false, { SIGN(99.2, SIGN_THRILL_WEAK, WITHDRAWN) } },
    { "weak, preliminary", false, { SIGN(99.2, SIGN_THRILL_WEAK, EARLY) } },
    /* an emergency is believed at once */
    { "lost, preliminary", true, { SIGN(99.2, SIGN_THRILL_ABSENT, EARLY) } },
};
/* clang-format on */

static void whoever_felt_last_tells_of_the_thrill(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(thrills); i++) {
        struct event events[KIT_EVENTS_MAX] = { BASE, DOWEL(99.1, 4),
                                                FLOW(99.11, 1200, DILUTION) };

        ROW(thrills[i].name);
        memcpy(&events[4], thrills[i].events, sizeof(thrills[i].events));
        from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
        assert_int_equal(kit.from.in.stages[0].weak_thrill, thrills[i].weak);
    }
}

/* ---- what stood before the case ------------------------------------------------ */

/* The rules begin anew with each step: ground, hand and flow are those of
 * before it, and a plan goes on though nobody asks. */
static void what_stood_before_the_case_stands(void **state)
{
    static const struct event events[] = {
        FLOW(80, 1600), SIGN(98, SIGN_GRADE_3), FLOW(99, 1650),
        DOWEL(99.1, 4), FLOW(99.2, 700),        { .day = 0 }
    };

    (void)state;
    from_kit_make(&kit, events, AVF, 100, NULL);
    assert_int_equal(kit.from.offer, PLAN_OFFERED);
    assert_true(kit.from.in.ischaemia);
    assert_int_equal(kit.from.in.lead, PLAN_BY_HAND);
    assert_int_equal(kit.from.in.stage_count, 1);
    assert_int_equal(kit.from.readiness.conditions[CONDITION_INDICATION],
                     CONDITION_MET);
}

static void what_comes_in_the_case_and_forbids_counts(void **state)
{
    static const struct event events[] = { FLOW(80, 2100),
                                           FLOW(99, 2100),
                                           DOWEL(99.1, 4),
                                           SIGN(99.2, SIGN_INFECTION_LOCAL),
                                           { .day = 0 } };

    (void)state;
    from_kit_make(&kit, events, AVF, 100, NULL);
    assert_int_equal(kit.from.offer, PLAN_EXCLUDED);
    assert_int_equal(kit.from.readiness.exclusions, EXCLUDE_INFECTION);
}

/* clang-format off */
static const struct {
    const char *name;
    unsigned caution;
    struct event events[8];
} bands[] = {
    { "none", 0, { BASE } },
    { "that of this case", 0, { BASE, DOWEL(99.1, 4) } },
    { "an earlier one", CAUTION_BAND_BEFORE, { SIGN(20, SIGN_BANDED), BASE } },
    { "an earlier one, and that of this case", CAUTION_BAND_BEFORE,
      { DOWEL(20, 4), BASE, DOWEL(99.1, 4) } },
};
/* clang-format on */

static void an_earlier_band_is_a_caution(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(bands); i++) {
        ROW(bands[i].name);
        from_kit_make(&kit, bands[i].events, AVF, 100, &from_kit_asked);
        assert_int_equal(kit.from.cautions, bands[i].caution);
    }
}

/* ---- a band in place ------------------------------------------------------------- */

/* With one that is not of the case none is offered.  Whether it is in place is
 * what the rules after a band hold as well (band.h): until it is released or
 * the access is closed. */
/* clang-format off */
static const struct {
    const char *name;
    enum plan_offer offer;
    double since_day; /* 0: none in place */
    double dowel_mm;  /* 0: not recorded */
    bool stretched;
    double now_day;
    struct event events[12];
} in_place[] = {
    { "of a case that goes on", PLAN_OFFERED, 0, 0, false, 99.1 + 1,
      { BASE, DOWEL(99.1, 4), FLOW(99.11, 1200, DILUTION) } },
    { "a second later it is over", PLAN_BANDED, 99.1, 4, false,
      99.1 + 1 + 2 * SECOND,
      { BASE, DOWEL(99.1, 4), FLOW(99.11, 1200, DILUTION) } },
    { "of months ago", PLAN_BANDED, 20, 3.5, false, 100,
      { DOWEL(20, 3.5), BASE } },
    { "the last of that procedure", PLAN_BANDED, 20, 3.5, false, 100,
      { DOWEL(20, 4), DOWEL(20.02, 3.5), BASE } },
    { "without its dowel", PLAN_BANDED, 20, 0, false, 100,
      { SIGN(20, SIGN_BANDED), BASE } },
    { "named twice", PLAN_BANDED, 20, 4, false, 100,
      { SIGN(20, SIGN_BANDED), DOWEL(20.01, 4), BASE } },
    { "stretched since", PLAN_BANDED, 20, 4, true, 100,
      { DOWEL(20, 4), STRETCH(50, 5), BASE } },
    { "withdrawn", PLAN_OFFERED, 0, 0, false, 100,
      { DOWEL(20, 4, WITHDRAWN), BASE } },
    { "cut since", PLAN_OFFERED, 0, 0, false, 100,
      { DOWEL(20, 4), RELEASE(50), BASE } },
    { "cut, and tied again", PLAN_BANDED, 60, 4.5, false, 100,
      { DOWEL(20, 4), RELEASE(50), DOWEL(60, 4.5), BASE } },
    { "cut just before", PLAN_OFFERED, 0, 0, false, 100,
      { DOWEL(20, 4), RELEASE(99 - MINUTES(5)), BASE } },
    { "tied over it", PLAN_BANDED, 20, 4, false, 100,
      { DOWEL(20, 4), BASE, DOWEL(99.1, 3), FLOW(99.11, 700, DILUTION) } },
    { "cut in the case, then tied", PLAN_OFFERED, 0, 0, false, 100,
      { DOWEL(20, 4), RELEASE(98.9), BASE, DOWEL(99.1, 3),
        FLOW(99.11, 900, DILUTION) } },
    { "no flow since", PLAN_NO_FLOW, 20, 4, false, 100,
      { FLOW(19, 2000), DOWEL(20, 4) } },
};
/* clang-format on */

static void none_is_offered_on_a_band_in_place(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(in_place); i++) {
        const struct plan_band *band = &kit.from.band;

        ROW(in_place[i].name);
        from_kit_make(&kit, in_place[i].events, AVF, in_place[i].now_day,
                      &from_kit_asked);
        assert_int_equal(kit.from.offer, in_place[i].offer);
        assert_int_equal(band->placed, in_place[i].since_day > 0);
        if (!band->placed)
            continue;
        assert_int_equal(kit.readings[band->reading].start_s,
                         kit_s(in_place[i].since_day));
        assert_int_equal(isnan(band->dowel_mm), in_place[i].dowel_mm <= 0);
        if (in_place[i].dowel_mm > 0)
            assert_near(band->dowel_mm, in_place[i].dowel_mm, 0);
        assert_int_equal(band->stretched, in_place[i].stretched);
    }
}

/* What was measured in the case is there, though no size is named. */
static void a_case_on_a_band_keeps_what_was_measured(void **state)
{
    char text[KIT_TEXT_SIZE];
    static const struct event events[] = { DOWEL(20, 4),
                                           BASE,
                                           DOWEL(99.1, 3),
                                           FLOW(99.11, 700, DILUTION),
                                           { .day = 0 } };

    (void)state;
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_string_equal(case_text(text), "tied 3: 700");
    assert_int_equal(kit.from.in.flow_count, 2);
}

/* ---- flows that are not used ------------------------------------------------------- */

/* clang-format off */
static const struct {
    const char *name;
    size_t count;
    enum method method;
    struct event events[12];
} others[] = {
    { "one method", 0, METHOD_UNSTATED,
      { BASE, DOWEL(99.1, 4), FLOW(99.11, 1200, DILUTION) } },
    { "of the case", 2, METHOD_DUPLEX,
      { BASE, DOWEL(99.1, 4), FLOW(99.11, 1500, DUPLEX),
        FLOW(99.11 + MINUTES(1), 1510, DUPLEX) } },
    { "of the session of the baseline", 1, METHOD_DUPLEX,
      { BASE, FLOW(99 + MINUTES(9), 2900, DUPLEX) } },
    { "of an older session: nothing is left out", 0, METHOD_UNSTATED,
      { FLOW(60, 2900, DUPLEX), BASE } },
    { "withdrawn", 0, METHOD_UNSTATED,
      { BASE, DOWEL(99.1, 4), FLOW(99.11, 1500, DUPLEX, WITHDRAWN) } },
};
/* clang-format on */

static void flows_by_another_method_are_counted(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(others); i++) {
        ROW(others[i].name);
        from_kit_make(&kit, others[i].events, AVF, 100, &from_kit_asked);
        assert_int_equal(kit.from.other_flow_count, others[i].count);
        assert_int_equal(kit.from.in.other_method, others[i].count > 0);
        if (others[i].count > 0)
            assert_int_equal(kit.from.other_method, others[i].method);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steps_are_stages),
        cmocka_unit_test(an_unmeasured_stage_is_unknown),
        cmocka_unit_test(a_stage_has_its_own_pressure_index_and_thrill),
        cmocka_unit_test(whoever_felt_last_tells_of_the_thrill),
        cmocka_unit_test(what_stood_before_the_case_stands),
        cmocka_unit_test(what_comes_in_the_case_and_forbids_counts),
        cmocka_unit_test(an_earlier_band_is_a_caution),
        cmocka_unit_test(none_is_offered_on_a_band_in_place),
        cmocka_unit_test(a_case_on_a_band_keeps_what_was_measured),
        cmocka_unit_test(flows_by_another_method_are_counted),
    };

    kit_policy(&kit.policy);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
