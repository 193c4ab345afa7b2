/*
 * What is learnt of a site's technique.  Finished cases come from virtual
 * patients (tests/bandsim/truth.h), who are drawn by a generator of their own
 * and solved one by one, not by the particles of the planner.
 */
#include "planner/technique_work.h"
#include "tests/bandsim/technique_kit.h"
#include "tests/test.h"

static struct technique_work *work;
static struct technique technique;
static struct plan_input cases[TECHNIQUE_CASES_MAX + 1];

static int start(void **state)
{
    (void)state;
    work = malloc(technique_work_size());
    if (work == NULL)
        return 1;
    technique_work_init(work);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    free(work);
    return 0;
}

static void draw_cases(const struct prior *site, uint64_t seed, size_t count)
{
    for (size_t i = 0; i < count; i++)
        kit_case(site, seed, i, true, &cases[i]);
}

static void learn(size_t count)
{
    technique_learn(cases, count, &prior_default, work, &technique);
}

/* ---- what is recovered --------------------------------------------------------- */

static void assert_within(const char *what, struct technique_number got,
                          double truth, double errors)
{
    assert_true(got.se > 0.0 && got.se < 0.2);
    print_message("      %s %.3f +- %.3f, made with %.3f\n", what, got.value,
                  got.se, truth);
    assert_near(got.value, truth, errors * got.se);
}

/* Two standard errors of each number: the default's part, at most a ninth of
 * the mean here, is less than one of them. */
static void what_cases_were_made_with_is_found(void **state)
{
    static const struct {
        const char *name;
        double offset_mm, sd_mm;
        uint64_t seed;
    } sites[] = {
        { "tighter than the default, seed 11", 0.75, 0.15, 11 },
        { "looser, seed 12", 0.30, 0.15, 12 },
        { "as the default, seed 13", 0.57, 0.28, 13 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(sites); i++) {
        struct prior site = kit_site(sites[i].offset_mm, sites[i].sd_mm);

        ROW(sites[i].name);
        draw_cases(&site, sites[i].seed, 80);
        learn(80);
        assert_true(technique.settled && technique.proposed);
        assert_true(technique.case_count >= 76);
        assert_within("offset", technique.offset_mm, sites[i].offset_mm, 2.0);
        assert_within("its spread", technique.offset_sd_mm, sites[i].sd_mm,
                      2.0);
        assert_within("knots", technique.knot_sd_mm, site.knot_sd_mm, 2.0);
        assert_within("stretch", technique.stretch_mm, site.stretch_mm.mean,
                      2.0);
        assert_within("its spread", technique.stretch_sd_mm, site.stretch_mm.sd,
                      2.0);
    }
}

/* Twice the scatter of knots, and another gain: both are seen to move towards
 * what they are, and no further. */
static void knots_and_stretches_are_learnt_too(void **state)
{
    struct prior site = kit_site(0.52, 0.30);

    (void)state;
    site.knot_sd_mm = 0.20;
    site.stretch_mm.mean = 0.90;
    draw_cases(&site, 21, 100);
    learn(100);
    assert_true(technique.stretch_count >= 10);
    assert_true(technique.prior.knot_sd_mm > prior_default.knot_sd_mm + 0.005 &&
                technique.prior.knot_sd_mm < 0.20 + 2.0 * 0.016);
    assert_true(technique.prior.stretch_mm.mean >
                    prior_default.stretch_mm.mean + 0.05 &&
                technique.prior.stretch_mm.mean <
                    0.90 + 2.0 * technique.stretch_mm.se);
}

/* ---- what the default counts for ------------------------------------------------ */

static void no_case_leaves_the_default_as_it_is(void **state)
{
    (void)state;
    learn(0);
    assert_string_equal(technique.prior.name, "site");
    assert_memory_equal(&technique.prior.offset_mm, &prior_default.offset_mm,
                        sizeof(struct prior_normal));
    assert_memory_equal(&technique.prior.contraction,
                        &prior_default.contraction,
                        sizeof(struct prior_normal));
    assert_memory_equal(&technique.prior.knot_sd_mm, &prior_default.knot_sd_mm,
                        sizeof(double));
    assert_memory_equal(&technique.prior.stretch_mm, &prior_default.stretch_mm,
                        sizeof(struct prior_normal));
    assert_near(technique.default_part, 1.0, 0.0);
    assert_false(technique.proposed);
    assert_int_equal(technique.case_count, 0);
}

/*
 * Cases whose offset is known without error: the default then counts as
 * exactly TECHNIQUE_PSEUDO_CASES more of them, Gelman et al., Bayesian Data
 * Analysis, 3.3 (M).
 */
static void exact_cases_average_with_the_default(void **state)
{
    static const double seen[] = { 0.60, 0.80, 0.70, 0.90, 0.75, 0.65 };
    double n = COUNT(seen), k = TECHNIQUE_PSEUDO_CASES, sum = 0.0, both = 0.0;
    double mean, var, base = prior_default.offset_mm.mean;
    double spread = prior_default.offset_mm.sd;

    (void)state;
    technique_begin(work, &prior_default);
    for (size_t c = 0; c < COUNT(seen); c++) {
        struct plan_input in = kit_simple(2500, 4.0, 1400);

        assert_int_equal(technique_add(work, &in), TECHNIQUE_USED);
        for (size_t i = 0; i < GUESSES; i++)
            work->guess[c][i] = (struct guess){ .offset = (float)seen[c] };
        sum += seen[c];
        both += seen[c] * seen[c];
    }
    while (!technique_round(work, 10)) {
    }
    technique_result(work, &technique);
    mean = (k * base + sum) / (k + n);
    var = (k * (spread * spread + base * base) + both) / (k + n) - mean * mean;
    assert_near(technique.prior.offset_mm.mean, mean, 1e-6);
    assert_near(technique.prior.offset_mm.sd, sqrt(var), 1e-6);
    assert_near(technique.default_part, k / (k + n), 1e-6);
}

/* The same case again and again: each time the mean goes on the same way, and
 * the default counts for less. */
static void shrinkage_goes_one_way(void **state)
{
    double mean = prior_default.offset_mm.mean, part = 1.0;

    (void)state;
    technique_begin(work, &prior_default);
    for (int n = 0; n < 24; n++) {
        struct plan_input in = kit_simple(2500, 4.0, 1000);

        assert_int_equal(technique_add(work, &in), TECHNIQUE_USED);
        (void)technique_round(work, TECHNIQUE_ROUNDS_MAX);
        technique_result(work, &technique);
        assert_true(technique.prior.offset_mm.mean > mean);
        assert_true(technique.default_part < part);
        mean = technique.prior.offset_mm.mean;
        part = technique.default_part;
    }
    assert_true(mean > 0.6);
}

static void parts_make_a_whole(void **state)
{
    struct prior site = kit_site(0.75, 0.15);
    double sum;

    (void)state;
    draw_cases(&site, 31, 20);
    learn(20);
    sum = technique.default_part;
    for (size_t i = 0; i < technique.given; i++) {
        const struct technique_evidence *e = &technique.evidence[i];

        if (e->use != TECHNIQUE_USED)
            continue;
        assert_true(e->part >= 0.0 && e->part < 0.2);
        assert_true(e->effective > 10.0);
        assert_true(e->offset_sd_mm < technique.prior.offset_mm.sd * 1.05);
        assert_true(e->flow_ml_min < e->baseline_ml_min);
        sum += e->part;
    }
    assert_near(sum, 1.0, 1e-9);
}

/* ---- order ------------------------------------------------------------------------ */

static void the_order_of_cases_does_not_matter(void **state)
{
    struct prior site = kit_site(0.75, 0.15), forwards;
    double first;

    (void)state;
    draw_cases(&site, 41, 15);
    learn(15);
    forwards = technique.prior;
    first = technique.evidence[0].offset_mm;
    for (size_t i = 0; i < 7; i++) {
        struct plan_input in = cases[i];

        cases[i] = cases[14 - i];
        cases[14 - i] = in;
    }
    learn(15);
    assert_near(technique.prior.offset_mm.mean, forwards.offset_mm.mean, 1e-9);
    assert_near(technique.prior.offset_mm.sd, forwards.offset_mm.sd, 1e-9);
    assert_near(technique.prior.knot_sd_mm, forwards.knot_sd_mm, 1e-9);
    assert_near(technique.prior.stretch_mm.mean, forwards.stretch_mm.mean,
                1e-9);
    assert_near(technique.evidence[14].offset_mm, first, 1e-9);
}

/* ---- what is left out -------------------------------------------------------------- */

/* Pressed shut, an access takes no blood from the hand: its finger pressure
 * does not fall. */
static struct plan_input conflicting_case(void)
{
    struct plan_input in = kit_simple(2500, 4.0, 1400);

    in.index_open = 0.8;
    in.index_compressed = 0.5;
    in.static_mmhg = 90.0;
    in.stages[0].index = 0.1;
    return in;
}

static void what_cannot_be_learnt_from_is_left_out(void **state)
{
    struct prior site = kit_site(0.75, 0.15), without;
    struct plan_input unfit, graft, bare;

    (void)state;
    draw_cases(&site, 51, 12);
    learn(12);
    without = technique.prior;
    unfit = graft = bare = kit_simple(2500, 4.0, 900);
    unfit.stages[0].flow_ml_min[1] = 9000;
    graft.graft = true;
    bare.stages[0].flow_count = 0;
    cases[12] = conflicting_case();
    cases[13] = unfit;
    cases[14] = graft;
    cases[15] = bare;
    learn(16);
    assert_int_equal(technique.given, 16);
    assert_int_equal(technique.evidence[12].use, TECHNIQUE_CONFLICT);
    assert_int_equal(technique.evidence[13].use, TECHNIQUE_UNFIT);
    assert_int_equal(technique.evidence[14].use, TECHNIQUE_GRAFT);
    assert_int_equal(technique.evidence[15].use, TECHNIQUE_UNMEASURED);
    for (size_t i = 12; i < 16; i++)
        assert_true(isnan(technique.evidence[i].offset_mm) &&
                    isnan(technique.evidence[i].part));
    assert_int_equal(technique.case_count, 12);
    assert_memory_equal(&technique.prior.offset_mm, &without.offset_mm,
                        sizeof(without.offset_mm));
    assert_memory_equal(&technique.prior.knot_sd_mm, &without.knot_sd_mm,
                        sizeof(double));
}

static void more_cases_than_there_is_room_for_are_refused(void **state)
{
    struct plan_input bare = kit_simple(2500, 4.0, 900);

    (void)state;
    bare.stages[0].flow_count = 0; /* quick */
    technique_begin(work, &prior_default);
    for (int i = 0; i < TECHNIQUE_CASES_MAX; i++)
        assert_int_equal(technique_add(work, &bare), TECHNIQUE_UNMEASURED);
    assert_int_equal(technique_add(work, &bare), TECHNIQUE_ROOM);
}

/* ---- guard rails -------------------------------------------------------------------- */

static void nine_cases_propose_nothing_and_ten_do(void **state)
{
    (void)state;
    for (size_t i = 0; i < 10; i++)
        cases[i] = kit_simple(2400 + 20.0 * (double)i, 4.0, 1300);
    learn(9);
    assert_false(technique.proposed);
    learn(10);
    assert_true(technique.proposed);
}

/* All exactly alike, or all beyond anything believed: the spread keeps its
 * least, the mean its cut-offs. */
static void no_number_leaves_its_rails(void **state)
{
    static const struct {
        const char *name;
        double offset_mm;
        unsigned held;
    } rows[] = {
        { "all alike", 0.52, TECHNIQUE_HELD_OFFSET_SD },
        { "all very tight", 9.0, TECHNIQUE_HELD_OFFSET },
        { "all very loose", -9.0, TECHNIQUE_HELD_OFFSET },
    };

    (void)state;
    for (size_t r = 0; r < COUNT(rows); r++) {
        const struct prior *p = &technique.prior;

        ROW(rows[r].name);
        technique_begin(work, &prior_default);
        for (size_t c = 0; c < 60; c++) {
            struct plan_input in = kit_simple(2500, 4.0, 1400);

            assert_int_equal(technique_add(work, &in), TECHNIQUE_USED);
            for (size_t i = 0; i < GUESSES; i++)
                work->guess[c][i] =
                    (struct guess){ .offset = (float)rows[r].offset_mm };
        }
        (void)technique_round(work, TECHNIQUE_ROUNDS_MAX);
        technique_result(work, &technique);
        assert_true((technique.held & rows[r].held) != 0);
        assert_true(p->offset_mm.sd >= OFFSET_SD_LEAST_MM - 1e-12 &&
                    p->offset_mm.sd <= OFFSET_SD_MOST_MM + 1e-12);
        assert_true(p->knot_sd_mm >= KNOT_SD_LEAST_MM - 1e-12);
        assert_true(p->offset_mm.mean >= prior_default.offset_mm.least &&
                    p->offset_mm.mean <= prior_default.offset_mm.most);
        assert_int_equal(prior_check(p), ERR_OK);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_cases_were_made_with_is_found),
        cmocka_unit_test(knots_and_stretches_are_learnt_too),
        cmocka_unit_test(no_case_leaves_the_default_as_it_is),
        cmocka_unit_test(exact_cases_average_with_the_default),
        cmocka_unit_test(shrinkage_goes_one_way),
        cmocka_unit_test(parts_make_a_whole),
        cmocka_unit_test(the_order_of_cases_does_not_matter),
        cmocka_unit_test(what_cannot_be_learnt_from_is_left_out),
        cmocka_unit_test(more_cases_than_there_is_room_for_are_refused),
        cmocka_unit_test(nine_cases_propose_nothing_and_ten_do),
        cmocka_unit_test(no_number_leaves_its_rails),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
