#include "planner/look_ahead.h"

#include <math.h>
#include <string.h>

enum {
    REACH = 2,
    NODES = 9,
    MIDDLE = NODES / 2
}; /* sizes up or down that are tried; of a mean */
#define NODE_STEP   0.7
#define MISSED      3.0 /* as plan_target.c */
#define PER_FRAC    2.0
#define BELOW_FLOOR 5.0

#define FAR 6.5 /* beyond it a normal distribution has nothing left */

static double cumulative(double z)
{
    return z < -FAR  ? 0.0
           : z > FAR ? 1.0
                     : 0.5 * erfc(-z * 0.70710678118654752440);
}

/* ---- expected losses ------------------------------------------------------ */

/* The mean of max(e^z - k, 0) of z normal, whole = mean of e^z, and above, the
 * chance that e^z exceeds k. */
static double call(double mean, double sd, double log_k, double k, double whole,
                   double *above)
{
    double d = (mean - log_k) / sd;

    *above = cumulative(d);
    return whole * cumulative(d + sd) - k * *above;
}

/* Mean of max(k - x, 0) of x normal. */
static double shortfall(double mean, double sd, double k)
{
    double d = (k - mean) / sd;

    return (k - mean) * cumulative(d) +
           sd * 0.39894228040143267794 * exp(-0.5 * d * d);
}

struct band_law {
    double flow_mean, flow_sd;   /* log flow as read */
    double left_mean, left_sd;   /* log of the share that is left */
    double index_mean, index_sd; /* of the finger */
};

static double sd_of(double variance)
{
    return sqrt(variance > 1e-12 ? variance : 1e-12);
}

/* Loss of a band of this law, see plan_loss(). */
static double loss_of(const struct look *l, const struct band_law *b)
{
    const struct plan_target *t = l->target;
    double most = 1.0 - t->low_frac, least = 1.0 - t->high_frac;
    double whole = exp(b->left_mean + 0.5 * b->left_sd * b->left_sd);
    double loose, by, not_tight, missed;
    double over =
        call(b->left_mean, b->left_sd, l->log_least, least, whole, &not_tight) +
        least - whole;
    double floor_risk = cumulative((l->log_floor - b->flow_mean) / b->flow_sd);

    if (t->lead == PLAN_BY_HAND) {
        loose = cumulative((t->index_least - b->index_mean) / b->index_sd);
        by = shortfall(b->index_mean, b->index_sd, t->index_least);
    } else {
        by = call(b->left_mean, b->left_sd, l->log_most, most, whole, &loose);
    }
    missed = 1.0 - not_tight + loose;
    return MISSED * (missed < 1.0 ? missed : 1.0) + PER_FRAC * (over + by) +
           BELOW_FLOOR * floor_risk;
}

/* The law of a variable of flow, with the index that goes with it, and the
 * variances that a new knot adds. */
static struct band_law law_of(const struct look *l, const struct belief *b,
                              int flow, int index, double knot_flow,
                              double knot_index)
{
    double var = b->cov[flow][flow] + knot_flow;
    double left = var, mean = b->mean[flow] - l->log_baseline;
    bool hand = l->target->lead == PLAN_BY_HAND;

    if (l->target->relative) {
        mean = b->mean[flow] - b->mean[LOOK_BASE];
        left += b->cov[LOOK_BASE][LOOK_BASE] - 2.0 * b->cov[flow][LOOK_BASE];
    }
    return (struct band_law){
        .flow_mean = b->mean[flow],
        .flow_sd = sd_of(var),
        .left_mean = mean,
        .left_sd = sd_of(left),
        .index_mean = hand ? b->mean[index] : NAN,
        .index_sd = hand ? sd_of(b->cov[index][index] + knot_index) : NAN,
    };
}

double look_loss(const struct look *l, const struct belief *b)
{
    struct band_law law = law_of(l, b, LOOK_STAND, LOOK_STAND_INDEX, 0.0, 0.0);

    return loss_of(l, &law);
}

bool look_is_loose(const struct look *l, const struct belief *b)
{
    struct band_law law = law_of(l, b, LOOK_STAND, LOOK_STAND_INDEX, 0.0, 0.0);

    return l->target->lead == PLAN_BY_HAND
               ? law.index_mean < l->target->index_least
               : law.left_mean > l->log_most;
}

static struct band_law law_of_tie(const struct look *l, const struct belief *b,
                                  int dowel)
{
    return law_of(l, b, LOOK_FLOW + dowel, LOOK_INDEX + dowel,
                  l->knot_flow[dowel], l->knot_index[dowel]);
}

double look_below_floor(const struct look *l, const struct belief *b, int dowel)
{
    struct band_law law = law_of_tie(l, b, dowel);

    return cumulative((l->log_floor - law.flow_mean) / law.flow_sd);
}

/* ---- what is believed after a step ---------------------------------------- */

/* The variables in use: without a hand that leads its index is left out. */
size_t look_variables(const struct look *l, int place[LOOK_VARIABLES])
{
    size_t n = 0;
    bool hand = l->target->lead == PLAN_BY_HAND;

    place[n++] = LOOK_BASE;
    for (size_t d = 0; d < l->dowel_count; d++)
        place[n++] = LOOK_FLOW + (int)d;
    for (size_t d = 0; hand && d < l->dowel_count; d++)
        place[n++] = LOOK_INDEX + (int)d;
    place[n++] = LOOK_STAND;
    if (hand)
        place[n++] = LOOK_STAND_INDEX;
    return n;
}

/* How much each variable moves with a measured one; the spread after it. */
static void narrow(const struct look *l, struct belief *b, int variable,
                   double sigma, double gain[LOOK_VARIABLES])
{
    int place[LOOK_VARIABLES];
    size_t n = look_variables(l, place);
    double total = b->cov[variable][variable] + sigma * sigma;

    for (size_t i = 0; i < n; i++)
        gain[place[i]] = b->cov[place[i]][variable] / total;
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < n; k++)
            b->cov[place[i]][place[k]] -=
                gain[place[i]] * gain[place[k]] * total;
    }
}

static void move(const struct look *l, struct belief *b,
                 const double gain[LOOK_VARIABLES], double by)
{
    int place[LOOK_VARIABLES];
    size_t n = look_variables(l, place);

    for (size_t i = 0; i < n; i++)
        b->mean[place[i]] += gain[place[i]] * by;
}

void look_measure(const struct look *l, struct belief *b, int variable,
                  double value, double sigma)
{
    double gain[LOOK_VARIABLES], by = value - b->mean[variable];

    narrow(l, b, variable, sigma, gain);
    move(l, b, gain, by);
}

static void copy_variable(const struct look *l, struct belief *b, int from,
                          int to)
{
    int place[LOOK_VARIABLES];
    size_t n = look_variables(l, place);

    b->mean[to] = b->mean[from];
    for (size_t i = 0; i < n; i++) {
        if (place[i] != to)
            b->cov[place[i]][to] = b->cov[to][place[i]] =
                b->cov[place[i]][from];
    }
    b->cov[to][to] = b->cov[from][from];
}

void look_tie(const struct look *l, struct belief *b, int dowel)
{
    copy_variable(l, b, LOOK_FLOW + dowel, LOOK_STAND);
    b->cov[LOOK_STAND][LOOK_STAND] += l->knot_flow[dowel];
    if (l->target->lead != PLAN_BY_HAND)
        return;
    copy_variable(l, b, LOOK_INDEX + dowel, LOOK_STAND_INDEX);
    b->cov[LOOK_STAND_INDEX][LOOK_STAND_INDEX] += l->knot_index[dowel];
    b->cov[LOOK_STAND_INDEX][LOOK_STAND] =
        b->cov[LOOK_STAND][LOOK_STAND_INDEX] =
            b->cov[LOOK_INDEX + dowel][LOOK_FLOW + dowel] + l->knot_both[dowel];
}

/* ---- the tree ------------------------------------------------------------- */

/* A normal distribution in steps of NODE_STEP, exp(-t^2/2) made to sum to 1. */
static const double node_weight[NODES] = {
    0.00554807175719473, 0.030828834474027955, 0.10494647268845822,
    0.2188639789687003,  0.27962528422323757,  0.2188639789687003,
    0.10494647268845822, 0.030828834474027955, 0.00554807175719473
};

static double least_loss(const struct look *l, const struct belief *b,
                         const struct standing *stand, size_t depth);
static double least_first(const struct look *l, const struct belief *b,
                          size_t depth, const bool *allowed);

/* Mean over what a measurement may show, of the best that follows: from the
 * band in place, or, with allowed, of these as the first. */
static double mean_after(const struct look *l, const struct belief *b,
                         const struct standing *stand, size_t depth,
                         int variable, double sigma, const bool *allowed)
{
    double sd = sqrt(b->cov[variable][variable] + sigma * sigma), value = 0.0;
    double gain[LOOK_VARIABLES], mean[LOOK_VARIABLES];
    struct belief after = *b;

    narrow(l, &after, variable, sigma, gain);
    memcpy(mean, after.mean, sizeof(mean));
    for (int i = 0; i < NODES; i++) {
        memcpy(after.mean, mean, sizeof(mean));
        move(l, &after, gain, NODE_STEP * (i - MIDDLE) * sd);
        value += node_weight[i] * (allowed != NULL
                                       ? least_first(l, &after, depth, allowed)
                                       : least_loss(l, &after, stand, depth));
    }
    return value;
}

static double cost_of(const struct look *l, const struct standing *stand, int d)
{
    return d >= stand->tighter ? l->costs.tie : l->costs.loosen;
}

double look_tie_value(const struct look *l, const struct belief *b, int dowel,
                      size_t depth, double cost)
{
    const struct standing stand = { dowel + 1, dowel };
    struct belief tied;

    if (depth <= 1) {
        struct band_law law = law_of_tie(l, b, dowel);

        return cost + loss_of(l, &law);
    }
    tied = *b;
    look_tie(l, &tied, dowel);
    return cost +
           mean_after(l, &tied, &stand, depth - 1, LOOK_STAND, l->sigma, NULL);
}

/* The dowels that may be tied next: at most REACH sizes away.  What is too
 * loose is not loosened; its own size may be tied anew, for another knot. */
struct reach {
    int first, last, barred;
};

static struct reach reach_of(const struct look *l, const struct belief *b,
                             const struct standing *stand)
{
    int at = stand->tighter - 1, most = (int)l->dowel_count - 1;
    struct reach r = { at - REACH, at + REACH, stand->same };

    if (look_is_loose(l, b)) {
        r.first = stand->same >= 0 ? stand->same : stand->tighter;
        r.barred = -1;
    }
    r.first = r.first < 0 ? 0 : r.first;
    r.last = r.last > most ? most : r.last;
    return r;
}

/* V, with a band in place. */
static double least_loss(const struct look *l, const struct belief *b,
                         const struct standing *stand, size_t depth)
{
    double best = look_loss(l, b);
    struct reach r = reach_of(l, b, stand);

    for (int d = r.first; d <= r.last; d++) {
        double cost = cost_of(l, stand, d), value;

        if (d == r.barred || cost >= best)
            continue;
        value = look_tie_value(l, b, d, depth, cost);
        best = value < best ? value : best;
    }
    return best;
}

static void offer(struct look_choice *c, enum plan_action action, int dowel,
                  double value)
{
    if (value < c->value)
        *c = (struct look_choice){ action, dowel, value };
}

static double stretch_value(const struct look *l, const struct belief *b)
{
    struct belief after = *b;

    after.mean[LOOK_STAND] += l->stretch_mean;
    after.cov[LOOK_STAND][LOOK_STAND] += l->stretch_var;
    return l->costs.stretch + look_loss(l, &after);
}

void look_choose(const struct look *l, const struct belief *b,
                 const struct standing *stand, size_t depth, int again,
                 double read_sigma, struct look_choice *choice)
{
    struct reach r = reach_of(l, b, stand);

    *choice = (struct look_choice){ PLAN_ACCEPT, -1, look_loss(l, b) };
    for (int d = r.first; d <= r.last; d++) {
        double cost = cost_of(l, stand, d);

        if (d == r.barred || cost >= choice->value || l->barred[d] ||
            look_below_floor(l, b, d) > l->floor_most)
            continue;
        offer(choice,
              d >= stand->tighter || d == stand->same ? PLAN_TIGHTEN
                                                      : PLAN_LOOSEN,
              d, look_tie_value(l, b, d, depth, cost));
    }
    if (l->may_stretch)
        offer(choice, PLAN_STRETCH, -1, stretch_value(l, b));
    if (again > 0 && again * l->costs.read < choice->value)
        offer(choice, PLAN_REMEASURE, -1,
              look_again_value(l, b, stand, depth, LOOK_STAND, again,
                               read_sigma, NULL));
}

/* Before the first tie: the best first dowel of those allowed. */
static double least_first(const struct look *l, const struct belief *b,
                          size_t depth, const bool *allowed)
{
    double best = INFINITY;

    for (int d = 0; d < (int)l->dowel_count; d++) {
        double value;

        if (!allowed[d])
            continue;
        value = look_tie_value(l, b, d, depth, l->costs.tie);
        best = value < best ? value : best;
    }
    return best;
}

double look_again_value(const struct look *l, const struct belief *b,
                        const struct standing *stand, size_t depth,
                        int variable, int again, double read_sigma,
                        const bool *allowed)
{
    return again * l->costs.read + mean_after(l, b, stand, depth, variable,
                                              read_sigma / sqrt((double)again),
                                              allowed);
}
