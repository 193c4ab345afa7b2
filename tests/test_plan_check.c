/*
 * test_plan_check - what no plan is made from, and that it says which
 *
 * The ranges are those of the quantities in planner/quantity.h or, where a
 * plan needs less, of planner/plan_check.c: proposed, without direct source.
 */
#include "planner/blood.h"
#include "tests/plan_test.h"

static void assert_refused(const struct plan_input *in, const char *field)
{
    struct plan_fault fault = { "", "" };
    struct plan plan;

    assert_int_equal(plan_check(in, &fault), ERR_RANGE);
    assert_string_equal(fault.field, field);
    /* It says why, in words. */
    assert_true(strlen(fault.why) > 10);
    assert_int_equal(plan_make(in, plan_test_work(), &plan), ERR_RANGE);
}

static void assert_taken(const struct plan_input *in)
{
    struct plan_fault fault = { "", "" };

    if (plan_check(in, &fault) != ERR_OK)
        fail_msg("%s: %s", fault.field, fault.why);
}

/* A number of the input, what is just taken and what is just not. */
struct number {
    const char *field;
    size_t offset;
    double least, below, most, above;
};

#define NUMBER(field, least, below, most, above)                               \
    {                                                                          \
#field, offsetof(struct plan_input, field), least, below, most, above  \
    }

static const struct number numbers[] = {
    NUMBER(map_mmhg, 60, 39.9, 180, 180.1),
    NUMBER(map_lowest_mmhg, 60, 29.9, 180, 180.1),
    NUMBER(cvp_mmhg, -5, -5.1, 30, 30.1),
    NUMBER(haematocrit_frac, BLOOD_HAEMATOCRIT_LEAST, 0.149,
           BLOOD_HAEMATOCRIT_MOST, 33),
    NUMBER(conduit_mm, 4, 2.9, 30, 30.1),
    NUMBER(artery_mm, 1, 0.9, 15, 15.1),
    NUMBER(index_open, 0, -0.01, 1.5, 40),
    NUMBER(index_compressed, 0, -0.01, 1.5, 78),
    NUMBER(static_mmhg, 0, -0.1, 180, 180.1),
    NUMBER(stenosis_frac, 0, -0.01, 0.99, 70),
    NUMBER(stenosis_after_frac, 0, -0.01, 0.99, 20),
    NUMBER(prescribed_pump_ml_min, 50, 49, 800, 801),
};

static void set(struct plan_input *in, size_t offset, double x)
{
    memcpy((char *)in + offset, &x, sizeof x);
}

static void test_numbers(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(numbers); i++) {
        const struct number *n = &numbers[i];
        struct plan_input in = plan_test_input(2500);

        ROW(n->field);
        set(&in, n->offset, n->least);
        assert_taken(&in);
        set(&in, n->offset, n->most);
        assert_taken(&in);
        set(&in, n->offset, NAN); /* not known */
        assert_taken(&in);
        set(&in, n->offset, n->below);
        assert_refused(&in, n->field);
        set(&in, n->offset, n->above);
        assert_refused(&in, n->field);
        set(&in, n->offset, INFINITY);
        assert_refused(&in, n->field);
    }
}

/* Opened must not be narrower than before. */
static void test_stenosis(void **state)
{
    struct plan_input in = plan_test_input(2500);

    (void)state;
    in.stenosis_frac = 0.5;
    in.stenosis_after_frac = 0.5;
    assert_taken(&in);
    in.stenosis_after_frac = 0.6;
    assert_refused(&in, "stenosis_after_frac");
}

static void test_flows(void **state)
{
    static const double bad[] = { 49.9, 8000.1, 0, -2500, NAN, INFINITY };
    struct plan_input in = plan_test_input(2500);

    (void)state;
    in.flow_count = 0;
    assert_refused(&in, "flow_count");
    in.flow_count = PLAN_READS_MAX + 1;
    assert_refused(&in, "flow_count");
    in = plan_test_input(50);
    assert_taken(&in);
    in = plan_test_input(8000);
    assert_taken(&in);
    for (size_t i = 0; i < COUNT(bad); i++) {
        in = plan_test_input(2500);
        in.flow_ml_min[1] = bad[i];
        assert_refused(&in, "flow_ml_min");
        in.flow_count = 1; /* the second is not looked at */
        assert_taken(&in);
    }
}

static void test_ladder(void **state)
{
    static const double bad[] = { 1.4, 8.1, 0, -4, NAN, INFINITY };
    struct plan_input in = plan_test_input(2500);

    (void)state;
    in.dowels_mm[0] = 1.5;
    in.dowels_mm[1] = 8.0;
    in.dowel_count = 2;
    assert_taken(&in);
    for (size_t i = 0; i < COUNT(bad); i++) {
        in.dowels_mm[1] = bad[i];
        assert_refused(&in, "dowels_mm");
    }
    in.dowels_mm[1] = in.dowels_mm[0];
    assert_refused(&in, "dowels_mm");
    /* Room for 2.5 mm, added with ischaemia, and not more. */
    for (size_t i = 0; i < PLAN_DOWELS_MAX; i++)
        in.dowels_mm[i] = 3.0 + 0.25 * (double)i;
    in.dowel_count = PLAN_DOWELS_MAX - 1;
    assert_taken(&in);
    in.dowel_count = PLAN_DOWELS_MAX;
    assert_refused(&in, "dowels_mm");
}

static void test_limits(void **state)
{
    static const struct {
        size_t offset;
        double bad;
    } rows[] = {
        { offsetof(struct plan_limits, floor_ml_min), 0.0 },
        { offsetof(struct plan_limits, floor_ml_min), NAN },
        { offsetof(struct plan_limits, share_low), 0.0 },
        { offsetof(struct plan_limits, share_low), 0.5 },
        { offsetof(struct plan_limits, share_high), 1.0 },
        { offsetof(struct plan_limits, share_high), NAN },
        { offsetof(struct plan_limits, cap_low_ml_min), 1500.0 },
        { offsetof(struct plan_limits, cap_ml_min), NAN },
        { offsetof(struct plan_limits, window_low_ml_min), 1000.0 },
        { offsetof(struct plan_limits, window_high_ml_min), NAN },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct plan_input in = plan_test_input(2500);

        memcpy((char *)&in.limits + rows[i].offset, &rows[i].bad,
               sizeof rows[i].bad);
        assert_refused(&in, "limits");
    }
}

static void test_reduction(void **state)
{
    static const double bad[][2] = { { 0.0, 0.6 }, { 0.6, 0.5 }, { 0.5, 0.5 },
                                     { 0.5, 1.0 }, { 50, 60 },   { NAN, 0.6 },
                                     { 0.5, NAN } };
    struct plan_input in = plan_test_input(2500);

    (void)state;
    for (size_t i = 0; i < COUNT(bad); i++) {
        in.reduction_low_frac = bad[i][0];
        in.reduction_high_frac = bad[i][1];
        in.lead = PLAN_BY_REDUCTION;
        assert_refused(&in, "reduction");
        in.lead = PLAN_BY_SHARE; /* then it is of no account */
        assert_taken(&in);
    }
}

static void test_prior(void **state)
{
    struct prior prior = prior_reference;
    struct plan_input in = plan_test_input(2500);

    (void)state;
    in.prior = &prior;
    assert_taken(&in);
    prior.offset_mm.mean = NAN;
    assert_refused(&in, "prior");
    prior = prior_reference;
    prior.contraction.sd = -0.04;
    assert_refused(&in, "prior");
    prior = prior_reference;
    prior.contraction.most = 1.1; /* rounder than round */
    assert_refused(&in, "prior");
    prior = prior_reference;
    prior.stretch_mm.least = prior.stretch_mm.most;
    assert_refused(&in, "prior");
    prior = prior_reference;
    prior.knot_sd_mm = -0.1;
    assert_refused(&in, "prior");
}

static void test_prior_names(void **state)
{
    const struct prior *prior = NULL;

    (void)state;
    assert_int_equal(prior_by_name("reference", &prior), ERR_OK);
    assert_ptr_equal(prior, &prior_reference);
    assert_int_equal(prior_by_name("default", &prior), ERR_OK);
    assert_ptr_equal(prior, &prior_default);
    assert_int_equal(prior_by_name("", &prior), ERR_UNKNOWN);
    assert_int_equal(prior_by_name("Reference", &prior), ERR_UNKNOWN);
    assert_int_equal(prior_check(&prior_reference), ERR_OK);
    assert_int_equal(prior_check(&prior_default), ERR_OK);
}

/* ---- stages ---------------------------------------------------------------- */

static void test_stage_numbers(void **state)
{
    struct plan_input in = plan_test_input(2500);
    struct plan_stage *s = plan_test_stage(&in, PLAN_TIED, 4.0, 1500, 1450);
    const struct plan_stage good = *s;

    (void)state;
    assert_taken(&in);
    s->dowel_mm = NAN; /* a size is needed of a tie */
    assert_refused(&in, "stages.dowel_mm");
    s->dowel_mm = 8.5;
    assert_refused(&in, "stages.dowel_mm");
    *s = good;
    s->flow_ml_min[0] = 20;
    assert_refused(&in, "stages.flow_ml_min");
    *s = good;
    s->flow_count = PLAN_READS_MAX + 1;
    assert_refused(&in, "stages.flow_ml_min");
    *s = good;
    s->map_mmhg = 39;
    assert_refused(&in, "stages.map_mmhg");
    *s = good;
    s->index = 62;
    assert_refused(&in, "stages.index");
    *s = good;
    s->flow_count = 0; /* nothing measured yet */
    assert_taken(&in);
}

/* Only what is tied can be stretched or cut. */
static void test_stage_order(void **state)
{
    struct plan_input in = plan_test_input(2500);

    (void)state;
    plan_test_stage(&in, PLAN_STRETCHED, NAN, 1500, 0);
    assert_refused(&in, "stages");
    in.stages[0].step = PLAN_RELEASED;
    assert_refused(&in, "stages");
    in = plan_test_input(2500);
    plan_test_stage(&in, PLAN_TIED, 3.5, 900, 0);
    plan_test_stage(&in, PLAN_RELEASED, NAN, 2400, 0);
    assert_taken(&in);
    plan_test_stage(&in, PLAN_STRETCHED, NAN, 2400, 0);
    assert_refused(&in, "stages");
    in.stages[2].step = PLAN_TIED;
    in.stages[2].dowel_mm = 4.0;
    assert_taken(&in);
}

static void test_too_many_stages(void **state)
{
    struct plan_input in = plan_test_input(2500);

    (void)state;
    for (int i = 0; i < PLAN_STAGES_MAX; i++)
        plan_test_stage(&in, PLAN_TIED, 4.0, 1500, 0);
    assert_taken(&in);
    in.stage_count++;
    assert_refused(&in, "stages");
    in = plan_test_input(2500);
    plan_test_stage(&in, PLAN_TIED, 3.5, 900, 0);
    for (int i = 0; i < PLAN_STRETCHES_MAX; i++)
        plan_test_stage(&in, PLAN_STRETCHED, NAN, 1000, 0);
    assert_taken(&in);
    plan_test_stage(&in, PLAN_STRETCHED, NAN, 1100, 0);
    assert_refused(&in, "stages");
}

/* ---- words ----------------------------------------------------------------- */

static void test_words(void **state)
{
    (void)state;
    assert_string_equal(plan_action_word(PLAN_ACCEPT), "accept");
    assert_string_equal(plan_action_word(PLAN_TIGHTEN), "tighten");
    assert_string_equal(plan_action_word(PLAN_LOOSEN), "loosen");
    assert_string_equal(plan_action_word(PLAN_STRETCH), "stretch");
    assert_string_equal(plan_action_word(PLAN_REMEASURE), "remeasure");
    assert_string_equal(plan_action_word(PLAN_ACTION_COUNT), "");
    assert_string_equal(plan_lead_word(PLAN_BY_SHARE), "share");
    assert_string_equal(plan_lead_word(PLAN_BY_WINDOW), "window");
    assert_string_equal(plan_lead_word(PLAN_BY_REDUCTION), "reduction");
    assert_string_equal(plan_lead_word(PLAN_BY_HAND), "hand");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_stenosis),
        cmocka_unit_test(test_flows),
        cmocka_unit_test(test_ladder),
        cmocka_unit_test(test_limits),
        cmocka_unit_test(test_reduction),
        cmocka_unit_test(test_prior),
        cmocka_unit_test(test_prior_names),
        cmocka_unit_test(test_stage_numbers),
        cmocka_unit_test(test_stage_order),
        cmocka_unit_test(test_too_many_stages),
        cmocka_unit_test(test_words),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
