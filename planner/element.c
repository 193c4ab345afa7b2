#include "planner/element.h"

#include <math.h>

#define PI              3.14159265358979323846
#define PA_PER_MMHG     133.322
#define M_PER_MM        1e-3
#define M3_S_PER_ML_MIN (1.0 / 60e6)
#define RE_LAMINAR      2300.0
#define BLASIUS         0.316
#define YOUNG_TSAI_KT   1.52

static double r_of_si(double pa_s_m3)
{
    return pa_s_m3 * M3_S_PER_ML_MIN / PA_PER_MMHG;
}

static double k_of_si(double pa_s2_m6)
{
    return pa_s2_m6 * M3_S_PER_ML_MIN * M3_S_PER_ML_MIN / PA_PER_MMHG;
}

static double area_m2(double diameter_mm)
{
    double d_m = diameter_mm * M_PER_MM;

    return PI * d_m * d_m / 4.0;
}

double element_poiseuille(const struct blood *b, double length_mm,
                          double diameter_mm)
{
    double d_m = diameter_mm * M_PER_MM, d2 = d_m * d_m;

    return r_of_si(128.0 * b->mu_pa_s * length_mm * M_PER_MM / (PI * d2 * d2));
}

double element_head(const struct blood *b, double diameter_mm)
{
    double a = area_m2(diameter_mm);

    return k_of_si(b->rho_kg_m3 / (2.0 * a * a));
}

double element_reynolds(const struct blood *b, double flow_ml_min,
                        double diameter_mm)
{
    double u_m_s = fabs(flow_ml_min) * M3_S_PER_ML_MIN / area_m2(diameter_mm);

    return b->rho_kg_m3 * u_m_s * diameter_mm * M_PER_MM / b->mu_pa_s;
}

double element_tube_drop(const struct blood *b, double length_mm,
                         double diameter_mm, double flow_ml_min)
{
    double re = element_reynolds(b, flow_ml_min, diameter_mm);

    if (!(re > RE_LAMINAR))
        return element_poiseuille(b, length_mm, diameter_mm) * flow_ml_min;
    return BLASIUS / sqrt(sqrt(re)) * length_mm / diameter_mm *
           element_head(b, diameter_mm) * flow_ml_min * flow_ml_min;
}

double element_pore(const struct blood *b, double length_mm, double diameter_mm)
{
    double r_m = diameter_mm * M_PER_MM / 2.0, l_m = length_mm * M_PER_MM;

    return r_of_si(b->mu_pa_s / (r_m * r_m * r_m) *
                   (3.0 + 8.0 * l_m / (PI * r_m)));
}

struct element element_band(const struct blood *b, double lumen_mm,
                            double conduit_mm, double length_mm,
                            double contraction, double pulse_factor)
{
    return (struct element){
        .r = element_pore(b, length_mm, lumen_mm),
        .k = pulse_factor * element_edge(lumen_mm / conduit_mm, contraction) *
             element_head(b, lumen_mm),
    };
}

struct element element_smooth_stenosis(const struct blood *b, double throat_mm,
                                       double tube_mm, double length_mm)
{
    double ratio = (tube_mm / throat_mm) * (tube_mm / throat_mm);
    double kv =
        32.0 * (0.83 * length_mm + 1.64 * throat_mm) / tube_mm * ratio * ratio;
    double over = ratio - 1.0;

    return (struct element){
        .r = r_of_si(kv * b->mu_pa_s / (tube_mm * M_PER_MM * area_m2(tube_mm))),
        .k = YOUNG_TSAI_KT * over * over * element_head(b, tube_mm),
    };
}

double element_quadratic_flow(struct element x, double drop_mmhg)
{
    return 2.0 * drop_mmhg / (x.r + sqrt(x.r * x.r + 4.0 * x.k * drop_mmhg));
}
