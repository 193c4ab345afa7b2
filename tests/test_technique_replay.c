/* A finished case is replayed as a plan would have been: the same guesses, with
 * the same weights. */
#include "planner/plan_work.h"
#include "planner/technique_work.h"
#include "tests/bandsim/technique_kit.h"
#include "tests/test.h"

static struct technique_work *work;
static struct plan_work *plan_memory;

static int start(void **state)
{
    (void)state;
    work = malloc(technique_work_size());
    plan_memory = malloc(plan_work_size());
    if (work == NULL || plan_memory == NULL)
        return 1;
    technique_work_init(work);
    plan_work_init(plan_memory);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    free(work);
    free(plan_memory);
    return 0;
}

/* Ties, a stretch, a release; pressures and an index of the stages. */
static struct plan_input long_case(void)
{
    struct plan_input in = kit_simple(2600, 4.0, 1790);
    struct plan_stage *s;

    in.stages[0].map_mmhg = 88.0;
    s = kit_step(&in, PLAN_TIED, 3.5);
    s->flow_ml_min[s->flow_count++] = 1120;
    s->index = 0.7;
    s = kit_step(&in, PLAN_STRETCHED, NAN);
    s->flow_ml_min[s->flow_count++] = 1500;
    s = kit_step(&in, PLAN_RELEASED, NAN);
    s->flow_ml_min[s->flow_count++] = 2500;
    s = kit_step(&in, PLAN_TIED, 3.5);
    s->flow_ml_min[s->flow_count++] = 1200;
    return in;
}

/* The replay of a plan is written down in plan.c, that of learning in
 * technique_replay.c: the same weights, bit for bit. */
static void guesses_weigh_what_a_plan_gives_them(void **state)
{
    struct plan_input in[] = { kit_simple(2500, 4.0, 1400), long_case() };

    (void)state;
    for (size_t i = 0; i < COUNT(in); i++) {
        struct plan plan;

        technique_begin(work, &prior_default);
        assert_int_equal(technique_add(work, &in[i]), TECHNIQUE_USED);
        in[i].prior = &work->wide;
        plan_advise(&in[i], plan_memory, &plan);
        assert_int_equal(work->p.n, plan_memory->p.n);
        assert_memory_equal(work->p.w, plan_memory->p.w,
                            work->p.n * sizeof(double));
        assert_memory_equal(work->p.offset, plan_memory->p.offset,
                            work->p.n * sizeof(double));
        assert_near(plan_memory->p.stand[0], work->p.stand[0], 0.0);
    }
}

/* What a guess says of its knot is what particles_tie() ties with. */
static void assert_knots(size_t tie)
{
    static double with[PARTICLES_MAX], without[PARTICLES_MAX];
    struct particles *p = &work->p;
    size_t compared = 0;

    particles_tie(p, &work->wide, 4.0, tie, with);
    particles_tie(p, &work->wide, 4.0, NO_KNOT, without);
    for (size_t i = 0; i < p->n; i++) {
        if (with[i] > 3.9 || with[i] < 2.5)
            continue; /* may have been cut at an end */
        assert_near(sqrt((double)work->guess[0][i].knots),
                    fabs(without[i] - with[i]), 1e-6);
        compared++;
    }
    assert_true(compared > 1000);
}

static void guesses_keep_the_knots_they_were_tied_with(void **state)
{
    (void)state;
    for (size_t tie = 0; tie < 6; tie++) {
        struct plan_input in = kit_simple(2500, 4.0, 1400);
        struct plan_stage last = in.stages[0];

        in.stage_count = 0;
        for (size_t i = 0; i < tie; i++)
            (void)kit_step(&in, PLAN_TIED, 4.0); /* without a flow */
        in.stages[in.stage_count++] = last;
        technique_begin(work, &prior_default);
        assert_int_equal(technique_add(work, &in), TECHNIQUE_USED);
        assert_int_equal(work->cases[0].evidence.ties, 1);
        assert_knots(tie);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(guesses_weigh_what_a_plan_gives_them),
        cmocka_unit_test(guesses_keep_the_knots_they_were_tied_with),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
