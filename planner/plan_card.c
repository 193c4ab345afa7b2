/* The contingency card: what to do at each flow that may be measured. */
#include "planner/plan_work.h"

#include <math.h>

#define STEP_ML_MIN  25.0
#define HALF_PERCENT 2.5758 /* normal score of 99.5 % */
enum { STEPS_MAX = 400 };

struct card {
    struct plan_work *w;
    struct belief belief; /* with the band that is measured in place */
    struct standing standing;
    double sigma;        /* error of the measurement */
    double below_ml_min; /* the row of emergency ends here */
};

static bool is_same(const struct plan_row *a, const struct plan_row *b)
{
    return a->action == b->action && a->ladder_ends == b->ladder_ends &&
           a->emergency == b->emergency &&
           (a->dowel_mm == b->dowel_mm ||
            (isnan(a->dowel_mm) && isnan(b->dowel_mm)));
}

/* A row at the upper end, or the last one made longer. */
static void append(struct plan *plan, const struct plan_row *row)
{
    struct plan_row *last = plan->rows + plan->row_count - 1;

    if (!(row->from_ml_min < row->to_ml_min))
        return;
    if (plan->row_count > 0 && is_same(last, row)) {
        last->to_ml_min = row->to_ml_min;
        return;
    }
    /* Full: the rest is not decided here. */
    if (plan->row_count == PLAN_CARD_MAX - 1)
        return;
    plan->rows[plan->row_count++] = *row;
}

static struct plan_row row_at(const struct card *c, double flow_ml_min)
{
    struct plan_work *w = c->w;
    struct plan_row row = { .dowel_mm = NAN };
    int more = PLAN_READINGS_MOST - w->plan->readings_advised;
    struct belief b = c->belief;
    struct look_choice choice;

    look_measure(&w->look, &b, LOOK_STAND, log(flow_ml_min), c->sigma);
    look_choose(&w->look, &b, &c->standing, 2, more > 0 ? 1 : 0, w->cv,
                &choice);
    row.action = choice.action;
    row.dowel_mm = choice.dowel >= 0 ? w->dowel_mm[choice.dowel] : NAN;
    row.ladder_ends = choice.action == PLAN_ACCEPT &&
                      c->standing.tighter == (int)w->dowel_count &&
                      look_is_loose(&w->look, &b);
    return row;
}

/* A row of one step between two that say the same is noise of the sample. */
static void smooth(struct plan_row *rows, size_t count)
{
    for (size_t i = 1; i + 1 < count; i++) {
        if (is_same(&rows[i - 1], &rows[i + 1])) {
            double from = rows[i].from_ml_min, to = rows[i].to_ml_min;

            rows[i] = rows[i - 1];
            rows[i].from_ml_min = from;
            rows[i].to_ml_min = to;
        }
    }
}

/* The flows that are expected, in whole steps: all but one in a hundred. */
static void set_limits(const struct card *c)
{
    double mean = c->belief.mean[LOOK_STAND];
    double sd =
        sqrt(c->belief.cov[LOOK_STAND][LOOK_STAND] + c->sigma * c->sigma);
    double low = exp(mean - HALF_PERCENT * sd);
    double high = exp(mean + HALF_PERCENT * sd);

    c->w->plan->lowest_ml_min = STEP_ML_MIN * floor(low / STEP_ML_MIN);
    c->w->plan->highest_ml_min = STEP_ML_MIN * ceil(high / STEP_ML_MIN);
}

static double next_looser(const struct card *c)
{
    int d =
        c->standing.same >= 0 ? c->standing.same - 1 : c->standing.tighter - 1;

    return d >= 0 ? c->w->dowel_mm[d] : NAN;
}

/* From the emergency up to the lowest flow that is expected, and above the
 * highest: measure before anything else. */
static void write_rows(const struct card *c, struct plan_row *rows,
                       size_t count)
{
    struct plan *plan = c->w->plan;
    struct plan_row again = { .action = PLAN_REMEASURE, .dowel_mm = NAN };
    struct plan_row loosen = { .to_ml_min = c->below_ml_min,
                               .action = PLAN_LOOSEN,
                               .dowel_mm = next_looser(c),
                               .emergency = true };

    plan->row_count = 0;
    append(plan, &loosen);
    again.from_ml_min = c->below_ml_min;
    again.to_ml_min = plan->lowest_ml_min;
    append(plan, &again);
    for (size_t i = 0; i < count; i++) {
        if (rows[i].from_ml_min < c->below_ml_min)
            rows[i].from_ml_min = c->below_ml_min;
        append(plan, &rows[i]);
    }
    again.from_ml_min = plan->highest_ml_min > c->below_ml_min
                            ? plan->highest_ml_min
                            : c->below_ml_min;
    again.to_ml_min = INFINITY;
    append(plan, &again);
}

void plan_card(struct plan_work *w)
{
    struct plan *plan = w->plan;
    struct plan_row rows[STEPS_MAX];
    size_t count = 0;
    struct card c = { .w = w,
                      .belief = w->belief,
                      .standing = plan_standing(w),
                      .sigma = w->cv / sqrt(plan->readings_advised),
                      .below_ml_min = plan->target.floor_ml_min };
    int dowel = plan_dowel_index(w, plan->card_dowel_mm);
    double flow;

    if (!isfinite(plan->card_dowel_mm))
        return;
    if (!w->banded || plan->next == PLAN_TIGHTEN || plan->next == PLAN_LOOSEN) {
        look_tie(&w->look, &c.belief, dowel);
        c.standing = (struct standing){ dowel + 1, dowel };
    }
    set_limits(&c);
    for (flow = plan->lowest_ml_min;
         flow < plan->highest_ml_min && count < STEPS_MAX;
         flow += STEP_ML_MIN) {
        rows[count] = row_at(&c, flow + 0.5 * STEP_ML_MIN);
        rows[count].from_ml_min = flow;
        rows[count++].to_ml_min = flow + STEP_ML_MIN;
    }
    plan->highest_ml_min = flow;
    smooth(rows, count);
    write_rows(&c, rows, count);
    for (size_t i = 0; i < plan->row_count; i++)
        plan->warnings |= plan->rows[i].ladder_ends ? PLAN_LADDER_ENDS : 0;
}
