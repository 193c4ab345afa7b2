/*
 * headgate-techniquesim - what a site gains by learning from its finished cases
 *
 *     headgate-techniquesim [PATIENTS [SETS [ROW]]]
 *
 * A site ties with an offset of its own.  Its finished cases, banded by the
 * fixed protocol, teach a prior (planner/technique.h); then the planner bands
 * other patients of that site with the default prior, with what 10, 30 or 100
 * cases taught, and with the site's true technique.  All contenders meet the
 * same patients, knots and reading errors; each patient is planned with one of
 * SETS independent sets of finished cases, so that the luck of a set is in the
 * result.  The planner may take up to four readings, as it is shipped.
 *
 * Printed with standard errors, binomial; "gain" is the difference to the
 * default prior on the same patients, with the standard error of that.
 */
#include "planner/plan_work.h"
#include "planner/technique.h"
#include "tests/bandsim/technique_kit.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SETS_MAX = 50, SEED_LEARN = 7000, SEED_TEST = 20261125 };

enum contender { DEFAULT, TEN, THIRTY, HUNDRED, KNOWN, CONTENDERS };
static const char *const names[] = { "default", "10 cases", "30 cases",
                                     "100 cases", "true technique" };
static const size_t cases_of[] = { 0, 10, 30, 100, 0 };

static const struct row {
    const char *name;
    double offset_mm, sd_mm, contraction, contraction_sd, baseline_ml_min;
} rows[] = {
    { "offset 0.75 ± 0.15, 2500", 0.75, 0.15, 0.66, 0.08, 2500 },
    { "offset 0.30 ± 0.10, 2500", 0.30, 0.10, 0.66, 0.08, 2500 },
    { "offset 0.75 ± 0.15, 3500", 0.75, 0.15, 0.66, 0.08, 3500 },
    { "offset 0.30 ± 0.10, 3500", 0.30, 0.10, 0.66, 0.08, 3500 },
    { "offset 0.75 ± 0.15, 1500", 0.75, 0.15, 0.66, 0.08, 1500 },
    { "offset 0.30 ± 0.10, 1500", 0.30, 0.10, 0.66, 0.08, 1500 },
    { "as the default: 0.52 ± 0.30, 2500", 0.52, 0.30, 0.66, 0.08, 2500 },
    { "round edge: 0.52 ± 0.20, Cc 0.90 ± 0.04, 2500", 0.52, 0.20, 0.90, 0.04,
      2500 },
};

/* What happened to one patient. */
struct end {
    bool in_zone, near, tight;
    double ties, reads, stated, held, width, first_width;
};

struct sim {
    int patients, sets;
    struct plan_work *work;
    struct technique_work *learn;
    struct technique technique;
    struct prior site; /* the truth */
    struct prior priors[CONTENDERS][SETS_MAX];
    struct end *ends[CONTENDERS];
};

/* ---- learning ----------------------------------------------------------------- */

static void learn_set(struct sim *s, int set)
{
    size_t given = 0;

    technique_begin(s->learn, &prior_default);
    for (int c = TEN; c <= HUNDRED; c++) {
        for (; given < cases_of[c]; given++) {
            struct plan_input in;

            kit_case(&s->site, SEED_LEARN + (uint64_t)set, given, true, &in);
            (void)technique_add(s->learn, &in);
        }
        while (!technique_round(s->learn, TECHNIQUE_ROUNDS_MAX)) {
        }
        technique_result(s->learn, &s->technique);
        s->priors[c][set] = s->technique.prior;
    }
    s->priors[DEFAULT][set] = prior_default;
    s->priors[KNOWN][set] = s->site;
}

static void print_learnt(const struct sim *s)
{
    for (int c = TEN; c <= HUNDRED; c++) {
        double mean = 0.0, mean2 = 0.0, sd = 0.0, knot = 0.0, n = s->sets;

        for (int i = 0; i < s->sets; i++) {
            const struct prior *p = &s->priors[c][i];

            mean += p->offset_mm.mean / n;
            mean2 += p->offset_mm.mean * p->offset_mm.mean / n;
            sd += p->offset_mm.sd / n;
            knot += p->knot_sd_mm / n;
        }
        printf("%s: offset %.3f (from set to set %.3f), its spread %.3f, "
               "knots %.3f mm\n",
               names[c], mean, sqrt(fmax(mean2 - mean * mean, 0.0)), sd, knot);
    }
}

/* ---- one patient ---------------------------------------------------------------- */

struct sitting {
    const struct truth *truth;
    struct plan_input in;
    struct plan plan;
    double lumen_mm;
    struct end *end;
};

static void measure(struct sitting *s, int reads)
{
    int stage = (int)s->in.stage_count - 1;
    struct plan_stage *last = &s->in.stages[stage];
    double flow = truth_flow(s->truth, s->lumen_mm);

    for (; (int)last->flow_count < reads; s->end->reads++) {
        int k = (int)last->flow_count;

        last->flow_ml_min[last->flow_count++] =
            kit_read(s->truth, flow, stage, k);
    }
}

static void read_baseline(struct sitting *s, int reads)
{
    for (int k = (int)s->in.flow_count; k < reads; k++)
        s->in.flow_ml_min[s->in.flow_count++] =
            kit_read(s->truth, s->truth->q0_ml_min, TRUTH_STAGES, k);
}

/* Did the interval stated for this size hold what it turned out to be? */
static void check_interval(struct sitting *s, double dowel_mm)
{
    double r = 100.0 * truth_reduction(s->truth, s->lumen_mm);

    for (size_t d = 0; d < s->plan.rung_count; d++) {
        const struct plan_range *g = &s->plan.rungs[d].reduction_pct;

        if (s->plan.rungs[d].dowel_mm != dowel_mm)
            continue;
        if (s->in.stage_count == 1)
            s->end->first_width = g->p95 - g->p05;
        s->end->stated++;
        s->end->held += r >= g->p05 && r <= g->p95;
        s->end->width += g->p95 - g->p05;
    }
}

static void tie(struct sitting *s)
{
    double dowel = s->plan.next_dowel_mm;

    s->lumen_mm = truth_lumen(s->truth, dowel, (int)s->in.stage_count);
    (void)kit_step(&s->in, PLAN_TIED, dowel);
    s->end->ties++;
    check_interval(s, dowel);
    measure(s, 2);
}

static void stretch(struct sitting *s)
{
    s->lumen_mm = fmin(s->lumen_mm + s->truth->stretch_mm[s->in.stage_count],
                       0.98 * s->truth->conduit_mm);
    (void)kit_step(&s->in, PLAN_STRETCHED, NAN);
    measure(s, 2);
}

/* False: it is accepted, or cannot go on. */
static bool follow(struct sitting *s)
{
    size_t n = s->in.stage_count;

    switch (s->plan.next) {
    case PLAN_REMEASURE:
        /* No advice: the operator leaves it at that. */
        if (n == 0 || s->in.stages[n - 1].flow_count >= PLAN_READINGS_MOST)
            return false;
        measure(s, (int)s->in.stages[n - 1].flow_count + 1);
        return true;
    case PLAN_TIGHTEN:
    case PLAN_LOOSEN:
        if (!isfinite(s->plan.next_dowel_mm))
            return false;
        tie(s);
        return true;
    case PLAN_STRETCH:
        stretch(s);
        return true;
    case PLAN_ACCEPT:
    case PLAN_ACTION_COUNT:
        break;
    }
    return false;
}

static void band(struct sim *sim, const struct truth *truth,
                 const struct prior *prior, double baseline, struct end *end)
{
    struct sitting s = { .truth = truth, .lumen_mm = INFINITY, .end = end };
    double r;

    *end = (struct end){ .ties = 0 };
    kit_baseline(truth, 2, &s.in);
    s.in.prior = prior;
    s.in.lead = PLAN_BY_REDUCTION;
    for (double d = 5.0; d >= (baseline < 2000 ? 2.5 : 3.0); d -= 0.5)
        s.in.dowels_mm[s.in.dowel_count++] = d;
    plan_advise(&s.in, sim->work, &s.plan);
    read_baseline(&s, s.plan.readings_advised_baseline);
    do
        plan_advise(&s.in, sim->work, &s.plan);
    while (s.in.stage_count < PLAN_STAGES_MAX && follow(&s));
    r = truth_reduction(truth, s.lumen_mm);
    end->in_zone = r >= 0.50 && r <= 0.60;
    end->near = r >= 0.45 && r <= 0.65;
    end->tight = r > 0.65;
    end->reads += (double)s.in.flow_count;
}

/* ---- rows ------------------------------------------------------------------------ */

static void print_one(const struct sim *s, const struct row *row, int c)
{
    double n = s->patients, zone = 0, near = 0, tight = 0, ties = 0, reads = 0;
    double ties2 = 0, gain = 0, gain2 = 0, held = 0, stated = 0, width = 0,
           first = 0;

    for (int i = 0; i < s->patients; i++) {
        const struct end *e = &s->ends[c][i];
        double g = (double)e->in_zone - (double)s->ends[DEFAULT][i].in_zone;

        zone += e->in_zone / n;
        near += e->near / n;
        tight += e->tight / n;
        ties += e->ties / n;
        ties2 += e->ties * e->ties / n;
        reads += e->reads / n;
        gain += g / n;
        gain2 += g * g / n;
        held += e->held;
        stated += e->stated;
        width += e->width;
        first += e->first_width / n;
    }
    printf("| %s | %s | %.3f ± %.3f | %+.3f ± %.3f | %.3f | %.3f ± %.3f | "
           "%.2f ± %.2f | %.1f | %.3f ± %.3f | %.1f | %.1f |\n",
           row->name, names[c], zone, sqrt(zone * (1 - zone) / n), gain,
           sqrt((gain2 - gain * gain) / n), near, tight,
           sqrt(tight * (1 - tight) / n), ties, sqrt((ties2 - ties * ties) / n),
           reads, held / stated,
           sqrt(held / stated * (1 - held / stated) / stated), first,
           width / stated);
}

static void run_row(struct sim *s, const struct row *row)
{
    struct truth_world world = { .baseline_ml_min = row->baseline_ml_min,
                                 .offset_mm = NAN,
                                 .contraction = NAN,
                                 .quadratic = NAN,
                                 .read_cv = KIT_CV,
                                 .technique = &s->site };

    s->site = kit_site(row->offset_mm, row->sd_mm);
    s->site.contraction.mean = row->contraction;
    s->site.contraction.sd = row->contraction_sd;
    for (int set = 0; set < s->sets; set++)
        learn_set(s, set);
    for (int i = 0; i < s->patients; i++) {
        struct truth t;

        truth_draw(&world, SEED_TEST, (uint64_t)i, &t);
        for (int c = 0; c < CONTENDERS; c++)
            band(s, &t, &s->priors[c][i % s->sets], row->baseline_ml_min,
                 &s->ends[c][i]);
    }
    for (int c = 0; c < CONTENDERS; c++)
        print_one(s, row, c);
    print_learnt(s);
    fflush(stdout);
}

int main(int argc, char **argv)
{
    static struct sim s;

    s.patients = argc > 1 ? (int)strtol(argv[1], NULL, 10) : 400;
    s.sets = argc > 2 ? (int)strtol(argv[2], NULL, 10) : 20;
    s.work = malloc(plan_work_size());
    s.learn = malloc(technique_work_size());
    if (s.patients < 1 || s.sets < 1 || s.sets > SETS_MAX || s.work == NULL ||
        s.learn == NULL)
        return 2;
    for (int c = 0; c < CONTENDERS; c++) {
        s.ends[c] = calloc((size_t)s.patients, sizeof(*s.ends[c]));
        if (s.ends[c] == NULL)
            return 2;
    }
    plan_work_init(s.work);
    technique_work_init(s.learn);
    printf("| site | prior | in 50-60 %% | gain | in 45-65 %% | > 65 %% | ties "
           "| readings | held by 5-95 %% | first interval, points | all "
           "intervals |\n|---|---|---|---|---|---|---|---|---|---|---|\n");
    for (size_t i = 0; i < COUNT(rows); i++) {
        if (argc <= 3 || strstr(rows[i].name, argv[3]) != NULL)
            run_row(&s, &rows[i]);
    }
    for (int c = 0; c < CONTENDERS; c++)
        free(s.ends[c]);
    free(s.work);
    free(s.learn);
    return 0;
}
