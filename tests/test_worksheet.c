/* The worksheet: whole pages, and what an independent reader (poppler) finds
 * on them. */
#include "tests/test.h"

#include "tests/golden.h"
#include "tests/worksheet_page.h"

#include <jansson.h>

/* ---- whole pages ----------------------------------------------------------------
 * Of DejaVu 2.37, cairo 1.16, pango 1.50 (Debian 12). */

static void a_running_case(void **state)
{
    (void)state;
    sheet_kit_case(&kit);
    sheet_kit_draw(&kit, CANVAS_SVG, &page);
    assert_golden("worksheet-case.svg", page.data, page.len);
}

static void a_refusal(void **state)
{
    (void)state;
    sheet_kit_refused(&kit);
    kit.sheet.paper = CANVAS_LETTER;
    sheet_kit_draw(&kit, CANVAS_SVG, &page);
    assert_golden("worksheet-refused.svg", page.data, page.len);
}

static void equal_plans_give_equal_bytes(void **state)
{
    struct buf first;

    (void)state;
    buf_init(&first, WORKSHEET_MAX);
    sheet_kit_many(&kit);
    for (int form = CANVAS_PDF; form <= CANVAS_SVG; form++) {
        sheet_kit_draw(&kit, (enum canvas_form)form, &first);
        sheet_kit_draw(&kit, (enum canvas_form)form, &page);
        assert_int_equal(page.len, first.len);
        assert_memory_equal(page.data, first.data, first.len);
    }
    buf_clear(&first);
}

/* ---- every situation, on both papers ------------------------------------------------ */

static struct poppler_word words[4000];

/* How much of the smaller of two words lies on the other, 0..1. */
static double shared(const struct poppler_word *a, const struct poppler_word *b)
{
    double width = fmin(a->right, b->right) - fmax(a->x, b->x);
    double height = fmin(a->bottom, b->bottom) - fmax(a->y, b->y);
    double least = fmin((a->right - a->x) * (a->bottom - a->y),
                        (b->right - b->x) * (b->bottom - b->y));

    return width > 0 && height > 0 && least > 0 ? width * height / least : 0;
}

/* The boxes of lines below each other touch, since a box holds what hangs
 * below the line of writing; a quarter of a word is more than that. */
static size_t words_on_another(size_t count)
{
    size_t found = 0;

    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < i; j++) {
            if (shared(&words[i], &words[j]) <= 0.25)
                continue;
            print_error("'%s' lies on '%s' at %.0f, %.0f\n", words[i].text,
                        words[j].text, words[i].x, words[i].y);
            found++;
        }
    }
    return found;
}

static void assert_within_page(size_t count)
{
    bool a4 = kit.sheet.paper == CANVAS_A4;
    double right = a4 ? 595.3 : 612, bottom = a4 ? 841.9 : 792, edge = 14;

    for (size_t i = 0; i < count; i++) {
        if (words[i].x < edge || words[i].y < edge ||
            words[i].right > right - edge || words[i].bottom > bottom - edge)
            fail_msg("'%s' is at the edge", words[i].text);
    }
}

static void nothing_lies_on_anything_else(void **state)
{
    size_t found = 0;

    (void)state;
    for (size_t i = 0; i < 2 * COUNT(sheet_situations); i++) {
        size_t count;

        ROW(sheet_situations[i / 2].name);
        sheet_situations[i / 2].set(&kit);
        kit.sheet.paper = i % 2 == 0 ? CANVAS_A4 : CANVAS_LETTER;
        sheet_kit_draw(&kit, CANVAS_PDF, &page);
        count = poppler_words(&page, &text, words, COUNT(words));
        assert_in_range(count, 100, COUNT(words) - 1);
        found += words_on_another(count);
        assert_within_page(count);
        poppler_run("pdfinfo", &page, "", &text);
        assert_says("Pages:           1\n");
    }
    assert_int_equal(found, 0);
}

static void no_document_names_the_patient(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(sheet_situations); i++) {
        sheet_situations[i].set(&kit);
        sheet_kit_draw(&kit, CANVAS_PDF, &page);
        poppler_run("TZ=UTC pdfinfo -isodates", &page, "", &text);
        assert_says("Title:           Access worksheet\n");
        assert_says("Author:          headgate ");
        assert_says("CreationDate:    2025-01-12T09:22:00Z");
        assert_silent("Wren");
        assert_silent("0901");
    }
    /* what is drawn is drawn as shapes: the bytes hold no name either */
    sheet_kit_draw(&kit, CANVAS_SVG, &page);
    assert_null(strstr(page.data, "Wren"));
}

/* ---- numbers -------------------------------------------------------------------------- */

/* A number of the plan as programs read it, in the text of the page.  Of a
 * half that is itself rounded (54.5 of 54.55) the page has the upper one. */
static void assert_number(const json_t *object, const char *key, int decimals)
{
    const json_t *value = json_object_get(object, key);
    char number[32];

    assert_non_null(value);
    if (json_is_null(value))
        return;
    snprintf(number, sizeof(number), "%.*f", decimals,
             json_number_value(value) + 1e-6);
    assert_says(number);
}

static void assert_range(const json_t *object, const char *key, int decimals)
{
    const json_t *range = json_object_get(object, key);

    if (json_is_null(range))
        return;
    assert_number(range, "p05", decimals);
    assert_number(range, "p50", decimals);
    assert_number(range, "p95", decimals);
}

/* A flow that is estimated or aimed at stands there to 10 mL/min, as
 * plan_say.h says. */
static void assert_estimate(const json_t *object, const char *key)
{
    const json_t *value = json_object_get(object, key);
    char number[32];

    assert_non_null(value);
    if (json_is_null(value))
        return;
    snprintf(number, sizeof(number), "%.0f",
             10 * floor((json_number_value(value) + 5) / 10));
    assert_says(number);
}

static void assert_estimates(const json_t *object, const char *key)
{
    const json_t *range = json_object_get(object, key);

    if (json_is_null(range))
        return;
    assert_estimate(range, "p05");
    assert_estimate(range, "p50");
    assert_estimate(range, "p95");
}

/* To 1 %, of what the JSON holds to 0.1: 31.5 may have been 31.48. */
static void assert_reductions(const json_t *range)
{
    static const char *const keys[] = { "p05", "p50", "p95" };

    for (size_t i = 0; i < COUNT(keys); i++) {
        double pct = json_number_value(json_object_get(range, keys[i]));
        char less[32], more[32];

        snprintf(less, sizeof(less), "%.0f", pct - 0.05);
        snprintf(more, sizeof(more), "%.0f", pct + 0.05);
        if (strstr(text.data, less) == NULL)
            assert_says(more);
    }
}

static void assert_target(const json_t *plan)
{
    const json_t *target = json_object_get(plan, "target");
    bool hand =
        strcmp(json_string_value(json_object_get(target, "lead")), "hand") == 0;

    assert_number(target, "floor_ml_min", 0);
    if (hand) {
        assert_number(target, "low_ml_min", 0);
        assert_number(target, "index_least", 2);
        return;
    }
    assert_estimate(target, "low_ml_min");
    assert_estimate(target, "high_ml_min");
    assert_number(target, "low_pct", 0);
    assert_number(target, "high_pct", 0);
}

static void assert_card(const json_t *plan)
{
    const json_t *row;
    size_t i;

    json_array_foreach(json_object_get(plan, "card"), i, row)
    {
        if (i > 0)
            assert_number(row, "from_ml_min", 0);
        assert_number(row, "to_ml_min", 0);
        assert_number(
            row, "dowel_mm",
            json_number_value(json_object_get(row, "dowel_mm")) == 3.25 ? 2
                                                                        : 1);
    }
}

static void assert_ladder(const json_t *plan, bool cut)
{
    const json_t *rung;
    size_t i;

    json_array_foreach(json_object_get(plan, "ladder"), i, rung)
    {
        double mm = json_number_value(json_object_get(rung, "dowel_mm"));
        bool quarter = fabs(10 * mm - round(10 * mm)) > 0.01;

        assert_number(rung, "dowel_mm", quarter ? 2 : 1);
        assert_estimates(rung, "flow_ml_min");
        assert_reductions(json_object_get(rung, "reduction_pct"));
        /* of the fullest page the notes below the table are cut, and it says
         * so; the footnote is the first of a plan that can be spared */
        if (!cut)
            assert_estimate(rung, "fourth_power_ml_min");
        assert_range(rung, "hand_pressure_mmhg", 0);
        assert_range(rung, "hand_pressure_lowest_mmhg", 0);
        assert_range(rung, "digital_brachial_index", 2);
    }
}

static json_t *plan_of_page(void)
{
    struct buf json;
    json_t *plan;

    buf_init(&json, PLAN_DOCUMENT_MAX);
    plan_json(&kit.w.d, &json);
    assert_int_equal(buf_ok(&json), ERR_OK);
    plan = json_loads(json.data, 0, NULL);
    assert_non_null(plan);
    buf_clear(&json);
    return plan;
}

static void each_number_of_the_plan_is_on_the_page(void **state)
{
    static const char *const names[] = { "before", "case", "complete",
                                         "one",    "full", "long-names",
                                         "hand" };

    (void)state;
    for (size_t i = 0; i < COUNT(sheet_situations); i++) {
        bool named = false;
        json_t *plan;
        char digest[16];

        for (size_t k = 0; k < COUNT(names); k++)
            named = named || strcmp(sheet_situations[i].name, names[k]) == 0;
        if (!named)
            continue;
        ROW(sheet_situations[i].name);
        sheet_situations[i].set(&kit);
        kit.sheet.paper = CANVAS_LETTER; /* the shorter one */
        draw_text();
        plan = plan_of_page();
        assert_target(plan);
        assert_card(plan);
        assert_ladder(plan, strcmp(sheet_situations[i].name, "full") == 0);
        snprintf(digest, sizeof(digest), "plan %.8s",
                 json_string_value(json_object_get(plan, "sha256")));
        assert_says(digest);
        json_decref(plan);
    }
}

static void the_outflow_is_told_with_and_without_a_band(void **state)
{
    (void)state;
    sheet_kit_before(&kit);
    draw_text();
    assert_says("no band 2430 (2110\u20132790) 0.35 (0.24\u20130.48) 72 90");
    assert_says("band 5.0 mm 1890 (1530\u20132250) 0.52 (0.39\u20130.63) 7 11");
    assert_says("To hold the flow near what it is: tie over 5.0 mm.");
    assert_says("tie first over 3.5 mm.");
    assert_says("THE HAND IS AT RISK");
    kit.w.plan.outflow.by_pressure = false;
    draw_text();
    assert_says("raise it up to 1.4 times");
    assert_silent("no band 2430");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_running_case),
        cmocka_unit_test(a_refusal),
        cmocka_unit_test(equal_plans_give_equal_bytes),
        cmocka_unit_test(nothing_lies_on_anything_else),
        cmocka_unit_test(no_document_names_the_patient),
        cmocka_unit_test(each_number_of_the_plan_is_on_the_page),
        cmocka_unit_test(the_outflow_is_told_with_and_without_a_band),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
