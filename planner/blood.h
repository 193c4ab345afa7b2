/*
 * blood - viscosity and density of blood from the haematocrit
 *
 * Newtonian: wherever a pressure is lost in an access the shear rate is well
 * above 100 /s.
 */
#ifndef HEADGATE_PLANNER_BLOOD_H
#define HEADGATE_PLANNER_BLOOD_H

#include "planner/err.h"

/* Hard range of Q_HAEMATOCRIT as a fraction; the usual value on dialysis, used
 * where none was measured (P). */
#define BLOOD_HAEMATOCRIT_LEAST 0.15
#define BLOOD_HAEMATOCRIT_MOST  0.65
#define BLOOD_HAEMATOCRIT_USUAL 0.33

/*
 * blood_viscosity - at high shear
 *
 *     mu [mPa s] = 10 ^ (1.138 * Hct + 0.03699)
 *
 * haematocrit_frac  BLOOD_HAEMATOCRIT_LEAST..MOST
 * mu_pa_s           out: Pa s
 *
 * ERR_RANGE  outside that range, or not a number
 *
 * Source: fit to measurements at high shear (F).  Of little weight: 0.22 to
 * 0.45 moves a predicted reduction by half a point (C).
 */
MUST_CHECK enum err blood_viscosity(double haematocrit_frac, double *mu_pa_s);

/*
 * blood_density
 *
 *     rho = 1025 * (1 - Hct) + 1125 * Hct        kg/m^3
 *
 * haematocrit_frac  as above
 * rho_kg_m3         out
 *
 * Source: densities of plasma and red cells, from memory (M).
 */
MUST_CHECK enum err blood_density(double haematocrit_frac, double *rho_kg_m3);

#endif
