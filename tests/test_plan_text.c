/* A band plan for people: what the page says, and how it lies on it. */
#include "tests/test.h"

#include "adapters/queue_text.h"
#include "tests/golden.h"
#include "tests/plan_text_kit.h"

/* ---- whole pages -------------------------------------------------------------- */

static void golden(const char *name)
{
    write_page();
    assert_golden(name, page.data, page.len);
}

static void a_plan_before_the_case(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    write_kit_outflow(&kit.plan.outflow);
    kit.plan.missing = PLAN_NO_CVP | PLAN_NO_TABLE;
    kit.plan.warnings = PLAN_PROVISIONAL | PLAN_OUTFLOW_FIRST;
    golden("plan-before.txt");
}

static void a_running_case(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_case);
    write_kit_stages(&kit.plan);
    golden("plan-case.txt");
}

static void a_refusal(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.kit.from.offer = PLAN_EXCLUDED;
    kit.kit.from.readiness.exclusions = EXCLUDE_LOW_FLOW_HAND | EXCLUDE_CHILD;
    kit.kit.from.cautions = CAUTION_GRAFT;
    kit.d.plan = NULL;
    golden("plan-refused.txt");
}

static void a_hand_that_leads(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.plan.target.lead = PLAN_BY_HAND;
    kit.plan.target.low_ml_min = 500;
    kit.plan.missing = PLAN_NO_INDEX;
    kit.plan.first_dowel_mm = NAN;
    kit.plan.readings_advised = 0;
    kit.plan.row_count = 0;
    kit.plan.warnings = PLAN_NO_DOWEL | PLAN_HAND_SHORT;
    golden("plan-hand.txt");
}

/* ---- the page ------------------------------------------------------------------ */

static void assert_fits(void)
{
    for (const char *at = page.data; *at != '\0';) {
        size_t len = strcspn(at, "\n");

        if (queue_text_columns(at, len) > PLAN_TEXT_COLUMNS)
            fail_msg("too wide: %.*s", (int)len, at);
        at += len + 1;
    }
}

/* Nothing is wider than the paper, whatever the numbers and names. */
static void every_line_fits(void **state)
{
    static char name[400];

    (void)state;
    write_kit_set(&kit, write_kit_case);
    write_kit_stages(&kit.plan);
    write_kit_outflow(&kit.plan.outflow);
    kit.plan.missing = (1U << PLAN_MISSING_COUNT) - 1;
    kit.plan.warnings = (1U << PLAN_WARNING_COUNT) - 1;
    kit.kit.from.cautions = 2 * CAUTION_THRILL - 1;
    for (size_t i = 0; i < kit.plan.rung_count; i++) {
        kit.plan.rungs[i] =
            write_kit_rung(8.75 - (double)i, 6600, 0.999, 0.999);
        kit.plan.rungs[i].reduction_pct = write_kit_range(-100, 100, 100);
        kit.plan.rungs[i].fourth_power_ml_min = 8000;
    }
    memset(name, 'x', sizeof(name) - 1);
    kit.d.access = kit.d.patient = name;
    write_page();
    assert_fits();
}

/* A table is not broken: each size has one line in each. */
static void each_size_has_its_line_in_both_tables(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    write_page();
    assert_non_null(strstr(page.data, "\n  4.5 mm "));
    assert_non_null(strstr(page.data, "\n* 4.0 mm "));
    assert_non_null(strstr(page.data, "\n- 3.25 mm "));
    assert_non_null(strstr(page.data, "\n  3.25 mm "));
    assert_non_null(strstr(page.data, "\n  no band "));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plan_before_the_case),
        cmocka_unit_test(a_running_case),
        cmocka_unit_test(a_refusal),
        cmocka_unit_test(a_hand_that_leads),
        cmocka_unit_test(every_line_fits),
        cmocka_unit_test(each_size_has_its_line_in_both_tables),
    };
    int failed;

    write_kit_start(&kit);
    buf_init(&page, PLAN_DOCUMENT_MAX);
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    buf_clear(&page);
    zone_free(kit.zone);
    return failed;
}
