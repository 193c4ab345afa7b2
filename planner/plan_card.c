/* The contingency card: what to do at each flow that may be measured. */
#include "planner/plan_work.h"

#include <math.h>
#include <string.h>

#define STEP_ML_MIN   25.0
#define ONE_PERCENT   2.3263 /* normal score of 99 % */
#define SLIVER_ML_MIN 50.0   /* a narrower row is noise of the sample */
enum { STEPS_MAX = 400 };

struct card {
    struct plan_work *w;
    struct standing standing;
    double size_mm;           /* that counts for the band that is measured */
    double sigma;             /* error of the measurement */
    double below_ml_min;      /* the row of emergency ends here */
    double log_low, log_step; /* of the readings in w->read */
};

static bool is_same(const struct plan_row *a, const struct plan_row *b)
{
    return a->action == b->action && a->above_target == b->above_target &&
           a->ladder_ends == b->ladder_ends && a->emergency == b->emergency &&
           (a->dowel_mm == b->dowel_mm ||
            (isnan(a->dowel_mm) && isnan(b->dowel_mm)));
}

/* A row at the upper end, or the last one made longer.  Where there is no room
 * for more the last says "measure again". */
static void append(struct plan *plan, const struct plan_row *row)
{
    struct plan_row *last = plan->rows + plan->row_count - 1;

    if (!(row->from_ml_min < row->to_ml_min))
        return;
    if (plan->row_count > 0 && is_same(last, row)) {
        last->to_ml_min = row->to_ml_min;
    } else if (plan->row_count == PLAN_CARD_MAX) {
        last->action = PLAN_REMEASURE;
        last->dowel_mm = NAN;
        last->above_target = last->ladder_ends = false;
        last->to_ml_min = row->to_ml_min;
    } else {
        plan->rows[plan->row_count++] = *row;
    }
}

static double between(double a, double b, double share)
{
    return a + share * (b - a);
}

/* What would be believed after this reading; false: too few particles. */
static bool believed(const struct card *c, double flow_ml_min, struct belief *b)
{
    const struct plan_work *w = c->w;
    double at = (log(flow_ml_min) - c->log_low) / c->log_step, share;
    int place[LOOK_VARIABLES];
    size_t n = look_variables(&w->look, place), g;

    g = at < 0.0 ? 0 : at > CARD_GRID - 2 ? CARD_GRID - 2 : (size_t)at;
    share = at - (double)g;
    for (size_t i = 0; i < n; i++) {
        int v = place[i];

        b->mean[v] = between(w->read[g].mean[v], w->read[g + 1].mean[v], share);
        for (size_t k = 0; k < n; k++)
            b->cov[v][place[k]] =
                between(w->read[g].cov[v][place[k]],
                        w->read[g + 1].cov[v][place[k]], share);
    }
    return w->near[g] && w->near[g + 1];
}

static struct plan_row row_at(const struct card *c, double flow_ml_min)
{
    struct plan_work *w = c->w;
    struct plan_row row = { .action = PLAN_REMEASURE, .dowel_mm = NAN };
    int more = PLAN_READINGS_MOST - w->plan->readings_advised;
    struct belief b;
    struct look_choice choice;

    if (!believed(c, flow_ml_min, &b))
        return row;
    if (plan_hand_is_met(w, &b)) {
        row.action = PLAN_ACCEPT;
        return row;
    }
    look_choose(&w->look, &b, &c->standing, 2, more > 0 ? 1 : 0, w->cv,
                &choice);
    row.action = choice.action;
    row.dowel_mm = choice.dowel >= 0 ? w->dowel_mm[choice.dowel] : NAN;
    row.above_target =
        choice.action == PLAN_ACCEPT && look_is_loose(&w->look, &b);
    row.ladder_ends =
        row.above_target && !plan_has_smaller(w, &b, &c->standing);
    return row;
}

/* A sliver says what the row below it says. */
static void smooth(struct plan_row *rows, size_t count)
{
    size_t begin = 0;

    for (size_t i = 1; i <= count; i++) {
        if (i < count && is_same(&rows[i], &rows[begin]))
            continue;
        for (size_t k = begin;
             begin > 0 && k < i &&
             rows[i - 1].to_ml_min - rows[begin].from_ml_min < SLIVER_ML_MIN;
             k++) {
            struct plan_row row = rows[begin - 1];

            row.from_ml_min = rows[k].from_ml_min;
            row.to_ml_min = rows[k].to_ml_min;
            rows[k] = row;
        }
        begin = i;
    }
}

/* The flows that are expected, in whole steps: all but two in a hundred. */
static void set_limits(struct card *c)
{
    struct plan_work *w = c->w;
    const struct belief *b = &w->belief;
    double mean = b->mean[LOOK_STAND];
    double sd = sqrt(b->cov[LOOK_STAND][LOOK_STAND] + c->sigma * c->sigma);
    double low = exp(mean - ONE_PERCENT * sd);
    double high = exp(mean + ONE_PERCENT * sd);

    w->plan->lowest_ml_min = STEP_ML_MIN * floor(low / STEP_ML_MIN);
    w->plan->highest_ml_min = STEP_ML_MIN * ceil(high / STEP_ML_MIN);
    c->log_low = log(low);
    c->log_step = (log(high) - c->log_low) / (CARD_GRID - 1);
    for (size_t g = 0; g < CARD_GRID; g++)
        w->near[g] =
            plan_believe_read(w, exp(c->log_low + (double)g * c->log_step),
                              c->sigma, &w->read[g]);
}

static double next_looser(const struct card *c)
{
    int d = plan_looser(c->w, c->size_mm);

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

/* Is the card for a band that is tied next, not for the one in place? */
static bool is_for_next(const struct plan_work *w)
{
    const struct plan *plan = w->plan;

    return !w->banded ||
           ((plan->next == PLAN_TIGHTEN || plan->next == PLAN_LOOSEN) &&
            isfinite(plan->next_dowel_mm));
}

void plan_card(struct plan_work *w)
{
    struct plan *plan = w->plan;
    struct plan_row rows[STEPS_MAX];
    size_t count = 0;
    struct card c = { .w = w,
                      .standing = plan_standing(w),
                      .size_mm = plan_size_mm(w),
                      .sigma = w->cv / sqrt(plan->readings_advised),
                      .below_ml_min = plan->target.floor_ml_min };
    int dowel = plan_dowel_index(w, plan->card_dowel_mm);
    double flow;

    if (!isfinite(plan->card_dowel_mm))
        return;
    memset(w->look.barred, 0, sizeof(w->look.barred));
    if (is_for_next(w)) {
        plan_believe_tie(w, dowel);
        w->look.may_stretch = false; /* a knot that nobody has seen */
        c.standing = (struct standing){ dowel + 1, dowel };
        c.size_mm = plan->card_dowel_mm;
    }
    set_limits(&c);
    if (w->banded && plan->next_reason == PLAN_REASON_PRESSURE)
        /* no flow of another pressure is judged */
        plan->lowest_ml_min = plan->highest_ml_min = c.below_ml_min;
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
