/* A band plan for people in German: all of it, and how it lies on the page. */
#include "tests/test.h"

#include "adapters/catalogue.h"
#include "adapters/queue_text.h"
#include "tests/golden.h"
#include "tests/plan_text_kit.h"

static void golden(const char *name)
{
    write_page();
    assert_golden(name, page.data, page.len);
}

/* Umlauts are two bytes and one column. */
static void assert_fits(void)
{
    for (const char *at = page.data; *at != '\0';) {
        size_t len = strcspn(at, "\n");

        if (queue_text_columns(at, len) > PLAN_TEXT_COLUMNS)
            fail_msg("too wide: %.*s", (int)len, at);
        at += len + 1;
    }
}

static void a_plan_before_the_case(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    write_kit_outflow(&kit.plan.outflow);
    kit.plan.missing = PLAN_NO_CVP | PLAN_NO_TABLE;
    kit.plan.warnings = PLAN_PROVISIONAL | PLAN_OUTFLOW_FIRST;
    golden("plan-before-german.txt");
    assert_fits();
    assert_says("2450,4 mL/min (2025-01-11 01:00)"); /* the mark of German */
    assert_says("Index jetzt, vor dem Aufdehnen: 0,50 (0,42 bis 0,58).");
}

static void a_running_case(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_case);
    write_kit_stages(&kit.plan);
    golden("plan-case-german.txt");
    assert_fits();
}

static size_t column_of(const char *line, const char *word)
{
    const char *at = strstr(line, word);

    assert_non_null(at);
    return queue_text_columns(line, (size_t)(at - line));
}

/* The line that begins so. */
static const char *line_of(const char *begins)
{
    const char *at = strstr(page.data, begins);

    assert_non_null(at);
    return at + 1;
}

/* Of a row of the tables: each figure ends below the end of its head. */
static void figures_stand_below_their_heads(void **state)
{
    const char *head, *row;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    write_page();
    head = line_of("\n  Dorn  ");
    row = line_of("\n* 4,0 mm ");
    assert_int_equal(column_of(head, "5 %") + 3, column_of(row, "1000") + 4);
    assert_int_equal(column_of(head, "95 %") + 4, column_of(row, "1720") + 4);
    head = line_of("\n  Band  ");
    row = line_of("\n  kein Band ");
    assert_int_equal(column_of(head, "5 %") + 3, column_of(row, "35") + 2);
}

/* Every text of plan_words.c is in the catalogue: what is not comes back as
 * the very text that was asked for. */
static void no_phrase_stays_english(void **state)
{
    (void)state;
    for (int set = 0; set < PLAN_PHRASES_COUNT; set++) {
        const struct plan_phrases *p = plan_phrases((enum plan_phrase_set)set);

        for (size_t i = 0; i < p->count; i++) {
            if (p->rows[i].text[0] != '\0')
                assert_ptr_not_equal(gettext(p->rows[i].text), p->rows[i].text);
        }
    }
}

static void the_widest_page_fits(void **state)
{
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
    write_page();
    assert_fits();
    kit.d.plan = NULL;
    kit.kit.from.offer = PLAN_EXCLUDED;
    kit.kit.from.readiness.exclusions = 2 * EXCLUDE_CATHETER - 1;
    write_page();
    assert_fits();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plan_before_the_case),
        cmocka_unit_test(a_running_case),
        cmocka_unit_test(figures_stand_below_their_heads),
        cmocka_unit_test(no_phrase_stays_english),
        cmocka_unit_test(the_widest_page_fits),
    };
    int failed;

    if (catalogue_open("de", NULL) != ERR_OK)
        return 1;
    write_kit_start(&kit);
    buf_init(&page, PLAN_DOCUMENT_MAX);
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    buf_clear(&page);
    zone_free(kit.zone);
    return failed;
}
