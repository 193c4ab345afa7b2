/*
 * circuit - the arm: artery, access, hand, and how they share the flow
 *
 *      S ---- Rf, Kf ---- A ---- Ra, Ka  (band, lesion) ---- V
 *      |                  |                                  |
 *      Rc                 Rd                                 |
 *      |                  |                                  |
 *      +--------- H ------+                                  |
 *                 |                                          |
 *                 Rh ----------------------------------------+
 *
 *     S  mean arterial pressure        A  arterial side of the anastomosis
 *     H  hand                          V  central veins
 *
 * Steady mean values.  Units as in element.h; flow of the distal artery (A to
 * H) is negative where it runs backwards and feeds the access.
 */
#ifndef HEADGATE_PLANNER_CIRCUIT_H
#define HEADGATE_PLANNER_CIRCUIT_H

#include "planner/element.h"
#include "planner/err.h"

struct circuit {
    struct element feeding; /* S to A */
    struct element access;  /* A to V: all that lies in series, band included */
    double rd, rc, rh;      /* above 0 */
    double map_mmhg, cvp_mmhg;
    /* The arterial pressure rises as less flow runs through the access:
     * map + kappa * (q0 - Qa); 0 where it was measured at this very stage. */
    double kappa; /* mmHg / (mL/min), 0 or more */
    double q0_ml_min;
};

struct circuit_state {
    double access_ml_min; /* A to V */
    double feeding_ml_min;
    double distal_ml_min; /* A to H; negative: backwards */
    double map_mmhg, anastomosis_mmhg, hand_mmhg;
};

/*
 * circuit_solve - the state in which all flows balance
 *
 * The side of the hand is linear, so that one unknown is left, the access
 * flow; its residual falls strictly.  Newton's method from the flow without
 * the hand, kept inside a bracket and bisected where it leaves it.
 *
 * ERR_RANGE  a resistance is not positive, the pressure does not drive flow
 *            through the access, or something is not a number
 */
MUST_CHECK enum err circuit_solve(const struct circuit *c,
                                  struct circuit_state *state);

#endif
