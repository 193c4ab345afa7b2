/* What was learnt of a technique, as people and programs read it.  Numbers are
 * invented: the documents do not move with the engine. */
#include "adapters/catalogue.h"
#include "adapters/queue_text.h"
#include "adapters/technique_write.h"
#include "tests/golden.h"

#include <jansson.h>

/* Invented as well: the shipped default may change. */
static const struct prior base = {
    .name = "default",
    .offset_mm = { 0.52, 0.30, -0.4, 1.5 },
    .contraction = { 0.66, 0.08, 0.50, 1.0 },
    .knot_sd_mm = 0.10,
    .stretch_mm = { 0.60, 0.25, 0.0, 1.5 },
};
static struct technique technique;
static struct prior site;
static struct zone *zone;

static const struct technique_row rows[] = {
    { "Left upper-arm fistula A-0101",
      1793620800, /* 2 November 2026 */
      { TECHNIQUE_USED, 2510, 1212, 3.5, 2, 0, 0.714, 0.143, 0.0614, 412 } },
    { "Right forearm fistula A-0102",
      1791201600,
      { TECHNIQUE_USED, 1620, 905, 3.25, 1, 1, 0.582, 0.171, 0.0507, 388 } },
    { "Left upper-arm graft A-0103\nwith a line feed",
      1788609600,
      { TECHNIQUE_GRAFT, NAN, NAN, NAN, 0, 0, NAN, NAN, NAN, NAN } },
    { "",
      1786017600,
      { TECHNIQUE_OLD_BASELINE, NAN, NAN, NAN, 0, 0, NAN, NAN, NAN, NAN } },
};

static int start(void **state)
{
    (void)state;
    if (zone_load("UTC", &zone) != ERR_OK)
        return 1;
    site = base;
    memcpy(site.name, "site", 5);
    site.offset_mm.mean = 0.681;
    site.offset_mm.sd = 0.204;
    technique = (struct technique){ .prior = site,
                                    .proposed = true,
                                    .offset_mm = { 0.681, 0.058 },
                                    .offset_sd_mm = { 0.204, 0.047 },
                                    .knot_sd_mm = { 0.094, 0.0131 },
                                    .stretch_mm = { 0.62, 0.094 },
                                    .stretch_sd_mm = { 0.241, 0.081 },
                                    .held = TECHNIQUE_HELD_OFFSET_SD,
                                    .case_count = 14,
                                    .tie_count = 23,
                                    .stretch_count = 1,
                                    .default_part = 0.2213,
                                    .settled = true };
    return 0;
}

static int stop(void **state)
{
    (void)state;
    zone_free(zone);
    return 0;
}

static struct technique_document document(void)
{
    return (struct technique_document){ .technique = &technique,
                                        .base = &base,
                                        .rows = rows,
                                        .row_count = COUNT(rows),
                                        .in_use = &base,
                                        .who = "",
                                        .model = "",
                                        .zone = zone };
}

static struct technique_document switched(void)
{
    struct technique_document d = document();

    d.on = true;
    d.in_use = &site;
    d.switched_ms = 1793966400123; /* 6 November 2026 */
    d.who = "Dr Fictional,\nlead for access";
    d.model = PLAN_MODEL_VERSION;
    d.cases = 12;
    return d;
}

static void assert_text(const struct technique_document *d, const char *name)
{
    struct buf out;

    buf_init(&out, 65536);
    technique_text(d, &out);
    assert_int_equal(buf_ok(&out), ERR_OK);
    assert_golden(name, out.data, out.len);
    for (const char *at = out.data; *at != '\0';) {
        size_t len = strcspn(at, "\n");

        assert_in_range(queue_text_columns(at, len), 0, 80);
        at += len + (at[len] == '\n');
    }
    buf_clear(&out);
}

static void for_people(void **state)
{
    struct technique_document d = document(), on = switched();

    (void)state;
    assert_text(&d, "technique-proposed.txt");
    assert_text(&on, "technique-switched.txt");
    technique.proposed = false;
    technique.case_count = 2;
    assert_text(&d, "technique-few.txt");
    technique.proposed = true;
    technique.case_count = 14;
}

static void for_programs(void **state)
{
    struct technique_document d = switched();
    json_t *root, *numbers, *evidence;
    struct buf out;

    (void)state;
    buf_init(&out, 65536);
    technique_json(&d, &out);
    assert_int_equal(buf_ok(&out), ERR_OK);
    assert_golden("technique.json", out.data, out.len);
    root = json_loads(out.data, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(root);
    numbers = json_object_get(root, "numbers");
    evidence = json_object_get(root, "evidence");
    assert_int_equal(json_array_size(numbers), TECHNIQUE_NUMBERS);
    assert_int_equal(json_array_size(evidence), COUNT(rows));
    assert_near(json_number_value(
                    json_object_get(json_array_get(numbers, 0), "default")),
                0.52, 1e-12);
    assert_near(json_number_value(
                    json_object_get(json_array_get(numbers, 0), "in_use")),
                0.681, 1e-12);
    assert_true(json_is_null(
        json_object_get(json_array_get(evidence, 2), "offset_mm")));
    json_decref(root);
    buf_clear(&out);
}

/* The last of all: the language is of the process. */
static void in_german(void **state)
{
    struct technique_document on = switched();

    (void)state;
    assert_int_equal(catalogue_open("de", NULL), ERR_OK);
    assert_text(&on, "technique-german.txt");
}

/* Every reason has a word and a sentence, each its own. */
static void every_reason_is_said(void **state)
{
    (void)state;
    for (int a = 0; a < TECHNIQUE_USE_COUNT; a++) {
        const char *word = technique_use_word((enum technique_use)a);

        assert_true(strlen(word) > 1);
        assert_true(strlen(technique_use_phrase((enum technique_use)a)) > 3);
        for (int b = 0; b < a; b++)
            assert_string_not_equal(word,
                                    technique_use_word((enum technique_use)b));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(for_people),
        cmocka_unit_test(for_programs),
        cmocka_unit_test(every_reason_is_said),
        cmocka_unit_test(in_german),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
