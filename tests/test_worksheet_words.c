/* What the worksheet says, as an independent reader (poppler) finds it. */
#include "tests/test.h"

#include "tests/worksheet_page.h"

/* On the fullest page too. */
static void warnings_and_rows_are_never_cut(void **state)
{
    const struct plan_phrases *p = plan_phrases(PLAN_PHRASES_WARNING);

    (void)state;
    for (int paper = CANVAS_A4; paper <= CANVAS_LETTER; paper++) {
        sheet_kit_full(&kit);
        kit.sheet.paper = (enum canvas_paper)paper;
        draw_text();
        for (size_t i = 0; i < p->count; i++) {
            if ((kit.w.plan.warnings & p->rows[i].key) != 0)
                assert_says(p->rows[i].text);
        }
        assert_says("475 to below 550 Tie anew over 3.25 mm, measure");
        assert_says("2125 or more");
        assert_says("mean pressure 84 to 102 mmHg");
        assert_says("Leave 1000 to 1250 mL/min");
        assert_says("\u2026 more: headgate plan \"A-0901\"");
        assert_says("NOT APPROVED for use on patients");
    }
}

/* The limit of a row, its value and its source, when there is room. */
static void limits_are_told_with_their_sources(void **state)
{
    (void)state;
    sheet_kit_complete(&kit);
    draw_text();
    assert_says("floor of the flow, fistula");
    assert_says("KAR18 CASR ZAN06");
    assert_says("Zanow et al. Flow reduction in high-flow accesses");
    assert_says("PLAN, COMPLETE");
    assert_says("Operator: the operator's check of anticoagulation");
    assert_silent("MISSING");
    assert_silent("more: headgate");
}

static size_t count_of(const char *wanted)
{
    size_t count = 0;

    for (const char *at = text.data; (at = strstr(at, wanted)) != NULL; at++)
        count++;
    return count;
}

static void what_is_missing_has_a_box(void **state)
{
    (void)state;
    sheet_kit_before(&kit);
    draw_text();
    /* two images, the indication, the pair on the table */
    assert_int_equal(count_of("MISSING:"), 4);
    assert_says("MISSING: a pair of flows, with the pressure, on the table");
    assert_says("Not known, which widens the figures");
    assert_says("the central venous pressure");
    assert_says("PLAN, INCOMPLETE");
}

/* A pair of two sessions does not stand for the second reading of one. */
static void two_sessions_are_not_two_readings(void **state)
{
    (void)state;
    sheet_kit_before(&kit);
    kit.w.plan.missing = PLAN_NO_REPEAT;
    draw_text();
    assert_says("flows of two sessions, by one method, that agree");
    assert_says("MISSING: a second reading of the baseline in the same "
                "session");
    assert_silent("two flows by one method");
}

/* What is known of the target is not asked for again. */
static void of_the_target_only_what_is_missing_is_named(void **state)
{
    (void)state;
    sheet_kit_before(&kit);
    kit.w.kit.from.readiness.conditions[CONDITION_TARGET] = CONDITION_MISSING;
    kit.w.kit.from.in.prescribed_pump_ml_min = NAN;
    draw_text();
    assert_says("MISSING: what the target needs: the prescribed pump flow");
    assert_silent("the type of the access");
}

/* What was measured and is planned with, though no chart shows it. */
static void the_other_values_stand_in_the_head(void **state)
{
    (void)state;
    sheet_kit_before(&kit);
    draw_text();
    assert_says("pump flow 350 mL/min; access at the band 9.25 mm; index of "
                "the hand 0.46; index, pressed shut 0.85; static pressure 36 "
                "mmHg; haematocrit 0.33; outflow stenosis 70 %");
}

static void a_refusal_says_why(void **state)
{
    (void)state;
    sheet_kit_refused(&kit);
    draw_text();
    assert_says("NO PLAN");
    assert_says("Because the patient is under 18 years.");
    assert_says("(IS-7): less flow would not help it.");
    assert_says("A graft: bands of grafts are poorly validated.");
    assert_silent("LOOSEN NOW");
    kit.w.kit.from.offer = PLAN_UNFIT;
    kit.w.d.fault = &kit.w.fault;
    draw_text();
    assert_says("A value cannot be used (map_mmhg): mean pressure is not");
}

static void what_is_not_known_is_said(void **state)
{
    (void)state;
    sheet_kit_empty(&kit);
    draw_text();
    assert_says("name not known");
    assert_says("number not known; born not known");
    assert_says("not looked at");
    assert_says("no usable flow");
    assert_says("since when not known");
}

static void a_case_says_what_now(void **state)
{
    (void)state;
    sheet_kit_case(&kit);
    draw_text();
    assert_says("Weak or no thrill, loosen now: Cut, tie over 4.5 mm, measure");
    assert_says("1. tied, 4.0 mm 1730 (31 % less; 1700, 1760) 1390 "
                "(990\u20131760) 91 / 0.84");
    assert_says("2. balloon 5.0 mm not measured 1950 (1800\u20132100)");
    assert_says("WEAK OR NO THRILL");
    kit.w.kit.from.in.stages[1].weak_thrill = false;
    draw_text();
    assert_says("Now: Tie anew over 3.25 mm, measure");
    kit.w.plan.warnings = PLAN_CONFLICT;
    draw_text();
    assert_says("No advice: see the warnings.");
}

/* ---- names ---------------------------------------------------------------------------- */

static void a_name_cannot_turn_the_line(void **state)
{
    (void)state;
    sheet_kit_right_to_left(&kit);
    sheet_kit_draw(&kit, CANVAS_PDF, &page);
    poppler_run("pdftotext -layout -enc UTF-8", &page, "-", &text);
    assert_says("\u05e4\u05dc\u05d5\u05e0\u05d9");
    /* U+202E would write what follows from right to left */
    sheet_kit_before(&kit);
    kit.sheet.patient_name = "Fictional\u202e, Wren\nSecond";
    kit.sheet.unit = "Hall \xff D";
    draw_text();
    assert_says("Fictional, Wren Second number 0901; born 1957-03-02");
    assert_says("Hall \ufffd D");
}

static void a_long_name_ends_in_dots(void **state)
{
    (void)state;
    sheet_kit_long_names(&kit);
    draw_text();
    assert_says("Featherstonehaugh");
    assert_says("number 0901; born 1957-03-02");
}

static void the_year_of_an_access_may_be_all_that_is_known(void **state)
{
    const struct event made = { .day = 10, .sign = SIGN_CREATED, .value = NAN };
    struct reading readings[2];

    (void)state;
    sheet_kit_before(&kit);
    readings[0] = kit_reading(&made, 1);
    readings[0].precision = AT_MONTH;
    kit.w.kit.h.readings = readings;
    kit.w.kit.h.count = 1;
    kit.w.kit.from.ground_count = 0;
    draw_text();
    assert_says("planned as fed at the elbow; made on 2024-10");
    assert_silent("made on 2024-10-");
}

static void a_page_that_is_too_long_is_refused(void **state)
{
    struct buf small;

    (void)state;
    buf_init(&small, 1000);
    sheet_kit_before(&kit);
    assert_int_equal(worksheet_draw(&kit.sheet, CANVAS_PDF, &small), ERR_LIMIT);
    buf_clear(&small);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(warnings_and_rows_are_never_cut),
        cmocka_unit_test(limits_are_told_with_their_sources),
        cmocka_unit_test(what_is_missing_has_a_box),
        cmocka_unit_test(two_sessions_are_not_two_readings),
        cmocka_unit_test(of_the_target_only_what_is_missing_is_named),
        cmocka_unit_test(the_other_values_stand_in_the_head),
        cmocka_unit_test(a_refusal_says_why),
        cmocka_unit_test(what_is_not_known_is_said),
        cmocka_unit_test(a_case_says_what_now),
        cmocka_unit_test(a_name_cannot_turn_the_line),
        cmocka_unit_test(a_long_name_ends_in_dots),
        cmocka_unit_test(the_year_of_an_access_may_be_all_that_is_known),
        cmocka_unit_test(a_page_that_is_too_long_is_refused),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
