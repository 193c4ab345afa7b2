/* Whether a band plan is offered, and which flows are its baseline. */
#include "tests/test.h"

#include "tests/plan_from_kit.h"

static struct from_kit kit;

static const char *const offer_words[PLAN_OFFER_COUNT] = {
    "offered", "excluded",   "inactive", "other form", "no ground",
    "no flow", "unfit flow", "old flow", "order",      "size",
    "full",    "banded",     "deceased", "unfit"
};

static void assert_offer(enum plan_offer want)
{
    assert_string_equal(offer_words[kit.from.offer], offer_words[want]);
}

/* ---- is one offered? ------------------------------------------------------- */

enum { ASKED = 1, INACTIVE = 2, CENTRAL = 4 };

/* clang-format off */
static const struct {
    const char *name;
    int type, how;
    enum plan_offer want;
    unsigned exclusions;
    struct event events[12];
} offers[] = {
    { "high flow, nobody asked", AVF, 0, PLAN_OFFERED, 0,
      { FLOW(80, 2100), FLOW(99, 2100) } },
    { "flow neither high nor asked about", AVF, 0, PLAN_NO_GROUND, 0,
      { FLOW(80, 900), FLOW(99, 900) } },
    { "the same, asked about", AVF, ASKED, PLAN_OFFERED, 0,
      { FLOW(80, 900), FLOW(99, 900) } },
    { "high once: not confirmed", AVF, 0, PLAN_NO_GROUND, 0,
      { FLOW(99, 1600) } },
    { "hand short of blood, flow not known", AVF, 0, PLAN_NO_FLOW, 0,
      { SIGN(99, SIGN_GRADE_3) } },
    { "nothing known, asked about", AVF, ASKED, PLAN_NO_FLOW, 0,
      { MEAN(99, 90) } },

    /* Less flow would not help a hand that is short of blood at a low or
     * normal one: review of banding, J Clin Med 2018;7:128 */
    { "low-flow steal", AVF, 0, PLAN_EXCLUDED, EXCLUDE_LOW_FLOW_HAND,
      { FLOW(90, 650), SIGN(99, SIGN_GRADE_3) } },
    { "low-flow steal, asked about", AVF, ASKED, PLAN_EXCLUDED,
      EXCLUDE_LOW_FLOW_HAND, { FLOW(90, 650), SIGN(99, SIGN_GRADE_3) } },
    { "high-flow steal", AVF, 0, PLAN_OFFERED, 0,
      { FLOW(90, 1600), SIGN(99, SIGN_GRADE_3) } },
    { "catheter, asked about", SIGN_TYPE_CVC, ASKED, PLAN_EXCLUDED,
      EXCLUDE_CATHETER, { FLOW(99, 1600) } },
    { "thigh, asked about", AVF, ASKED | CENTRAL, PLAN_EXCLUDED, EXCLUDE_SITE,
      { FLOW(99, 1600) } },
    { "infected, asked about", AVF, ASKED, PLAN_EXCLUDED, EXCLUDE_INFECTION,
      { FLOW(99, 1600), SIGN(99, SIGN_INFECTION_LOCAL) } },
    { "no longer in use", AVF, ASKED | INACTIVE, PLAN_INACTIVE, 0,
      { FLOW(80, 2100), FLOW(99, 2100) } },

    /* index below 0.6: Gerrickens, J Vasc Access 2021;22:194 */
    { "stays low with the access pressed shut", AVF, ASKED, PLAN_EXCLUDED,
      EXCLUDE_DISTAL,
      { FLOW(80, 2100), FLOW(99, 2100), INDEX(98, 0.35),
        PRESSED_INDEX(98, 0.5) } },
    { "the same, without one beside it", AVF, ASKED, PLAN_EXCLUDED,
      EXCLUDE_DISTAL,
      { FLOW(80, 2100), FLOW(99, 2100), PRESSED_INDEX(98, 0.59) } },
    { "the same, nobody asked", AVF, 0, PLAN_EXCLUDED, EXCLUDE_DISTAL,
      { FLOW(80, 2100), FLOW(99, 2100), PRESSED_INDEX(98, 0.59) } },
    { "on the limit", AVF, 0, PLAN_OFFERED, 0,
      { FLOW(80, 2100), FLOW(99, 2100), PRESSED_INDEX(98, 0.6) } },
    { "low, but tested long ago", AVF, 0, PLAN_OFFERED, 0,
      { PRESSED_INDEX(9, 0.5), FLOW(80, 2100), FLOW(99, 2100) } },

    { "a cuff", AVF, ASKED, PLAN_OTHER_FORM, 0,
      { SIGN(50, SIGN_BAND_CUFF), FLOW(99, 1600) } },
    { "a ligature", AVF, ASKED, PLAN_OFFERED, 0,
      { SIGN(50, SIGN_BAND_LIGATURE), FLOW(99, 1600) } },
    { "a cuff once, now a ligature", AVF, ASKED, PLAN_OFFERED, 0,
      { SIGN(50, SIGN_BAND_CUFF), SIGN(60, SIGN_BAND_LIGATURE),
        FLOW(99, 1600) } },
    { "a cuff, withdrawn", AVF, ASKED, PLAN_OFFERED, 0,
      { SIGN(50, SIGN_BAND_CUFF, WITHDRAWN), FLOW(99, 1600) } },

    { "only a bound", AVF, ASKED, PLAN_FLOW_UNFIT, 0,
      { FLOW(80, 1600), FLOW(99, 2000, .bound = BOUND_ABOVE) } },
    { "only preliminary", AVF, ASKED, PLAN_NO_FLOW, 0,
      { FLOW(99, 1600, EARLY) } },
    { "only withdrawn", AVF, ASKED, PLAN_NO_FLOW, 0,
      { FLOW(99, 1600, WITHDRAWN) } },
    { "before the access was treated", AVF, ASKED, PLAN_NO_FLOW, 0,
      { FLOW(80, 1600), SIGN(90, SIGN_ANGIOPLASTY_OUTFLOW) } },
    /* 300 (1/0.25 - 1) = 900, Krivitski, Kidney Int 1995;48:244: half of what
     * was sent */
    { "contradicted by the raw values", AVF, ASKED, PLAN_FLOW_UNFIT, 0,
      { FLOW(99, 1800), NUMBER(99, Q_RECIRCULATION_REVERSED, 25),
        NUMBER(99, Q_PUMP_FLOW, 300) } },
    { "sixty days old", AVF, ASKED, PLAN_OFFERED, 0, { FLOW(40, 1600) } },
    { "older", AVF, ASKED, PLAN_FLOW_OLD, 0, { FLOW(40 - SECOND, 1600) } },

    { "a tie of which only the day is known", AVF, ASKED, PLAN_ORDER, 0,
      { FLOW(99, 1600), DOWEL(99.5, 4, .precision = AT_DAY),
        FLOW(99.9, 900) } },
    { "two ties of one time", AVF, ASKED, PLAN_ORDER, 0,
      { FLOW(99, 1600), DOWEL(99.5, 4), DOWEL(99.5, 3.5), FLOW(99.9, 900) } },
    { "a tie told twice", AVF, ASKED, PLAN_OFFERED, 0,
      { FLOW(99, 1600), DOWEL(99.5, 4), DOWEL(99.5, 4), FLOW(99.9, 900) } },
    { "banded, no size", AVF, ASKED, PLAN_SIZE, 0,
      { FLOW(99, 1600), SIGN(99.5, SIGN_BANDED), FLOW(99.9, 900) } },
    { "banded over less than", AVF, ASKED, PLAN_SIZE, 0,
      { FLOW(99, 1600), DOWEL(99.5, 4, .bound = BOUND_BELOW) } },
    { "banded, no size, long ago", AVF, ASKED, PLAN_BANDED, 0,
      { SIGN(50, SIGN_BANDED), FLOW(99, 1600) } },
    { "a ninth step", AVF, ASKED, PLAN_STAGES_FULL, 0,
      { FLOW(99, 1600), DOWEL(99.1, 5), DOWEL(99.2, 4), DOWEL(99.3, 5),
        DOWEL(99.4, 4), DOWEL(99.5, 5), DOWEL(99.6, 4), DOWEL(99.7, 5),
        DOWEL(99.8, 4), DOWEL(99.9, 5) } },
};
/* clang-format on */

static void is_offered(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(offers); i++) {
        ROW(offers[i].name);
        from_kit_set(&kit, offers[i].events, offers[i].type, 100);
        kit.h.inactive = (offers[i].how & INACTIVE) != 0;
        kit.h.is_central = (offers[i].how & CENTRAL) != 0;
        from_kit_run(&kit,
                     (offers[i].how & ASKED) != 0 ? &from_kit_asked : NULL);
        assert_offer(offers[i].want);
        assert_int_equal(kit.from.readiness.exclusions, offers[i].exclusions);
    }
}

/* ---- the baseline ------------------------------------------------------------ */

/* clang-format off */
static const struct {
    const char *name, *flows;
    enum method method;
    const char *ids;
    struct event events[12];
} baselines[] = {
    { "one", "1600", METHOD_UNSTATED, "1", { FLOW(99, 1600) } },
    { "a pair of one session", "1600 1650", METHOD_UNSTATED, "1 2",
      { FLOW(99, 1600), FLOW(99 + HOURS(1), 1650) } },
    { "the newest session", "1650", METHOD_UNSTATED, "2",
      { FLOW(90, 1600), FLOW(99, 1650) } },
    { "the method of most readings", "1600 1620", METHOD_DUPLEX, "1 2",
      { FLOW(99, 1600, DUPLEX), FLOW(99 + MINUTES(9), 1620, DUPLEX),
        FLOW(99 + MINUTES(20), 1900, DILUTION) } },
    { "of two methods the newest", "1900", METHOD_ULTRASOUND_DILUTION, "2",
      { FLOW(99, 1600, DUPLEX), FLOW(99 + MINUTES(20), 1900, DILUTION) } },
    { "the method of what was measured after the tie", "1600",
      METHOD_ULTRASOUND_DILUTION, "1",
      { FLOW(99.3, 1600, DILUTION), FLOW(99.31, 1800, DUPLEX),
        FLOW(99.32, 1820, DUPLEX), DOWEL(99.4, 4),
        FLOW(99.45, 900, DILUTION) } },
    { "what is measured after the tie is none", "1600 1650", METHOD_UNSTATED,
      "1 2",
      { FLOW(99.3, 1600), FLOW(99.31, 1650), DOWEL(99.4, 4),
        FLOW(99.45, 900), FLOW(99.46, 950) } },
    { "an earlier treatment starts anew", "1650", METHOD_UNSTATED, "3",
      { FLOW(98.9, 1300), SIGN(99, SIGN_ANGIOPLASTY_OUTFLOW),
        FLOW(99.1, 1650) } },
    { "withdrawn and preliminary ones left out", "1600", METHOD_UNSTATED, "2",
      { FLOW(99, 1300, WITHDRAWN), FLOW(99.01, 1600),
        FLOW(99.02, 1900, EARLY) } },
    { "a bound beside it left out", "1600", METHOD_UNSTATED, "1",
      { FLOW(99, 1600), FLOW(99.01, 1700, .bound = BOUND_AT_LEAST) } },
    /* 300 (1/0.2 - 1) = 1200, by the formula above */
    { "computed from recirculation with reversed lines", "1200",
      METHOD_UNSTATED, "1 2",
      { NUMBER(99, Q_RECIRCULATION_REVERSED, 20),
        NUMBER(99, Q_PUMP_FLOW, 300) } },
};
/* clang-format on */

static void finds_the_baseline(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(baselines); i++) {
        char text[KIT_TEXT_SIZE];

        ROW(baselines[i].name);
        from_kit_make(&kit, baselines[i].events, AVF, 100, &from_kit_asked);
        assert_offer(PLAN_OFFERED);
        assert_string_equal(from_kit_flows(kit.from.in.flow_ml_min,
                                           kit.from.in.flow_count, text),
                            baselines[i].flows);
        assert_int_equal(kit.from.in.method, baselines[i].method);
        assert_string_equal(from_kit_ids(&kit, PLAN_USE_FLOW, -1, text),
                            baselines[i].ids);
    }
}

/* clang-format off */
static const struct {
    const char *name;
    bool on_table;
    struct event events[8];
} tables[] = {
    { "no case", false, { FLOW(99.3, 1600) } },
    { "of that day", true,
      { FLOW(99.3, 1600), DOWEL(99.4, 4), FLOW(99.5, 900) } },
    { "a day before, to the second", true,
      { FLOW(98.4, 1600), DOWEL(99.4, 4), FLOW(99.5, 900) } },
    { "longer before", false,
      { FLOW(98.4 - SECOND, 1600), DOWEL(99.4, 4), FLOW(99.5, 900) } },
};
/* clang-format on */

static void knows_what_is_of_the_table(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(tables); i++) {
        ROW(tables[i].name);
        from_kit_make(&kit, tables[i].events, AVF, 100, &from_kit_asked);
        assert_offer(PLAN_OFFERED);
        assert_int_equal(kit.from.in.on_table, tables[i].on_table);
    }
}

/* A day of which the hour is not known may lie after the tie. */
static void a_flow_of_the_day_of_the_tie_is_no_baseline(void **state)
{
    static const struct event events[] = { FLOW(99.1, 1600,
                                                .precision = AT_DAY),
                                           DOWEL(99.4, 4),
                                           FLOW(99.5, 900),
                                           { .day = 0 } };

    (void)state;
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_offer(PLAN_NO_FLOW);
}

static void a_plan_expires(void **state)
{
    static const struct event events[] = { FLOW(99, 1600),
                                           FLOW(99 + HOURS(1), 1600),
                                           { .day = 0 } };

    (void)state;
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_int_equal(kit.from.baseline_s, kit_s(99));
    assert_int_equal(kit.from.expires_s, kit_s(99 + 60));
    kit.policy.values[P_PLAN_VALID_D].value = 14;
    from_kit_run(&kit, &from_kit_asked);
    assert_int_equal(kit.from.expires_s, kit_s(99 + 14));
    kit_policy(&kit.policy);
}

/* A pair of one session is the pair that a plan needs. */
static void a_pair_of_one_session_is_a_pair(void **state)
{
    static const struct event near[] = { FLOW(99, 1600),
                                         FLOW(99 + HOURS(1), 1650),
                                         { .day = 0 } };
    static const struct event apart[] = { FLOW(99, 1400),
                                          FLOW(99 + HOURS(1), 1800),
                                          { .day = 0 } };

    (void)state;
    from_kit_make(&kit, near, AVF, 100, &from_kit_asked);
    assert_int_equal(kit.from.readiness.conditions[CONDITION_FLOW_PAIR],
                     CONDITION_MET);
    from_kit_make(&kit, apart, AVF, 100, &from_kit_asked);
    assert_int_equal(kit.from.readiness.conditions[CONDITION_FLOW_PAIR],
                     CONDITION_MISSING);
    assert_false(kit.from.readiness.complete);
}

/* The hand is short of blood by the rules, and the flow beside it is low only
 * by the newest reading: no plan either. */
static void the_flow_planned_with_decides_beside_the_hand(void **state)
{
    static const struct event events[] = {
        FLOW(20, 1600), SIGN(60, SIGN_GRADE_3), FLOW(99, 700), { .day = 0 }
    };

    (void)state;
    from_kit_make(&kit, events, AVF, 100, &from_kit_asked);
    assert_offer(PLAN_EXCLUDED);
    assert_true((kit.from.readiness.exclusions & EXCLUDE_LOW_FLOW_HAND) != 0);
}

static void every_use_has_a_word_of_its_own(void **state)
{
    (void)state;
    for (int a = 0; a < PLAN_USE_COUNT; a++) {
        assert_true(strlen(plan_use_word((enum plan_use)a)) > 2);
        for (int b = 0; b < a; b++)
            assert_string_not_equal(plan_use_word((enum plan_use)a),
                                    plan_use_word((enum plan_use)b));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(is_offered),
        cmocka_unit_test(finds_the_baseline),
        cmocka_unit_test(knows_what_is_of_the_table),
        cmocka_unit_test(a_flow_of_the_day_of_the_tie_is_no_baseline),
        cmocka_unit_test(a_plan_expires),
        cmocka_unit_test(a_pair_of_one_session_is_a_pair),
        cmocka_unit_test(the_flow_planned_with_decides_beside_the_hand),
        cmocka_unit_test(every_use_has_a_word_of_its_own),
    };

    kit_policy(&kit.policy);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
