/*
 * The charts as poppler reads them back from a PDF (pdftotext -bbox): what is
 * said in them, that no word leaves the box, and that none covers another.
 */
#include "tests/test.h"

#include "adapters/worksheet_work.h"
#include "tests/chart_kit.h"
#include "tests/plan_write_kit.h"

enum { WORDS_MAX = 2000, TEXT_SIZE = 65536 };

#define PT_OF_MM (72 / 25.4)

struct word {
    double x0, y0, x1, y1; /* mm */
    char text[64];
};

static struct chart_kit kit;
static struct write_kit w;
static struct word words[WORDS_MAX];
static size_t word_count;
static char text[TEXT_SIZE]; /* all words with blanks between */

static const struct box history_box = { 15, 20, 180, 58 };
static const struct box ladder_box = { 15, 20, 120, 55 };

/* ---- a page, and what is read from it ------------------------------------- */

static void read_word(char *line)
{
    struct word *word = &words[word_count];
    char *start, *end;

    if (sscanf(line, " <word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf",
               &word->x0, &word->y0, &word->x1, &word->y1) != 4)
        return;
    word->x0 /= PT_OF_MM;
    word->y0 /= PT_OF_MM;
    word->x1 /= PT_OF_MM;
    word->y1 /= PT_OF_MM;
    start = strchr(line, '>');
    assert_non_null(start);
    end = strstr(start, "</word>");
    assert_non_null(end);
    *end = '\0';
    snprintf(word->text, sizeof(word->text), "%s", start + 1);
    assert_in_range(++word_count, 1, WORDS_MAX - 1);
}

static void read_page(const char *path)
{
    char command[600], line[1024];
    size_t len = 0;
    FILE *pipe;

    snprintf(command, sizeof(command), "pdftotext -bbox %s -", path);
    pipe = popen(command, "r");
    assert_non_null(pipe);
    word_count = 0;
    while (fgets(line, sizeof(line), pipe) != NULL)
        read_word(line);
    if (pclose(pipe) != 0)
        fail_msg("pdftotext of poppler-utils could not read the page");
    text[0] = '\0';
    for (size_t i = 0; i < word_count; i++)
        len += (size_t)snprintf(text + len, TEXT_SIZE - len, "%s%s",
                                i > 0 ? " " : "", words[i].text);
}

static void draw(const struct plan_document *d, bool ladder, struct box box)
{
    struct canvas_page page = { .form = CANVAS_PDF,
                                .title = "charts",
                                .author = "headgate",
                                .made_s = chart_now_s };
    struct worksheet sheet = { .plan = d };
    char path[] = "/tmp/headgate-charts-XXXXXX";
    struct canvas *canvas;
    struct buf out;
    FILE *file;
    int fd;

    assert_int_equal(canvas_open(&page, &canvas), ERR_OK);
    if (ladder)
        sheet_ladder(canvas, &sheet, box);
    else
        sheet_history(canvas, &sheet, box);
    buf_init(&out, 4 * WORKSHEET_MAX);
    assert_int_equal(canvas_close(canvas, &out), ERR_OK);
    fd = mkstemp(path);
    assert_true(fd >= 0);
    file = fdopen(fd, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(out.data, 1, out.len, file), out.len);
    assert_int_equal(fclose(file), 0);
    buf_clear(&out);
    read_page(path);
    remove(path);
}

static void says(const char *want)
{
    if (strstr(text, want) == NULL)
        fail_msg("\"%s\" is not in: %s", want, text);
}

static void is_silent(const char *word)
{
    if (strstr(text, word) != NULL)
        fail_msg("\"%s\" is in: %s", word, text);
}

/* The boxes of words are as high as their lines, which is more than the ink:
 * a tenth of a millimetre of touch is none. */
static bool overlap(const struct word *a, const struct word *b)
{
    const double touch_mm = 0.3;

    return a->x0 + touch_mm < b->x1 && b->x0 + touch_mm < a->x1 &&
           a->y0 + touch_mm < b->y1 && b->y0 + touch_mm < a->y1;
}

static void is_tidy(struct box box)
{
    assert_true(word_count > 0);
    for (size_t i = 0; i < word_count; i++) {
        const struct word *a = &words[i];

        if (a->x0 < box.x_mm - 0.1 || a->y0 < box.y_mm - 0.6 ||
            a->x1 > box.x_mm + box.width_mm + 0.1 ||
            a->y1 > box.y_mm + box.height_mm + 0.6)
            fail_msg("\"%s\" leaves the box", a->text);
        for (size_t k = i + 1; k < word_count; k++) {
            if (overlap(a, &words[k]))
                fail_msg("\"%s\" and \"%s\" overlap in: %s", a->text,
                         words[k].text, text);
        }
    }
}

static void draw_history(int type, bool plan)
{
    struct plan_document d = w.d;

    chart_done(&kit, (enum sign)type);
    d.history = &kit.h;
    d.policy = &kit.policy;
    if (!plan)
        d.plan = NULL;
    draw(&d, false, history_box);
    is_tidy(history_box);
}

/* ---- flows ---------------------------------------------------------------- */

static void nothing_recorded_is_said(void **state)
{
    (void)state;
    chart_start(&kit);
    draw_history(SIGN_TYPE_AVF, false);
    says("No access flow is recorded.");
    says("Not recorded: mean arterial pressure, static pressure ratio, finger "
         "pressure or index, single-pool Kt/V.");
    says("HF-1 2000");
    is_silent("Kt/V, single");
}

static void one_flow_is_a_chart(void **state)
{
    (void)state;
    chart_start(&kit);
    chart_flow(&kit, 4, 1850, METHOD_THERMODILUTION);
    draw_history(SIGN_TYPE_AVF, true);
    says("thermodilution");
    is_silent("dilution ultrasound");
    says("target 1000 to 1250");
    says("floor 500");
    says("2026-11-23"); /* a Monday */
    is_silent("small:");
    is_silent("(higher)");
}

static void a_bound_is_told(void **state)
{
    (void)state;
    chart_start(&kit);
    chart_flow(&kit, 40, 1600, METHOD_DUPLEX);
    chart_flow(&kit, 4, 4000, METHOD_DUPLEX)->bound = BOUND_ABOVE;
    draw_history(SIGN_TYPE_AVG, false);
    says("more (or, downwards, less) than this");
    says("LF-1 600");
    is_silent("LF-2");
    is_silent("target");
}

static void a_year_with_a_band(void **state)
{
    (void)state;
    chart_start(&kit);
    chart_flows(&kit, 20, 700, 1500, 2500);
    chart_others(&kit, 30, 700, Q_MEAN_PRESSURE, 75, 100);
    chart_others(&kit, 30, 700, Q_STATIC_PRESSURE_RATIO, 0.25, 0.5);
    chart_others(&kit, 30, 700, Q_DIGITAL_BRACHIAL_INDEX, 0.5, 0.8);
    chart_others(&kit, 30, 700, Q_SPKTV, 1.1, 1.6);
    chart_sign(&kit, 720, SIGN_CREATED);
    chart_sign(&kit, 400, SIGN_ANGIOPLASTY_OUTFLOW);
    chart_sign(&kit, 200.01, SIGN_BANDED);
    chart_add(&kit, 200, Q_DOWEL_DIAMETER, 4.5);
    chart_flow(&kit, 198, 1100, METHOD_ULTRASOUND_DILUTION);
    chart_add(&kit, 60, Q_BAND_STRETCHED, 5);
    draw_history(SIGN_TYPE_AVF, true);
    says("2024-12-06 created");
    says("2025-10-22 outflow treated");
    says("2026-05-10 band 4.5 mm");
    says("2026-09-27 stretched 5.0 mm");
    says("LF-4 0.35");
    says("IS-5 0.6");
    says("AD-1 1.2");
    says("small: not used by the rules");
    is_silent("Not recorded");
}

static void two_hundred_with_many_treatments(void **state)
{
    (void)state;
    chart_start(&kit);
    chart_flows(&kit, 200, 1500, 900, 1200);
    chart_others(&kit, 200, 1500, Q_SPKTV, 1.1, 1.6);
    for (int i = 0; i < 14; i++)
        chart_sign(&kit, 1480 - i * 100 - 40 * chart_random(&kit),
                   i % 3 == 0 ? SIGN_ANGIOPLASTY_INFLOW
                              : SIGN_ANGIOPLASTY_OUTFLOW);
    draw_history(SIGN_TYPE_AVG, false);
    says("2 treatments");
    says("2024-01");
    says("HF-1 2000 (higher)");
}

/* Every treatment is in one label: the numbers and single ones add up. */
static void no_treatment_is_lost(void **state)
{
    size_t told = 0;

    (void)state;
    chart_start(&kit);
    chart_flows(&kit, 12, 365, 1900, 2300);
    for (int i = 0; i < 40; i++)
        chart_sign(&kit, 360 - i * 9, SIGN_ANGIOPLASTY_OUTFLOW);
    draw_history(SIGN_TYPE_AVF, true);
    for (size_t i = 1; i < word_count; i++) {
        if (strcmp(words[i].text, "treatments") == 0)
            told += strtoul(words[i - 1].text, NULL, 10);
        if (strcmp(words[i].text, "treated") == 0)
            told++;
    }
    assert_int_equal(told, 40);
}

static void nine_years_and_thousands(void **state)
{
    (void)state;
    chart_start(&kit);
    chart_flows(&kit, 2000, 3280, 1800, 900);
    chart_others(&kit, 1400, 3280, Q_MEAN_PRESSURE, 75, 100);
    chart_others(&kit, 1400, 3280, Q_STATIC_PRESSURE_RATIO, 0.25, 0.5);
    chart_others(&kit, 1400, 3280, Q_DIGITAL_PRESSURE, 55, 90);
    chart_others(&kit, 1400, 3280, Q_SPKTV, 1.1, 1.6);
    chart_sign(&kit, 3500, SIGN_CREATED);
    chart_add(&kit, 1500, Q_DOWEL_DIAMETER, 4);
    chart_add(&kit, 1499.9, Q_DOWEL_DIAMETER, 3.5);
    chart_add(&kit, 800, Q_BAND_RELEASED, 1);
    chart_flow(&kit, 700, 4000, METHOD_THERMODILUTION)->bound = BOUND_ABOVE;
    chart_flow(&kit, 1200, 300, METHOD_IONIC_DIALYSANCE)->bound = BOUND_BELOW;
    chart_flow(&kit, 1210, 2900, METHOD_CONSTANT_INFUSION);
    draw_history(SIGN_TYPE_AVF, true);
    says("band 3.5 mm (2 ties)");
    says("band cut");
    says("2018");
    says("2026");
    says("IS-5 60");
    says("values");
    says("constant infusion");
}

static void three_weeks_say_what_was_before(void **state)
{
    (void)state;
    chart_start(&kit);
    chart_flows(&kit, 9, 20, 650, 500);
    chart_sign(&kit, 4000, SIGN_CREATED)->precision = AT_MONTH;
    chart_sign(&kit, 2000, SIGN_ANGIOPLASTY_OUTFLOW);
    draw_history(SIGN_TYPE_AVG, false);
    says("Earlier than shown: 2015-12 created, 2021-06-05 outflow treated.");
    says("2026-11-16");
}

static void what_does_not_apply_is_said(void **state)
{
    (void)state;
    chart_start(&kit);
    chart_flows(&kit, 3, 200, 400, 400);
    draw_history(SIGN_TYPE_CVC, false);
    says("A catheter: no limits of flow apply.");
    is_silent("HF-1");
    draw_history(SIGN_TYPE_UNKNOWN, false);
    says("The type of the access is not known");
    is_silent("LF-");
}

/* ---- ladder --------------------------------------------------------------- */

static void draw_ladder(void)
{
    draw(&w.d, true, ladder_box);
    is_tidy(ladder_box);
}

/* Rows of the invented plan of plan_write_kit.h: chances in per cent; what is
 * read is HTML. */
static void each_size_has_its_chances(void **state)
{
    (void)state;
    write_kit_set(&w, write_kit_before);
    draw_ladder();
    says("4.5 mm");
    says("3.25 mm");
    says("baseline 2500");
    says("target 1000 to 1250");
    says("floor 500");
    says("19 &lt;1 0");
    says("19 4 &lt;1");
    says("19 40 2");
    says("Framed: the size that this plan names.");
    says("Striped: beyond the limits of chance of this site.");
    is_silent("Diamond");
}

static void steps_stand_in_their_rows(void **state)
{
    (void)state;
    write_kit_set(&w, write_kit_case);
    write_kit_stages(&w.plan);
    draw_ladder();
    says("Diamond: measured, with the number of the step.");
    says("Step 2: no flow was measured.");
    w.kit.from.in.stages[0].dowel_mm = 3.75;
    draw_ladder();
    says("Step 1, 3.75 mm, which is not on this ladder: 1730 mL/min.");
    write_kit_set(&w, write_kit_before);
}

static void a_plan_by_the_hand_has_no_zone(void **state)
{
    (void)state;
    write_kit_set(&w, write_kit_before);
    w.plan.target.lead = PLAN_BY_HAND;
    w.plan.target.low_ml_min = 500;
    w.plan.target.high_ml_min = 2500;
    draw_ladder();
    says("Steered by the hand, not by a range of flow: in target means a "
         "finger index of at least 0.6 with the flow above the floor.");
    says("floor 500");
    says("baseline 2500");
    is_silent("target 500");
    chart_start(&kit);
    chart_flows(&kit, 8, 300, 2400, 2500);
    draw_history(SIGN_TYPE_AVF, true);
    says("The plan steers by the hand");
    is_silent("target 500");
}

static void twelve_sizes_fit(void **state)
{
    (void)state;
    write_kit_set(&w, write_kit_before);
    w.plan.rung_count = PLAN_DOWELS_MAX;
    for (int i = 0; i < PLAN_DOWELS_MAX; i++)
        w.plan.rungs[i] = write_kit_rung(6 - 0.25 * i, 2300 - 140 * i,
                                         i < 6 ? 0.01 : 0.3, 0.02);
    draw_ladder();
    says("6.0 mm");
    says("3.25 mm");
    write_kit_set(&w, write_kit_before);
}

/* As on the page: what the lines are finds room, whatever the numbers. */
static void a_narrow_ladder_names_all_lines(void **state)
{
    static const struct box narrow = { 15, 20, 83, 50 };

    (void)state;
    for (double baseline = 700; baseline < 3500; baseline += 100) {
        write_kit_set(&w, write_kit_before);
        w.plan.baseline_ml_min = baseline;
        w.plan.target.low_ml_min = 0.5 * baseline;
        w.plan.target.high_ml_min = 0.6 * baseline;
        draw(&w.d, true, narrow);
        is_tidy(narrow);
        says("floor 500");
        says("baseline");
        says("target");
    }
    write_kit_set(&w, write_kit_before);
}

static void without_a_plan_it_says_so(void **state)
{
    struct plan_document d = w.d;

    (void)state;
    d.plan = NULL;
    draw(&d, true, ladder_box);
    says("There is no plan, and no sizes to compare.");
}

static int start(void **state)
{
    (void)state;
    write_kit_start(&w);
    write_kit_set(&w, write_kit_before);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    zone_free(w.zone);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_recorded_is_said),
        cmocka_unit_test(one_flow_is_a_chart),
        cmocka_unit_test(a_bound_is_told),
        cmocka_unit_test(a_year_with_a_band),
        cmocka_unit_test(two_hundred_with_many_treatments),
        cmocka_unit_test(no_treatment_is_lost),
        cmocka_unit_test(nine_years_and_thousands),
        cmocka_unit_test(three_weeks_say_what_was_before),
        cmocka_unit_test(what_does_not_apply_is_said),
        cmocka_unit_test(each_size_has_its_chances),
        cmocka_unit_test(steps_stand_in_their_rows),
        cmocka_unit_test(a_plan_by_the_hand_has_no_zone),
        cmocka_unit_test(twelve_sizes_fit),
        cmocka_unit_test(a_narrow_ladder_names_all_lines),
        cmocka_unit_test(without_a_plan_it_says_so),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
