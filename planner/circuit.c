#include "planner/circuit.h"

#include <math.h>
#include <stdbool.h>

enum { STEPS_MAX = 200 };
#define STEP_LEAST 1e-13 /* of the flow */

/* The hand as one source behind one resistance, seen from A:
 * P = cvp + share * (map - cvp), R = r. */
struct hand {
    double share, r, parallel;
};

static struct hand hand_of(const struct circuit *c)
{
    double share = c->rh / (c->rc + c->rh);

    return (struct hand){ .share = share,
                          .parallel = c->rc * share,
                          .r = c->rd + c->rc * share };
}

/* Pressures and flows for a trial flow of the access. */
static void state_at(const struct circuit *c, const struct hand *h, double q,
                     struct circuit_state *s)
{
    double source;

    s->access_ml_min = q;
    s->map_mmhg = c->map_mmhg + c->kappa * (c->q0_ml_min - q);
    source = c->cvp_mmhg + h->share * (s->map_mmhg - c->cvp_mmhg);
    s->anastomosis_mmhg = c->cvp_mmhg + (c->access.r + c->access.k * q) * q;
    s->distal_ml_min = (s->anastomosis_mmhg - source) / h->r;
    s->feeding_ml_min = q + s->distal_ml_min;
    s->hand_mmhg = source + s->distal_ml_min * h->parallel;
}

/* What the artery has left over at a trial flow; falls with the flow. */
static double residual(const struct circuit *c, const struct hand *h, double q,
                       double *slope)
{
    struct circuit_state s;
    double rise = c->access.r + 2.0 * c->access.k * q, qf;

    state_at(c, h, q, &s);
    qf = s.feeding_ml_min;
    *slope = -c->kappa - rise -
             (c->feeding.r + 2.0 * c->feeding.k * fabs(qf)) *
                 (1.0 + (rise + c->kappa * h->share) / h->r);
    return s.map_mmhg - s.anastomosis_mmhg -
           (c->feeding.r + c->feeding.k * fabs(qf)) * qf;
}

static bool is_usable(const struct circuit *c)
{
    return c->rd > 0.0 && c->rc > 0.0 && c->rh > 0.0 && c->feeding.r >= 0.0 &&
           c->feeding.k >= 0.0 && c->access.r >= 0.0 && c->access.k >= 0.0 &&
           c->access.r + c->access.k > 0.0 && c->kappa >= 0.0 &&
           isfinite(c->q0_ml_min) && isfinite(c->rd + c->rc + c->rh) &&
           isfinite(c->feeding.r + c->feeding.k + c->access.r + c->access.k) &&
           c->map_mmhg + c->kappa * c->q0_ml_min > c->cvp_mmhg &&
           isfinite(c->map_mmhg - c->cvp_mmhg);
}

enum err circuit_solve(const struct circuit *c, struct circuit_state *state)
{
    struct hand h;
    double drop, low = 0.0, high, q, slope, f;

    if (!is_usable(c))
        return ERR_RANGE;
    h = hand_of(c);
    drop = c->map_mmhg + c->kappa * c->q0_ml_min - c->cvp_mmhg;
    q = element_quadratic_flow(
        (struct element){ c->access.r + c->feeding.r + c->kappa,
                          c->access.k + c->feeding.k },
        drop);
    /* Backward flow of the hand can only add what drives it. */
    high = 2.0 * element_quadratic_flow(
                     (struct element){ c->access.r, c->access.k }, drop) +
           1000.0;
    for (int i = 0; i < STEPS_MAX; i++) {
        double next;

        f = residual(c, &h, q, &slope);
        if (f > 0.0)
            low = q;
        else
            high = q;
        next = q - f / slope;
        if (!(next > low && next < high))
            next = 0.5 * (low + high);
        if (fabs(next - q) <= STEP_LEAST * q) {
            q = next;
            break;
        }
        q = next;
    }
    state_at(c, &h, q, state);
    return isfinite(state->hand_mmhg) ? ERR_OK : ERR_RANGE;
}
