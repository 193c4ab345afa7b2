#include "planner/blood.h"

#include <math.h>

#define PLASMA_KG_M3    1025.0
#define RED_CELLS_KG_M3 1125.0
#define PA_S_PER_MPA_S  1e-3

static enum err check(double haematocrit_frac)
{
    return haematocrit_frac >= BLOOD_HAEMATOCRIT_LEAST &&
                   haematocrit_frac <= BLOOD_HAEMATOCRIT_MOST
               ? ERR_OK
               : ERR_RANGE;
}

enum err blood_viscosity(double haematocrit_frac, double *mu_pa_s)
{
    enum err e = check(haematocrit_frac);

    if (e == ERR_OK)
        *mu_pa_s =
            pow(10.0, 1.138 * haematocrit_frac + 0.03699) * PA_S_PER_MPA_S;
    return e;
}

enum err blood_density(double haematocrit_frac, double *rho_kg_m3)
{
    enum err e = check(haematocrit_frac);

    if (e == ERR_OK)
        *rho_kg_m3 = PLASMA_KG_M3 * (1.0 - haematocrit_frac) +
                     RED_CELLS_KG_M3 * haematocrit_frac;
    return e;
}
