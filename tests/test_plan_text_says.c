/* A band plan for people: what the page must say, and must not. */
#include "tests/test.h"

#include "tests/plan_text_kit.h"

/* The textbook figure beside the prediction, as a footnote and no more: the
 * fourth power of 4.0 over 9.25 mm of 2500 is 87 (by hand), which is printed
 * to 10 mL/min as all estimated flows are. */
static void the_textbook_figure_stands_beside_the_prediction(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    write_page();
    assert_says("* 4.0 mm 1000 1430 1720 27 43 59 19 4 <1 90 ");
    assert_says("(1) For comparison only: flow by the fourth power");
    assert_says("(4/3)^4 = 3.2 times"); /* 256 / 81 */
}

/* Each row says what to do in words that leave nothing to guess. */
static void the_card_says_it_in_full(void **state)
{
    static const char *const want[] = {
        "below 500 or weak thrill, or none, at any flow, loosen now: cut the "
        "band and tie over a 4.5 mm dowel (measured outer diameter), then "
        "measure.",
        "500 to below 700 measure again before anything else.",
        "700 to below 875 cut the band (no looser size is on the ladder), then "
        "measure.",
        "875 to below 1000 stretch the band with a balloon 1 mm larger than "
        "the dowel (5.0 mm), then measure; a fresh suture stretches least "
        "predictably.",
        "1000 to below 1250 accept, but only if thrill is present, the hand is "
        "not worse, the finger pressure is at least 60 mmHg, and the mean "
        "pressure is within 10 % of that at the baseline (93 mmHg: 84 to 102).",
        "1250 to below 1600 tie anew over a 3.5 mm dowel (measured outer "
        "diameter), then measure.",
        "1600 to below 2000 accept, but only under the conditions above; above "
        "the target, and no smaller dowel that keeps to the floor is on the "
        "ladder.",
        "2000 or more measure again before anything else.",
    };

    (void)state;
    write_kit_set(&kit, write_kit_before);
    write_page();
    for (size_t i = 0; i < COUNT(want); i++)
        assert_says(want[i]);
    assert_says("After tying over 4.0 mm: by the mean of 2 readings");
    assert_silent("->");
}

/* Within ten per cent of a pressure that nobody took is not said. */
static void a_pressure_that_is_not_known_is_asked_for(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.kit.from.in.map_mmhg = NAN;
    write_page();
    assert_says("within 10 % of that at the baseline (not recorded: measure it "
                "first)");
    assert_says("Pressure mean at the baseline not known;");
}

static void every_page_defers_to_people(void **state)
{
    (void)state;
    for (int refused = 0; refused < 2; refused++) {
        write_kit_set(&kit, write_kit_before);
        if (refused)
            kit.d.plan = NULL;
        if (refused)
            kit.kit.from.offer = PLAN_FLOW_OLD;
        write_page();
        assert_says("Decision support: the operator measures and decides, "
                    "under local policy.");
        assert_says("Decision support, not an order: the licensed operator and "
                    "local policy decide.");
        assert_says("No arm is called safe");
        assert_says("NOT APPROVED"); /* the limits as shipped */
        assert_says("default proposed without a direct source");
        assert_says("VAE = Vaes et al.");
        assert_says("Method ultrasound dilution; measure by no other");
        assert_says("fistula, left");
    }
}

/* What a plan cannot do without is not among what only widens it. */
static void an_incomplete_plan_says_what_it_lacks(void **state)
{
    const char *lacks, *widens;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    for (int i = 0; i < CONDITION_COUNT; i++)
        kit.kit.from.readiness.conditions[i] = CONDITION_MET;
    kit.kit.from.readiness.complete = true;
    kit.plan.missing = PLAN_NO_CVP | PLAN_NO_TABLE;
    write_page();
    assert_says("State INCOMPLETE");
    lacks = strstr(flat(), "Missing before a plan is complete - a pair of "
                           "flows, with the pressure, on the table");
    assert_non_null(lacks);
    widens = strstr(lacks, "widens the figures - the central venous pressure");
    assert_non_null(widens);
    kit.plan.missing = PLAN_NO_CVP;
    write_page();
    assert_says("State complete, but for the operator's part");
    assert_says("Missing before a plan is complete Nothing but the operator's "
                "part.");
}

/* What is known of the target is not asked for again. */
static void of_the_target_only_what_is_missing_is_named(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.kit.from.readiness.conditions[CONDITION_TARGET] = CONDITION_MISSING;
    kit.kit.from.in.prescribed_pump_ml_min = NAN;
    write_page();
    assert_says("- what the target needs: the prescribed pump flow ");
    assert_silent("the type of the access and");
    kit.kit.from.in.prescribed_pump_ml_min = 350;
    kit.kit.from.access_type = SIGN_NONE;
    write_page();
    assert_says("- what the target needs: the type of the access ");
    kit.kit.from.in.prescribed_pump_ml_min = NAN;
    write_page();
    assert_says("- what the target needs: the type of the access and the "
                "prescribed pump flow ");
}

/* A plan knows no flow to 1 mL/min.  Numbers that are no multiples of 10 are
 * invented here; a measured flow, a limit and a border of the card stay. */
static void estimates_are_told_to_ten(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.plan.target.low_ml_min = 973;
    kit.plan.target.high_ml_min = 1216;
    kit.plan.target.floor_ml_min = 523;
    write_page();
    assert_says("Leave 970 to 1220 mL/min.");
    assert_says("leave no less than 523 mL/min");
    assert_says("875 to below 1000 ");
}

static void every_missing_warning_caution_and_ground_is_said(void **state)
{
    static const enum plan_phrase_set sets[] = {
        PLAN_PHRASES_MISSING, PLAN_PHRASES_WARNING, PLAN_PHRASES_CONDITION,
        PLAN_PHRASES_CAUTION, PLAN_PHRASES_ALWAYS
    };

    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.plan.missing = (1U << PLAN_MISSING_COUNT) - 1;
    kit.plan.warnings = (1U << PLAN_WARNING_COUNT) - 1;
    kit.kit.from.cautions = 2 * CAUTION_THRILL - 1;
    for (int i = 0; i < CONDITION_COUNT; i++)
        kit.kit.from.readiness.conditions[i] = CONDITION_MISSING;
    write_page();
    for (size_t s = 0; s < COUNT(sets); s++) {
        for (size_t i = 0; i < plan_phrases(sets[s])->count; i++)
            assert_says(plan_phrases(sets[s])->rows[i].text);
    }
}

static void every_refusal_says_why_and_proposes_nothing(void **state)
{
    (void)state;
    for (int o = PLAN_OFFERED + 1; o < PLAN_OFFER_COUNT; o++) {
        write_kit_set(&kit, write_kit_before);
        kit.kit.from.offer = (enum plan_offer)o;
        kit.kit.from.readiness.exclusions =
            o == PLAN_EXCLUDED ? EXCLUDE_NERVES : 0;
        kit.d.plan = NULL;
        kit.d.fault = o == PLAN_UNFIT ? &kit.fault : NULL;
        write_page();
        assert_says("No plan is offered");
        if (o == PLAN_EXCLUDED)
            assert_says("Because ischaemic monomelic neuropathy is suspected");
        else if (o == PLAN_UNFIT)
            assert_says("A value cannot be used (map_mmhg): mean pressure is "
                        "not within 40 to 180 mmHg.");
        else
            assert_says(plan_offer_phrase((enum plan_offer)o)->text);
        assert_silent("dowel (measured"); /* no size */
        assert_silent("First tie");
        assert_silent("Target");
    }
}

/* Weak thrill stands before whatever the flow says. */
static void a_weak_thrill_stands_above_the_flow(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_case);
    write_kit_stages(&kit.plan);
    write_page();
    assert_says(
        "What now Weak or no thrill, loosen now: cut the band and tie over a "
        "4.5 mm dowel (measured outer diameter), then measure.");
    assert_silent("By what was measured:");
    kit.kit.from.in.stages[1].weak_thrill = false;
    write_page();
    assert_says("By what was measured: tie anew over a 3.25 mm dowel (measured "
                "outer diameter), then measure.");
}

/* Where the data contradict each other, or no band can help, none is advised. */
static void no_advice_is_given_against_a_warning(void **state)
{
    static const unsigned warnings[] = { PLAN_CONFLICT, PLAN_ZONE_EMPTY,
                                         PLAN_DISTAL };

    (void)state;
    for (size_t i = 0; i < COUNT(warnings); i++) {
        write_kit_set(&kit, write_kit_case);
        write_kit_stages(&kit.plan);
        kit.kit.from.in.stages[1].weak_thrill = false;
        kit.plan.warnings = warnings[i];
        write_page();
        assert_says("What now No advice: see the warnings.");
    }
}

/* The outflow comes first where it is known to be narrow. */
static void an_outflow_stands_before_the_first_tie(void **state)
{
    const char *opening, *tie;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    write_kit_outflow(&kit.plan.outflow);
    write_page();
    opening = strstr(flat(), "If the outflow stenosis is opened (provisional) "
                             "First open it, then measure a pair of flows");
    assert_non_null(opening);
    tie = strstr(opening, "First tie, for the access as it is");
    assert_non_null(tie);
    assert_says("THE HAND IS AT RISK: plan the band before the stenosis is "
                "opened.");
    assert_says("chance of an index below 0.40: 72 %, of a fall by more than "
                "0.10: 90 %.");
    kit.plan.outflow.by_pressure = kit.plan.outflow.flagged = false;
    kit.plan.outflow.holding_dowel_mm = kit.plan.outflow.zone_dowel_mm = NAN;
    write_page();
    assert_says("The static pressure inside the access is not known");
    assert_silent("AT RISK");
    assert_silent("To hold the flow");
}

/* Every value with the time it was measured, by the clock of the site: UTC+1
 * in January. */
static void each_value_has_its_time(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    write_page();
    assert_says("flow before the band 2450.4 mL/min (2025-01-11 01:00), 2550 "
                "mL/min (2025-01-11 01:14)");
    assert_says("index of the hand 0.456 (2025-01-10 01:00)");
    assert_says("static pressure 36.44 mmHg (2025-01-10 01:28)");
    assert_says("outflow stenosis 70 % (2025-01-02 01:00)");
}

static void names_may_be_left_out(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.d.patient = kit.d.access = NULL;
    write_page();
    assert_silent("Patient ");
    assert_says("Access not named");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_textbook_figure_stands_beside_the_prediction),
        cmocka_unit_test(the_card_says_it_in_full),
        cmocka_unit_test(a_pressure_that_is_not_known_is_asked_for),
        cmocka_unit_test(every_page_defers_to_people),
        cmocka_unit_test(an_incomplete_plan_says_what_it_lacks),
        cmocka_unit_test(of_the_target_only_what_is_missing_is_named),
        cmocka_unit_test(estimates_are_told_to_ten),
        cmocka_unit_test(every_missing_warning_caution_and_ground_is_said),
        cmocka_unit_test(every_refusal_says_why_and_proposes_nothing),
        cmocka_unit_test(a_weak_thrill_stands_above_the_flow),
        cmocka_unit_test(no_advice_is_given_against_a_warning),
        cmocka_unit_test(an_outflow_stands_before_the_first_tie),
        cmocka_unit_test(each_value_has_its_time),
        cmocka_unit_test(names_may_be_left_out),
    };
    int failed;

    write_kit_start(&kit);
    buf_init(&page, PLAN_DOCUMENT_MAX);
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    buf_clear(&page);
    zone_free(kit.zone);
    return failed;
}
