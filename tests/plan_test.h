/*
 * plan_test - memory, questions and a digest for the tests of plans
 *
 * The planner has no heap: the memory of a plan is the test's, made once.
 */
#ifndef HEADGATE_TESTS_PLAN_TEST_H
#define HEADGATE_TESTS_PLAN_TEST_H

#include "planner/plan_work.h"
#include "tests/test.h"

/* One for the whole program: some 30 MB. */
static inline struct plan_work *plan_test_work(void)
{
    static struct plan_work *work;

    if (work == NULL) {
        work = malloc(plan_work_size());
        if (work == NULL)
            exit(1);
        /* Whoever reads what nobody wrote shall not find zeros. */
        memset(work, 0xA5, plan_work_size());
        plan_work_init(work);
    }
    return work;
}

/* An access at the elbow on the table, two readings by dilution, MAP 95. */
static inline struct plan_input plan_test_input(double flow_ml_min)
{
    struct plan_input in;

    plan_input_init(&in);
    in.method = METHOD_ULTRASOUND_DILUTION;
    in.on_table = true;
    in.map_mmhg = 95.0;
    in.flow_ml_min[0] = in.flow_ml_min[1] = flow_ml_min;
    in.flow_count = 2;
    return in;
}

/* As the published checks were made: the reference prior, a plain reduction by
 * 50 to 60 %, whatever the flow. */
static inline struct plan_input plan_test_reference(double flow_ml_min)
{
    struct plan_input in = plan_test_input(flow_ml_min);

    in.prior = &prior_reference;
    in.lead = PLAN_BY_REDUCTION;
    return in;
}

/* A stage with two readings; 0: none, one only. */
static inline struct plan_stage *plan_test_stage(struct plan_input *in,
                                                 enum plan_step step,
                                                 double dowel_mm, double first,
                                                 double second)
{
    struct plan_stage *s = &in->stages[in->stage_count++];

    *s = (struct plan_stage){ .step = step,
                              .dowel_mm = step == PLAN_TIED ? dowel_mm : NAN,
                              .flow_ml_min = { first, second },
                              .flow_count = (size_t)(first > 0.0) +
                                            (size_t)(second > 0.0),
                              .map_mmhg = NAN,
                              .index = NAN };
    return s;
}

static inline struct plan plan_test_make(const struct plan_input *in)
{
    struct plan_fault fault = { "", "" };
    struct plan plan;

    if (plan_check(in, &fault) != ERR_OK)
        fail_msg("%s: %s", fault.field, fault.why);
    assert_int_equal(plan_make(in, plan_test_work(), &plan), ERR_OK);
    return plan;
}

/* The rung of a size; fails if there is none. */
static inline const struct plan_rung *plan_test_rung(const struct plan *plan,
                                                     double dowel_mm)
{
    for (size_t i = 0; i < plan->rung_count; i++) {
        if (plan->rungs[i].dowel_mm == dowel_mm)
            return &plan->rungs[i];
    }
    fail_msg("no size %g mm", dowel_mm);
    return NULL;
}

/* The row of the card for a flow; NULL: none. */
static inline const struct plan_row *plan_test_row(const struct plan *plan,
                                                   double flow_ml_min)
{
    for (size_t i = 0; i < plan->row_count; i++) {
        if (flow_ml_min >= plan->rows[i].from_ml_min &&
            flow_ml_min < plan->rows[i].to_ml_min)
            return &plan->rows[i];
    }
    return NULL;
}

/* ---- digest ---------------------------------------------------------------- */

/* Bytes into a digest: FNV-1a of 64 bits (Fowler, Noll and Vo; from memory). */
static inline uint64_t plan_test_bytes(uint64_t digest, const void *at,
                                       size_t size)
{
    const unsigned char *bytes = at;

    for (size_t i = 0; i < size; i++)
        digest = (digest ^ bytes[i]) * UINT64_C(0x100000001B3);
    return digest;
}

/* Members from..to of a structure that lie without a gap: no padding, whose
 * bytes mean nothing. */
#define PLAN_TEST_SPAN(digest, base, from, to)                                 \
    ((digest) = plan_test_bytes((digest), &(base)->from,                       \
                                (size_t)((const char *)(&(base)->to + 1) -     \
                                         (const char *)&(base)->from)))

static inline uint64_t plan_test_outflow(uint64_t d,
                                         const struct plan_outflow *o)
{
    PLAN_TEST_SPAN(d, o, known, by_pressure);
    PLAN_TEST_SPAN(d, o, lesion_frac, p_index_falls);
    PLAN_TEST_SPAN(d, o, flagged, flagged);
    PLAN_TEST_SPAN(d, o, holding_dowel_mm, holding_p_index_falls);
    return d;
}

/* Every bit of a plan, padding left out. */
static inline uint64_t plan_test_digest(uint64_t d, const struct plan *p)
{
    PLAN_TEST_SPAN(d, &p->target, lead, lead);
    PLAN_TEST_SPAN(d, &p->target, low_ml_min, high_frac);
    PLAN_TEST_SPAN(d, &p->target, relative, relative);
    PLAN_TEST_SPAN(d, &p->target, floor_ml_min, pressure_least_mmhg);
    PLAN_TEST_SPAN(d, p, missing, warnings);
    PLAN_TEST_SPAN(d, p, baseline_ml_min, rung_count);
    for (size_t i = 0; i < p->rung_count; i++) {
        PLAN_TEST_SPAN(d, &p->rungs[i], dowel_mm, loss);
        PLAN_TEST_SPAN(d, &p->rungs[i], allowed, allowed);
        PLAN_TEST_SPAN(d, &p->rungs[i], fourth_power_ml_min,
                       fourth_power_ml_min);
    }
    PLAN_TEST_SPAN(d, p, first_dowel_mm, readings_advised_baseline);
    PLAN_TEST_SPAN(d, p, next, next);
    PLAN_TEST_SPAN(d, p, next_dowel_mm, row_count);
    for (size_t i = 0; i < p->row_count; i++) {
        PLAN_TEST_SPAN(d, &p->rows[i], from_ml_min, action);
        PLAN_TEST_SPAN(d, &p->rows[i], dowel_mm, ladder_ends);
    }
    PLAN_TEST_SPAN(d, p, lowest_ml_min, index_now);
    d = plan_test_outflow(d, &p->outflow);
    PLAN_TEST_SPAN(d, p, seen_count, seen_count);
    for (size_t i = 0; i < p->seen_count; i++)
        PLAN_TEST_SPAN(d, &p->seen[i], measured_ml_min, tail);
    PLAN_TEST_SPAN(d, p, sample_share, sample_count);
    return d;
}

#define PLAN_TEST_START UINT64_C(0xCBF29CE484222325)

#endif
